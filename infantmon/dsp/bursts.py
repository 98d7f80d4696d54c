"""Bursts of swings far larger than usual, and jumps of the level: movement, not breathing.

In come samples; out come the edges of bursts and jumps. The idea: in blocks of a quarter of a
second only the smallest and largest sample are kept; what spans far more than the usual swing
within a second is looked at block by block, all else is passed over.
"""

from __future__ import annotations

import bisect
import math
from collections import deque
from typing import ClassVar

import numpy as np

from infantmon.dsp.neighbours import neighbours
from infantmon.dsp.stretches import Edge
from infantmon.model.arrays import NO_FLOATS, Bools, Floats
from infantmon.model.carried import Carried

SHORT = 4
"""Blocks over which a swing is measured: 1 s of blocks of 0.25 s."""
LONG = 8
"""Blocks over which the usual swing is measured, and blocks that make a burst: 2 s. As one sharp
peak fills SHORT blocks, a burst has lasted for longer than 1 s then."""
_LARGE = 2.0
_ORDINARY = 1.5
"""Multiples of the usual swing: above the first within 1 s is large, below the second ordinary."""


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
        if not finite.any():
            return self._push_lost(len(values))
        if not finite.all():
            values = np.where(finite, values, math.nan)
        joined = np.concatenate((self._rest, values)) if len(self._rest) else values
        full = len(joined) // self.size * self.size
        self._rest = joined[full:].copy()
        blocks = joined[:full].reshape(-1, self.size)
        low, high = blocks.min(axis=1), blocks.max(axis=1)
        holed = np.flatnonzero(np.isnan(low))
        if len(holed):  # all at once: a hole of hours is nothing but such blocks
            lost = np.isnan(blocks[holed])
            enough = 2 * (self.size - lost.sum(axis=1)) >= self.size
            rows, lost = holed[enough], lost[enough]
            low[rows] = np.where(lost, math.inf, blocks[rows]).min(axis=1)
            high[rows] = np.where(lost, -math.inf, blocks[rows]).max(axis=1)
        return low, high

    def _push_lost(self, count: int) -> tuple[Floats, Floats]:
        """Take samples that are all lost: only the first block can hold others, from before."""
        number, left = divmod(len(self._rest) + count, self.size)
        low = np.full(number, math.nan)
        high = low.copy()
        if not number:
            self._rest = np.concatenate((self._rest, np.full(count, math.nan)))
            return low, high
        seen = self._rest[~np.isnan(self._rest)]
        if len(seen) and 2 * len(seen) >= self.size:
            low[0], high[0] = seen.min(), seen.max()
        self._rest = np.full(left, math.nan)
        return low, high


