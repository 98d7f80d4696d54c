"""A run of consecutive samples that one stage hands to the next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from infantmon.model.arrays import NO_FLOATS, Floats
from infantmon.model.clock import Clock


@dataclass(frozen=True, eq=False)
class Signal:
    """Consecutive samples with their clock; any delay of the filter is already taken off.

    Attributes
    ----------
    values : numpy.ndarray, shape (n,)
        Samples, in the unit of the channel they came from.
    first_tick : int
        Tick of the first sample on `clock`.
    clock : Clock
        Tells the time of each tick.
    settled_until_s : float
        All samples with a time below this have been given; infinity once the stream has ended.
    """

    values: Floats
    first_tick: int
    clock: Clock
    settled_until_s: float

    def __len__(self) -> int:
        return len(self.values)

    @property
    def time_s(self) -> Floats:
        """Times of the samples, in seconds from the recording's start."""
        return self.clock.times_s(self.first_tick + np.arange(len(self.values), dtype=np.int64))

    @classmethod
    def joined(cls, parts: Sequence[Signal]) -> Signal:
        """Return consecutive runs of one stage as one run (at least one run is needed)."""
        values = np.concatenate([part.values for part in parts]) if parts else NO_FLOATS
        return cls(values, parts[0].first_tick, parts[0].clock, parts[-1].settled_until_s)

    def equals(self, other: object) -> bool:
        """Tell whether place, clock and all samples are equal (NaN equals NaN)."""
        return (
            isinstance(other, Signal)
            and (self.first_tick, self.clock) == (other.first_tick, other.clock)
            and np.array_equal(self.values, other.values, equal_nan=True)
        )
