"""The median of the latest values, for every moment in a row of new ones.

In come values; out comes the median as it was before each of them. That is what a loop would have
seen, found for all of them at once.
"""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from infantmon.dsp.middle_two import middle_two
from infantmon.dsp.neighbours import neighbours
from infantmon.model.arrays import NO_FLOATS, Floats
from infantmon.model.carried import Carried

_MANY = 200  # values from which `middle_two` is faster than a sort


class LatestMedian(Carried):
    """Holds the latest values and tells their median, also as it would become.

    Parameters
    ----------
    count : int
        How many values are held.
    """

    carried: ClassVar[tuple[str, ...]] = ("_values",)

    def __init__(self, count: int) -> None:
        self.count = count
        self._shared = count > 1 and count & (count - 1) == 0  # windows can share their work
        self._values = NO_FLOATS

    def __len__(self) -> int:
        return len(self._values)

    def course(self, values: Floats) -> Floats:
        """Return the median before each of the values would be taken up, and after the last.

        A median of nothing is 0. Nothing is taken up.
        """
        held = len(self._values)
        if held == self.count:
            low, high = self._middle(np.concatenate((self._values, values)))
            return np.asarray(0.5 * (low + high))
        missing = np.full(self.count - held, np.inf)
        joined = np.concatenate((missing, self._values, values))
        ordered = np.sort(neighbours(joined, self.count), axis=1)
        row = np.arange(len(values) + 1)
        filled = np.minimum(held + row, self.count)
        low, high = ordered[row, (filled - 1) // 2], ordered[row, filled // 2]
        return np.where(filled > 0, 0.5 * (low + high), 0.0)

    def _middle(self, values: Floats) -> tuple[Floats, Floats]:
        """Return the two middle ones (or twice the middle one) of each `count` neighbours."""
        if self._shared and len(values) >= _MANY:
            return middle_two(values, self.count)
        ordered = np.sort(neighbours(values, self.count), axis=1)
        return ordered[:, (self.count - 1) // 2], ordered[:, self.count // 2]

    def push(self, values: Floats) -> None:
        """Take up values; the oldest go when more than `count` are held."""
        self._values = np.concatenate((self._values, values))[-self.count :]

    def clear(self) -> None:
        """Forget all values."""
        self._values = NO_FLOATS
