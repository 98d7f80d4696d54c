"""A recorded event: what another device listed, row by row, and what is wrong with a row."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, overload

from infantmon.errors import ArgumentError, require_each
from infantmon.model.counting import counted
from infantmon.model.prescription import KINDS

TEST = "test"
"""Kind of a known-input test period: no infant was connected, so it counts nowhere."""
TRADE_WORDS = {
    "apnoea": "apnea",
    "central apnea": "apnea",
    "bradycardia": "low heart rate",
    "tachycardia": "high heart rate",
    "asystole": "no heart beat",
    "loose lead": "contact loss",
}
"""Trade terms that mean one of the library's kinds (common practice)."""


@dataclass(frozen=True, slots=True)
class RecordedEvent:
    """One row of an outside event list.

    Attributes
    ----------
    row : int
        Its place in the list, from 1; rows are named by it.
    onset_s, end_s : float
        As listed, in seconds from the recording's start; NaN where the list has no number.
    kind : str
        A kind of the library where the list's word is known, else the word as listed.
    recording : str
        The excerpt that the times count in; empty where there is one recording.
    test : bool
        True for a known-input test period, which counts nowhere.
    faults : tuple of str
        What is wrong with the row, in words.
    """

    row: int
    onset_s: float
    end_s: float
    kind: str
    recording: str = ""
    test: bool = False
    faults: tuple[str, ...] = ()

    @property
    def length_s(self) -> float:
        """From onset to end, in seconds; NaN where one of them is not known."""
        return self.end_s - self.onset_s


class RecordedEvents(Sequence[RecordedEvent]):
    """An outside event list: every row is kept, in the order listed.

    Parameters
    ----------
    events : iterable of RecordedEvent
        The rows.

    Raises
    ------
    ArgumentError
        If they are no recorded events.
    """

    def __init__(self, events: Iterable[RecordedEvent] = ()) -> None:
        self._events = require_each(
            events,
            RecordedEvent,
            name="events",
            called="what read_recorded or recorded_events gives",
        )

    @overload
    def __getitem__(self, index: int) -> RecordedEvent: ...
    @overload
    def __getitem__(self, index: slice) -> RecordedEvents: ...
    def __getitem__(self, index: int | slice) -> RecordedEvent | RecordedEvents:
        """Return one row, or a part of the list."""
        if isinstance(index, slice):
            return RecordedEvents(self._events[index])
        return self._events[index]

    def __len__(self) -> int:
        return len(self._events)

    def __repr__(self) -> str:
        return f"RecordedEvents({counted(len(self), 'row')})"

    def __iter__(self) -> Iterator[RecordedEvent]:
        return iter(self._events)

    def of_recording(self, name: str) -> RecordedEvents:
        """Return the rows whose times count in one excerpt.

        Parameters
        ----------
        name : str
            The excerpt, as the list names it.
        """
        return RecordedEvents(event for event in self._events if event.recording == name)

    @property
    def faults(self) -> tuple[str, ...]:
        """What is wrong with the list, by row, in words."""
        return tuple(f"row {e.row}: {fault}" for e in self._events for fault in e.faults)


def recorded_events(
    rows: Iterable[tuple[float, float, str, str, bool]],
) -> RecordedEvents:
    """Return rows as recorded events, each with what is wrong with it.

    Parameters
    ----------
    rows : iterable of (float, float, str, str, bool)
        Onset and end in seconds (NaN where not given), kind, excerpt, and whether it is a
        known-input test period.

    Raises
    ------
    ArgumentError
        If a row does not hold these five.

    Notes
    -----
    A row that is out of order, overlaps an earlier one of its kind, has no end, or has an unknown
    kind is kept and told: nothing is lost.
    """
    events: list[RecordedEvent] = []
    for row, told in enumerate(require_each(rows, tuple, name="rows", called=_ROW), start=1):
        onset_s, end_s, word, recording, test = _cells(row, told)
        name = word.strip().lower()
        kind = TRADE_WORDS.get(name, name)
        before = [e for e in events if e.recording == recording and not e.test]
        faults = _faults(onset_s, end_s, kind, before) if not (test or kind == TEST) else ()
        events.append(
            RecordedEvent(row, onset_s, end_s, kind, recording, test or kind == TEST, faults)
        )
    return RecordedEvents(events)


_ROW = "tuples of onset_s, end_s, kind, recording and whether it is a test"


def _cells(row: int, told: tuple[Any, ...]) -> tuple[float, float, str, str, bool]:
    try:
        onset_s, end_s, word, recording, test = told
        return float(onset_s), float(end_s), word.strip(), str(recording), bool(test)
    except (AttributeError, TypeError, ValueError) as fault:
        raise ArgumentError(f"row {row} is {told!r}; pass {_ROW}.") from fault


def _faults(
    onset_s: float, end_s: float, kind: str, before: Sequence[RecordedEvent]
) -> tuple[str, ...]:
    found: list[str] = []
    if kind not in KINDS:
        found.append(f"the kind {kind!r} is not known; known are {', '.join(KINDS)}")
    if not math.isfinite(onset_s):
        return (*found, "no onset is given")
    if not math.isfinite(end_s):
        found.append("no end is given; only its onset is looked at")
    elif end_s < onset_s:
        found.append(f"it ends at {end_s:g} s, before its onset at {onset_s:g} s")
    earlier = [e for e in before if math.isfinite(e.onset_s)]
    if earlier and onset_s < earlier[-1].onset_s:
        found.append(f"out of order: it begins before row {earlier[-1].row}")
    same = (other for other in earlier if other.kind == kind)
    over = (other for other in same if onset_s < other.end_s and end_s > other.onset_s)
    return (*found, *(f"it overlaps row {other.row}" for other in over))
