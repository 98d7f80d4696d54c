"""Whether beats are in a row with far smaller ones, so that they may be none.

In come the heights of beats, and which of them look like their neighbours; out comes which of them
cannot be trusted for their size. P waves without a beat after them are as even as beats are, and
are counted where they are large enough: every second or third, or all of them in a standstill.
"""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from infantmon.dsp.neighbours import neighbours, sliding
from infantmon.model.arrays import Bools, Floats, Ints
from infantmon.model.carried import Carried

# All values are the project's choice, on made ECGs and the shared recordings.
LATEST = 24  # at the fastest rates this is enough for 5 s, after which beats are told as unusable
_LARGE = 6  # the sixth largest of the latest is a large one; a few artefacts are none
_FAR_SMALLER = 0.45  # of a large one; an early wide beat may be as small, but is alone as a rule
_AMONG, _MANY = 8, 3  # so many of so many latest beats are far smaller in a row of them


class BeatSizes(Carried):
    """Tells which beats are far smaller than large ones before them, or follow one that is.

    Only in a row: where three of the latest eight beats, itself included, are far smaller. Large is
    the sixth largest of the latest 24 beats that looked like their neighbours; so a heart whose
    beats have become small for good is trusted again after 19 of them.
    """

    carried: ClassVar[tuple[str, ...]] = ("_heights", "_small")

    def __init__(self) -> None:
        self._heights = np.zeros(LATEST)  # of the latest beats that looked like their neighbours
        self._small = np.zeros(_AMONG, dtype=np.bool_)  # which of the latest are far smaller

    def push(self, heights: Floats, alike: Bools) -> Bools:
        """Return which of the next beats cannot be trusted.

        Parameters
        ----------
        heights : numpy.ndarray, shape (n,)
            Heights of beats, not negative.
        alike : numpy.ndarray of bool, shape (n,)
            Which of them look like their neighbours.
        """
        if not len(heights):
            return np.zeros(0, dtype=np.bool_)
        joined = np.concatenate((self._heights, heights[alike]))
        before: Ints = np.cumsum(alike) - alike
        small = heights < _FAR_SMALLER * sliding(np.maximum, joined, LATEST)[before]
        rows = np.flatnonzero(small)  # as a rule none: only these are looked at closely
        if len(rows):
            latest = np.sort(neighbours(joined, LATEST)[before[rows]], axis=1)
            small[rows] = heights[rows] < _FAR_SMALLER * latest[:, LATEST - _LARGE]
        flags = np.concatenate((self._small, small))
        counted = np.cumsum(flags)
        in_a_row = counted[_AMONG:] - counted[:-_AMONG] >= _MANY
        self._heights, self._small = joined[-LATEST:].copy(), flags[-_AMONG:].copy()
        return np.asarray(in_a_row & (small | flags[_AMONG - 1 : -1]))
