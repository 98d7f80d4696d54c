"""Array types used throughout, and the one place where samples from outside become float64."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from infantmon.errors import ArgumentError

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

NO_FLOATS: Floats = np.empty(0, dtype=np.float64)


def as_samples(values: npt.ArrayLike, *, name: str = "samples") -> Floats:
    """Return samples as a one-dimensional float64 array (a view where that is possible).

    Parameters
    ----------
    values : array_like, shape (n,)
        Samples in any real type. NaN and infinity pass through: bad samples never raise. What is
        masked in a masked array is NaN.
    name : str
        What to call them in an error.

    Raises
    ------
    ArgumentError
        If they are not one-dimensional, or not real numbers.
    """
    if type(values) is np.ndarray and values.dtype == np.float64 and values.ndim == 1:
        return values
    array = _as_array(values, name)
    if array.size == 0:
        return NO_FLOATS
    if array.dtype.kind not in "fiub":
        raise ArgumentError(
            f"{name} has type {array.dtype}; real numbers are expected. "
            "Convert them to numbers, with NaN where a sample is missing."
        )
    if array.ndim != 1:
        raise ArgumentError(
            f"{name} has shape {array.shape}; one dimension is expected. "
            "Pass one channel at a time."
        )
    with np.errstate(over="ignore"):  # what is too large for float64 is infinity, a bad sample
        samples = array.astype(np.float64, copy=False)
    if isinstance(values, np.ma.MaskedArray):
        samples = np.where(np.ma.getmaskarray(values), np.nan, samples)
    return samples


def _as_array(values: npt.ArrayLike, name: str) -> npt.NDArray[Any]:
    try:
        return np.asarray(values)
    except ValueError as fault:  # lists of unequal length
        raise ArgumentError(
            f"{name} cannot be made an array ({fault}). Pass one channel at a time, as numbers."
        ) from fault
