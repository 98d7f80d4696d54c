"""Samples as the path of a line: the smallest and largest of each column, written tightly."""

from __future__ import annotations

import math

import numpy as np

from infantmon.dsp.runs import true_runs
from infantmon.model.arrays import Bools, Floats, Ints

GRID = 4
"""Path numbers are whole quarters of a drawing unit: a page of many strips stays small."""


def path_of(x: Floats, y: Floats, *, column: float = 1.0, tolerance: float = 0.3) -> str:
    """Return the path that draws y over x, in quarters of a drawing unit.

    Parameters
    ----------
    x, y : numpy.ndarray, shape (n,)
        Places in drawing units, x not decreasing. The line breaks where y is not finite.
    column : float
        Width of a column of which only the extremes are drawn, in drawing units.
    tolerance : float
        How far the path may stray from the line through them, in drawing units.
    """
    finite = np.isfinite(x) & np.isfinite(y)
    runs = zip(*true_runs(finite), strict=True)
    return "".join(_run(x[start:end], y[start:end], column, tolerance) for start, end in runs)


def envelope(x: Floats, y: Floats, column: float = 1.0) -> tuple[Floats, Floats]:
    """Return the smallest and largest y of each column, each at its own x.

    Nothing that stands out is lost, however many samples share a column; where there are few they
    are all kept.
    """
    if len(x) < 3:
        return x, y
    place = np.floor(x / column).astype(np.int64)
    starts = np.flatnonzero(np.diff(place, prepend=place[0] - 1))
    if len(x) <= 2 * len(starts):
        return x, y
    kept = _extremes(y, starts)
    kept[[0, -1]] = True
    return x[kept], y[kept]


def _extremes(y: Floats, starts: Ints) -> Bools:
    """Mark the first smallest and first largest sample of each group that begins at `starts`."""
    group = np.repeat(np.arange(len(starts)), np.diff(starts, append=len(y)))
    kept = np.zeros(len(y), dtype=np.bool_)
    for ends in (np.minimum.reduceat(y, starts), np.maximum.reduceat(y, starts)):
        hits = np.flatnonzero(y == ends[group])
        kept[hits[np.unique(group[hits], return_index=True)[1]]] = True
    return kept


def thinned(x: Floats, y: Floats, tolerance: float) -> tuple[Floats, Floats]:
    """Return the line with as few of its points as keep it within `tolerance` in y.

    Straight lines are drawn as far as a sheaf of them passes all points on the way.
    """
    if len(x) < 3 or tolerance <= 0:
        return x, y
    kept = [0]
    across, down = x.tolist(), y.tolist()
    start_x, start_y, least, most = across[0], down[0], -math.inf, math.inf
    for place in range(1, len(across)):
        run = across[place] - start_x
        slope = (down[place] - start_y) / run if run > 0 else math.inf
        if least <= slope <= most:
            least = max(least, slope - tolerance / run)
            most = min(most, slope + tolerance / run)
            continue
        kept.append(place - 1)
        start_x, start_y = across[place - 1], down[place - 1]
        run = max(across[place] - start_x, 1e-9)
        slope = (down[place] - start_y) / run
        least, most = slope - tolerance / run, slope + tolerance / run
    kept.append(len(across) - 1)
    return x[kept], y[kept]


def _run(x: Floats, y: Floats, column: float, tolerance: float) -> str:
    x, y = thinned(*envelope(x, y, column), tolerance)
    across = np.rint(x * GRID).astype(np.int64)
    down = np.rint(y * GRID).astype(np.int64)
    start = f"M{across[0]} {down[0]}"
    if len(across) == 1:
        return f"{start}h1"
    steps = zip(np.diff(across).tolist(), np.diff(down).tolist(), strict=True)
    return f"{start}l" + " ".join(_pair(dx, dy) for dx, dy in steps)


def _pair(dx: int, dy: int) -> str:
    return f"{dx}{dy}" if dy < 0 else f"{dx} {dy}"  # a minus sign parts the numbers by itself
