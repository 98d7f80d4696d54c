"""A clock: which time a sample number stands for."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from infantmon.errors import require_number, require_rate
from infantmon.model.arrays import Floats, Ints
from infantmon.model.carried import record


@record
@dataclass(frozen=True, slots=True)
class Clock:
    """Turns sample numbers (ticks) into seconds from the recording's start, and back.

    Parameters
    ----------
    rate_hz : float
        Samples a second. A measured rate may be given; it need not be a whole number.
    start_s : float
        Time of tick 0, in seconds from the recording's start.
    """

    rate_hz: float
    start_s: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "rate_hz", require_rate(self.rate_hz))
        object.__setattr__(self, "start_s", require_number(self.start_s, name="start_s", unit="s"))

    def time_s(self, tick: int) -> float:
        """Return the time of one tick, in seconds."""
        return self.start_s + tick / self.rate_hz

    def times_s(self, ticks: Ints) -> Floats:
        """Return the times of many ticks, in seconds."""
        return np.asarray(self.start_s + ticks / self.rate_hz, dtype=np.float64)

    def ticks_in(self, seconds: float) -> int:
        """Return how many ticks are nearest to a length of time."""
        return round(seconds * self.rate_hz)

    def first_tick_from(self, time_s: float) -> int:
        """Return the first tick at or after a time (within a millionth of a tick)."""
        return math.ceil((time_s - self.start_s) * self.rate_hz - 1e-6)
