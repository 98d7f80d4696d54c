"""Swings at a heart's rate that become all alike, where nothing is known of the heart.

In come times and sizes of breaths; out comes, for each, whether the heart may have made it in a
pause. This is asked where there is no ECG, or none that has ever shown a beat. A large pulsation on
slow breathing is counted instead of it: as long as the infant breathes its swings are unlike each
other, since they ride up and down with the breaths; in a pause they are all alike.
"""

from __future__ import annotations

import math
from collections import deque
from typing import ClassVar

import numpy as np

from infantmon.events.even_swings import MOST_S
from infantmon.model.arrays import Bools, Floats
from infantmon.model.carried import Carried

SOON_S = 0.6  # no more than this apart as a row begins: 100 a minute and more
SHORTER, LONGER = 0.1, 0.25  # shares by which an interval may be so in a row, beside one of the two
# before it: a heart beats evenly, but may slow
ALIKE = 0.2  # logarithm by which a size may differ from one of the two before it, to be alike,
NEAR = 0.35  # or from the median size of the row,
NEAR_FROM = 5  # once it has so many
KEPT = 40  # swings before a row, of which it is known whether they came so, too
ENOUGH = 12  # of these at least
UNEVEN = 0.75  # if no more than this share of them did, the row is something new


class QuickSwings(Carried):
    """Tells of each breath whether it is one of a row of quick swings that have become alike.

    A row begins with a swing no later than 0.6 s after the one before, and goes on while intervals
    and sizes are alike. Where most swings before it came so, too, that is quick even breathing, and
    none is doubtful; nor are they after a minute of the row. The values are the project's choice,
    on breaths of children with an invented pulsation (`benchmarks.child_breaths`, seeds named
    there) and on simulated infants.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_before",
        "_row",
        "_since_s",
        "_latest",
        "_time_s",
        "_intervals_s",
    )

    def __init__(self) -> None:
        self._before: deque[bool] = deque(maxlen=KEPT)  # whether those before came so, too
        self._row: deque[float] = deque(maxlen=KEPT)  # sizes of the latest of the row
        self._since_s = math.inf  # time of its first swing
        self._latest: deque[float] = deque(maxlen=2)  # sizes of the latest two swings
        self._time_s = -math.inf  # of the latest one
        self._intervals_s: deque[float] = deque(maxlen=2)  # before them, as far as known

    def tell(self, time_s: Floats, size: Floats) -> Bools:
        """Return which of the next breaths may be the heart's pulsation."""
        breaths = zip(time_s.tolist(), size.tolist(), strict=True)
        return np.array([self._may_be_heart(*breath) for breath in breaths], dtype=np.bool_)

    def _may_be_heart(self, time_s: float, size: float) -> bool:
        interval_s = time_s - self._time_s
        goes_on = self._is_in_time(interval_s) and self._is_alike(size)
        self._time_s = time_s
        self._intervals_s.append(interval_s)
        self._latest.append(size)
        if not goes_on:
            self._before.extend([True] * len(self._row))
            self._before.append(False)
            self._row.clear()
            self._since_s = math.inf
            return False
        self._row.append(size)
        self._since_s = min(self._since_s, time_s)
        return self._was_uneven() and time_s - self._since_s <= MOST_S

    def _is_in_time(self, interval_s: float) -> bool:
        """Tell whether it came as soon as a heart beats, or in a row as evenly."""
        if not self._row:
            return interval_s <= SOON_S
        return any(-SHORTER <= interval_s / one - 1.0 <= LONGER for one in self._intervals_s if one)

    def _is_alike(self, size: float) -> bool:
        """Tell whether a swing is as large as one of the two before it, or as the row."""
        if any(abs(math.log(size / one)) <= ALIKE for one in self._latest):
            return True
        if len(self._row) < NEAR_FROM:
            return False
        return abs(math.log(size / sorted(self._row)[len(self._row) // 2])) <= NEAR

    def _was_uneven(self) -> bool:
        """Tell whether the swings before the row did not come so."""
        return len(self._before) >= ENOUGH and sum(self._before) <= UNEVEN * len(self._before)
