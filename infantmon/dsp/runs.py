"""Runs of true values, found without a loop over samples."""

from __future__ import annotations

import numpy as np

from infantmon.model.arrays import Bools, Ints


def last_true_index(flags: Bools) -> Ints:
    """Return for each place the index of the last true value up to it, or -1 before the first."""
    index = np.where(flags, np.arange(len(flags), dtype=np.int64), np.int64(-1))
    return np.maximum.accumulate(index)


def true_runs(flags: Bools) -> tuple[Ints, Ints]:
    """Return first index and index after the end of each run of true values."""
    edges = np.flatnonzero(np.diff(flags, prepend=False, append=False)).astype(np.int64)
    return edges[0::2], edges[1::2]
