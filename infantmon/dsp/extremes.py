"""Where in a QRS complex the dominant extreme is, without jumping between R and S."""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from infantmon.model.arrays import Bools, Floats, Ints
from infantmon.model.carried import Carried

_EDGE = 0.12  # of the window at either end gives the level of the surroundings
_OPPOSITE = 0.17  # excess over the sum of both from which the other polarity is taken: 1.4 to 1
_MEMORY = 0.9  # of the mean excess, a beat
_TURN = 0.08  # mean excess of the other polarity from which that one is the usual one


class DominantExtreme(Carried):
    """Finds the extreme of each window, over a straight line through the window's ends.

    The polarity that dominated lately is kept unless the other one is clearly larger, so that in a
    complex with nearly equal R and S the mark does not alternate. An inverted signal gives the same
    places.
    """

    carried: ClassVar[tuple[str, ...]] = ("_leaning", "_side")

    def __init__(self) -> None:
        self._leaning = 0.0  # above 0 where upright extremes dominated lately
        self._side = 0  # the usual polarity: 1 upright, -1 inverted, 0 not known yet

    def push(self, windows: Floats) -> tuple[Ints, Floats]:
        """Return for each row the column of the extreme and its signed height.

        Parameters
        ----------
        windows : numpy.ndarray, shape (n, width)
            Samples around each complex.
        """
        level = windows - _line(windows)
        edge = max(1, round(_EDGE * windows.shape[1]))
        inner = level[:, edge:-edge]
        rows = np.arange(len(level))
        up, down = inner.argmax(axis=1), inner.argmin(axis=1)
        high, low = inner[rows, up], -inner[rows, down]
        upright = self._upright(high, low, up < down)
        column = np.where(upright, up, down).astype(np.int64)
        return column + edge, np.where(upright, high, -low)

    def _upright(self, high: Floats, low: Floats, up_first: Bools) -> Bools:
        chosen = []
        for above, below, first in zip(high.tolist(), low.tolist(), up_first.tolist(), strict=True):
            size = abs(above) + abs(below)
            tilt = (above - below) / size if size > 0.0 else 0.0
            if self._side == 0:
                self._side = 1 if tilt > 0.0 or (tilt == 0.0 and first) else -1
            self._leaning = _MEMORY * self._leaning + (1.0 - _MEMORY) * tilt
            if self._leaning * self._side < -_TURN:
                self._side = -self._side
            other = -tilt * self._side > _OPPOSITE
            chosen.append((self._side > 0) != other)
        return np.asarray(chosen, dtype=np.bool_)


def _line(windows: Floats) -> Floats:
    """Return for each row the straight line through the means of its two ends."""
    width = windows.shape[1]
    edge = max(1, round(_EDGE * width))
    first = windows[:, :edge].sum(axis=1) / edge
    final = windows[:, width - edge :].sum(axis=1) / edge
    slope = (final - first) / (width - edge)
    along = np.arange(width) - 0.5 * (edge - 1)
    line: Floats = first[:, np.newaxis] + slope[:, np.newaxis] * along
    return line
