"""Breaths that are large and small in turn.

In comes the size of each breath; out comes by which factor the next one may be smaller than breaths
must be otherwise.
"""

from __future__ import annotations

from collections import deque
from typing import ClassVar

from infantmon.model.carried import Carried

LATEST = 12  # breaths that are looked at
SMALL = 0.62  # of the smaller of its two neighbours: a breath that is smaller is a small one
COUNT = 5  # so many small ones, each between large ones, show that they come in turn
STILL_COUNT = 4  # so many, that they still do
SHARE = 0.75  # by this factor the next small one may be smaller than breaths must be otherwise


class Alternation(Carried):
    """Lets the small breath of a pair be smaller than breaths must be.

    Once five of the last twelve breaths were small ones, each between two large ones, what follows
    a large one may be smaller than usual. What follows a small one may not: no row of small swings
    is let through, so a pause seems shorter by one swing at most, and only then.
    """

    carried: ClassVar[tuple[str, ...]] = ("_before", "_latest", "_small", "_in_turn")

    def __init__(self) -> None:
        self._before = 0.0  # size of the last breath but one
        self._latest = 0.0  # and of the last one
        self._small: deque[bool] = deque(maxlen=LATEST - 2)  # of those that have two neighbours
        self._in_turn = False

    def note(self, size: float) -> None:
        """Take up the size of a breath that counts."""
        if self._before > 0.0:
            self._small.append(self._latest < SMALL * min(self._before, size))
        self._before, self._latest = self._latest, size
        self._in_turn = sum(self._small) >= (STILL_COUNT if self._in_turn else COUNT)

    def least_share(self, usual: float) -> float:
        """Return by which factor the next breath may be smaller than must be otherwise."""
        return SHARE if self._in_turn and self._latest >= SMALL * usual else 1.0
