"""Silences between breaths: far longer than breaths are apart as a rule.

In come times of breaths; out comes, for each, whether a silence lies before it.
"""

from __future__ import annotations

import math
from typing import ClassVar

import numpy as np

from infantmon.model.arrays import Bools, Floats
from infantmon.model.carried import Carried

SILENCE_S = 3.5  # no shorter one is a silence, in seconds,
LONGER = 1.6  # nor one of fewer usual intervals: slow breathing has none
INTERVALS = 12  # whose median is usual


class Silences(Carried):
    """Tells of each breath whether it comes after a silence: then a row of breaths begins.

    The values are the project's choice, on simulated nights and the shared adult recordings.
    """

    carried: ClassVar[tuple[str, ...]] = ("_latest_s",)

    def __init__(self) -> None:
        self._latest_s = np.zeros(1)  # times of the latest breaths; at first the first sample

    def tell(self, time_s: Floats) -> Bools:
        """Return which of the next breaths begin a row."""
        times = np.concatenate((self._latest_s, time_s))
        apart = np.diff(times, prepend=math.inf)
        after = apart >= SILENCE_S
        for place in np.flatnonzero(after).tolist():  # seldom, but where breathing is slow
            before = apart[max(place - INTERVALS, 1) : place]
            after[place] = not len(before) or apart[place] >= LONGER * float(np.median(before))
        begins: Bools = after[len(self._latest_s) :]
        self._latest_s = times[-INTERVALS - 1 :]
        return begins
