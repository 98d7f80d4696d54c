"""The event list, folded from alarm-condition changes.

In come the changes that a monitor or review gave, in order; out come the events as they stand at
last, and the excursions that never went active.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, overload

from infantmon.errors import ArgumentError, require_each
from infantmon.model.counting import counted
from infantmon.model.display import notebook_html
from infantmon.model.event import Change, Event, Excursion
from infantmon.model.prescription import KINDS

if TYPE_CHECKING:
    import pandas as pd

_COLUMN_KINDS = {
    "number": "int64",
    "assessable": "bool",
    "limits": "object",
    "linked": "object",
    **dict.fromkeys(("kind", "judgement", "reasons", "unusable"), "str"),
}
"""Kinds of the columns of `to_frame`; all others are numbers that may be missing."""


class EventLog(Sequence[Event]):
    """Events in the order of going active.

    Parameters
    ----------
    events : iterable of Event
        The events as they stand at last.

    Raises
    ------
    ArgumentError
        If they are no events.

    Examples
    --------
    >>> log = EventLog([Event(1, "apnea", 20.0, 40.0, 45.0), Event(2, "contact loss", 60.0, 65.0)])
    >>> [event.length_s for event in log.of_kind("apnea")]
    [25.0]
    >>> list(log.to_frame()["kind"])
    ['apnea', 'contact loss']
    """

    def __init__(self, events: Iterable[Event] = ()) -> None:
        self._events = require_each(events, Event, name="events", called="infantmon.Event objects")

    @overload
    def __getitem__(self, index: int) -> Event: ...
    @overload
    def __getitem__(self, index: slice) -> EventLog: ...
    def __getitem__(self, index: int | slice) -> Event | EventLog:
        """Return one event, or a part of the list."""
        if isinstance(index, slice):
            return EventLog(self._events[index])
        return self._events[index]

    def __len__(self) -> int:
        return len(self._events)

    def __iter__(self) -> Iterator[Event]:
        return iter(self._events)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, EventLog) and self._events == other._events

    def __hash__(self) -> int:
        return hash(tuple(event.number for event in self._events))

    def of_kind(self, kind: str) -> EventLog:
        """Return the events of one kind.

        Parameters
        ----------
        kind : str
            One of `infantmon.model.prescription.KINDS`, "apnea" for one.

        Raises
        ------
        ArgumentError
            If there is no such kind: a misspelt one must not look like "none found".
        """
        if kind not in KINDS:
            raise ArgumentError(f"there is no kind {kind!r}; use one of {', '.join(KINDS)}.")
        return EventLog(event for event in self._events if event.kind == kind)

    def to_frame(self) -> pd.DataFrame:
        """Return a pandas table, one row an event, times in seconds.

        A column has the same type in every table, an empty one too: what is None is NaN where
        numbers stand. `limits` and `linked` hold objects.
        """
        import pandas as pd  # noqa: PLC0415 - heavy; loaded only for who asks for a table

        names = [f.name for f in dataclasses.fields(Event)]
        rows = [
            {name: getattr(event, name) for name in names}
            | {
                "length_s": event.length_s,
                "assessable": event.assessable,
                "reasons": "; ".join(map(str, event.reasons)),
                "unusable": "; ".join(
                    f"{s.start_s:.2f} to {s.end_s:.2f} s: {s.reason}" for s in event.unusable
                ),
            }
            for event in self._events
        ]
        frame = pd.DataFrame(rows, columns=[*names, "length_s", "assessable"])
        return frame.astype({name: _COLUMN_KINDS.get(name, "float64") for name in frame.columns})

    def _repr_html_(self) -> str:
        """Show a small table, and when the events were, in a notebook."""
        return notebook_html("events", self)

    def __repr__(self) -> str:
        return f"EventLog({counted(len(self._events), 'event')})"


def fold(changes: Iterable[Change]) -> tuple[EventLog, tuple[Excursion, ...]]:
    """Fold changes into the events as they stand at last, and the excursions that went no further.

    Parameters
    ----------
    changes : iterable of Change
        In the order in which a monitor or review gave them.
    """
    events: dict[int, Event] = {}
    excursions: list[Excursion] = []
    for change in changes:
        if change.event is not None:
            events[change.event.number] = change.event
        if change.excursion is not None:
            excursions.append(change.excursion)
    return EventLog(events[number] for number in sorted(events)), tuple(excursions)
