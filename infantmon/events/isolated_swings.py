"""Swings alone in a silence that are no sign of regular breathing: large ones, and small ones.

In come breaths, and which of them come after a silence; out comes, for each, whether it is as
doubtful as all others since that silence. Breathing that comes back begins with an ordinary breath;
a movement, a gasp or the heart does not.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import ClassVar

import numpy as np

from infantmon.model.arrays import NO_FLOATS, Bools, Floats
from infantmon.model.carried import Carried
from infantmon.model.marks import Breaths

# Sizes are shares of the usual size of a breath. The docstring below says on what the values were
# chosen.
USUAL = 30  # breaths before the silence: their median size is usual
ENOUGH = 12  # with fewer nothing is usual yet, and nothing is doubtful

LARGE = 1.8  # from here on a swing is doubtful: a movement, or a gasp
AFTER_S = 2.0  # and so is what follows it so soon, in seconds
FIRST_S = 4.0  # so soon after the first of the row a large one is doubtful whatever lies between

SMALL = 0.7  # up to here a swing is doubtful: the heart, or shallow breathing
MOST_S = 12.0  # what lasts longer is breathing, of whatever size, in seconds


class IsolatedSwings(Carried):
    """Tells of each breath whether it is doubtful as all others are since a silence.

    After a silence (`Silences`), swings are doubtful while each of them is large, follows a large
    one at once, or is small. With the first ordinary breath breathing has begun anew, and nothing
    is doubtful any more, unless a large swing comes within 4 s of the first. What lasts longer than
    12 s is breathing, whatever its size. A sigh is large, too, but breaths come before it. What is
    told is known with the breath itself. The values are the project's choice, on simulated nights
    (the seeds that `benchmarks.nights` names as looked at).
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_sizes",
        "_begins",
        "_row_s",
        "_large_s",
        "_usual",
    )

    def __init__(self) -> None:
        self._sizes = NO_FLOATS  # of the latest breaths
        self._begins = False  # whether all swings since the latest silence have been doubtful
        self._row_s = -math.inf  # first swing since then, if enough are known to judge it
        self._large_s = -math.inf  # last large swing since then
        self._usual = 0.0  # size before it

    def tell(self, breaths: Breaths, after_silence: Bools) -> Bools:
        """Return which of the next breaths are doubtful for that reason."""
        doubtful = np.zeros(len(breaths), dtype=np.bool_)
        if not len(breaths):
            return doubtful
        starts = np.flatnonzero(after_silence)
        ends = [*starts.tolist(), len(breaths)]
        self._look(breaths, 0, ends[0], doubtful)
        for start, end in pairwise(ends):  # seldom: a silence is rare
            self._begin(float(breaths.time_s[start]), breaths.size[:start])
            self._look(breaths, start, end, doubtful)
        self._sizes = np.concatenate((self._sizes, breaths.size[-USUAL:]))[-USUAL:]
        return doubtful

    def _begin(self, at_s: float, sizes: Floats) -> None:
        """Begin a row at a breath after a silence, given the sizes of this push before it."""
        before = np.concatenate((self._sizes, sizes[-USUAL:]))[-USUAL:]
        self._begins = len(before) >= ENOUGH
        self._usual = float(np.median(before)) if self._begins else 0.0
        self._row_s = at_s if self._begins else -math.inf
        self._large_s = -math.inf

    def _look(self, breaths: Breaths, start: int, end: int, doubtful: Bools) -> None:
        """Go through the doubtful part of a row; `doubtful` is filled in."""
        for place in range(start, end):
            at_s = float(breaths.time_s[place])
            early = at_s <= self._row_s + FIRST_S
            if not (self._begins or early):
                return  # ordinary breathing
            share = float(breaths.size[place]) / self._usual
            if share >= LARGE and (self._begins or early):
                self._large_s, self._begins = at_s, True
            self._begins &= share <= SMALL or at_s <= self._large_s + AFTER_S
            self._begins &= at_s <= self._row_s + MOST_S
            doubtful[place] = self._begins
