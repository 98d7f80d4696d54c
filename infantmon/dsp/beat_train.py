"""A train of beats repaired as it comes in: extra beats dropped, missed ones counted in."""

from __future__ import annotations

import math
from collections import deque
from typing import ClassVar, NamedTuple

from infantmon.model.carried import Carried

EXTRA = 0.6  # a beat sooner than this share of the usual interval is taken for an extra one
MISSED = 1.6  # an interval longer than this many usual ones may hold a missed beat
NEAR = 0.2  # if it is this near to a whole number of them
MOST = 3  # cycles in one interval
EVEN = 0.2  # intervals in a row that differ by no more than this share are a rhythm
EVEN_COUNT = 3
SHARE = 0.5  # of a new interval in the usual one


class Beat(NamedTuple):
    """A beat of the repaired train."""

    time_s: float
    cycle: int  # number of the cycle that begins here
    cycles_before: int  # cycles since the beat before: 1, or more if beats were missed
    usual_s: float  # usual interval


class BeatTrain(Carried):
    """Numbers the beats of a train, one after the other, without looking ahead.

    Nothing is mended for ever: three even intervals in a row, of all beats that came in, make a new
    usual interval.
    """

    carried: ClassVar[tuple[str, ...]] = ("_time_s", "_cycle", "_usual_s", "_came_s", "_intervals")

    def __init__(self) -> None:
        self._time_s = -math.inf  # last beat of the mended train
        self._cycle = 0
        self._usual_s = math.nan
        self._came_s = -math.inf  # last beat that came in
        self._intervals: deque[float] = deque(maxlen=EVEN_COUNT)  # between those that came in

    def take(self, time_s: float) -> Beat | None:
        """Return the beat with its number, or None if it is taken for an extra one."""
        self._intervals.append(time_s - self._came_s)
        self._came_s = time_s
        interval = time_s - self._time_s
        if math.isnan(self._usual_s):
            self._usual_s = interval if math.isfinite(interval) else math.nan
            return self._next(time_s, 1)
        ratio = interval / self._usual_s
        if EXTRA <= ratio <= MISSED:
            self._usual_s += SHARE * (interval - self._usual_s)
            return self._next(time_s, 1)
        if self._is_even():
            self._usual_s = sorted(self._intervals)[EVEN_COUNT // 2]
            return self._next(time_s, 1)
        if ratio < EXTRA:
            return None
        cycles = round(ratio)
        missed = 2 <= cycles <= MOST and abs(ratio - cycles) <= NEAR * cycles
        return self._next(time_s, cycles if missed else 1)

    def _is_even(self) -> bool:
        """Tell whether the last intervals make a rhythm of their own."""
        shortest, longest = min(self._intervals), max(self._intervals)
        return len(self._intervals) == EVEN_COUNT and longest <= (1.0 + EVEN) * shortest

    def _next(self, time_s: float, cycles: int) -> Beat:
        self._time_s = time_s
        self._cycle += cycles
        return Beat(time_s, self._cycle, cycles, self._usual_s)
