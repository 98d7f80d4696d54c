"""review(): the monitor replayed over a recording, and all that can be asked of the result."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from infantmon.errors import ArgumentError, require_kind
from infantmon.events.batch import Batch
from infantmon.events.log import EventLog, fold
from infantmon.model.counting import counted
from infantmon.model.event import Change, Event, Excursion
from infantmon.model.marks import BreathingRates, Breaths, HeartRates, Pulsations, RPeaks
from infantmon.model.prescription import Prescription
from infantmon.model.recording import Recording
from infantmon.model.signal import Signal
from infantmon.model.spans import Spans
from infantmon.recorded.decisions import Decision, Decisions
from infantmon.recorded.event import RecordedEvent, RecordedEvents
from infantmon.recorded.judging import JudgedList, judge_recorded, require_margin
from infantmon.report.days import LEAST_HOURS
from infantmon.report.drawing import Drawing, draw_day, draw_event, draw_recorded
from infantmon.report.export import write_json
from infantmon.report.identity import (
    decisions_without_identity,
    plan_without_identity,
    recorded_without_identity,
    recording_without_identity,
)
from infantmon.report.notebook import review_html
from infantmon.report.page import write_review_page
from infantmon.report.table import event_table_text
from infantmon.stages.breathing_rate import BreathingRate, BreathingRateSettings
from infantmon.stages.heart_rate import HeartRate, HeartRateSettings
from infantmon.stored_findings import (
    StoredFindings,
    find,
    judge,
    sweep,
    sweep_whole,
    variations,
)
from infantmon.version import library_version

__all__ = [
    "Review",
    "find",
    "judge",
    "review",
    "sweep",
    "sweep_whole",
    "variations",
]

SHOWN_AVERAGE_BEATS = 8
SHOWN_AVERAGE_BREATHS = 8
"""Averaging of the heart rate shown where the prescription states none (project's choice)."""


@dataclass(frozen=True, eq=False)
class Review:
    """What a prescription makes of a recording.

    Attributes
    ----------
    recording, plan : Recording, Prescription
        What was reviewed, and the limits in force.
    events : EventLog
        Excursions that went active, in the order of going active.
    excursions : tuple of Excursion
        Those that did not last long enough.
    changes : tuple of Change
        Alarm-condition changes, as a monitor would have given them.
    r_peaks, breaths, heart_rate, pulsation : RPeaks, Breaths, HeartRates, Pulsations
        Findings of the stages; empty where a channel was not recorded. The heart rate is averaged
        as the low limit has it, or else the high one, or else over 8 intervals.
    contact : mapping of str to Spans
        By role: stretches that could not be used, or only with care.
    cleaned : Signal or None
        The impedance with the heart's pulsation taken out.
    findings : StoredFindings
        For `sweep`: the same findings under other limits.
    latencies_s : mapping of str to float
        By kind: the stated worst delay of the signal chain, in seconds.
    recorded : JudgedList or None
        Events that another device recorded, judged; None where no list was given.
    decisions : Decisions
        What readers decided, beside the library's judgement.
    """

    recording: Recording
    plan: Prescription
    events: EventLog
    excursions: tuple[Excursion, ...]
    changes: tuple[Change, ...]
    r_peaks: RPeaks
    breaths: Breaths
    heart_rate: HeartRates
    pulsation: Pulsations
    contact: Mapping[str, Spans]
    cleaned: Signal | None
    findings: StoredFindings
    latencies_s: Mapping[str, float]
    recorded: JudgedList | None = None
    decisions: Decisions = field(default_factory=Decisions)

    def decide(
        self, event: Event | RecordedEvent, decision: str, *, by: str, note: str = ""
    ) -> Decision:
        """Add a reader's decision of an event and return it; the library's judgement stays.

        Parameters
        ----------
        event : Event or RecordedEvent
            One of `events`, or a recorded event.
        decision : str
            "real", "misdetected", "artefact" or "cannot tell".
        by, note : str
            Who decided, and a note in the reader's words.

        Raises
        ------
        ArgumentError
            If the event is none of this review, the decision is none, or nobody is named.
        """
        listed = () if self.recorded is None else (one.recorded for one in self.recorded.judged)
        if event not in (*self.events, *listed):
            raise ArgumentError(
                f"the event is {event!r}; pass one of this review's events or recorded events."
            )
        return self.decisions.add(event, decision, by=by, note=note)

    def spans(self, role: str) -> Spans | None:
        """Return the stretches of a channel that are unusable or to be used with care.

        Parameters
        ----------
        role : str
            "ecg", "ecg2" or "impedance"; None is returned where it was not recorded.
        """
        return self.contact.get(role)

    @property
    def breathing_rate(self) -> BreathingRates:
        """Rate of breathing at each breath: 60 / mean of the last 8 intervals, a minute."""
        stage = BreathingRate(BreathingRateSettings(average_breaths=SHOWN_AVERAGE_BREATHS))
        batches = self.findings.batches
        return BreathingRates.joined(
            [stage.push(b.breaths, b.contact.get("impedance"), last=b.last) for b in batches]
        )

    @property
    def recorded_s(self) -> float:
        """Length of the recording, in seconds."""
        return self.recording.end_s

    @property
    def usable_s(self) -> dict[str, float]:
        """Seconds of each channel in which it could be used."""
        lost = {role: self.blocked(role).total_s for role in self.contact}
        return {role: max(self.recorded_s - lost_s, 0.0) for role, lost_s in lost.items()}

    def blocked(self, role: str) -> Spans:
        """Return the stretches in which a channel could not be used at all.

        Parameters
        ----------
        role : str
            "ecg", "ecg2" or "impedance".

        Raises
        ------
        ArgumentError
            If it was not recorded.
        """
        if role not in self.contact:
            raise ArgumentError(f"{role!r} was not recorded; use one of {', '.join(self.contact)}.")
        return self.contact[role].blocking

    @property
    def missing_roles(self) -> tuple[str, ...]:
        """Channels that were not recorded."""
        return tuple(role for role in ("ecg", "impedance") if role not in self.contact)

    @property
    def not_watched(self) -> dict[str, str]:
        """Kinds of condition that were not watched, and why, as `Monitor.not_watched`."""
        return self.plan.why_not_watched(self.latencies_s)

    @property
    def version(self) -> str:
        """Version of the library that made the review."""
        return library_version()

    def to_html(
        self,
        path: str | Path,
        *,
        identity: bool = False,
        least_hours: float = LEAST_HOURS,
        what_if: Iterable[Prescription] = (),
    ) -> None:
        """Write the review page: one HTML file that needs nothing else.

        Parameters
        ----------
        path : str or path-like
            Where to write; written whole or not at all.
        identity : bool
            True shows whose recording it is, as far as it is given: name, dates, who set the
            limits. Left out by default (see `without_identity`).
        least_hours : float
            Usable hours (h) that a day needs before the page calls it free of events; shown there.
        what_if : iterable of Prescription
            Other limits to try on the same findings, for the what-if table; none leaves it out.
            `variations` makes them.

        Raises
        ------
        ArgumentError
            If `least_hours` is not between 0 and 24 h.
        ArgumentError
            If the folder does not exist, or nothing can be written to it.
        """
        shown = self if identity else self.without_identity()
        tried = sweep(self.findings, what_if)
        write_review_page(shown, path, least_hours=least_hours, what_if=tried)

    def to_json(self, path: str | Path, *, identity: bool = False) -> None:
        """Write events, limits and recording facts as JSON, with the cautions in `notice`.

        Parameters
        ----------
        path : str or path
            Where to write; written whole or not at all.
        identity : bool
            True shows whose recording it is, as far as it is given.

        Raises
        ------
        ArgumentError
            If the folder does not exist, or nothing can be written to it.
        """
        write_json(self if identity else self.without_identity(), path)

    def without_identity(self) -> Review:
        """Return the review without anything that could tell whose it is.

        Left out: the recording's name and date (in the reader's notes too), the infant's label and
        date of birth, all about the prescriber, and of the decisions the readers' names, notes and
        dates. The age in weeks, channel names, times from the start, samples, findings and events
        stay.
        """
        name = self.recording.name
        return dataclasses.replace(
            self,
            recording=recording_without_identity(self.recording),
            plan=plan_without_identity(self.plan),
            recorded=self.recorded and recorded_without_identity(self.recorded, name),
            decisions=decisions_without_identity(self.decisions, name),
        )

    def plot(self, event: Event | RecordedEvent | int) -> Drawing:
        """Draw the strip of one event: signals, marks, rate, and when the alarm would sound.

        Parameters
        ----------
        event : Event, RecordedEvent or int
            One of `events`, or its number; or a recorded event.

        Returns
        -------
        Drawing
            Shows itself in a notebook; `save` writes it as SVG.

        Raises
        ------
        ArgumentError
            If the review has no such event, or a recorded one has no place in the recording.
        """
        if isinstance(event, RecordedEvent):
            return draw_recorded(self, event)
        return draw_event(self, event)

    def plot_night(self, day: int = 1) -> Drawing:
        """Draw a day of the recording: signal state, events, rates and pauses with their limits.

        Parameters
        ----------
        day : int
            1 for the first 24 h of the recording, and so on.

        Returns
        -------
        Drawing
            Shows itself in a notebook; `save` writes it as SVG.

        Raises
        ------
        ArgumentError
            If the recording has no such day.
        """
        return draw_day(self, day)

    def _repr_html_(self) -> str:
        """Show events by kind and the first day in a notebook."""
        return review_html(self)

    def __str__(self) -> str:
        return event_table_text(self.events)

    def __repr__(self) -> str:
        events = counted(len(self.events), "event")
        return f"Review({self.recording.name}: {events} in {self.recorded_s:g} s)"


def review(
    recording: Recording,
    plan: Prescription,
    *,
    recorded: RecordedEvents | None = None,
    margin_s: float = 2.0,
    decisions: Decisions | None = None,
    progress: Callable[[float], None] | None = None,
) -> Review:
    """Review a recording under a prescription.

    Parameters
    ----------
    recording : Recording
        Channels of one infant.
    plan : Prescription
        The limits in force.
    recorded : RecordedEvents or None
        Events that another device recorded, to be judged; `read_recorded` reads a list.
    margin_s : float
        How far their listed times may be off, in seconds.
    decisions : Decisions or None
        What readers decided before, to be shown beside; they are copied, none is changed.
    progress : callable or None
        Called with the share done, 0 to 1, after each block.

    Returns
    -------
    Review
        Events and findings. A channel that is not there is shown as not recorded.

    Raises
    ------
    ArgumentError
        If an argument is of another kind, or the margin is not between 0 and 600 s.

    Notes
    -----
    The recording is replayed in blocks of minutes through the same stages and rules as `Monitor`
    uses, so events equal those of a stream. Research software, not a medical device.

    Memory: all findings, a few a second, and a block of the samples; what is left of the impedance
    without the heart's pulsation is held up to 4 million samples, beyond that in a temporary file.
    Latency is that of the chain, by kind in `Review.latencies_s`.

    Examples
    --------
    >>> from infantmon.simulate import Pause, Scenario, simulate_night
    >>> scenario = Scenario(60.0, ecg_hz=125.0, impedance_hz=50.0, events=(Pause(20.0, 22.0),))
    >>> recording = simulate_night(scenario, seed=1).recording
    >>> reviewed = review(recording, Prescription(apnea={"limit_s": 20}))
    >>> [(event.kind, round(event.length_s), event.judgement) for event in reviewed.events]
    [('apnea', 22, 'supported')]
    """
    _require(recording, Recording, "recording")
    _require(plan, Prescription, "plan")
    margin_s = require_margin(margin_s)
    if recorded is not None:
        _require(recorded, RecordedEvents, "recorded")
    if decisions is not None:
        _require(decisions, Decisions, "decisions")
    findings, cleaned = find(recording, progress=progress)
    reviewed = _assembled(recording, plan, findings, cleaned)
    if decisions is not None:
        reviewed = dataclasses.replace(reviewed, decisions=Decisions(decisions))
    if recorded is None:
        return reviewed
    judged = judge_recorded(reviewed, recorded, margin_s=margin_s)
    return dataclasses.replace(reviewed, recorded=judged)


def _assembled(
    recording: Recording, plan: Prescription, findings: StoredFindings, cleaned: Signal | None
) -> Review:
    changes, watch = judge(findings, plan)
    events, excursions = fold(changes)
    whole = findings.whole
    return Review(
        recording=recording,
        plan=plan,
        events=events,
        excursions=excursions,
        changes=changes,
        r_peaks=whole.r_peaks,
        breaths=whole.breaths,
        heart_rate=_shown_rate(plan, findings.batches),
        pulsation=whole.pulsation,
        contact={role: found.spans(recording.end_s) for role, found in whole.contact.items()},
        cleaned=cleaned,
        findings=findings,
        latencies_s=watch.latencies_s,
    )


def _shown_rate(plan: Prescription, batches: Sequence[Batch]) -> HeartRates:
    """Return the heart rate as the prescription averages it, else over 8 intervals."""
    limit = plan.low_heart_rate or plan.high_heart_rate
    settings = HeartRateSettings(average_beats=SHOWN_AVERAGE_BEATS)
    if limit is not None:
        settings = HeartRateSettings(limit.average_beats, limit.average_s)
    stage = HeartRate(settings)
    return HeartRates.joined(
        [stage.push(each.r_peaks, each.contact.get("ecg"), last=each.last) for each in batches]
    )


def _require(value: object, kind: type, name: str) -> None:
    require_kind(value, kind, name=name, called=f"an infantmon.{kind.__name__}")
