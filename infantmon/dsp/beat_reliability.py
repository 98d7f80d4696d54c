"""Whether beats can be trusted where they are: do they look like each other, and stand alone.

In comes, for each beat, how alike it is to its neighbours and how many lesser candidates lie around
it; out comes whether the beats up to it form a train that can be trusted.
"""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from infantmon.dsp.neighbours import neighbours
from infantmon.model.arrays import NO_FLOATS, Bools, Floats, Ints
from infantmon.model.carried import Carried

LATEST = 8
_THIRD = 3  # of the latest eight, the third best counts: a few odd beats are no bad signal
_PER_BETWEEN, _LEAST = 0.04, 0.78  # project's choice, on mitdb, nstdb 118 and adfecgdb


class BeatReliability(Carried):
    """Tells of each beat whether the beats up to it form a train that can be trusted.

    Each beat scores its likeness in shape to its neighbours, less 0.04 for every candidate of
    in-between size in its sight (noise has many). A beat is reliable if the third best score of the
    latest eight beats, itself included, exceeds 0.78; of fewer beats a lower rank counts in
    proportion. So single ventricular beats among others are reliable, and a lucky beat in noise is
    not.
    """

    carried: ClassVar[tuple[str, ...]] = ("_scores",)

    def __init__(self) -> None:
        self._scores = NO_FLOATS

    def push(self, likeness: Floats, between: Ints) -> Bools:
        """Return which of the next beats are reliable."""
        if not len(likeness):
            return np.zeros(0, dtype=np.bool_)
        scores = likeness - _PER_BETWEEN * between
        held = len(self._scores)
        missing = np.full(LATEST - 1 - held, -np.inf)
        joined = np.concatenate((missing, self._scores, scores))
        ordered = np.sort(neighbours(joined, LATEST), axis=1)
        row = np.arange(len(scores))
        count = np.minimum(held + 1 + row, LATEST)
        rank = (_THIRD * count + LATEST - 1) // LATEST
        self._scores = joined[len(missing) :][-(LATEST - 1) :].copy()
        return np.asarray(ordered[row, LATEST - rank] > _LEAST)
