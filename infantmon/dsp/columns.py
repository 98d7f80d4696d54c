"""Sums over the columns of an array that do not depend on how many columns there are."""

from __future__ import annotations

import numpy as np

from infantmon.model.arrays import Floats


def total(values: Floats) -> Floats:
    """Return the sum of each column, added up row by row.

    A single column would be summed in pairs, in another order and so with another rounding; then a
    stream cut into single candidates would differ in the last bit from one cut into many.
    """
    if values.shape[1] == 1:
        return np.asarray(np.cumsum(values, axis=0)[-1])
    return np.asarray(values.sum(axis=0))


def inner(left: Floats, right: Floats) -> Floats:
    """Return the inner product of each pair of columns."""
    return total(left * right)


def unit(shapes: Floats) -> Floats:
    """Return the columns scaled to length 1 (a column of zeros stays)."""
    length = np.sqrt(inner(shapes, shapes))
    length[length == 0.0] = 1.0
    return np.asarray(shapes / length)
