"""Shifts of the level by much of what a signal spans: an amplifier that recovers hides beats.

In come samples; out come the edges of shifts. The idea: in blocks of a quarter of a second only the
smallest and largest sample are kept; where three blocks in a row lie wholly above, or below, the
ends of all the blocks before them, and far, the level has been shifted. An electrode that moves
gives such a shift, with an exponential way back; no beat, breath or wave of an ECG does.
"""

from __future__ import annotations

import math
from typing import ClassVar

import numpy as np

from infantmon.dsp.bursts import BlockRanges
from infantmon.dsp.neighbours import sliding
from infantmon.dsp.stretches import Edge
from infantmon.model.arrays import Bools, Floats
from infantmon.model.carried import Carried

# All values are the project's choice, on the shared recordings: shifted is 0.15 % of the time of
# adults with arrhythmia, 0.9 % of that of fetuses in labour, none of that of preterm infants.
BLOCK_S = 0.25
HELD = 3  # blocks that lie beyond those before
APART = 4  # blocks before these are left out: the shift may have begun there, slowly
BASE = 40  # blocks before those tell where the level was: slow wander is no shift
USUAL = 40  # and as many windows
WINDOW = 8  # of so many blocks what a signal spans
SHARE = 0.5  # of what it spans: a shift is larger
STEADY = 0.06  # of what it spans: less in a second is steady, and the shift over
BACK = 0.2  # of what it spans: so near it is back
LONGEST = 40  # blocks after which a shift is what the level is now
_SECOND = 4  # blocks
_TAIL = APART + USUAL + WINDOW  # blocks that are looked at before the first of those held
_NONE = -1


class LevelShifts(Carried):
    """Edges of shifts of the level.

    A shift begins where three blocks in a row lie, as a whole, beyond all those of the ten seconds
    up to one second before, by more than half of what the signal usually spans in 2 s (the median
    over ten seconds). It is over where the level is steady, or back, or after 10 s.

    Parameters
    ----------
    reason : int
        What to call it.
    block_ticks : int
        Samples in a block of 0.25 s.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_ranges", "_low", "_high", "_block", "_free", "_began", "_up", "_base", "_span",
    )  # fmt: skip

    def __init__(self, reason: int, block_ticks: int) -> None:
        self._reason = reason
        self._block_ticks = block_ticks
        self._ranges = BlockRanges(block_ticks)
        self._low = np.full(_TAIL + HELD - 1, math.nan)  # of the latest blocks
        self._high = self._low.copy()
        self._block = 0  # number of the next block
        self._free = 0  # first block at which a shift may begin
        self._began = _NONE  # block at which the present shift began
        self._up = False
        self._base = math.nan  # the level before it
        self._span = math.nan  # what the signal spanned before it

    def push(self, values: Floats, finite: Bools) -> list[Edge]:
        """Return the edges that are known with these samples."""
        low, high = self._ranges.push(values, finite)
        edges: list[Edge] = []
        if not len(low):
            return edges
        first = self._block - len(self._low)  # number of the first block at hand
        low, high = np.concatenate((self._low, low)), np.concatenate((self._high, high))
        before, self._block = self._block, first + len(low)
        if self._began != _NONE:
            self._follow(low, high, first, before, edges)
        for row in self._suspects(low, high):
            if first + row >= self._free and self._began == _NONE:
                self._begin(low, high, first, row, edges)
        self._low, self._high = low[1 - HELD - _TAIL :].copy(), high[1 - HELD - _TAIL :].copy()
        return edges

    def _suspects(self, low: Floats, high: Floats) -> list[int]:
        """Return the rows from which on all that is held lies beyond the blocks before."""
        base = slice(_TAIL - APART - BASE, len(low) - HELD + 1 - APART - BASE)
        up = sliding(np.minimum, low, HELD)[_TAIL:] > sliding(np.maximum, low, BASE)[base]
        down = sliding(np.maximum, high, HELD)[_TAIL:] < sliding(np.minimum, high, BASE)[base]
        return (np.flatnonzero(up | down) + _TAIL).tolist()

    def _begin(self, low: Floats, high: Floats, first: int, row: int, edges: list[Edge]) -> None:
        """Begin a shift at a row, if it is large beside what the signal spans."""
        until = row - APART
        around = slice(until - USUAL - WINDOW + 1, until)
        spans = sliding(np.maximum, high[around], WINDOW) - sliding(np.minimum, low[around], WINDOW)
        if np.isnan(spans).any():
            return
        span = float(np.median(spans))
        base = slice(until - BASE, until)
        rise = float(low[row : row + HELD].min() - low[base].max())
        fall = float(high[base].min() - high[row : row + HELD].max())
        if not max(rise, fall) > SHARE * span > 0.0:
            return
        self._began, self._up, self._span = first + row, rise > fall, span
        self._base = float(np.median((low if self._up else high)[base]))
        known = (self._began + HELD) * self._block_ticks - 1
        tick = self._began * self._block_ticks
        edges.append(Edge(known, ends=False, reason=self._reason, tick=tick))
        self._follow(low, high, first, self._began + HELD, edges)

    def _follow(self, low: Floats, high: Floats, first: int, block: int, edges: list[Edge]) -> None:
        """Go on from a block, and end the shift where it is over."""
        level = low if self._up else high
        row = block - first
        off = (level[row:] - self._base) * (1.0 if self._up else -1.0)
        change = np.abs(level[row:] - level[row - _SECOND : len(level) - _SECOND])
        goes_on = (off > BACK * self._span) & (change > STEADY * self._span)  # not where NaN
        goes_on &= np.arange(block, block + len(off)) < self._began + LONGEST
        if goes_on.all():
            return
        self._free = block + int(np.argmin(goes_on))
        self._began = _NONE
        known = (self._free + 1) * self._block_ticks - 1
        tick = self._free * self._block_ticks
        edges.append(Edge(known, ends=True, reason=self._reason, tick=tick))
