"""Rows of small even swings where nothing is known of the heart: they may be its pulsation.

In come times and sizes of breaths; out comes, for each, whether it is one of such a row. This is
asked where there is no ECG, or none that has ever shown a beat: in a pause the heart alone moves
the chest, and its swings would be counted as breaths.
"""

from __future__ import annotations

import math
from collections import deque
from typing import ClassVar

import numpy as np

from infantmon.model.arrays import Bools, Floats
from infantmon.model.carried import Carried

USUAL = 30  # breaths outside of such rows: their median size is usual
ENOUGH = 8  # with fewer nothing is usual yet, and nothing is doubtful

SMALL = 0.6  # of the usual size: only up to here may a swing be the heart's
ALIKE = 0.2  # logarithm by which it may differ from one of the two before it, to be as large
FIRST = 2  # swings that begin a row have none before them: they are doubtful too,
SOON_S = 3.5  # where each comes so soon after the swing before, in seconds
MOST_S = 60.0  # a row that lasts longer is breathing, of whatever size, in seconds


class EvenSwings(Carried):
    """Tells of each breath whether it is one of a row of small swings that are all alike.

    A heart's pulsation is far more even than breaths are, and smaller as a rule. Where no R peaks
    have ever led the rejector nothing is known of it; but in a pause nothing else moves, and it
    makes a row of swings smaller than the breaths before, each as large as one of the last two. The
    first two of a row are doubtful too where they come at once: one breath more is no matter, and a
    pause is not to seem shorter. The values are the project's choice, on simulated hours (seeds 501
    to 503) and on the shared recordings of adults with their ECG left out.
    """

    carried: ClassVar[tuple[str, ...]] = ("_sizes", "_row", "_since_s", "_latest_s")

    def __init__(self) -> None:
        self._sizes: deque[float] = deque(maxlen=USUAL)  # of breaths outside of such rows
        self._row: deque[float] = deque(maxlen=USUAL)  # of the swings of the present row
        self._since_s = math.inf  # time of its first swing
        self._latest_s = -math.inf  # time of the swing before

    def tell(self, time_s: Floats, size: Floats) -> Bools:
        """Return which of the next breaths may be the heart's pulsation."""
        breaths = zip(time_s.tolist(), size.tolist(), strict=True)
        return np.array([self._may_be_heart(*breath) for breath in breaths], dtype=np.bool_)

    def _may_be_heart(self, time_s: float, size: float) -> bool:
        soon = time_s - self._latest_s <= SOON_S
        self._latest_s = time_s
        if not self._is_small(size):
            self._sizes.append(size)
            self._end_row()
            return False
        alike = any(abs(math.log(size / one)) <= ALIKE for one in list(self._row)[-2:])
        self._row.append(size)
        self._since_s = min(self._since_s, time_s)
        if time_s - self._since_s <= MOST_S:
            return alike or (soon and len(self._row) <= FIRST)
        self._sizes.extend(self._row)
        self._end_row()
        return False

    def _is_small(self, size: float) -> bool:
        if len(self._sizes) < ENOUGH:
            return False
        return size <= SMALL * sorted(self._sizes)[len(self._sizes) // 2]

    def _end_row(self) -> None:
        self._row.clear()
        self._since_s = math.inf
