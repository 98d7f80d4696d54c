"""The usual size of something that repeats, learned from the last few, with ways back."""

from __future__ import annotations

import math
from collections import deque
from typing import ClassVar

from infantmon.model.carried import Carried

KEPT = 25  # sizes the median is taken over
FEW = 4  # with fewer sizes than this nothing is usual yet
HUGE = 2.5  # a size beyond this many usual ones is not learned from at once
HUGE_FOR_S = 12.0  # unless nothing smaller came for so long
PATIENCE_S = 30.0  # silence after which the usual size starts to sink
UNSURE_PATIENCE_S = 5.0  # the same while the sizes disagree (movement)
HALVED_EVERY_S = 8.0
AGREEMENT = 0.25  # median deviation of the logarithm of the sizes that still agree


class UsualSize(Carried):
    """Median of the last sizes, weighted by size; neither a burst nor a long silence locks it.

    * A size far above the usual is kept out (movement), unless nothing smaller comes for 12 s: then
      what was learned before is dropped.
    * In silence the usual size stays for 30 s, then halves every 8 s. While the sizes disagree with
      each other it starts to sink after 5 s.
    """

    carried: ClassVar[tuple[str, ...]] = ("_sizes", "_huge", "_huge_since", "_latest", "_spread")

    def __init__(self) -> None:
        self._sizes: deque[float] = deque(maxlen=KEPT)
        self._huge: deque[float] = deque(maxlen=KEPT)
        self._huge_since = math.inf  # time of the first of the huge ones in a row
        self._latest = -math.inf  # time of the last size
        self._spread = 0.0

    def at(self, time_s: float, seen: float) -> float:
        """Return the usual size at a time, given the range of the signal around it."""
        if not self._sizes:
            return seen
        usual = _weighted_median(self._sizes)
        if len(self._sizes) < FEW:
            usual = max(usual, seen)
        patience = PATIENCE_S if self._spread <= AGREEMENT else UNSURE_PATIENCE_S
        silent = time_s - self._latest - patience
        return usual if silent <= 0.0 else usual * 0.5 ** (silent / HALVED_EVERY_S)

    def learn(self, time_s: float, size: float, usual: float) -> None:
        """Take up the size of one more, which was judged against `usual`."""
        known = _weighted_median(self._sizes) if self._sizes else size
        self._latest = time_s
        if size > HUGE * known and len(self._sizes) >= FEW:
            self._learn_huge(time_s, size)
            return
        if size < 0.5 * known and usual < 0.9 * known:  # found only because the usual size sank
            self._sizes.clear()
        self._huge.clear()
        self._huge_since = math.inf
        self._take(size)

    def _learn_huge(self, time_s: float, size: float) -> None:
        self._huge.append(size)
        self._huge_since = min(self._huge_since, time_s)
        if time_s - self._huge_since < HUGE_FOR_S:
            return
        self._sizes.clear()
        for each in self._huge:
            self._take(each)
        self._huge.clear()
        self._huge_since = math.inf

    def _take(self, size: float) -> None:
        self._sizes.append(size)
        middle = _weighted_median(self._sizes)
        self._spread = _median([abs(math.log(max(s, 1e-300) / middle)) for s in self._sizes])


def _median(values: deque[float] | list[float]) -> float:
    ordered = sorted(values)
    return ordered[len(ordered) // 2]


def _weighted_median(sizes: deque[float]) -> float:
    """Return the size below which half of the sum of all sizes lies: small ones count little."""
    ordered = sorted(sizes)
    half, summed = 0.5 * sum(ordered), 0.0
    for size in ordered:
        summed += size
        if summed >= half:
            return size
    return ordered[-1]
