"""Which breaths may be no breaths: swings that a disturbance or an electrode may have made."""

from __future__ import annotations

import math
from typing import ClassVar

import numpy as np

from infantmon.events.batch import Batch
from infantmon.model.arrays import Bools
from infantmon.model.carried import Carried
from infantmon.model.marks import Breaths
from infantmon.model.spans import BLOCKING, INTERFERING, ContactMarks

BEFORE_S = 0.5
AFTER_S = 2.0
"""A swing so close before or after a lost or disturbed stretch may come from it, in seconds: that
is how long the filters ring and a jolt dies away."""
_KEPT_S = 60.0


class DoubtfulBreaths(Carried):
    """Tells of each breath whether it may come from a disturbance, as far as known with it.

    Findings only: the contact marks of the impedance that are known by the time the breath is.
    Bridged stretches say nothing. A breath is not doubtful here for its size: small and large ones
    belong to ordinary breathing (`IsolatedSwings` looks at those alone in a silence), and the clock
    runs from every breath that is found.
    """

    carried: ClassVar[tuple[str, ...]] = ("_zones", "_reached_s")

    def __init__(self) -> None:
        # since, end, known from, known until; an open stretch has no end yet
        self._zones: list[tuple[float, float, float, float, bool]] = []
        self._reached_s = -math.inf

    def learn(self, batch: Batch, role: str) -> None:
        """Take up the contact marks of a batch."""
        oldest_s = self._reached_s - _KEPT_S  # of the batch before: what this one holds is not told
        self._reached_s = batch.reached_s
        self._zones = [zone for zone in self._zones if zone[1] >= oldest_s]
        marks = batch.contact.get(role)
        if marks is None:
            return
        counts = ~marks.bridged & ((marks.reason & int(INTERFERING)) == 0)
        for row in np.flatnonzero(counts).tolist():
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
        doubtful = np.zeros(len(breaths), dtype=np.bool_)
        for since_s, end_s, from_s, until_s, _ in self._zones:
            latest_s = end_s + AFTER_S if until_s == math.inf else until_s
            first = int(np.searchsorted(time_s, since_s - BEFORE_S))
            after = int(np.searchsorted(time_s, latest_s, side="right"))
            known = known_s[first:after]
            doubtful[first:after] |= (known >= from_s) & (known < until_s)
        return doubtful
