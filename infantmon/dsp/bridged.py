"""Samples made safe for filters across gaps: no step where the signal comes back."""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from infantmon.dsp.anchored import Anchored
from infantmon.dsp.runs import true_runs
from infantmon.model.arrays import Bools, Floats
from infantmon.model.carried import Carried


class Bridged(Carried):
    """`Anchored` samples that go on from the held level after a gap.

    A lost sample is held, as `Anchored` does. After more than `longest` of them in a
    row the signal goes on from the level at which it was lost, so that a baseline which moved
    meanwhile makes no step. After a shorter gap it goes on as recorded.

    Parameters
    ----------
    longest : int
        The longest gap, in samples, after which the level is left as it is.
    """

    carried: ClassVar[tuple[str, ...]] = ("_anchored", "_shift", "_lost", "_level")

    def __init__(self, longest: int) -> None:
        self.longest = longest
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
        starts, ends = true_runs(lost)
        if self._lost and (not len(starts) or starts[0] > 0):
            starts, ends = np.append(0, starts), np.append(0, ends)  # the gap ended with the chunk
        for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
            length = end - start + (self._lost if start == 0 else 0)
            if end < len(level) and length > self.longest:
                before = self._level if start == 0 else float(level[start - 1] - shift[start - 1])
                shift[end:] = level[end] - before
        self._shift = float(shift[-1])
        trailing = len(level) - int(starts[-1]) if lost[-1] else 0
        self._lost = trailing + (self._lost if trailing == len(level) else 0)
        spliced: Floats = level - shift
        return spliced
