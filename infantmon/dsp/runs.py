"""Runs of true values, found without a loop over samples.

In come flags; out comes where each run of true ones begins and ends.
"""

from __future__ import annotations

from typing import NamedTuple

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


class Runs(NamedTuple):
    """Runs of true values in a piece of a stream.

    Attributes
    ----------
    starts, ends : numpy.ndarray of int64, shape (n,)
        First index of each in this piece, and the index after its end. A run that ended with the
        piece before is there too, from 0 to 0.
    lengths : numpy.ndarray of int64, shape (n,)
        How long each has lasted, what came before this piece included.
    lasting : int
        How long the run has lasted that is still going on; 0 if none is.
    """

    starts: Ints
    ends: Ints
    lengths: Ints
    lasting: int


def runs_going_on(flags: Bools, lasting: int) -> Runs:
    """Return the runs of true values in the next piece of a stream.

    Parameters
    ----------
    flags : numpy.ndarray of bool, shape (n,)
        The piece, with at least one value.
    lasting : int
        How long the run has lasted that was going on at the end of the piece before.
    """
    starts, ends = true_runs(flags)
    if lasting and (not len(starts) or starts[0] > 0):
        starts, ends = np.append(0, starts), np.append(0, ends)
    lengths = ends - starts
    if lasting:
        lengths[0] += lasting
    return Runs(starts, ends, lengths, int(lengths[-1]) if flags[-1] else 0)
