"""Which breaths may be no breaths: swings that a disturbance or an electrode may have made."""

from __future__ import annotations

import math
from typing import ClassVar

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from infantmon.events.batch import Batch
from infantmon.model.arrays import NO_FLOATS, Bools, Floats
from infantmon.model.carried import Carried
from infantmon.model.marks import Breaths
from infantmon.model.spans import BLOCKING, ContactMarks

BEFORE_S = 0.5
AFTER_S = 2.0
"""A swing so close before or after a lost or disturbed stretch may come from it, in seconds: that
is how long the filters ring and a jolt dies away."""
LARGE_TIMES = 2.0
"""A swing of more than so many times the usual breath may be something else than a breath."""
AFTER_LARGE_S = 3.0
"""So long after a large one others may belong to the same movement, in seconds."""
USUAL_OF, LEAST_USUAL = 12, 6
"""Breaths before it whose median size is the usual one, and how many are needed."""
_KEPT_S = 60.0


class DoubtfulBreaths(Carried):
    """Tells of each breath whether it may come from a disturbance, as far as known with it.

    Findings only: the contact marks of the impedance that are known by the time the breath is, and
    the sizes of the breaths before it. A shallow one is doubtful as well. Bridged stretches say
    nothing.
    """

    carried: ClassVar[tuple[str, ...]] = ("_zones", "_sizes", "_large_s", "_reached_s")

    def __init__(self) -> None:
        # since, end, known from, known until; an open stretch has no end yet
        self._zones: list[tuple[float, float, float, float, bool]] = []
        self._sizes = NO_FLOATS  # of the latest breaths
        self._reached_s = -math.inf
        self._large_s = -math.inf  # when the latest large one was

    def learn(self, batch: Batch, role: str) -> None:
        """Take up the contact marks of a batch."""
        oldest_s = self._reached_s - _KEPT_S  # of the batch before: what this one holds is not told
        self._reached_s = batch.reached_s
        self._zones = [zone for zone in self._zones if zone[1] >= oldest_s]
        marks = batch.contact.get(role)
        if marks is None:
            return
        for row in np.flatnonzero(~marks.bridged).tolist():
            self._note(marks, row)

    def _note(self, marks: ContactMarks, row: int) -> None:
        since_s, known_s = float(marks.since_s[row]), float(marks.known_s[row])
        blocking = bool(int(marks.reason[row]) & int(BLOCKING))
        for place, zone in enumerate(self._zones):  # what was known of it till now holds no longer
            if zone[1] == math.inf and zone[3] == math.inf and zone[4] == blocking:
                self._zones[place] = (zone[0], known_s, zone[2], known_s, blocking)
        end_s = float(marks.time_s[row]) if marks.usable[row] else math.inf
        self._zones.append((since_s, end_s, known_s, math.inf, blocking))

    def tell(self, breaths: Breaths) -> Bools:
        """Return which of the next breaths are doubtful."""
        time_s, known_s = breaths.time_s, breaths.known_s
        doubtful = breaths.shallow | self._beside_large(time_s, self._large(breaths.size))
        for since_s, end_s, from_s, until_s, _ in self._zones:
            latest_s = end_s + AFTER_S if until_s == math.inf else until_s
            first = int(np.searchsorted(time_s, since_s - BEFORE_S))
            after = int(np.searchsorted(time_s, latest_s, side="right"))
            known = known_s[first:after]
            doubtful[first:after] |= (known >= from_s) & (known < until_s)
        return doubtful

    def _beside_large(self, time_s: Floats, large: Bools) -> Bools:
        """Tell which breaths are large, or follow a large one at once."""
        latest_s = np.maximum.accumulate(np.where(large, time_s, self._large_s))
        if len(latest_s):
            self._large_s = float(latest_s[-1])
        return np.asarray(large | (time_s - latest_s <= AFTER_LARGE_S), dtype=np.bool_)

    def _large(self, size: Floats) -> Bools:
        """Tell which breaths are much larger than the median of those before."""
        before = np.concatenate((self._sizes, size))
        held = len(self._sizes)
        self._sizes = before[-USUAL_OF:].copy()
        usual = np.full(len(size), math.inf)
        for row in range(min(len(size), max(USUAL_OF - held, 0))):  # the first few of a stream
            if held + row >= LEAST_USUAL:
                usual[row] = np.median(before[: held + row])
        first = max(USUAL_OF - held, 0)
        if len(size) > first:
            windows = sliding_window_view(before[held + first - USUAL_OF : -1], USUAL_OF)
            usual[first:] = np.median(windows, axis=1)
        return np.asarray(size > LARGE_TIMES * usual, dtype=np.bool_)
