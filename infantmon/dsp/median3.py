"""Median of three neighbouring samples: takes out spikes of one sample and leaves edges."""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from infantmon.model.arrays import NO_FLOATS, Floats
from infantmon.model.carried import Carried


class Median3(Carried):
    """The median of each sample and its two neighbours, ready one sample later.

    Output sample k stands for input sample k. The first and the last sample are given as they are.
    """

    carried: ClassVar[tuple[str, ...]] = ("_tail",)

    def __init__(self) -> None:
        self._tail = NO_FLOATS  # the last two samples

    def push(self, values: Floats, *, last: bool = False) -> Floats:
        """Return the medians that are ready now."""
        joined = values
        if len(self._tail):
            joined = np.concatenate((self._tail, values))
        elif len(values):
            joined = np.concatenate((values[:1], values))  # so that the first is its own median
        if last and len(joined):
            joined = np.concatenate((joined, joined[-1:]))
        self._tail = joined[-2:].copy()
        if len(joined) < 3:
            return NO_FLOATS
        before, middle, after = joined[:-2], joined[1:-1], joined[2:]
        low = np.minimum(before, middle)
        high = np.maximum(before, middle, out=np.empty(len(before)))
        np.minimum(high, after, out=high)
        return np.maximum(low, high, out=high)
