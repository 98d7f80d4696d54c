"""The median of the latest values, for every moment in a row of new ones.

In come values; out comes the median as it was before each of them. That is what a loop would have
seen, found for all of them at once.
"""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from infantmon.dsp.neighbours import neighbours
from infantmon.model.arrays import NO_FLOATS, Floats
from infantmon.model.carried import Carried


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
        self._values = NO_FLOATS
        self._steps = _steps_to_median(count)

    def __len__(self) -> int:
        return len(self._values)

    def course(self, values: Floats) -> Floats:
        """Return the median before each of the values would be taken up, and after the last.

        A median of nothing is 0. Nothing is taken up.
        """
        held = len(self._values)
        if held == self.count:
            return self._full_course(np.concatenate((self._values, values)))
        missing = np.full(self.count - held, np.inf)
        joined = np.concatenate((missing, self._values, values))
        ordered = np.sort(neighbours(joined, self.count), axis=1)
        row = np.arange(len(values) + 1)
        filled = np.minimum(held + row, self.count)
        low, high = ordered[row, (filled - 1) // 2], ordered[row, filled // 2]
        return np.where(filled > 0, 0.5 * (low + high), 0.0)

    def push(self, values: Floats) -> None:
        """Take up values; the oldest go when more than `count` are held."""
        self._values = np.concatenate((self._values, values))[-self.count :]

    def clear(self) -> None:
        """Forget all values."""
        self._values = NO_FLOATS

    def _full_course(self, joined: Floats) -> Floats:
        """Return the median of each `count` neighbours, by sorting all of them in step."""
        windows = len(joined) - self.count + 1
        lanes = [joined[place : place + windows] for place in range(self.count)]
        for low, high in self._steps:
            first, second = lanes[low], lanes[high]
            lanes[low], lanes[high] = np.minimum(first, second), np.maximum(first, second)
        middle: Floats = 0.5 * (lanes[(self.count - 1) // 2] + lanes[self.count // 2])
        return middle


def _steps_to_median(count: int) -> list[tuple[int, int]]:
    """Return the exchanges of an odd-even merge sort that the middle places depend on.

    References
    ----------
    .. [1] K. E. Batcher, Sorting networks and their applications, AFIPS Spring Joint Computer
       Conference 32:307-314, 1968 (from memory).
    """
    steps: list[tuple[int, int]] = []
    merged = 1
    while merged < count:
        apart = merged
        while apart >= 1:
            steps.extend(
                (low, low + apart)
                for start in range(apart % merged, count - apart, 2 * apart)
                for low in range(start, start + min(apart, count - start - apart))
                if low // (2 * merged) == (low + apart) // (2 * merged)
            )
            apart //= 2
        merged *= 2
    wanted, needed = {(count - 1) // 2, count // 2}, []
    for step in reversed(steps):
        if wanted & set(step):
            wanted |= set(step)
            needed.append(step)
    return needed[::-1]
