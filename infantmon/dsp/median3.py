"""Median of three neighbouring samples: takes out spikes of one sample and leaves edges."""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from infantmon.model.arrays import NO_FLOATS, Floats
from infantmon.model.carried import Carried


class Median3(Carried):
    """The median of each sample and its two neighbours, ready one sample later.

    Output sample k stands for input sample k. The first and the last sample, which lack a
    neighbour, get the median next to them; a stream of fewer than three samples is given as it is.
    """

    carried: ClassVar[tuple[str, ...]] = ("_tail", "_latest")

    def __init__(self) -> None:
        self._tail = NO_FLOATS  # the last two samples; all, until there are three
        self._latest = NO_FLOATS  # the last median, if there is one yet

    def push(self, values: Floats, *, last: bool = False) -> Floats:
        """Return the medians that are ready now."""
        joined = np.concatenate((self._tail, values)) if len(self._tail) else values
        if len(joined) < 3:
            self._tail = joined.copy()
            return self._ended(joined) if last else NO_FLOATS
        self._tail = joined[-2:].copy()
        medians = middle_of_three(joined)
        if not len(self._latest):
            medians = np.concatenate((medians[:1], medians))
        self._latest = medians[-1:].copy()
        return np.concatenate((medians, self._latest)) if last else medians

    def _ended(self, joined: Floats) -> Floats:
        """Return what is left at the end of a stream without a sample since the last push."""
        return self._latest if len(self._latest) else joined.copy()


def middle_of_three(values: Floats) -> Floats:
    """Return the median of each three neighbours along the first axis: two rows fewer."""
    before, middle, after = values[:-2], values[1:-1], values[2:]
    low = np.minimum(before, middle)
    high = np.maximum(before, middle)
    np.minimum(high, after, out=high)
    return np.maximum(low, high, out=high)
