"""Bursts of swings far larger than usual, and jumps of the level: movement, not breathing."""

from __future__ import annotations

import bisect
import math
from collections import deque
from typing import ClassVar

import numpy as np

from infantmon.dsp.stretches import Edge
from infantmon.model.arrays import NO_FLOATS, Bools, Floats
from infantmon.model.carried import Carried

SHORT = 4
"""Blocks over which a swing is measured: 1 s of blocks of 0.25 s."""
LONG = 8
"""Blocks over which the usual swing is measured, and blocks that make a burst: 2 s. As one sharp
peak fills SHORT blocks, a burst has lasted for longer than 1 s then."""


class BlockRanges(Carried):
    """Smallest and largest sample of each block of `size` samples.

    A block of which more than half is not finite gives NaN.
    """

    carried: ClassVar[tuple[str, ...]] = ("_rest",)

    def __init__(self, size: int) -> None:
        self.size = size
        self._rest = NO_FLOATS

    def push(self, values: Floats, finite: Bools) -> tuple[Floats, Floats]:
        """Return smallest and largest sample of all blocks that are full now."""
        if not finite.all():
            values = np.where(finite, values, math.nan)
        joined = np.concatenate((self._rest, values)) if len(self._rest) else values
        full = len(joined) // self.size * self.size
        self._rest = joined[full:].copy()
        blocks = joined[:full].reshape(-1, self.size)
        low, high = blocks.min(axis=1), blocks.max(axis=1)
        for row in np.flatnonzero(np.isnan(low)).tolist():
            seen = blocks[row][~np.isnan(blocks[row])]
            if 2 * len(seen) >= self.size:
                low[row], high[row] = seen.min(), seen.max()
        return low, high


class UsualSwing(Carried):
    """The usual size of a swing: robust, long in memory, and with a way back.

    Each window of 2 s gives one range. The usual swing is the 0.8 quantile of the last 32 windows,
    so that pauses, even for three quarters of the time, do not shrink it. Windows in a burst are
    kept apart; where four of them in a row are alike (large, but rhythmic), or after 15 of them,
    they are what is usual now.
    """

    carried: ClassVar[tuple[str, ...]] = ("_history", "_sorted", "_apart")

    _MEMORY = 32
    _QUANTILE = 0.8
    _ALIKE = 4
    _ALIKE_RATIO = 1.6
    _WAY_BACK = 15
    _LEAST = 3  # windows before anything can be called unusual

    def __init__(self) -> None:
        self._history: deque[float] = deque()
        self._sorted: list[float] = []
        self._apart: list[float] = []

    @property
    def size(self) -> float:
        """The usual swing; infinity while too little has been seen."""
        if len(self._sorted) < self._LEAST:
            return math.inf
        return self._sorted[int(self._QUANTILE * (len(self._sorted) - 1))]

    def take(self, swing: float, *, in_burst: bool) -> None:
        """Learn from one window; a flat or unmeasurable (NaN) one teaches nothing."""
        if not swing > 0.0:
            return
        if not in_burst:
            self._apart.clear()
            self._remember(swing)
            return
        self._apart.append(swing)
        latest = self._apart[-self._ALIKE :]
        alike = len(latest) == self._ALIKE and max(latest) <= self._ALIKE_RATIO * min(latest)
        if alike or len(self._apart) == self._WAY_BACK:
            self._history.clear()
            self._sorted.clear()
            for size in latest if alike else self._apart:
                self._remember(size)
            self._apart.clear()

    def _remember(self, swing: float) -> None:
        if len(self._history) == self._MEMORY:
            del self._sorted[bisect.bisect_left(self._sorted, self._history.popleft())]
        self._history.append(swing)
        bisect.insort(self._sorted, swing)


