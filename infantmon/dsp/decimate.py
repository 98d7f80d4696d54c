"""Plain averages over groups of samples: the sampling rate taken down without a long filter.

In come samples; out comes one mean for each full group.
"""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from infantmon.model.arrays import NO_FLOATS, Floats
from infantmon.model.carried import Carried


class GroupMean(Carried):
    """The mean of each group of `size` consecutive samples.

    Output k stands for the middle of input samples k * size .. k * size + size - 1.
    """

    carried: ClassVar[tuple[str, ...]] = ("_rest",)

    def __init__(self, size: int) -> None:
        self.size = size
        self._rest = NO_FLOATS

    def push(self, values: Floats) -> Floats:
        """Return the means of all groups that are full now."""
        if self.size == 1:
            return values
        joined = np.concatenate((self._rest, values)) if len(self._rest) else values
        full = len(joined) // self.size * self.size
        self._rest = joined[full:].copy()
        # Adding whole strides is several times as fast as rows.
        total: Floats = joined[0 : full : self.size] + joined[1 : full : self.size]
        for place in range(2, self.size):
            total += joined[place : full : self.size]
        total /= self.size
        return total
