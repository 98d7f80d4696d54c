"""Shifts of the level by much of what a signal spans: an amplifier that recovers hides beats.

In come samples; out come the edges of shifts. The idea: of blocks of a quarter of a second the mean
is kept, in which mains and noise are averaged out and a QRS complex counts little; where the means
of three blocks in a row lie above, or below, those of all the blocks before them, and far, the
level has been shifted. An electrode that moves gives such a shift, with an exponential way back; no
beat, breath or wave of an ECG does.
"""

from __future__ import annotations

import math
from typing import ClassVar

import numpy as np

from infantmon.dsp.bursts import BlockRanges
from infantmon.dsp.neighbours import sliding
from infantmon.dsp.stretches import Edge
from infantmon.model.arrays import NO_FLOATS, Bools, Floats
from infantmon.model.carried import Carried

# All values are the project's choice, on the shared recordings: shifted is 0.15 % of the time of
# adults with arrhythmia, 1.3 % of that of fetuses in labour, none of that of preterm infants.
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


class BlockMeans(Carried):
    """Mean of each block of `size` samples; NaN where more than half of it is not finite."""

    carried: ClassVar[tuple[str, ...]] = ("_rest",)

    def __init__(self, size: int) -> None:
        self.size = size
        self._rest = NO_FLOATS  # each of them for the size, so that no sum is out of range

    def push(self, values: Floats, finite: Bools) -> Floats:
        """Return the means of all blocks that are full now."""
        shares = np.where(finite, values, math.nan) / self.size
        joined = np.concatenate((self._rest, shares))
        full = len(joined) // self.size * self.size
        self._rest = joined[full:].copy()
        blocks = joined[:full].reshape(-1, self.size)
        means = blocks.sum(axis=1)
        holed = np.flatnonzero(np.isnan(means))
        if len(holed):
            lost = np.isnan(blocks[holed])
            seen = self.size - lost.sum(axis=1)
            enough = 2 * seen >= self.size
            rows = holed[enough]
            sums = np.where(lost[enough], 0.0, blocks[rows]).sum(axis=1)
            means[rows] = sums * (self.size / seen[enough])
        return np.asarray(means)


class LevelShifts(Carried):
    """Edges of shifts of the level.

    A shift begins where the means of three blocks in a row lie beyond all those of the ten seconds
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
        "_ranges", "_means", "_low", "_high", "_mean", "_block", "_free", "_began", "_up", "_base",
        "_span",
    )  # fmt: skip

    def __init__(self, reason: int, block_ticks: int) -> None:
        self._reason = reason
        self._block_ticks = block_ticks
        self._ranges = BlockRanges(block_ticks)
        self._means = BlockMeans(block_ticks)
        self._low = np.full(_TAIL + HELD - 1, math.nan)  # of the latest blocks
        self._high = self._low.copy()
        self._mean = self._low.copy()
        self._block = 0  # number of the next block
        self._free = 0  # first block at which a shift may begin
        self._began = _NONE  # block at which the present shift began
        self._up = False
        self._base = math.nan  # the level before it
        self._span = math.nan  # what the signal spanned before it

    def push(self, values: Floats, finite: Bools) -> list[Edge]:
        """Return the edges that are known with these samples."""
        low, high = self._ranges.push(values, finite)
        mean = self._means.push(values, finite)
        edges: list[Edge] = []
        if not len(mean):
            return edges
        before, self._block = self._block, self._block + len(mean)
        first = before - len(self._mean)  # number of the first block at hand
        self._low = np.concatenate((self._low, low))
        self._high = np.concatenate((self._high, high))
        self._mean = np.concatenate((self._mean, mean))
        if self._began != _NONE:
            self._follow(first, before, edges)
        for row in self._suspects():
            if first + row >= self._free and self._began == _NONE:
                self._begin(first, row, edges)
        kept = 1 - HELD - _TAIL
        self._low, self._high = self._low[kept:].copy(), self._high[kept:].copy()
        self._mean = self._mean[kept:].copy()
        return edges

    def _suspects(self) -> list[int]:
        """Return the rows from which on all that is held lies beyond the blocks before."""
        mean = self._mean
        base = slice(_TAIL - APART - BASE, len(mean) - HELD + 1 - APART - BASE)
        up = sliding(np.minimum, mean, HELD)[_TAIL:] > sliding(np.maximum, mean, BASE)[base]
        down = sliding(np.maximum, mean, HELD)[_TAIL:] < sliding(np.minimum, mean, BASE)[base]
        return (np.flatnonzero(up | down) + _TAIL).tolist()

    def _begin(self, first: int, row: int, edges: list[Edge]) -> None:
        """Begin a shift at a row, if it is large beside what the signal spans."""
        until = row - APART
        around = slice(until - USUAL - WINDOW + 1, until)
        spans = sliding(np.maximum, self._high[around], WINDOW)
        spans = spans - sliding(np.minimum, self._low[around], WINDOW)
        if np.isnan(spans).any():
            return
        span = float(np.median(spans))
        held, base = self._mean[row : row + HELD], self._mean[until - BASE : until]
        rise, fall = float(held.min() - base.max()), float(base.min() - held.max())
        if not max(rise, fall) > SHARE * span > 0.0:
            return
        self._began, self._up, self._span = first + row, rise > fall, span
        self._base = float(np.median(base))
        known = (self._began + HELD) * self._block_ticks - 1
        tick = self._began * self._block_ticks
        edges.append(Edge(known, ends=False, reason=self._reason, tick=tick))
        self._follow(first, self._began + HELD, edges)

    def _follow(self, first: int, block: int, edges: list[Edge]) -> None:
        """Go on from a block, and end the shift where it is over."""
        level = self._mean
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
