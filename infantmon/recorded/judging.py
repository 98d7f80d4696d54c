"""Recorded events judged beside what the review of the same signals found."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass

from infantmon.errors import require_between, require_kind
from infantmon.events.case import DISTURBED_SHARE
from infantmon.model.event import DOUBTFUL, NOT_ASSESSABLE, SUPPORTED, Event, Evidence
from infantmon.model.prescription import KINDS
from infantmon.model.recording import ROLE_WORDS
from infantmon.recorded.cut_off import cut_off
from infantmon.recorded.event import RecordedEvent, RecordedEvents
from infantmon.recorded.listed import Listed
from infantmon.recorded.measures import Measures, measures_of
from infantmon.recorded.reviewed import Reviewed
from infantmon.recorded.small_swings import small_swings

NOT_FOUND = "not found"
"""Judgement of a recorded event beside which the review has no event of its kind."""
JUDGEMENTS = (SUPPORTED, DOUBTFUL, NOT_ASSESSABLE, NOT_FOUND)
BEST_FIRST = (SUPPORTED, NOT_ASSESSABLE, DOUBTFUL)
"""Of several events under one recorded event, the first of these counts."""
BREATHING = ("apnea", "periodic breathing")


@dataclass(frozen=True, slots=True)
class JudgedRecorded:
    """A recorded event and what the signals say of it.

    Attributes
    ----------
    recorded : RecordedEvent
        As listed.
    judgement : str
        "supported", "doubtful", "not assessable" or "not found".
    reasons : tuple of Evidence
        What speaks for and against it.
    measures : Measures or None
        Over the listed stretch; None where it has no place in the recording.
    events : tuple of Event
        Events of the review of the same kind that reach into it.
    """

    recorded: RecordedEvent
    judgement: str
    reasons: tuple[Evidence, ...]
    measures: Measures | None
    events: tuple[Event, ...]

    def __repr__(self) -> str:
        one = self.recorded
        where = f"{one.kind} from {one.onset_s:.1f} to {one.end_s:.1f} s"
        return f"JudgedRecorded(row {one.row}: {where}, {self.judgement})"


@dataclass(frozen=True)
class JudgedList:
    """All recorded events judged, and what was found beside them.

    Attributes
    ----------
    judged : tuple of JudgedRecorded
        In the order listed, without test periods.
    beside : tuple of Event
        Events of the review that no recorded event and no test period covers.
    tests : tuple of RecordedEvent
        Known-input test periods; they count nowhere.
    faults : tuple of str
        What is wrong with the list, by row.
    """

    judged: tuple[JudgedRecorded, ...]
    beside: tuple[Event, ...] = ()
    tests: tuple[RecordedEvent, ...] = ()
    faults: tuple[str, ...] = ()

    def __repr__(self) -> str:
        return f"JudgedList({self.sentence}; {len(self.beside)} events beside)"

    def __add__(self, other: JudgedList) -> JudgedList:
        return JudgedList(
            self.judged + other.judged,
            self.beside + other.beside,
            self.tests + other.tests,
            self.faults + other.faults,
        )

    @property
    def counts(self) -> dict[str, int]:
        """How many recorded events have each judgement."""
        found = Counter(one.judgement for one in self.judged)
        return {judgement: found[judgement] for judgement in JUDGEMENTS}

    @property
    def sentence(self) -> str:
        """The count in words: "of N recorded: ..."."""
        told = ", ".join(f"{count} {judgement}" for judgement, count in self.counts.items())
        return f"of {len(self.judged)} recorded: {told}"


def require_margin(margin_s: object) -> float:
    """Return how far listed times may be off, in seconds, or say what it must be."""
    return require_between(margin_s, 0.0, 600.0, name="margin_s", unit="s")


def judge_recorded(
    found: Reviewed, recorded: RecordedEvents, *, margin_s: float = 2.0
) -> JudgedList:
    """Judge an outside event list beside a review of the same signals.

    Parameters
    ----------
    found : Reviewed
        The review.
    recorded : RecordedEvents
        The list, its times counting in the review's recording.
    margin_s : float
        How far listed times may be off, in seconds: an event of the same kind that reaches into
        the listed stretch, widened by this, belongs to it (project's choice).

    Returns
    -------
    JudgedList
        Every row is in it: judged, or as a test period.

    Raises
    ------
    ArgumentError
        If the margin is not between 0 and 600 s.
    """
    require_kind(recorded, RecordedEvents, name="recorded", called="infantmon.RecordedEvents")
    margin_s = require_margin(margin_s)
    tests = tuple(event for event in recorded if event.test)
    judged = tuple(_judged(found, one, margin_s) for one in recorded if not one.test)
    taken = {event.number for one in judged for event in one.events}
    beside = tuple(
        event
        for event in found.events
        if event.number not in taken
        and not any(_reaches(event, Listed(t.kind, t.onset_s, t.end_s, margin_s)) for t in tests)
    )
    end_s = found.recording.end_s
    faults = recorded.faults + tuple(
        f"row {one.row}: {text}" for one in recorded if (text := _outside(one, end_s))
    )
    return JudgedList(judged, beside, tests, faults)


def _judged(found: Reviewed, one: RecordedEvent, margin_s: float) -> JudgedRecorded:
    end_s = found.recording.end_s
    outside = _outside(one, end_s)
    bad = [*one.faults, *([outside] if outside else [])]
    if one.kind not in KINDS or not math.isfinite(one.onset_s) or one.onset_s >= end_s:
        return _unplaced(one, bad)
    until_s = one.end_s if math.isfinite(one.end_s) else one.onset_s
    if until_s < max(one.onset_s, 0.0):
        return _unplaced(one, bad)
    whole = Listed(one.kind, one.onset_s, until_s, margin_s)
    events = tuple(e for e in found.events if e.kind == one.kind and _reaches(e, whole))
    roles = tuple(found.recording.channels)
    start_s, stop_s = max(one.onset_s, 0.0), min(max(until_s, one.onset_s + 1.0), end_s)
    measures = measures_of(found, start_s, stop_s, roles)
    told = tuple(Evidence(text, "beside") for text in bad)
    if events:
        best = next(j for j in BEST_FIRST if any(e.judgement == j for e in events))
        chosen = next(event for event in events if event.judgement == best)
        return JudgedRecorded(one, best, chosen.reasons + told, measures, events)
    listed = Listed(one.kind, start_s, stop_s, margin_s)
    why = _not_assessable(found, one.kind, measures)
    why = why or cut_off(found, listed) or small_swings(found, listed)
    if why:
        reasons = (Evidence(why, NOT_ASSESSABLE), *told)
        return JudgedRecorded(one, NOT_ASSESSABLE, reasons, measures, ())
    reasons = (Evidence(_seen_instead(one.kind, measures), "against"), *told)
    return JudgedRecorded(one, NOT_FOUND, reasons, measures, ())


def _unplaced(one: RecordedEvent, bad: list[str]) -> JudgedRecorded:
    reasons = tuple(Evidence(text, NOT_ASSESSABLE) for text in bad)
    return JudgedRecorded(one, NOT_ASSESSABLE, reasons, None, ())


def _outside(one: RecordedEvent, end_s: float) -> str:
    if one.onset_s >= end_s or one.onset_s < 0.0 or one.end_s > end_s:
        return f"it reaches outside the recording (0 to {end_s:g} s)"
    return ""


def _reaches(event: Event, listed: Listed) -> bool:
    return listed.is_reached(event.onset_s, math.inf if event.end_s is None else event.end_s)


def _not_assessable(found: Reviewed, kind: str, measures: Measures) -> str:
    """Say why nothing can be said of a recorded event without an event beside it, if so."""
    if kind in found.plan.not_watched:
        return f"no limit for {kind} is set, so it was not looked for"
    role = "impedance" if kind in BREATHING else "ecg"
    if kind in ("contact loss", "signal unusable"):
        return ""
    if role not in measures.unusable:
        return f"the {ROLE_WORDS[role]} it rests on was not recorded"
    for shares, word in (
        (measures.unusable, "could not be used"),
        (measures.disturbed, "was disturbed"),
    ):
        share = shares[role]
        if share >= DISTURBED_SHARE:
            return (
                f"no event found, but the {ROLE_WORDS[role]} {word} for {100 * share:.0f} % of it"
            )
    if kind in ("low heart rate", "high heart rate") and measures.lowest_bpm is None:
        return "no event found, but no heart rate is known in it"
    return ""


def _seen_instead(kind: str, measures: Measures) -> str:
    told = "no event of this kind found"
    if kind in BREATHING and measures.longest_pause_s is not None:
        return f"{told}; the longest pause was {measures.longest_pause_s:.1f} s"
    if kind in ("low heart rate", "high heart rate", "no heart beat") and measures.lowest_bpm:
        low, high = measures.lowest_bpm, measures.highest_bpm or measures.lowest_bpm
        return f"{told}; the heart rate was {low:.0f} to {high:.0f} a minute"
    return told