class UsualSwing(Carried):
    """The usual size of a swing: robust, long in memory, and with a way back.

    Each window of 2 s gives one range. The usual swing is the 0.8 quantile of the last 32 windows.
    Windows with far less in them are pauses, and are kept apart, so that long pauses with a few
    breaths between them do not shrink it; after 32 in a row they are what is usual now. Windows in
    a burst are kept apart, too. Where four of them follow each other and are alike (large, but
    rhythmic), they are what is usual now; twelve of them within 32 windows are no longer unusual
    either.
    """

    carried: ClassVar[tuple[str, ...]] = ("_history", "_sorted", "_still", "_apart", "_window")

    _MEMORY = 32
    _QUANTILE = 0.8
    _STILL = 0.35  # of the usual swing: less is a pause (project's choice)
    _ALIKE = 4
    _ALIKE_RATIO = 1.6
    _NO_LONGER_UNUSUAL = 12
    _LEAST = 3  # windows before anything can be called unusual

    def __init__(self) -> None:
        self._history: deque[float] = deque()
        self._sorted: list[float] = []
        self._still: list[float] = []  # ranges of the latest windows in a row that are a pause
        self._apart: list[tuple[int, float]] = []  # number and range of windows in bursts
        self._window = 0

    @property
    def size(self) -> float:
        """The usual swing; infinity while too little has been seen."""
        if len(self._sorted) < self._LEAST:
            return math.inf
        return self._sorted[int(self._QUANTILE * (len(self._sorted) - 1))]

    def pass_over(self, windows: int) -> None:
        """Count windows that cannot be measured and teach nothing."""
        self._window += windows

    def take(self, swing: float, *, in_burst: bool) -> None:
        """Learn from one window; a flat or unmeasurable (NaN) one teaches nothing."""
        self._window += 1
        if not swing > 0.0:
            return
        if not in_burst:
            self._take_ordinary(swing)
            return
        self._still = []
        oldest = self._window - self._MEMORY
        self._apart = [(k, size) for k, size in self._apart if k > oldest]
        self._apart.append((self._window, swing))
        if self._rhythmic():
            self._history.clear()
            self._sorted.clear()
            self._learn(self._apart[-self._ALIKE :])
        elif len(self._apart) == self._NO_LONGER_UNUSUAL:
            self._learn(self._apart)

    def _take_ordinary(self, swing: float) -> None:
        """Learn from a window without a burst, from those of a pause only if it does not end."""
        usual = self.size
        if math.isinf(usual) or swing >= self._STILL * usual:
            self._still = []
            self._remember(swing)
            return
        self._still.append(swing)
        if len(self._still) == self._MEMORY:
            for each in self._still:
                self._remember(each)
            self._still = []

    def _rhythmic(self) -> bool:
        """Tell whether the latest windows in a burst follow each other and are alike."""
        latest = self._apart[-self._ALIKE :]
        sizes = [size for _, size in latest]
        in_a_row = len(latest) == self._ALIKE and latest[-1][0] - latest[0][0] == self._ALIKE - 1
        return in_a_row and max(sizes) <= self._ALIKE_RATIO * min(sizes)

    def _learn(self, apart: list[tuple[int, float]]) -> None:
        """Take windows that were kept apart as usual ones."""
        self._apart = []
        for _, size in apart:
            self._remember(size)

    def _remember(self, swing: float) -> None:
        if len(self._history) == self._MEMORY:
            del self._sorted[bisect.bisect_left(self._sorted, self._history.popleft())]
        self._history.append(swing)
        bisect.insort(self._sorted, swing)