class BurstEdges(Carried):
    """Edges of bursts and of jumps of the level.

    A burst begins where the signal swings within 1 s by more than `ratio` times the usual swing,
    and is over when it swings by less than half of that. It is told after 2 s. What is over sooner
    is no burst; if it left the level elsewhere, it is a jump, told when it is over.

    Parameters
    ----------
    burst, jump : int
        What to call the two.
    block_ticks : int
        Samples in a block of 0.25 s.
    ratio : float
        How many times the usual swing.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_ranges", "_usual", "_low", "_high", "_block", "_on", "_begin", "_told", "_level",
        "_window_low", "_window_high", "_window_burst",
    )  # fmt: skip

    def __init__(self, burst: int, jump: int, *, block_ticks: int, ratio: float) -> None:
        self._burst, self._jump = burst, jump
        self._block_ticks = block_ticks
        self._ratio = ratio
        self._ranges = BlockRanges(block_ticks)
        self._usual = UsualSwing()
        self._low = np.full(SHORT, math.nan)  # of the latest blocks
        self._high = np.full(SHORT, math.nan)
        self._block = 0  # number of the next block
        self._on = False
        self._begin = 0  # block in which the present burst began
        self._told = False
        self._level = math.nan  # before the present burst
        self._window_low = math.inf
        self._window_high = -math.inf
        self._window_burst = False

    def push(self, values: Floats, finite: Bools) -> list[Edge]:
        """Return the edges that are known with these samples."""
        low, high = self._ranges.push(values, finite)
        edges: list[Edge] = []
        if not len(low):
            return edges
        low, high = np.concatenate((self._low, low)), np.concatenate((self._high, high))
        self._low, self._high = low[-SHORT:].copy(), high[-SHORT:].copy()
        # row k: the SHORT blocks up to the k-th new one; row 0 is the one before
        least = np.lib.stride_tricks.sliding_window_view(low, SHORT).min(axis=1)
        most = np.lib.stride_tricks.sliding_window_view(high, SHORT).max(axis=1)
        swing = np.nan_to_num(most - least, nan=0.0).tolist()
        level = (0.5 * (most + least)).tolist()
        self._walk(low[SHORT:].tolist(), high[SHORT:].tolist(), swing, level, edges)
        return edges

    def _walk(
        self,
        low: list[float],
        high: list[float],
        swing: list[float],
        level: list[float],
        edges: list[Edge],
    ) -> None:
        """Go through the new blocks, window by window; look closer only where a swing is large."""
        at, count = 0, len(low)
        while at < count:
            until = min(count, at + LONG - self._block % LONG)
            if self._on or max(swing[at + 1 : until + 1]) > self._ratio * self._usual.size:
                for k in range(at, until):
                    self._step(self._block + k - at, swing[k + 1], level[k], level[k + 1], edges)
            # NaN in any block makes the window unmeasurable; min and max alone would hide it
            window = low[at:until] + high[at:until]
            bad = math.isnan(sum(window))
            self._window_low = math.nan if bad else min(self._window_low, *window)
            self._window_high = math.nan if bad else max(self._window_high, *window)
            self._block += until - at
            at = until
            if self._block % LONG == 0:
                self._end_window()

    def _end_window(self) -> None:
        """Learn from a full window of LONG blocks."""
        self._usual.take(self._window_high - self._window_low, in_burst=self._window_burst)
        self._window_low, self._window_high = math.inf, -math.inf
        self._window_burst = self._on

    def _step(
        self, block: int, swing: float, before: float, level: float, edges: list[Edge]
    ) -> None:
        """Take one block: the swing of the last second, and the level one block before and now."""
        limit = self._ratio * self._usual.size
        if not self._on:
            if swing > limit:
                self._on, self._told, self._begin, self._level = True, False, block, before
                self._window_burst = True
        elif swing < 0.5 * limit:
            self._over(block, level, edges)
        elif not self._told and block - self._begin + 1 >= LONG:
            self._told = True
            self._edge(self._burst, block, edges, begins=True)

    def _over(self, block: int, level: float, edges: list[Edge]) -> None:
        """End a burst, or tell a jump that is over, now that the swings are ordinary again."""
        if self._told:
            self._edge(self._burst, block, edges, begins=False)
        elif abs(level - self._level) > 0.5 * self._ratio * self._usual.size:
            self._edge(self._jump, block, edges, begins=True)
            self._edge(self._jump, block, edges, begins=False)
        self._on = False

    def _edge(self, reason: int, block: int, edges: list[Edge], *, begins: bool) -> None:
        """Note an edge that is known with the last sample of a block."""
        after = (block + 1) * self._block_ticks
        tick = self._begin * self._block_ticks if begins else after
        edges.append(Edge(after - 1, ends=not begins, reason=reason, tick=tick))
