"""The usual size of something that repeats, learned from the last few, with ways back."""

from __future__ import annotations

import math
from collections import deque
from itertools import pairwise
from typing import ClassVar

from infantmon.model.carried import Carried

KEPT = 25  # sizes the median is taken over
FEW = 4  # with fewer sizes than this nothing is usual yet
SURE_AFTER_S = 20.0  # sizes from so long a time, and
SURE_COUNT = 12  # so many of them, are trusted
HUGE = 2.5  # a size beyond this many usual ones is not learned from at once
HUGE_FOR_S = 12.0  # unless nothing smaller came for so long
PATIENCE_S = 30.0  # silence after which the usual size starts to sink
HALVED_EVERY_S = 8.0
SMALL_COUNT = 6  # so many small ones in a row may be what is usual
SMALL_EVEN = 1.9  # if neither their sizes nor their intervals differ by more than this factor
ALIKE_COUNT = 6  # so many sizes are trusted at once
ALIKE = 2.0  # if they differ by no more than this factor, one at each end left out
SMALL = 0.6  # and all are smaller than this share of what was believed
FORMER_FOR_S = 120.0  # what was usual before a burst is remembered for so long
SMALL_APART_S = (0.55, 4.5)  # and these are their intervals


class UsualSize(Carried):
    """Median of the last sizes, weighted by their square; neither burst nor silence locks it.

    * A size far above the usual is kept out (movement), unless nothing smaller comes for 12 s: then
      what was learned before is dropped.
    * In silence the usual size stays for 30 s, then halves every 8 s.
    * Until sizes have been learned for 20 s, or are very much alike, six small ones in an even row
      are believed instead: what came before them was a burst (movement as the electrodes are put
      on). After a burst that
      had been believed, two of the size that was usual before it are enough.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_sizes",
        "_huge",
        "_huge_since",
        "_swings",
        "_since",
        "_latest",
        "_former",
    )

    def __init__(self) -> None:
        self._sizes: deque[float] = deque(maxlen=KEPT)
        self._huge: deque[float] = deque(maxlen=KEPT)
        self._huge_since = math.inf  # time of the first of the huge ones in a row
        self._swings: deque[tuple[float, float]] = deque(maxlen=SMALL_COUNT)  # time, size
        self._since = math.inf  # time of the first size learned
        self._latest = -math.inf  # time of the last one
        self._former = math.nan  # usual size before the burst that is now believed

    @property
    def is_sure(self) -> bool:
        """Whether sizes have been learned from for long enough, or are very much alike."""
        ordered = sorted(self._sizes)
        if len(ordered) >= ALIKE_COUNT and ordered[-2] <= ALIKE * ordered[1]:
            return True
        return len(ordered) >= SURE_COUNT and self._latest - self._since >= SURE_AFTER_S

    def at(self, time_s: float, seen: float) -> float:
        """Return the usual size at a time, given the range of the signal around it."""
        if not self._sizes:
            return seen
        usual = _weighted_median(self._sizes)
        if len(self._sizes) < FEW:
            usual = max(usual, seen)
        silent = time_s - self._latest - PATIENCE_S
        return usual if silent <= 0.0 else usual * 0.5 ** (silent / HALVED_EVERY_S)

    def learn(self, time_s: float, size: float, usual: float) -> None:
        """Take up the size of one more, which was judged against `usual`."""
        known = _weighted_median(self._sizes) if self._sizes else size
        if self._restarts(time_s, size, known):
            return
        if size > HUGE * known and len(self._sizes) >= FEW:
            self._latest = time_s
            self._learn_huge(time_s, size, known)
            return
        if size < 0.5 * known and usual < 0.9 * known:  # found only because the usual size sank
            self._start_anew(time_s)
        self._huge.clear()
        self._huge_since = math.inf
        self._take(time_s, size)

    def pass_over(self, time_s: float, size: float) -> None:
        """Note one that was too small to count."""
        if self._sizes:
            self._restarts(time_s, size, _weighted_median(self._sizes))

    def _restarts(self, time_s: float, size: float, known: float) -> bool:
        """Start anew from the latest swings if they tell that a burst was taken for usual."""
        self._swings.append((time_s, size))
        sizes = [each for _, each in self._swings]
        if time_s - self._since > FORMER_FOR_S:
            self._former = math.nan
        as_before = all(0.5 <= each / self._former <= 2.0 for each in sizes[-2:])  # NaN: never
        if as_before and self._former < SMALL * known:
            sizes = sizes[-2:]
        elif self.is_sure or max(sizes) > SMALL * known or not self._is_even():
            return False
        self._start_anew(time_s)
        for each in sizes:
            self._take(time_s, each)
        return True

    def _is_even(self) -> bool:
        """Tell whether the latest swings come in an even row."""
        sizes = [size for _, size in self._swings]
        apart = [b - a for (a, _), (b, _) in pairwise(self._swings)]
        return (
            len(sizes) == SMALL_COUNT
            and max(sizes) <= SMALL_EVEN * min(sizes)
            and max(apart) <= SMALL_EVEN * min(apart)
            and SMALL_APART_S[0] <= sum(apart) / len(apart) <= SMALL_APART_S[1]
        )

    def _learn_huge(self, time_s: float, size: float, known: float) -> None:
        self._huge.append(size)
        self._huge_since = min(self._huge_since, time_s)
        if time_s - self._huge_since < HUGE_FOR_S:
            return
        huge = list(self._huge)
        self._start_anew(time_s)
        self._former = known
        for each in huge:
            self._take(time_s, each)

    def _start_anew(self, time_s: float) -> None:
        self._sizes.clear()
        self._huge.clear()
        self._swings.clear()
        self._huge_since = math.inf
        self._since = time_s
        self._former = math.nan

    def _take(self, time_s: float, size: float) -> None:
        self._since = min(self._since, time_s)
        self._latest = time_s
        self._sizes.append(size)


def _weighted_median(sizes: deque[float]) -> float:
    """Return the size below which half of the sum of all squares lies: small ones count little."""
    ordered = sorted(sizes)
    half, summed = 0.5 * sum(size * size for size in ordered), 0.0
    for size in ordered:
        summed += size * size
        if summed >= half:
            return size
    return ordered[-1]
