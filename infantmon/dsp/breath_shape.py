"""Shape of a breath around its maximum: start of the rise, reach of the top, end of the fall.

In come samples around the maximum of each breath, one row a breath; out come places, counted from
the maximum. The highest sample of a plateau may be anywhere on it, by chance; its middle is not.
"""

from __future__ import annotations

import numpy as np

from infantmon.dsp.neighbours import steps
from infantmon.model.arrays import Bools, Floats, Ints

EDGE = 0.15  # effort begins and ends where the slope is this share of the steepest


def top_of(windows: Floats, at: int, depth: Floats, rise: Floats) -> tuple[Floats, Floats]:
    """Return how far the top of each breath reaches before and after its maximum.

    The top is what lies around the maximum, without a break, no further below it than the depth. It
    ends where the signal rises again by more than the rise given: that may be another breath.

    Parameters
    ----------
    windows : numpy.ndarray, shape (n, width)
        Samples around the maximum of each breath. A top that reaches an end of them ends there.
    at : int
        Where in the windows the maximum is.
    depth : numpy.ndarray, shape (n,)
        How far below the maximum a top reaches, in the unit of the samples; above 0.
    rise : numpy.ndarray, shape (n,)
        From a dip in the top, in the same unit; above 0.

    Returns
    -------
    before, after : numpy.ndarray, shape (n,)
        In samples, with shares, on straight lines between them; 0 and above.
    """
    level = windows[:, at] - depth
    return _reach(windows[:, at::-1], level, rise), _reach(windows[:, at:], level, rise)


def _reach(values: Floats, level: Floats, rise: Floats) -> Floats:
    """Return how far the first of each row's values goes on above a level, and rises no more."""
    goes_on = values >= level[:, np.newaxis]
    goes_on &= values - np.minimum.accumulate(values, axis=1) <= rise[:, np.newaxis]
    latest: Ints = np.logical_and.accumulate(goes_on, axis=1).sum(axis=1) - 1
    beyond = np.minimum(latest + 1, values.shape[1] - 1)
    rows = np.arange(len(values))
    over = values[rows, latest] - level
    fall = values[rows, latest] - values[rows, beyond]
    inside = np.where(fall > over, over / np.where(fall > 0.0, fall, 1.0), 0.0)
    return np.asarray(latest + inside, dtype=np.float64)


def rise_starts(windows: Floats, lowest: Ints, top: Floats) -> Ints:
    """Return where the rise to each top begins to be steep.

    Parameters
    ----------
    windows : numpy.ndarray, shape (n, width)
        Samples up to the maximum, and with it.
    lowest : numpy.ndarray of int64, shape (n,)
        Where the lowest point before it is: what lies before belongs to another breath.
    top : numpy.ndarray, shape (n,)
        How far the top reaches before the maximum, in samples.

    Returns
    -------
    numpy.ndarray of int64, shape (n,)
        In samples from the maximum, below 0.
    """
    slope = steps(windows)
    width = slope.shape[1]
    at = np.arange(width) - width
    rises = (at >= lowest[:, np.newaxis]) & (at < -np.floor(top)[:, np.newaxis])
    slope = np.where(rises, slope, 0.0)
    gentle = slope < EDGE * slope.max(axis=1, keepdims=True)
    gentle &= np.arange(width) < slope.argmax(axis=1)[:, np.newaxis]
    latest = width - 1 - np.argmax(gentle[:, ::-1], axis=1)
    latest = np.where(gentle.any(axis=1), latest, -1)
    return np.asarray(latest + 1 - width, dtype=np.int64)


def fall_ends(windows: Floats, top: Floats) -> tuple[Ints, Bools]:
    """Return where the fall from each top stops being steep, and whether it has.

    Parameters
    ----------
    windows : numpy.ndarray, shape (n, width)
        Samples from the maximum on.
    top : numpy.ndarray, shape (n,)
        How far the top reaches after the maximum, in samples.

    Returns
    -------
    ends : numpy.ndarray of int64, shape (n,)
        In samples from the maximum.
    over : numpy.ndarray of bool, shape (n,)
        False where it falls steeply to the last sample, or not at all.
    """
    slope = -steps(windows)
    after = np.arange(slope.shape[1])
    slope = np.where(after < np.floor(top)[:, np.newaxis], 0.0, slope)
    rises_again = np.maximum.accumulate(slope < 0.0, axis=1)
    rises_again &= np.cumsum(np.maximum(slope, 0.0), axis=1) > 0.0
    slope = np.where(rises_again, 0.0, slope)
    gentle = slope < EDGE * slope.max(axis=1, keepdims=True)
    gentle &= after > slope.argmax(axis=1)[:, np.newaxis]
    return np.argmax(gentle, axis=1), gentle.any(axis=1)