class BurstEdges(Carried):
    """Edges of bursts and of jumps of the level.

    From where the signal swings within 1 s by more than twice the usual swing, to where it is
    ordinary again, is a burst if that takes 2 s and spans more than `ratio` times the usual swing;
    it is told as soon as both hold. So a sigh of three or four breaths is none. What is over sooner
    is no burst; if it left the level elsewhere, it is a jump, told when it is over.

    Parameters
    ----------
    burst, jump : int
        What to call the two.
    block_ticks : int
        Samples in a block of 0.25 s.
    ratio : float
        How many times the usual swing a burst spans.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_ranges", "_usual", "_low", "_high", "_block", "_on", "_begin", "_told", "_level",
        "_span_low", "_span_high", "_window_low", "_window_high", "_window_burst",
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
        self._span_low = math.inf  # extremes of the present burst
        self._span_high = -math.inf
        self._window_low = math.inf
        self._window_high = -math.inf
        self._window_burst = False

    def push(self, values: Floats, finite: Bools) -> list[Edge]:
        """Return the edges that are known with these samples."""
        low, high = self._ranges.push(values, finite)
        edges: list[Edge] = []
        if not len(low):
            return edges
        if not self._on and np.isnan(low).all():
            self._low = np.concatenate((self._low, low))[-SHORT:]
            self._high = np.concatenate((self._high, high))[-SHORT:]
            self._pass_over(len(low))
            return edges
        low, high = np.concatenate((self._low, low)), np.concatenate((self._high, high))
        self._low, self._high = low[-SHORT:].copy(), high[-SHORT:].copy()
        # row k: the SHORT blocks up to the k-th new one; row 0 is the one before
        least = neighbours(low, SHORT).min(axis=1)
        most = neighbours(high, SHORT).max(axis=1)
        self._walk(
            low[SHORT:].tolist(), high[SHORT:].tolist(), least.tolist(), most.tolist(), edges
        )
        return edges

    def _walk(
        self,
        low: list[float],
        high: list[float],
        least: list[float],
        most: list[float],
        edges: list[Edge],
    ) -> None:
        """Go through the new blocks, window by window; look closer only where a swing is large."""
        swing = [b - a for a, b in zip(least, most, strict=True)]  # NaN is never large
        at, count = 0, len(low)
        while at < count:
            until = min(count, at + LONG - self._block % LONG)
            large = _LARGE * self._usual.size
            if self._on or any(size > large for size in swing[at + 1 : until + 1]):
                for k in range(at, until):
                    before, now = (least[k], most[k]), (least[k + 1], most[k + 1])
                    self._step(self._block + k - at, before, now, edges)
            # NaN in any block makes the window unmeasurable; min and max alone would hide it
            window = low[at:until] + high[at:until]
            bad = math.isnan(sum(window))
            self._window_low = math.nan if bad else min(self._window_low, *window)
            self._window_high = math.nan if bad else max(self._window_high, *window)
            self._block += until - at
            at = until
            if self._block % LONG == 0:
                self._end_window()

    def _pass_over(self, count: int) -> None:
        """Go through blocks that cannot be measured, outside a burst: as `_walk` does, at once."""
        after = self._block + count
        windows = after // LONG - self._block // LONG
        if windows:
            self._usual.pass_over(windows)
            self._window_low, self._window_high = math.inf, -math.inf
            self._window_burst = False
        if after % LONG:
            self._window_low = self._window_high = math.nan
        self._block = after

    def _end_window(self) -> None:
        """Learn from a full window of LONG blocks."""
        self._usual.take(self._window_high - self._window_low, in_burst=self._window_burst)
        self._window_low, self._window_high = math.inf, -math.inf
        self._window_burst = self._on

    def _step(
        self, block: int, before: tuple[float, float], now: tuple[float, float], edges: list[Edge]
    ) -> None:
        """Take one block: the extremes of the second up to the block before it, and up to it."""
        swing, usual = now[1] - now[0], self._usual.size
        if not self._on:
            if swing > _LARGE * usual:
                self._on, self._told, self._begin = True, False, block
                self._window_burst = True
                self._level = 0.5 * (before[0] + before[1])
                self._span_low, self._span_high = now
            return
        if not swing >= _ORDINARY * usual:  # or it cannot be measured any more
            self._over(block, 0.5 * (now[0] + now[1]), edges)
            return
        self._span_low = min(self._span_low, now[0])
        self._span_high = max(self._span_high, now[1])
        wide = self._span_high - self._span_low > self._ratio * usual
        if wide and not self._told and block - self._begin + 1 >= LONG:
            self._told = True
            self._edge(self._burst, block, edges, begins=True)

    def _over(self, block: int, level: float, edges: list[Edge]) -> None:
        """End a burst, or tell a jump that is over, now that the swings are ordinary again."""
        soon = block - self._begin + 1 <= LONG
        if self._told:
            self._edge(self._burst, block, edges, begins=False)
        elif soon and abs(level - self._level) > 0.5 * self._ratio * self._usual.size:
            self._edge(self._jump, block, edges, begins=True)
            self._edge(self._jump, block, edges, begins=False)
        self._on = False

    def _edge(self, reason: int, block: int, edges: list[Edge], *, begins: bool) -> None:
        """Note an edge that is known with the last sample of a block."""
        after = (block + 1) * self._block_ticks
        tick = self._begin * self._block_ticks if begins else after
        edges.append(Edge(after - 1, ends=not begins, reason=reason, tick=tick))
