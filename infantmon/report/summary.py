"""What the page says in numbers: hours recorded, usable and lost, and the events by kind."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from infantmon.model.channel import Channel
from infantmon.model.event import DOUBTFUL, NOT_ASSESSABLE, SUPPORTED, Event
from infantmon.model.prescription import KINDS, Prescription, kinds_in_order
from infantmon.model.recording import ROLE_WORDS, ROLES
from infantmon.model.spans import BLOCKING, Reason, Spans
from infantmon.report.cautions import BLIND_SPOT
from infantmon.report.reviewed import Reviewed
from infantmon.report.words import (
    hours_text,
    length_text,
    number_text,
    rule_text,
    share_text,
)

JUDGEMENTS = (SUPPORTED, DOUBTFUL, NOT_ASSESSABLE)
TECHNICAL = ("contact loss", "signal unusable")

_BASIS = {"apnea": "impedance", "periodic breathing": "impedance"}
"""The channel that a kind rests on; the heart's kinds rest on the ECG."""


@dataclass(frozen=True)
class Loss:
    """Time that could not be used, or only with care, for one reason."""

    reason: str
    count: int
    total_s: float


@dataclass(frozen=True)
class ChannelSummary:
    """What was recorded of one channel, and how much of it could be used."""

    role: str
    words: str
    name: str
    unit: str
    rate_hz: float
    recorded_s: float
    usable_s: float
    losses: tuple[Loss, ...]
    care: tuple[Loss, ...]

    @property
    def lost_s(self) -> float:
        """Not usable, in seconds."""
        return sum(loss.total_s for loss in self.losses)


@dataclass(frozen=True)
class KindSummary:
    """The events of one kind.

    Attributes
    ----------
    counts : tuple of int
        How many events there are of each judgement, in the order of `JUDGEMENTS`.
    longest, extreme, share : str
        Longest event, extreme rate, share of the usable time, in words. What is
        not of a supported event says so, and stands behind that of the supported ones.
    brief : int
        How many excursions ended before they went active.
    none_found : str
        What to say when there is no event: always with the usable hours and the blind spot.
    """

    kind: str
    counts: tuple[int, ...]
    longest: str
    extreme: str
    share: str
    brief: int
    none_found: str

    @property
    def total(self) -> int:
        """All events of the kind."""
        return sum(self.counts)


@dataclass(frozen=True)
class LimitRow:
    """One kind of condition: its limit in force, or that it is not watched."""

    kind: str
    limit: str
    latency: str
    watched: bool


def channel_summaries(reviewed: Reviewed) -> tuple[ChannelSummary, ...]:
    """Return one summary a channel that was recorded."""
    channels = reviewed.recording.channels
    return tuple(
        _channel(reviewed, role, channels[role])
        for role in ROLES
        if role in channels and channels[role].sample_count
    )


def _channel(reviewed: Reviewed, role: str, channel: Channel) -> ChannelSummary:
    spans = reviewed.contact.get(role)
    recorded_s = channel.sample_count / channel.rate_hz
    return ChannelSummary(
        role=role,
        words=ROLE_WORDS[role],
        name=channel.name,
        unit=channel.unit or "not known",
        rate_hz=channel.rate_hz,
        recorded_s=recorded_s,
        usable_s=reviewed.usable_s.get(role, math.nan),
        losses=() if spans is None else losses_of(spans.blocking),
        care=() if spans is None else losses_of(_not_blocking(spans)),
    )


def _not_blocking(spans: Spans) -> Spans:
    return spans.where((spans.reason & int(BLOCKING)) == 0)


def losses_of(spans: Spans) -> tuple[Loss, ...]:
    """Return the time for each reason, the largest first."""
    lengths = spans.end_s - spans.start_s
    losses = []
    for reason in np.unique(spans.reason):
        chosen = spans.reason == reason
        words = Reason(int(reason)).words or "no reason given"
        losses.append(Loss(words, int(np.count_nonzero(chosen)), float(lengths[chosen].sum())))
    return tuple(sorted(losses, key=lambda loss: -loss.total_s))


def kind_summaries(reviewed: Reviewed) -> tuple[KindSummary, ...]:
    """Return one summary a kind: all that are watched, and any other with events."""
    not_watched = reviewed.plan.not_watched
    watched = (kind for kind in KINDS if kind not in not_watched)
    kinds = kinds_in_order([*watched, *(event.kind for event in reviewed.events)])
    return tuple(_kind(reviewed, kind) for kind in kinds)


def _kind(reviewed: Reviewed, kind: str) -> KindSummary:
    events = [event for event in reviewed.events if event.kind == kind]
    lengths = [event_length_s(event, reviewed.recorded_s) for event in events]
    return KindSummary(
        kind=kind,
        counts=tuple(sum(event.judgement == which for event in events) for which in JUDGEMENTS),
        longest=_extreme(events, lengths, max, length_text) if events else "–",
        extreme=extreme_of(events),
        share=_share(reviewed, events, kind) if events else "–",
        brief=sum(excursion.kind == kind for excursion in reviewed.excursions),
        none_found="" if events else none_found_text(reviewed, kind),
    )


def event_length_s(event: Event, recorded_s: float) -> float:
    """Return the length of an event, one that is open up to the end of the recording."""
    return max((recorded_s if event.end_s is None else event.end_s) - event.onset_s, 0.0)


