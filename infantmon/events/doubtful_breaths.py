"""Which breaths may be no breaths: swings that a disturbance or an electrode may have made.

In come breaths and the contact marks of the impedance; out comes, for each breath, whether it lies
in or beside a stretch in which the signal was lost or disturbed. As marks come late, a breath is
judged by what was known of such stretches when the breath itself became known: so the answer does
not depend on how the stream is cut.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from infantmon.events.batch import Batch
from infantmon.model.arrays import Bools
from infantmon.model.carried import Carried, record
from infantmon.model.marks import Breaths
from infantmon.model.spans import BLOCKING, INTERFERING, ContactMarks

BEFORE_S = 0.5
AFTER_S = 2.0
"""A swing so close before or after a lost or disturbed stretch may come from it, in seconds: that
is how long the filters ring and a jolt dies away."""
_KEPT_S = 60.0  # no breath that is still to come lies longer before the time reached


@record
@dataclass(frozen=True, slots=True)
class Zone:
    """A lost or disturbed stretch, as it was known during a time (all in seconds).

    Attributes
    ----------
    since_s, end_s : float
        Where it begins and ends; an open one ends at infinity.
    from_s, until_s : float
        The stream time from which, and up to which, this was what was known of it.
    blocking : bool
        Whether the signal was lost, not only disturbed: the two have stretches of their own.
    """

    since_s: float
    end_s: float
    from_s: float
    until_s: float
    blocking: bool

    @property
    def is_open(self) -> bool:
        """Whether no end of it is known to this day."""
        return self.end_s == math.inf and self.until_s == math.inf


class DoubtfulBreaths(Carried):
    """Tells of each breath whether it may come from a disturbance, as far as known with it.

    Findings only: the contact marks of the impedance that are known by the time the breath is.
    Bridged stretches say nothing. A breath is not doubtful here for its size: small and large ones
    belong to ordinary breathing (`IsolatedSwings` looks at those alone in a silence), and the clock
    runs from every breath that is found.
    """

    carried: ClassVar[tuple[str, ...]] = ("_zones", "_reached_s")

    def __init__(self) -> None:
        self._zones: list[Zone] = []
        self._reached_s = -math.inf

    def learn(self, batch: Batch) -> None:
        """Take up the contact marks of the impedance in a batch."""
        oldest_s = self._reached_s - _KEPT_S  # of the batch before: what this one holds is not told
        self._reached_s = batch.reached_s
        self._zones = [zone for zone in self._zones if zone.end_s >= oldest_s]
        marks = batch.contact.get("impedance")
        if marks is None:
            return
        counts = ~marks.bridged & ((marks.reason & int(INTERFERING)) == 0)
        for row in np.flatnonzero(counts).tolist():
            self._note(marks, row)

    def _note(self, marks: ContactMarks, row: int) -> None:
        since_s, known_s = float(marks.since_s[row]), float(marks.known_s[row])
        blocking = bool(int(marks.reason[row]) & int(BLOCKING))
        for place, zone in enumerate(self._zones):  # what was known of it till now holds no longer
            if zone.is_open and zone.blocking == blocking:
                self._zones[place] = replace(zone, end_s=known_s, until_s=known_s)
        end_s = float(marks.time_s[row]) if marks.usable[row] else math.inf
        self._zones.append(Zone(since_s, end_s, known_s, math.inf, blocking))

    def tell(self, breaths: Breaths) -> Bools:
        """Return which of the next breaths are doubtful."""
        time_s, known_s = breaths.time_s, breaths.known_s
        doubtful = np.zeros(len(breaths), dtype=np.bool_)
        for zone in self._zones:
            latest_s = zone.end_s + AFTER_S if zone.until_s == math.inf else zone.until_s
            first = int(np.searchsorted(time_s, zone.since_s - BEFORE_S))
            after = int(np.searchsorted(time_s, latest_s, side="right"))
            known = known_s[first:after]
            doubtful[first:after] |= (known >= zone.from_s) & (known < zone.until_s)
        return doubtful
