"""Local maxima of a stream, each found once, however the stream is cut.

In come samples; out come places and heights of those that are the largest around.
"""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from infantmon.dsp.neighbours import sliding
from infantmon.model.arrays import Floats, Ints
from infantmon.model.carried import Carried


class LocalMaxima(Carried):
    """Places whose sample is the largest within `radius` samples on either side, and above 0.

    Of equal samples the first counts. A place is given as soon as the sample `radius` later is in;
    on the last push all that are left.

    Parameters
    ----------
    radius : int
        How far to either side a maximum must be the largest, in samples.
    """

    carried: ClassVar[tuple[str, ...]] = ("_tail", "_first")

    def __init__(self, radius: int) -> None:
        self.radius = radius
        self._tail = np.zeros(radius)  # the samples before the start count as 0
        self._first = -radius  # place of the tail's first sample in the stream

    def push(self, values: Floats, *, last: bool = False) -> tuple[Ints, Floats]:
        """Return places in the stream and heights of the maxima that are settled now."""
        radius = self.radius
        parts = (self._tail, values, np.zeros(radius)) if last else (self._tail, values)
        joined = np.concatenate(parts)
        ready = len(joined) - 2 * radius
        if ready <= 0:
            self._tail = joined
            return np.empty(0, dtype=np.int64), np.empty(0)
        widest = sliding(np.maximum, joined, radius)
        middle = joined[radius : radius + ready]
        ahead = widest[radius + 1 : radius + 1 + ready]
        peak = np.flatnonzero((middle > widest[:ready]) & (middle >= ahead))
        places = peak + (self._first + radius)
        self._tail = joined[ready:].copy()
        self._first += ready
        return places.astype(np.int64), middle[peak]