def extreme_of(events: Sequence[Event]) -> str:
    """Return the lowest and highest rate of some events of one kind."""
    lowest = [event for event in events if event.lowest_bpm is not None]
    highest = [event for event in events if event.highest_bpm is not None]
    kind = events[0].kind if events else ""
    shown = []
    if lowest and kind != "high heart rate":
        rates = [event.lowest_bpm or 0.0 for event in lowest]
        shown.append(f"lowest {_extreme(lowest, rates, min, _rate_text)}")
    if highest and kind != "low heart rate":
        rates = [event.highest_bpm or 0.0 for event in highest]
        shown.append(f"highest {_extreme(highest, rates, max, _rate_text)}")
    return ", ".join(shown) or "–"


def _rate_text(rate_bpm: float) -> str:
    return f"{number_text(rate_bpm)}/min"


def _extreme(
    events: Sequence[Event],
    values: Sequence[float],
    furthest: Callable[[Iterable[float]], float],
    worded: Callable[[float], str],
) -> str:
    """Return the extreme of the supported events' values, and of all if that goes further."""
    supported = [
        value for event, value in zip(events, values, strict=True) if event.judgement == SUPPORTED
    ]
    of_all = furthest(values)
    if supported and furthest(supported) == of_all:
        return worded(of_all)
    other = f"{worded(of_all)} {events[values.index(of_all)].judgement}"
    return f"{worded(furthest(supported))} ({other})" if supported else other


def basis_role(kind: str) -> str | None:
    """Return the channel that a kind rests on; None for technical kinds (they watch all)."""
    return None if kind in TECHNICAL else _BASIS.get(kind, "ecg")


def _share(reviewed: Reviewed, events: Sequence[Event], kind: str) -> str:
    """Return which share of the usable time lies in events of a kind: unusable time is in none."""
    role = basis_role(kind)
    length_s = sum(event_length_s(event, reviewed.recorded_s) for event in events)
    if role is None:
        return share_text(length_s, reviewed.recorded_s)
    spans = reviewed.contact.get(role)
    if spans is not None:
        for event in events:
            end_s = reviewed.recorded_s if event.end_s is None else event.end_s
            length_s -= spans.blocking.overlap_s(event.onset_s, end_s)
    return share_text(max(length_s, 0.0), reviewed.usable_s.get(role, 0.0))


def none_found_text(reviewed: Reviewed, kind: str) -> str:
    """Return what to say where a watched kind has no event."""
    role = basis_role(kind)
    if role is None:
        return f"none found in {hours_text(reviewed.recorded_s)} recorded"
    if role in reviewed.missing_roles:
        return f"could not be looked for: {ROLE_WORDS[role]} was not recorded"
    usable_s = reviewed.usable_s.get(role, 0.0)
    if not usable_s > 0.0:
        return f"could not be looked for: no {ROLE_WORDS[role]} could be used"
    text = f"none found in {hours_text(usable_s)} of usable {ROLE_WORDS[role]}"
    return f"{text}; {BLIND_SPOT}" if role == "impedance" else text


def limit_rows(plan: Prescription, latencies_s: Mapping[str, float]) -> tuple[LimitRow, ...]:
    """Return one row a kind: the limit in force and the stated delay, or "not watched"."""
    return tuple(_limit_row(plan, latencies_s, kind) for kind in KINDS)


def _limit_row(plan: Prescription, latencies_s: Mapping[str, float], kind: str) -> LimitRow:
    if kind in plan.not_watched:
        return LimitRow(kind, "not watched", "–", watched=False)
    field = "contact_loss" if kind in TECHNICAL else kind.replace(" ", "_")
    table = getattr(plan, field)
    delay = latencies_s.get(kind)
    return LimitRow(
        kind,
        rule_text(table.model_dump()),
        "–" if delay is None else f"{delay:.1f} s",
        watched=True,
    )


def weight_of(event: Event, reviewed: Reviewed) -> tuple[bool, int, float, float]:
    """Return the key that puts the events to look at first in front.

    Breathing and heart before the technical kinds, supported before doubtful before not assessable,
    then the furthest beyond its limit. The key only orders the strips; it judges nothing.
    """
    rank = JUDGEMENTS.index(event.judgement) if event.judgement in JUDGEMENTS else len(JUDGEMENTS)
    return event.kind in TECHNICAL, rank, -beyond_limit(event, reviewed), event.onset_s


def beyond_limit(event: Event, reviewed: Reviewed) -> float:
    """Return how far an event goes beyond its limit, as a ratio.

    The length over the limit for pauses, the limit against the extreme for rates.
    """
    plan = reviewed.plan
    low, high = plan.low_heart_rate, plan.high_heart_rate
    if event.kind == "low heart rate" and low is not None and event.lowest_bpm is not None:
        return low.limit_bpm / max(event.lowest_bpm, 1.0)
    if event.kind == "high heart rate" and high is not None and event.highest_bpm is not None:
        return event.highest_bpm / high.limit_bpm
    return event_length_s(event, reviewed.recorded_s) / _length_limit_s(event, reviewed)


def _length_limit_s(event: Event, reviewed: Reviewed) -> float:
    plan = reviewed.plan
    limits = {
        "apnea": plan.apnea.limit_s if plan.apnea else None,
        "no heart beat": plan.no_heart_beat.limit_s if plan.no_heart_beat else None,
    }
    periodic = plan.periodic_breathing
    if event.kind == "periodic breathing" and periodic is not None:
        return periodic.count * periodic.pause_s
    return limits.get(event.kind) or 60.0
