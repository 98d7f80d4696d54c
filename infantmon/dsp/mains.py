"""Mains interference in a slow signal, at its own frequency or where sampling folds it to.

In come samples; out come the edges of stretches in which a line of 50 or 60 Hz is large beside the
usual swing.
"""

from __future__ import annotations

import math
from typing import ClassVar

import numpy as np

from infantmon.dsp.stretches import Edge
from infantmon.model.arrays import NO_FLOATS, Bools, Floats
from infantmon.model.carried import Carried

MAINS_HZ = (50.0, 60.0)
BLOCK_S = 1.0

# Where it can be told from other things
LOWEST_HZ = 6.0  # folded to less it looks like breathing or the heart's pulsation
EDGE_HZ = 2.0  # nor can it be told so near to half the sampling rate
BESIDE_HZ = 3.0  # it is a narrow line: at so much more and so much less
NARROW = 3.0  # there is so many times less, or it is noise of any kind

# When it is large enough to be told
SHARE = 0.3  # of the usual swing, peak to peak
USUAL = 60  # blocks: their median swing, without the line, is usual
ENOUGH = 10  # before so many blocks nothing is usual yet
IN_A_ROW = 2  # blocks that hold it


def folded_hz(frequency_hz: float, rate_hz: float) -> float:
    """Return where a frequency appears when it is sampled, between 0 and half the rate (Hz)."""
    return abs(frequency_hz - round(frequency_hz / rate_hz) * rate_hz)


class MainsEdges(Carried):
    """Tells where mains interference is large beside the usual swing.

    Blocks of one second are compared with a sine at 50 and at 60 Hz, or where these are folded to.
    Two blocks in a row with 0.3 of the usual swing, peak to peak, begin a stretch; the first block
    with less ends it, when it is over. At rates that fold the mains into breathing (50 Hz for
    50 Hz mains, 62.5 Hz for 60 Hz) it cannot be told.

    Parameters
    ----------
    reason : int
        What to call it.
    rate_hz : float
        Samples a second.
    """

    carried: ClassVar[tuple[str, ...]] = ("_rest", "_block", "_swings", "_row", "_told")

    def __init__(self, reason: int, rate_hz: float) -> None:
        self._reason = reason
        self._size = max(1, round(BLOCK_S * rate_hz))
        self._shapes = _shapes(rate_hz, self._size)
        self._rest = NO_FLOATS  # samples of the block that is not full
        self._block = 0  # number of the next block
        self._swings = NO_FLOATS  # of the latest blocks, without the mains
        self._row = 0  # blocks in a row that hold mains
        self._told = False

    def push(self, values: Floats, finite: Bools) -> list[Edge]:
        """Return the edges that are known with these samples."""
        if not self._shapes.shape[1]:
            return []
        values = values if finite.all() else np.where(finite, values, math.nan)
        joined = np.concatenate((self._rest, values))
        full = len(joined) // self._size * self._size
        self._rest = joined[full:].copy()
        blocks = joined[:full].reshape(-1, self._size)
        return self._walk(self._holding(blocks)) if len(blocks) else []

    def _holding(self, blocks: Floats) -> Bools:
        """Tell which blocks hold mains interference, and learn the usual swing."""
        if np.isnan(blocks).all():  # a hole: nothing is seen in it, and nothing learned
            self._swings = np.append(self._swings, np.full(len(blocks), math.nan))[-USUAL:]
            return np.zeros(len(blocks), dtype=np.bool_)
        centred = blocks - blocks.sum(axis=1, keepdims=True) / self._size
        parts = np.einsum("nb,bk->nk", centred, self._shapes).reshape(len(blocks), -1, 3, 2)
        size = 2.0 * np.hypot(parts[..., 0], parts[..., 1])  # peak to peak: at it, below, above
        narrow = size[..., 0] >= NARROW * np.maximum(size[..., 1], size[..., 2])
        mains = np.where(narrow, size[..., 0], 0.0).max(axis=1)
        swings = np.maximum(blocks.max(axis=1) - blocks.min(axis=1) - mains, 0.0)
        all_swings = np.concatenate((self._swings, swings))
        holding: Bools = mains > SHARE * swings  # those that can; few need the median
        for row in np.flatnonzero(holding).tolist():
            after = len(self._swings) + row + 1
            known = all_swings[max(after - USUAL, 0) : after]
            usual = np.nanmedian(known) if len(known) >= ENOUGH else math.inf
            holding[row] = mains[row] >= SHARE * usual
        self._swings = all_swings[-USUAL:]
        return holding

    def _walk(self, holding: Bools) -> list[Edge]:
        edges: list[Edge] = []
        first, self._block = self._block, self._block + len(holding)
        if not holding.any() and not self._row:
            return edges
        for block, holds in enumerate(holding.tolist(), start=first):
            known = (block + 1) * self._size - 1
            self._row = self._row + 1 if holds else 0
            if self._told and not holds:
                self._told = False
                edges.append(Edge(known, ends=True, reason=self._reason, tick=known))
            elif not self._told and self._row == IN_A_ROW:
                self._told = True
                since = (block + 1 - IN_A_ROW) * self._size
                edges.append(Edge(known, ends=False, reason=self._reason, tick=since))
        return edges


def _shapes(rate_hz: float, size: int) -> Floats:
    """Return the columns to weigh a block with: cosine and sine, at the mains, below and above."""
    window = 1.0 - np.cos(2.0 * np.pi * (np.arange(size) + 0.5) / size)
    columns = []
    for frequency_hz in {folded_hz(each, rate_hz) for each in MAINS_HZ}:
        if not LOWEST_HZ <= frequency_hz <= 0.5 * rate_hz - EDGE_HZ:
            continue
        for beside_hz in (0.0, -BESIDE_HZ, BESIDE_HZ):
            angle = 2.0 * np.pi * (frequency_hz + beside_hz) * np.arange(size) / rate_hz
            columns += [np.cos(angle) * window, np.sin(angle) * window]
    shapes: Floats = np.array(columns).reshape(-1, size).T * (2.0 / window.sum())
    return shapes
