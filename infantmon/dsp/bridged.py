"""Samples made safe for filters across gaps: no step where the signal comes back.

In come samples; out come as many, none of them missing, and which of them were. A filter would ring
at the step where a signal comes back at another level, and that ringing would look like a breath.
"""

from __future__ import annotations

import math
from typing import ClassVar

import numpy as np

from infantmon.dsp.anchored import Anchored
from infantmon.dsp.runs import runs_going_on
from infantmon.model.arrays import Bools, Floats
from infantmon.model.carried import Carried


class Bridged(Carried):
    """`Anchored` samples that go on from the held level after a gap.

    A lost sample is held, as `Anchored` does. After more than `longest` of them in a
    row the signal goes on from the level at which it was lost, so that a baseline which moved
    meanwhile makes no step. After a shorter gap it goes on as recorded.

    Parameters
    ----------
    longest : int or None
        The longest gap, in samples, after which the level is left as it is; None where it is left
        after any.
    """

    carried: ClassVar[tuple[str, ...]] = ("_anchored", "_shift", "_lost", "_level")

    def __init__(self, longest: int | None) -> None:
        self._longest = math.inf if longest is None else longest
        self._anchored = Anchored()
        self._shift = 0.0  # taken off since the last long gap
        self._lost = 0  # samples lost in a row up to now
        self._level = 0.0  # last value given out

    def push(self, values: Floats) -> tuple[Floats, Bools]:
        """Return the bridged samples, and which of them were lost."""
        level, lost = self._anchored.push(values)
        if not len(level):
            return level, lost
        if not self._lost and not lost.any():
            bridged = level - self._shift if self._shift else level
        else:
            bridged = self._spliced(level, lost)
        self._level = float(bridged[-1])
        return bridged, lost

    def _spliced(self, level: Floats, lost: Bools) -> Floats:
        """Take the step off after each long gap that ends here."""
        shift = np.full(len(level), self._shift)
        starts, ends, lengths, self._lost = runs_going_on(lost, self._lost)
        long = (lengths > self._longest) & (ends < len(level))
        for start, end in zip(starts[long].tolist(), ends[long].tolist(), strict=True):
            before = self._level if start == 0 else float(level[start - 1] - shift[start - 1])
            shift[end:] = level[end] - before
        self._shift = float(shift[-1])
        spliced: Floats = level - shift
        return spliced
