"""The stages wired: samples of all channels in, findings up to a common time out.

The chain keeps what one channel is ahead of the slowest, so that every stage sees the channels in
step; findings are equal however the channels are cut and interleaved.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import ClassVar, NamedTuple

import numpy as np

from infantmon.effort import EffortStages
from infantmon.errors import ArgumentError, require_text
from infantmon.events.batch import Batch, Latencies
from infantmon.events.probable_apneas import LEAST
from infantmon.inbox import Inbox
from infantmon.model.arrays import NO_FLOATS, Floats
from infantmon.model.carried import Carried, CarriedSet, record
from infantmon.model.channel import Channel
from infantmon.model.clock import Clock
from infantmon.model.marks import ApneaProbabilities, Breaths, Pulsations, RPeaks
from infantmon.model.recording import ROLES, Recording
from infantmon.model.signal import Signal
from infantmon.model.spans import ContactMarks
from infantmon.stages.apnea_probability import ApneaProbability, ApneaProbabilitySettings
from infantmon.stages.contact import ContactDetector, ContactSettings
from infantmon.stages.r_peaks import RPeakDetector, RPeakSettings

BLOCK_S = 300.0
"""Replay in blocks of this length: long enough for vectors, short enough for memory."""
AHEAD_S = 600.0
"""How far one channel may run ahead of another before a push is refused, in seconds."""


@record
@dataclass(frozen=True, slots=True)
class ChannelSetting:
    """What the chain has to know of a channel: its rate (Hz) and unit.

    Raises
    ------
    ArgumentError
        If the unit is no text.
    """

    rate_hz: float
    unit: str | None = None

    def __post_init__(self) -> None:
        if self.unit is not None:
            require_text(self.unit, name="unit")


class SignalChain(Carried):
    """All stages for the channels that are there.

    Parameters
    ----------
    channels : mapping of str to ChannelSetting
        By role: "ecg", "ecg2", "impedance"; at least one.

    Raises
    ------
    ArgumentError
        If no channel is given, a role is unknown, or a rate cannot be used.

    Notes
    -----
    Without ECG the pulsation is taken out only where the heart can be followed in the impedance
    (`Pulsations.followed`).
    """

    carried: ClassVar[tuple[str, ...]] = ("_inboxes", "_hearts", "_chests", "_reached_s")

    def __init__(self, channels: Mapping[str, ChannelSetting]) -> None:
        unknown = sorted(set(channels) - set(ROLES))
        if unknown or not channels:
            raise ArgumentError(
                f"the channels are {sorted(channels)}; give a rate for some of {', '.join(ROLES)}."
            )
        self.channels = {role: channels[role] for role in ROLES if role in channels}
        self._inboxes = CarriedSet(
            {role: Inbox(Clock(channel.rate_hz)) for role, channel in self.channels.items()}
        )
        ecg, ecg2, chest = (self.channels.get(role) for role in ROLES)
        leads = {"ecg": ecg, "ecg2": ecg2}
        self._hearts: CarriedSet[HeartStages] = CarriedSet(
            {role: _heart(role, lead) for role, lead in leads.items() if lead is not None}
        )
        lag_s = self._hearts["ecg"].beats.latency_s if "ecg" in self._hearts else None
        with _naming("impedance"):
            chests = {} if chest is None else {"impedance": ChestStages(chest, lag_s)}
        self._chests: CarriedSet[ChestStages] = CarriedSet(chests)
        self._reached_s = -math.inf

    @property
    def reached_s(self) -> float:
        """Stream time that every channel has reached, in seconds."""
        return self._reached_s

    @property
    def latencies(self) -> Latencies:
        """How far behind the input findings may be known."""
        hearts, chests = list(self._hearts.values()), list(self._chests.values())
        return Latencies(
            beats_s=max((heart.beats.latency_s for heart in hearts), default=0.0),
            breaths_s=max((chest.effort.breaths.latency_s for chest in chests), default=0.0),
            contact_s=max(
                *(heart.contact.latency_s for heart in hearts),
                *(chest.contact.latency_s for chest in chests),
                0.0,
                0.0,
            ),
        )

    @property
    def latency_budget_s(self) -> dict[str, float]:
        """Stated worst-case delay of each stage behind the raw samples, in seconds.

        Keys name channel and stage, in the order of the signal's way.
        """
        budget: dict[str, float] = {}
        for role, heart in self._hearts.items():
            budget[f"{role} contact"] = heart.contact.latency_s
            budget[f"{role} R peaks"] = heart.beats.latency_s
        for role, chest in self._chests.items():
            budget[f"{role} contact"] = chest.contact.latency_s
            budget[f"{role} band-pass"] = chest.effort.bandpass.latency_s
            budget[f"{role} pulsation taken out"] = chest.effort.rejector.latency_s
            budget[f"{role} breaths"] = chest.effort.breaths.latency_s
            budget[f"{role} second opinion"] = chest.opinion.latency_s
        return budget

    @property
    def channel_reached_s(self) -> dict[str, float]:
        """Stream time that each channel has reached, in seconds."""
        return {role: inbox.reached_s for role, inbox in self._inboxes.items()}

    def require_room(self, seconds_more: Mapping[str, float], ahead_s: float) -> None:
        """Refuse samples that would bring one channel too far ahead of another.

        Raises
        ------
        ArgumentError
            Naming both channels, before anything has been taken.
        """
        ends = {r: i.ended_s + seconds_more.get(r, 0.0) for r, i in self._inboxes.items()}
        first, last = min(ends, key=ends.__getitem__), max(ends, key=ends.__getitem__)
        if ends[last] - ends[first] > ahead_s + 1e-9:
            raise ArgumentError(
                f"{last} would be {ends[last] - ends[first]:.1f} s ahead of {first}; the limit is "
                f"{ahead_s:g} s. Push {first}, or tell its loss with gap({first!r}, until_s=...); "
                f"where both are lost for longer, tell it in turns of {ahead_s:g} s."
            )

    def inbox(self, role: str) -> Inbox:
        """Return what has arrived of one channel.

        Raises
        ------
        ArgumentError
            If the chain was made without that channel.
        """
        if not isinstance(role, str) or role not in self._inboxes:
            raise ArgumentError(
                f"channel {role!r} is not one of {', '.join(self._inboxes)}; "
                "give its rate from the start to use it."
            )
        return self._inboxes[role]

    def advance(self, *, last: bool = False, stops_s: Sequence[float] = ()) -> Iterator[Batch]:
        """Yield batches of findings up to the time that every channel has reached now.

        One batch ends at each of the times `stops_s` (in seconds) on the way.
        """
        inboxes = list(self._inboxes.values())
        if last:
            end_s = max(inbox.ended_s for inbox in inboxes)
            for inbox in inboxes:
                inbox.put_missing_until(end_s)
        reached = [inbox.reached_s for inbox in inboxes]
        goal_s = max(reached) if last else min(reached)
        stops = [stop_s for stop_s in sorted(stops_s) if self._reached_s < stop_s < goal_s]
        while (step_s := max(self._reached_s, 0.0) + BLOCK_S) < goal_s or stops:
            yield self._step(min([step_s, *stops]), last=False)
            stops = [stop_s for stop_s in stops if stop_s > self._reached_s]
        if last or goal_s > self._reached_s:
            yield self._step(goal_s, last=last)

    def _step(self, until_s: float, *, last: bool) -> Batch:
        runs = {role: inbox.take_until(until_s) for role, inbox in self._inboxes.items()}
        self._reached_s = max(until_s, self._reached_s)
        contact: dict[str, ContactMarks] = {}
        beats = {"ecg": RPeaks.empty(), "ecg2": RPeaks.empty()}
        chests = ChestFindings.none()
        for role, heart in self._hearts.items():
            contact[role], beats[role] = heart.push(runs[role], last=last)
        for role, chest in self._chests.items():
            led = beats["ecg"] if "ecg" in self._hearts else None
            chests = chest.push(runs[role], led, last=last)
            contact[role] = chests.contact
        return Batch(
            r_peaks=beats["ecg"],
            breaths=chests.breaths,
            pulsation=chests.pulsation,
            second_beats=beats["ecg2"],
            contact=contact,
            reached_s=max(self._reached_s, 0.0),
            last=last,
            effort=chests.effort,
            apnea_probability=chests.apnea_probability,
        )


class HeartStages(Carried):
    """Contact and R peaks of one ECG lead."""

    carried: ClassVar[tuple[str, ...]] = ("contact", "beats")

    def __init__(self, channel: ChannelSetting) -> None:
        self.contact = ContactDetector(ContactSettings.for_ecg(channel.rate_hz, channel.unit))
        self.beats = RPeakDetector(RPeakSettings(channel.rate_hz, unit=channel.unit))

    def push(self, runs: list[tuple[Floats, bool]], *, last: bool) -> tuple[ContactMarks, RPeaks]:
        """Return what a run of samples gives."""
        contact = _push_contact(self.contact, runs, last=last)
        return contact, self.beats.push(_values(runs), last=last)


class ChestFindings(NamedTuple):
    """What the stages of the impedance give."""

    contact: ContactMarks
    pulsation: Pulsations
    breaths: Breaths
    effort: Signal | None
    apnea_probability: ApneaProbabilities

    @classmethod
    def none(cls) -> ChestFindings:
        """Return the findings where there is no impedance."""
        marks = ContactMarks.empty()
        return cls(marks, Pulsations.empty(), Breaths.empty(), None, ApneaProbabilities.empty())


class ChestStages(Carried):
    """Contact of the impedance, breath effort, and a second opinion on apnea."""

    carried: ClassVar[tuple[str, ...]] = ("contact", "effort", "opinion")

    def __init__(self, channel: ChannelSetting, beat_lag_s: float | None) -> None:
        rate_hz, led = channel.rate_hz, beat_lag_s is not None
        self.contact = ContactDetector(ContactSettings.for_impedance(rate_hz, channel.unit))
        self.effort = EffortStages(rate_hz, beat_lag_s)
        self.opinion = ApneaProbability(
            ApneaProbabilitySettings(rate_hz, beat_lag_s or 0.0, led_by_beats=led)
        )

    def push(
        self, runs: list[tuple[Floats, bool]], beats: RPeaks | None, *, last: bool
    ) -> ChestFindings:
        """Return what a run of samples gives, led by new heart beats where there are any."""
        contact = _push_contact(self.contact, runs, last=last)
        values = _values(runs)
        cleaned, breaths = self.effort.push(values, beats, last=last)
        probability = _telling(self.opinion.push(values, beats, last=last))
        return ChestFindings(contact, cleaned.pulsation, breaths, cleaned.signal, probability)


def _telling(found: ApneaProbabilities) -> ApneaProbabilities:
    """Keep what says more than that the infant breathes: four rows a second would fill memory."""
    return found.where(~(found.probability <= LEAST))


def _values(runs: list[tuple[Floats, bool]]) -> Floats:
    if len(runs) == 1:
        return runs[0][0]
    return np.concatenate([values for values, _ in runs]) if runs else NO_FLOATS


def _push_contact(
    stage: ContactDetector, runs: list[tuple[Floats, bool]], *, last: bool
) -> ContactMarks:
    parts = [stage.push(values, missing=missing) for values, missing in runs]
    if last:
        parts.append(stage.push(NO_FLOATS, last=True))
    return ContactMarks.joined(parts)


def settings_of(recording: Recording) -> dict[str, ChannelSetting]:
    """Return rate and unit of each channel of a recording that holds samples."""
    channels = {"ecg": recording.ecg, "ecg2": recording.ecg2, "impedance": recording.impedance}
    return {r: ChannelSetting(c.rate_hz, c.unit) for r, c in channels.items() if c is not None}


def replay(
    recording: Recording, chain: SignalChain, *, from_s: float = 0.0, until_s: float = math.inf
) -> Iterator[Batch]:
    """Feed a recording, or the next piece of it, to a chain in blocks; holes are told as holes.

    A chain that was fed up to `from_s` (s) goes on there; the last piece ends the stream.
    """
    end_s = recording.end_s
    at_s = from_s + BLOCK_S
    while at_s < end_s and at_s <= until_s:
        for role in chain.channels:
            _put_until(chain.inbox(role), recording.channels[role], at_s)
        yield from chain.advance()
        at_s += BLOCK_S
    if until_s < end_s:
        return
    for role in chain.channels:
        _put_until(chain.inbox(role), recording.channels[role], math.inf)
    yield from chain.advance(last=True)


def _put_until(inbox: Inbox, channel: Channel, until_s: float) -> None:
    """Put the samples of one channel before `until_s`, with the holes between them."""
    until = inbox.clock.first_tick_from(until_s) if until_s < math.inf else channel.end_tick
    for segment in channel.segments:
        if segment.first_tick >= until:
            break
        inbox.put_missing(min(segment.first_tick, until))
        first, last = max(inbox.arrived, segment.first_tick), min(until, segment.end_tick)
        if first < last:
            inbox.put(segment.read(first, last))
    if until_s < math.inf:
        inbox.put_missing(until)


def _heart(role: str, lead: ChannelSetting) -> HeartStages:
    with _naming(role):
        return HeartStages(lead)


@contextmanager
def _naming(role: str) -> Iterator[None]:
    """Say which channel it is that a stage refuses."""
    try:
        yield
    except ArgumentError as fault:
        raise ArgumentError(f"{role}: {fault}") from fault
