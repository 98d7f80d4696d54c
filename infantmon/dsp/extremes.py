"""Where in a QRS complex the dominant extreme is, without jumping between R and S.

In come samples around each complex; out come the column of its extreme, upright or inverted, and
its height over the baseline. The steps in between (baseline, smoothing, refining) are here too.
"""

from __future__ import annotations

from typing import ClassVar

import numpy as np
from scipy import signal

from infantmon.dsp.columns import total
from infantmon.dsp.neighbours import neighbours
from infantmon.dsp.runs import last_true_index
from infantmon.model.arrays import Bools, Floats, Ints
from infantmon.model.carried import Carried

_OPPOSITE = 0.12  # excess over the sum of both from which the other polarity is taken: 1.3 to 1
_MEMORY = 0.95  # of the mean excess, a beat
_TURN = 0.025  # mean excess of the other polarity from which that one is the usual one


class DominantExtreme(Carried):
    """Finds the extreme of each complex over its baseline, of the polarity that is usual.

    The polarity that dominated lately is kept unless the other one is clearly larger, so that in a
    complex with nearly equal R and S the mark does not alternate. An inverted signal gives the same
    places.
    """

    carried: ClassVar[tuple[str, ...]] = ("_leaning", "_side")

    def __init__(self) -> None:
        self._leaning = 0.0  # above 0 where upright extremes dominated lately
        self._side = 0  # the usual polarity: 1 upright, -1 inverted, 0 not known yet

    def push(self, complexes: Floats) -> tuple[Ints, Floats]:
        """Return for each row the column of the extreme and its signed height.

        Parameters
        ----------
        complexes : numpy.ndarray, shape (n, width)
            Samples around each complex, the baseline taken off.
        """
        rows = np.arange(len(complexes))
        up, down = complexes.argmax(axis=1), complexes.argmin(axis=1)
        high, low = complexes[rows, up], -complexes[rows, down]
        upright = self._upright(high, low, up < down)
        column = np.where(upright, up, down).astype(np.int64)
        return column, np.where(upright, high, -low)

    def _upright(self, high: Floats, low: Floats, up_first: Bools) -> Bools:
        size = np.abs(high) + np.abs(low)
        tilt = np.divide(high - low, size, out=np.zeros_like(size), where=size > 0.0)
        if not len(tilt):
            return up_first
        if self._side == 0:
            self._side = 1 if tilt[0] > 0.0 or (tilt[0] == 0.0 and up_first[0]) else -1
        start = [_MEMORY * self._leaning]
        leaning, _ = signal.lfilter([1.0 - _MEMORY], [1.0, -_MEMORY], tilt, zi=start)
        turned = last_true_index(np.abs(leaning) > _TURN)
        sides = np.where(turned >= 0, np.sign(leaning[turned]), self._side)
        self._leaning, self._side = float(leaning[-1]), int(sides[-1])
        return np.asarray((sides > 0) != (-tilt * sides > _OPPOSITE))


def baselines(level: Floats, width: int, apart: int) -> Floats:
    """Return for each complex the mean of three windows of `width`: early, middle and late.

    Parameters
    ----------
    level : numpy.ndarray, shape (width + 2 * apart, n)
        Samples around each complex, one column a complex.
    width, apart : int
        Length of a window, and how far apart the windows start, in samples.

    Returns
    -------
    numpy.ndarray, shape (n, 3)
        One row a complex.
    """
    starts = (0, apart, 2 * apart)
    return np.array([total(level[start : start + width]) / width for start in starts]).T


def off_baseline(windows: Floats, baseline: Floats, knot: int) -> Floats:
    """Take the broken line through early, middle and late baseline off each row.

    Parameters
    ----------
    windows : numpy.ndarray, shape (n, 2 * half + 1)
        Samples around each complex.
    baseline : numpy.ndarray, shape (n, 3)
        Baseline `knot` columns before the middle, there, and as far behind.
    knot : int
        Columns between the points; the line goes on straight beyond them.
    """
    half = windows.shape[1] // 2
    along = np.abs(np.arange(-half, half + 1)) / knot
    early, middle, late = (baseline[:, k, np.newaxis] for k in range(3))
    lines = np.empty(windows.shape)
    lines[:, :half] = early - middle
    lines[:, half:] = late - middle
    lines *= along
    level = windows - middle
    level -= lines
    return level


def smoothed(windows: Floats, width: int) -> Floats:
    """Return the mean of each `width` neighbouring columns (so `width` - 1 columns fewer)."""
    # Row after row is added as one long row; what reaches over the end of a row is left out.
    along = np.ascontiguousarray(windows).ravel()
    added, count = along.copy(), len(along) - width + 1
    for shift in range(1, width):
        added[:count] += along[shift : shift + count]
    added /= width
    return added.reshape(windows.shape)[:, : windows.shape[1] - width + 1]


def refined(complexes: Floats, column: Ints, upright: Bools, reach: int) -> tuple[Ints, Floats]:
    """Return column and height of the extreme sample within `reach` columns of a given one.

    Every given column must lie at least `reach` columns from either end.
    """
    if not len(complexes):
        return column, np.zeros(0)
    rows = np.arange(len(complexes))
    along = np.ascontiguousarray(complexes).ravel()  # row after row as one: quickest to look up
    near = neighbours(along, 2 * reach + 1)[rows * complexes.shape[1] + column - reach]
    best = np.where(upright, near.argmax(axis=1), near.argmin(axis=1))
    return column - reach + best, near[rows, best]
