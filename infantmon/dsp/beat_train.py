"""A train of beats repaired as it comes in: extra beats dropped, missed ones counted in.

In come times of R peaks, one by one; out comes each with its number in the train, or nothing where
it is taken for an extra one. The pulsation is followed by that number, so one beat too many or too
few would put all that come after it out of step.
"""

from __future__ import annotations

import math
from collections import deque
from typing import ClassVar, NamedTuple

from infantmon.model.carried import Carried

# Intervals are in usual ones unless it is said otherwise. All values are the project's choice.

SHARE = 0.5  # weight of a new interval in the usual one,
MOST_OFF = 0.2  # of which one that is off by more counts as off by so much: a premature beat

# What is mended
EXTRA = 0.6  # a beat sooner than this is taken for an extra one
MISSED = 1.6  # an interval longer than this may hold missed beats,
NEAR = 0.2  # if it is within this share of a whole number of them,
MOST = 3  # up to so many

# When even intervals are a new rhythm instead
EVEN = 0.3  # they differ by no more than this share
SLOWER_COUNT = 3  # so many in a row, if they are longer than the usual one,
MULTIPLE_COUNT = 5  # or so many, if it looks as if every second or third beat were missed
FASTER_COUNT = 6  # so many if they are shorter: two extra beats make some short ones, too
BACK_COUNT = 2  # so many are enough to come back to the rhythm before
BACK_FOR = 40  # cycles for which that is remembered

# Whether the train can be trusted
JUDGED = 12  # latest beats by which it is judged
MENDED = 4  # if more than this of them had to be mended, it is not trusted
FITTING = 0.1  # a missed beat that leaves a whole number of intervals within this share
LIGHT = 0.4  # counts as so much of a mended one


class Beat(NamedTuple):
    """A beat of the repaired train."""

    time_s: float
    cycle: int  # number of the cycle that begins here
    usual_s: float  # usual interval
    trusted: bool  # whether few beats had to be mended of late
    followed: bool = False  # whether it was found in the impedance, and not in the ECG


class BeatTrain(Carried):
    """Numbers the beats of a train, one after the other, without looking ahead.

    Nothing is mended for ever: three even intervals in a row, of all beats that came in, make a new
    usual interval if they are longer than it (five where they are two or three usual ones long),
    six if they are shorter. For 40 cycles after that two are enough to come back.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_time_s",
        "_cycle",
        "_usual_s",
        "_came_s",
        "_intervals",
        "_former_s",
        "_former_until",
        "_mended",
    )

    def __init__(self) -> None:
        self._time_s = -math.inf  # last beat of the mended train
        self._cycle = 0
        self._usual_s = math.nan
        self._came_s = -math.inf  # last beat that came in
        self._intervals: deque[float] = deque(maxlen=FASTER_COUNT)  # between those that came in
        self._former_s = math.nan  # usual interval before the present rhythm
        self._former_until = -1  # cycle up to which it is remembered
        self._mended: deque[float] = deque(maxlen=JUDGED)

    def take(self, time_s: float) -> Beat | None:
        """Return the beat with its number, or None if it is taken for an extra one."""
        if not time_s > self._came_s:
            return None  # no later than the one before: it cannot be a beat
        self._intervals.append(time_s - self._came_s)
        self._came_s = time_s
        interval = time_s - self._time_s
        if math.isnan(self._usual_s):
            self._usual_s = interval if math.isfinite(interval) else math.nan
            return self._next(time_s, 1)
        ratio = interval / self._usual_s
        cycles = round(ratio)
        if EXTRA <= ratio <= MISSED:
            self._follow(interval)
            return self._next(time_s, 1)
        fits = 2 <= cycles <= MOST and abs(ratio - cycles) <= FITTING * cycles
        self._mended.append(LIGHT if fits else 1.0)
        slower = MULTIPLE_COUNT if fits else SLOWER_COUNT
        rhythm_s = self._rhythm(slower if ratio > MISSED else FASTER_COUNT) or self._rhythm_back()
        if rhythm_s:
            self._former_s, self._former_until = self._usual_s, self._cycle + BACK_FOR
            self._usual_s = rhythm_s
            self._mended.clear()
            return self._next(time_s, 1)
        if ratio < EXTRA:
            return None
        missed = 2 <= cycles <= MOST and abs(ratio - cycles) <= NEAR * cycles
        return self._next(time_s, cycles if missed else 1)

    def _follow(self, interval: float) -> None:
        """Take up an interval in which nothing has to be mended."""
        if self._mended:  # nothing to tell while none of them had to be
            self._mended.append(0.0)
            if not any(self._mended):
                self._mended.clear()
        off_s, most_s = interval - self._usual_s, MOST_OFF * self._usual_s
        if off_s > most_s:
            off_s = most_s
        elif off_s < -most_s:
            off_s = -most_s
        self._usual_s += SHARE * off_s

    def _rhythm(self, count: int) -> float:
        """Return the interval of the latest beats if they are even, else 0."""
        latest = sorted(list(self._intervals)[-count:])
        if len(latest) < count or latest[-1] > (1.0 + EVEN) * latest[0]:
            return 0.0
        return latest[count // 2]

    def _rhythm_back(self) -> float:
        """Return the usual interval before the present one if beats are back at it, else 0."""
        if self._cycle > self._former_until or len(self._intervals) < BACK_COUNT:
            return 0.0
        latest = list(self._intervals)[-BACK_COUNT:]
        back = all(abs(each / self._former_s - 1.0) <= NEAR for each in latest)
        return self._former_s if back else 0.0

    def _next(self, time_s: float, cycles: int) -> Beat:
        self._time_s = time_s
        self._cycle += cycles
        trusted = not self._mended or sum(self._mended) <= MENDED
        return Beat(time_s, self._cycle, self._usual_s, trusted)
