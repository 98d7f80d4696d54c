"""Large swings alone in a silence: a movement, or a gasp; no sign of regular breathing."""

from __future__ import annotations

import math
from typing import ClassVar

import numpy as np

from infantmon.model.arrays import NO_FLOATS, Bools, Floats
from infantmon.model.carried import Carried
from infantmon.model.marks import Breaths

SILENCE_S = 5.0  # a row begins after so long without a breath, in seconds
LARGE = 1.8  # of the usual size: from here on a swing in its first seconds is doubtful
FIRST_S = 4.0  # how far into the row a large swing is looked for, in seconds
AFTER_S = 2.0  # and what follows one so soon is doubtful, too,
SMALL_AFTER_S = 6.0  # or so soon if it is small: the heart, where a pause goes on
SMALL = 0.6  # of the usual size
USUAL = 12  # breaths before the row, whose median size is usual


class IsolatedSwings(Carried):
    """Tells of each breath whether it is, or follows, a large swing right after a silence.

    A sigh is large, too, but breaths come before it; a gasp that begins breathing anew is told as
    doubtful, and the breaths after it are not. What is told is known with the breath itself.
    The values are the project's choice, on simulated nights (seeds 1000 to 1039).
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_sizes",
        "_latest_s",
        "_row_from_s",
        "_large_s",
        "_usual",
    )

    def __init__(self) -> None:
        self._sizes = NO_FLOATS  # of the latest breaths
        self._latest_s = -math.inf
        self._row_from_s = math.inf  # first breath of the latest row after a silence
        self._large_s = -math.inf  # last large swing in its first seconds
        self._usual = 0.0  # size before it

    def tell(self, breaths: Breaths) -> Bools:
        """Return which of the next breaths are doubtful for that reason."""
        doubtful = np.zeros(len(breaths), dtype=np.bool_)
        if not len(breaths):
            return doubtful
        silent = np.diff(breaths.time_s, prepend=self._latest_s) >= SILENCE_S
        starts = [0, *np.flatnonzero(silent).tolist()]
        for row, start in enumerate(starts):  # seldom: a silence of 5 s is rare
            if silent[start] and (row > 0 or start == 0):
                self._begin(float(breaths.time_s[start]), breaths.size[:start])
            stop = starts[row + 1] if row + 1 < len(starts) else len(breaths)
            self._look(breaths.time_s[start:stop], breaths.size[start:stop], doubtful[start:stop])
        self._latest_s = float(breaths.time_s[-1])
        self._sizes = np.concatenate((self._sizes, breaths.size[-USUAL:]))[-USUAL:]
        return doubtful

    def _begin(self, at_s: float, sizes: Floats) -> None:
        """Begin a row at a breath after a silence, given the sizes of this push before it."""
        before = np.concatenate((self._sizes, sizes[-USUAL:]))[-USUAL:]
        known = len(before) == USUAL
        self._row_from_s = at_s if known else math.inf
        self._usual = float(np.median(before)) if known else 0.0
        self._large_s = -math.inf

    def _look(self, time_s: Floats, size: Floats, doubtful: Bools) -> None:
        """Go through the beginning of a row; `doubtful` is filled in."""
        if self._row_from_s == math.inf:
            return
        last_s = self._row_from_s + FIRST_S + SMALL_AFTER_S
        for place in range(int(np.searchsorted(time_s, last_s, side="right"))):
            at_s = float(time_s[place])
            if at_s <= self._row_from_s + FIRST_S and size[place] >= LARGE * self._usual:
                self._large_s = at_s
            small = size[place] < SMALL * self._usual
            doubtful[place] = at_s <= self._large_s + (SMALL_AFTER_S if small else AFTER_S)
