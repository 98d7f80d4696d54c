"""Sums over the columns of an array that do not depend on how many columns there are.

Results of a stream have to be equal to the last bit however it is cut; numpy's own sum adds in
another order where there is one column alone.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
import numpy.typing as npt

from infantmon.model.arrays import Bools, Ints

Shapes = npt.NDArray[np.float32]
_T = TypeVar("_T", np.float32, np.float64)


def total(values: npt.NDArray[_T]) -> npt.NDArray[_T]:
    """Return the sum of each column, added up row by row.

    A single column would be summed in pairs, in another order and so with another rounding; then a
    stream cut into single candidates would differ in the last bit from one cut into many.
    """
    if values.shape[1] == 1:
        return np.asarray(np.cumsum(values, axis=0)[-1])
    return np.asarray(values.sum(axis=0))


def count(flags: Bools) -> Ints:
    """Return how many flags of each column are set, of up to 127 rows.

    Added up as bytes: an eighth of what numpy would go through by itself.
    """
    return np.asarray(flags.view(np.int8).sum(axis=0, dtype=np.int8), dtype=np.int64)


def inner(left: npt.NDArray[_T], right: npt.NDArray[_T]) -> npt.NDArray[_T]:
    """Return the inner product of each pair of columns."""
    return total(left * right)


def length(values: npt.NDArray[_T]) -> npt.NDArray[_T]:
    """Return the length of each column; 1 for a column of zeros."""
    found = np.sqrt(inner(values, values))
    found[found == 0.0] = 1.0
    return found


def unit(values: npt.NDArray[_T]) -> npt.NDArray[_T]:
    """Return the columns scaled to length 1 (a column of zeros stays)."""
    return np.asarray(values / length(values))
