"""Stored events with the waveform around each, and what was overwritten: what a recorder gives."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from infantmon.model.arrays import Floats
from infantmon.model.carried import record
from infantmon.model.counting import counted
from infantmon.model.event import Event

MOST_LISTED = 10_000
"""So many overwritten events are listed one by one; the tallies by kind go on for ever."""


@record
@dataclass(frozen=True, eq=False)
class Waveform:
    """Samples of one channel around an event.

    Attributes
    ----------
    rate_hz : float
        Samples a second.
    first_sample : int
        Number of the first sample on the channel's own clock.
    values : numpy.ndarray, shape (n,)
        The samples, in the channel's unit; NaN where nothing was recorded.
    """

    rate_hz: float
    first_sample: int
    values: Floats

    def __repr__(self) -> str:
        told = f"{len(self.values)} samples at {self.rate_hz:g} Hz from {self.start_s:.1f} s"
        return f"Waveform({told})"

    @property
    def start_s(self) -> float:
        """Time of the first sample, in seconds from the recording's start."""
        return self.first_sample / self.rate_hz

    @property
    def end_s(self) -> float:
        """Time at which the last sample ends, in seconds."""
        return (self.first_sample + len(self.values)) / self.rate_hz

    def equals(self, other: Waveform) -> bool:
        """Tell whether all is equal, sample for sample (NaN equals NaN).

        Parameters
        ----------
        other : Waveform
            What to compare with.
        """
        same = (self.rate_hz, self.first_sample) == (other.rate_hz, other.first_sample)
        return same and np.array_equal(self.values, other.values, equal_nan=True)


@record
@dataclass(frozen=True, eq=False)
class StoredEvent:
    """An event and the waveform around it.

    Attributes
    ----------
    event : Event
        As it stood when last told.
    from_s, until_s : float
        The window that belongs to it, in seconds; `until_s` is infinity while the event is open.
    waveforms : mapping of str to Waveform
        By channel: what of the window was there.
    complete : bool
        False where the window is not all there: the event is open, the window was longer than the
        store keeps, or its beginning had gone when the event became known.
    """

    event: Event
    from_s: float
    until_s: float
    waveforms: Mapping[str, Waveform]
    complete: bool

    def __repr__(self) -> str:
        forms = ", ".join(self.waveforms) or "no waveform"
        whole = "" if self.complete else ", not all there"
        told = f"{self.event!r}: {self.from_s:.1f} to {self.until_s:.1f} s, {forms}{whole}"
        return f"StoredEvent({told})"

    def equals(self, other: StoredEvent) -> bool:
        """Tell whether all is equal, sample for sample.

        Parameters
        ----------
        other : StoredEvent
            What to compare with.
        """
        plain = ("event", "from_s", "until_s", "complete")
        return (
            all(getattr(self, name) == getattr(other, name) for name in plain)
            and self.waveforms.keys() == other.waveforms.keys()
            and all(form.equals(other.waveforms[role]) for role, form in self.waveforms.items())
        )


@record
@dataclass(frozen=True, slots=True)
class Overwritten:
    """One event that had to make room for a later one.

    Attributes
    ----------
    number : int
        Of the event.
    kind : str
        Of the event.
    onset_s, end_s : float
        Of the event, in seconds; the end is None where it had none.
    """

    number: int
    kind: str
    onset_s: float
    end_s: float | None


@record
@dataclass(frozen=True, slots=True)
class OverwrittenOfKind:
    """The events of one kind that were overwritten.

    Attributes
    ----------
    count : int
        How many.
    first_onset_s, last_onset_s : float
        When the first and the last of them began, in seconds.
    """

    count: int
    first_onset_s: float
    last_onset_s: float


@dataclass(frozen=True, eq=False)
class EventStore(Sequence[StoredEvent]):
    """Stored events, the oldest first, and what was overwritten.

    Attributes
    ----------
    events : tuple of StoredEvent
        In the order of going active.
    overwritten : mapping of str to OverwrittenOfKind
        By kind, exact however many there were.
    overwritten_events : tuple of Overwritten
        One by one, the latest `MOST_LISTED` of them.
    """

    events: tuple[StoredEvent, ...] = ()
    overwritten: Mapping[str, OverwrittenOfKind] = field(default_factory=dict)
    overwritten_events: tuple[Overwritten, ...] = ()

    def __repr__(self) -> str:
        events = counted(len(self.events), "event")
        return f"EventStore({events}; {self.overwritten_text})"

    def __getitem__(self, index: int) -> StoredEvent:  # type: ignore[override]
        return self.events[index]

    def __len__(self) -> int:
        return len(self.events)

    def __iter__(self) -> Iterator[StoredEvent]:
        return iter(self.events)

    @property
    def overwritten_count(self) -> int:
        """How many events were overwritten in all."""
        return sum(tally.count for tally in self.overwritten.values())

    @property
    def overwritten_text(self) -> str:
        """What was overwritten, in words."""
        if not self.overwritten:
            return "nothing was overwritten"
        parts = [
            f"{tally.count} of kind {kind!r} (onsets {tally.first_onset_s:.1f} to "
            f"{tally.last_onset_s:.1f} s)"
            for kind, tally in self.overwritten.items()
        ]
        return f"{self.overwritten_count} overwritten, the oldest first: {'; '.join(parts)}"

    def equals(self, other: EventStore) -> bool:
        """Tell whether all is equal, sample for sample.

        Parameters
        ----------
        other : EventStore
            What to compare with.
        """
        return (
            len(self) == len(other)
            and all(one.equals(two) for one, two in zip(self, other, strict=True))
            and dict(self.overwritten) == dict(other.overwritten)
            and self.overwritten_events == other.overwritten_events
        )
