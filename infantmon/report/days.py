"""Hours recorded, usable and lost by day, and which days are free of events."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from infantmon.errors import require_between
from infantmon.model.counting import counted
from infantmon.model.event import Event
from infantmon.model.prescription import KINDS, kinds_in_order
from infantmon.model.recording import ROLE_WORDS, ROLES
from infantmon.model.spans import Reason, Spans
from infantmon.report.reviewed import Reviewed
from infantmon.report.summary import TECHNICAL, basis_role, event_length_s
from infantmon.report.words import hours_text, length_text

DAY_S = 86400.0
"""A day of a recording: 24 h counted from its start, or what is left of them."""
LEAST_HOURS = 10.0
"""With fewer usable hours a day is not called free of events (the project's own choice)."""

EVENT_FREE, WITH_EVENTS, NOT_ENOUGH = "free of events", "with events", "not enough recorded"


@dataclass(frozen=True)
class DayChannel:
    """What one day gave of one channel: usable and lost time in seconds, and why it was lost."""

    words: str
    usable_s: float
    lost_s: float
    reasons: str


@dataclass(frozen=True)
class DayRow:
    """One day of a recording.

    Attributes
    ----------
    number : int
        1 for the first 24 h of the recording.
    start_s, end_s : float
        The day, in seconds of the recording.
    channels : tuple of DayChannel
        Hours by channel.
    kinds : tuple of (str, int)
        Kinds of which an event lay in the day, and how many.
    verdict : str
        "free of events", "with events" or "not enough recorded".
    """

    number: int
    start_s: float
    end_s: float
    channels: tuple[DayChannel, ...]
    kinds: tuple[tuple[str, int], ...]
    verdict: str


@dataclass(frozen=True)
class Days:
    """The days of a recording, and how many of them are free of events.

    `least_hours` is the setting behind it; `watched` are the kinds that are looked at.
    """

    rows: tuple[DayRow, ...]
    least_hours: float
    watched: tuple[str, ...]

    def count(self, verdict: str) -> int:
        """Return how many days have a verdict."""
        return sum(row.verdict == verdict for row in self.rows)

    @property
    def sentence(self) -> str:
        """The counts in words."""
        counts = ((self.count(which), which) for which in (EVENT_FREE, WITH_EVENTS, NOT_ENOUGH))
        parts = [f"{number} {which}" for number, which in counts if number]
        return f"Of {counted(len(self.rows), 'day')}: {', '.join(parts)}"


def day_ends(recorded_s: float) -> list[tuple[float, float]]:
    """Return start and end of each day of a recording, in seconds; the last may be shorter."""
    count = max(math.ceil(recorded_s / DAY_S - 1e-9), 1)
    return [(i * DAY_S, min((i + 1) * DAY_S, recorded_s)) for i in range(count)]


def days_of(reviewed: Reviewed, least_hours: float = LEAST_HOURS) -> Days:
    """Return the days of a recording.

    Parameters
    ----------
    reviewed : Reviewed
        What to look at.
    least_hours : float
        Usable hours that every channel behind a watched breathing or heart kind must have before
        a day without such an event is called free of events.

    Raises
    ------
    ArgumentError
        If `least_hours` is not between 0 and 24 h.
    """
    require_between(least_hours, 0.0, 24.0, name="least_hours", unit="h")
    not_counted = {*TECHNICAL, *reviewed.plan.not_watched}
    watched = tuple(kind for kind in KINDS if kind not in not_counted)
    rows = [
        _row(reviewed, number, ends, watched, least_hours)
        for number, ends in enumerate(day_ends(reviewed.recorded_s), start=1)
    ]
    return Days(tuple(rows), least_hours, watched)


def _row(
    reviewed: Reviewed,
    number: int,
    ends: tuple[float, float],
    watched: Sequence[str],
    least_hours: float,
) -> DayRow:
    inside = [event for event in reviewed.events if _touches(event, reviewed.recorded_s, ends)]
    kinds = Counter(event.kind for event in inside)
    usable = {role: _usable_s(reviewed, role, ends) for role in reviewed.contact}
    bases = {basis_role(kind) or "" for kind in watched}
    enough = bool(watched) and all(
        usable.get(role, 0.0) >= least_hours * 3600.0 - 1e-6 for role in bases
    )
    found = any(event.kind not in TECHNICAL for event in inside)
    verdict = WITH_EVENTS if found else EVENT_FREE if enough else NOT_ENOUGH
    channels = tuple(
        _channel(reviewed, role, ends, usable[role]) for role in ROLES if role in usable
    )
    return DayRow(
        number,
        *ends,
        channels,
        tuple((kind, kinds[kind]) for kind in kinds_in_order(kinds)),
        verdict,
    )


def _touches(event: Event, recorded_s: float, ends: tuple[float, float]) -> bool:
    end_s = event.onset_s + event_length_s(event, recorded_s)
    begins = ends[0] <= event.onset_s < ends[1]
    return begins or (event.onset_s < ends[0] < end_s)


def _usable_s(reviewed: Reviewed, role: str, ends: tuple[float, float]) -> float:
    lost_s = reviewed.contact[role].blocking.overlap_s(*ends)
    return max(ends[1] - ends[0] - lost_s, 0.0)


def _channel(
    reviewed: Reviewed, role: str, ends: tuple[float, float], usable_s: float
) -> DayChannel:
    spans = reviewed.contact[role].blocking
    reasons = ", ".join(
        f"{Reason(int(why)).words} {length_text(lost_s)}"
        for why, lost_s in _lost_by_reason(spans, ends)
    )
    lost_s = ends[1] - ends[0] - usable_s
    return DayChannel(ROLE_WORDS.get(role, role), usable_s, lost_s, reasons)


def _lost_by_reason(spans: Spans, ends: tuple[float, float]) -> list[tuple[int, float]]:
    lost_s = {
        int(why): spans.where(spans.reason == why).overlap_s(*ends)
        for why in np.unique(spans.reason)
    }
    found = [(why, seconds) for why, seconds in lost_s.items() if seconds > 0.0]
    return sorted(found, key=lambda one: -one[1])


def event_free_text(days: Days) -> str:
    """Say how many days are free of events, with the setting and the kinds behind it."""
    if not days.watched:
        return "No breathing or heart condition is watched, so no day can be free of events."
    return (
        f"{days.sentence}. A day is 24 h from the start of the recording. It is free of events "
        f"where none of {', '.join(days.watched)} lies in it, whatever its judgement, and each "
        f"channel behind them was usable for {hours_text(days.least_hours * 3600.0)} or more "
        "(a setting); with less and no event it is not enough recorded."
    )
