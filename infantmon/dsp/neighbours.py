"""Neighbours in an array, as rows and as steps: what numpy offers, at a tenth of the overhead.

A push of one second looks at neighbours some twenty times; numpy's own routine spends longer on
each look than the arithmetic behind it.
"""

from __future__ import annotations

from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

_T = TypeVar("_T", np.float32, np.float64, np.int64)


def neighbours(values: npt.NDArray[Any], width: int) -> npt.NDArray[Any]:
    """Return a view with one row for each `width` neighbours.

    Parameters
    ----------
    values : numpy.ndarray, shape (n,)
        One-dimensional and contiguous, n >= `width`.
    width : int
        How many neighbours a row holds, at least 1.

    Returns
    -------
    numpy.ndarray, shape (n - width + 1, width)
        Not to be written to: the rows share memory.

    Raises
    ------
    ValueError
        If the array has fewer than `width` values, more than one dimension, or is not contiguous.
    """
    if values.ndim != 1 or not 1 <= width <= len(values):
        raise ValueError(f"{values.shape} values have no rows of {width} neighbours")
    step = values.strides[0]
    shape = (len(values) - width + 1, width)
    view: npt.NDArray[Any] = np.ndarray(shape, values.dtype, values, 0, (step, step))
    view.flags.writeable = False
    return view


def steps(values: npt.NDArray[_T]) -> npt.NDArray[_T]:
    """Return each value less the one before it, along the last axis.

    Parameters
    ----------
    values : numpy.ndarray, shape (..., n)
        Numbers, no flags.

    Returns
    -------
    numpy.ndarray, shape (..., n - 1)
        Empty where there are no two.
    """
    return values[..., 1:] - values[..., :-1]


def sliding(pick: np.ufunc, values: npt.NDArray[Any], width: int) -> npt.NDArray[Any]:
    """Return for each place the largest or smallest of the `width` values from it on.

    Parameters
    ----------
    pick : numpy.ufunc
        ``numpy.maximum`` or ``numpy.minimum``.
    values : numpy.ndarray, shape (n,)
        n >= `width`.
    width : int
        How many values each pick is from, at least 1.

    Returns
    -------
    numpy.ndarray, shape (n - width + 1,)
        The values themselves where `width` is 1.
    """
    reach = 1
    while reach < width:
        step = min(reach, width - reach)
        values = pick(values[:-step], values[step:])
        reach += step
    return values
