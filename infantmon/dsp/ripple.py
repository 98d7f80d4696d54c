"""Small even swings between large ones: what a heart leaves between slow breaths.

In come places and sizes of swings; out comes whether the small ones among them are such a ripple.
"""

from __future__ import annotations

import math
from collections import deque
from itertools import pairwise
from typing import ClassVar

from infantmon.model.carried import Carried

LATEST = 24  # swings that are looked at
LEAST = 0.15  # of the usual size of a breath: a smaller swing is not noted
SMALL = 0.6  # of the usual size: a smaller swing is a small one, and may be the heart's

# A ripple is there when the small ones are so many,
SMALL_SHARE = 0.55  # of all swings: more than one for each large one
STILL_SHARE = 0.4  # or so many, once it is there
LARGE_COUNT = 3  # so many times at least a small one follows a large one,
EVEN_SIZE = 2.2  # the quartiles of their sizes are within this factor,
EVEN_APART = 1.2  # those of their distances within this one,
APART_S = 1.1  # and their usual distance is no longer than this, as a heart's is


class Ripple(Carried):
    """Tells whether small swings are a ripple between breaths, and no breaths themselves.

    They are if there are more than one for each large one, of even size and at an even distance of
    at most 1.1 s. Breaths that are small in turn with large ones (one for one), or for a while
    after large ones, are not: a ripple stands between breaths, so large ones come again and again.

    Parameters
    ----------
    rate_hz : float
        Samples a second.
    """

    carried: ClassVar[tuple[str, ...]] = ("_swings", "_small", "_is_there")

    def __init__(self, rate_hz: float) -> None:
        self._rate_hz = rate_hz
        self._swings: deque[tuple[int, float]] = deque(maxlen=LATEST)  # place, share of usual
        self._small = 0  # how many of them are small
        self._is_there = False

    def note(self, place: int, share: float) -> None:
        """Take up a swing, its size as a share of the usual one."""
        if share < LEAST:
            return
        if len(self._swings) == LATEST:
            self._small -= self._swings[0][1] < SMALL
        self._swings.append((place, share))
        self._small += share < SMALL
        self._is_there = self._tell()

    @property
    def is_there(self) -> bool:
        """Whether there is a ripple."""
        return self._is_there

    def _tell(self) -> bool:
        least = STILL_SHARE if self._is_there else SMALL_SHARE
        if len(self._swings) < LATEST or self._small < least * LATEST:
            return False
        swings = list(self._swings)
        if sum(a >= SMALL > b for (_, a), (_, b) in pairwise(swings)) < LARGE_COUNT:
            return False
        sizes = [share for _, share in swings if share < SMALL]
        apart = [
            (place - before) for (before, _), (place, share) in pairwise(swings) if share < SMALL
        ]
        return _is_even(sizes, EVEN_SIZE) and _is_even(apart, EVEN_APART, APART_S * self._rate_hz)


def _is_even(values: list[float] | list[int], factor: float, most: float = math.inf) -> bool:
    ordered = sorted(values)
    low, middle, high = (ordered[(len(ordered) * n) // 4] for n in (1, 2, 3))
    return high <= factor * low and middle <= most
