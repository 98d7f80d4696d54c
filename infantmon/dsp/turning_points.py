"""Turning points of a smooth signal: every local maximum and minimum, each found once.

In come samples; out come places and values at which the signal turns, and which way.
"""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from infantmon.dsp.neighbours import steps
from infantmon.model.arrays import Bools, Floats, Ints
from infantmon.model.carried import Carried


class TurningPoints(Carried):
    """Places at which a stream stops rising (maxima) or falling (minima).

    Of equal samples in a row the first is the place; whether the run ends with a turn or goes on in
    the same direction does not matter, so a place is settled one sample later.
    """

    carried: ClassVar[tuple[str, ...]] = ("_tail", "_seen")

    def __init__(self) -> None:
        self._tail = np.empty(0)  # the last two samples
        self._seen = 0  # samples pushed so far

    def push(self, values: Floats) -> tuple[Ints, Floats, Bools]:
        """Return places in the stream, values, and which of them are maxima."""
        joined = np.concatenate((self._tail, values))
        first = self._seen - len(self._tail)
        self._seen += len(values)
        self._tail = joined[-2:].copy()
        step = steps(joined)
        before, after = step[:-1], step[1:]
        peak = (before > 0.0) & (after <= 0.0)
        index = np.flatnonzero(peak | ((before < 0.0) & (after >= 0.0)))
        return (index + (first + 1)).astype(np.int64), joined[index + 1], peak[index]
