"""How large a signal usually is, followed so slowly that no pause changes it.

In comes how far a signal is from its level; out comes a low-pass of that, sample by sample, to
divide it by. A filter this slow would take minutes to start from nothing, so its start is mended;
and after a gap so long that what it knew has died away, it starts anew.
"""

from __future__ import annotations

from itertools import pairwise
from typing import ClassVar

import numpy as np

from infantmon.dsp.runs import runs_going_on
from infantmon.dsp.sections import Sections
from infantmon.model.arrays import Bools, Floats
from infantmon.model.carried import Carried

TINY = 1e-30
"""What is no larger is nothing: it is not divided by."""


class SlowEnvelope(Carried):
    """A low-pass of sizes, divided by the same filter's answer to a constant 1.

    So the first values are means of the little that has been seen, and not near 0.

    Parameters
    ----------
    sos : numpy.ndarray, shape (sections, 6)
        The low-pass, as scipy designs it.
    anew_ticks : float
        After more lost samples in a row than this the envelope begins anew.
    """

    carried: ClassVar[tuple[str, ...]] = ("_low_pass", "_lost")

    def __init__(self, sos: Floats, anew_ticks: float) -> None:
        self._sos = sos
        self._anew_ticks = anew_ticks
        self._low_pass = self._at_rest()
        self._lost = 0  # samples that have been lost in a row up to now

    def _at_rest(self) -> Sections:
        """Return the low-pass before its first sample: for sizes, and for a constant 1 beside."""
        return Sections(self._sos, lanes=(2,))

    def push(self, size: Floats, lost: Bools) -> Floats:
        """Return the envelope at each of the next samples.

        Parameters
        ----------
        size : numpy.ndarray, shape (n,)
            Distance from the level, 0 or more.
        lost : numpy.ndarray of bool, shape (n,)
            Which of the samples were lost.
        """
        if not len(size):
            return size
        anew = self._ends_of_long_gaps(lost)
        parts = []
        for first, after in pairwise(sorted({0, *anew, len(size)})):
            if first in anew:
                self._low_pass = self._at_rest()
            slow, constant = self._low_pass.push(
                np.array((size[first:after], np.ones(after - first)))
            )
            parts.append(slow / np.maximum(constant, TINY))
        return np.concatenate(parts)

    def _ends_of_long_gaps(self, lost: Bools) -> list[int]:
        """Return where a long gap is over, of which the first part may have come before."""
        if not self._lost and not lost.any():
            return []
        _, ends, lengths, self._lost = runs_going_on(lost, self._lost)
        over = (lengths > self._anew_ticks) & (ends < len(lost))
        return [int(end) for end in ends[over]]
