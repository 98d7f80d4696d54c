"""The two middle ones of every few neighbours, without sorting each few on their own.

In come values; out come, for each `width` neighbours, the two in the middle of their order. Windows
that overlap share the work: those of two are merged to those of four, and these to those of eight.
Each step is a minimum or maximum of whole arrays, so for many values this takes a quarter of the
time of a sort by rows.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import reduce

import numpy as np

from infantmon.model.arrays import Floats


def middle_two(values: Floats, width: int) -> tuple[Floats, Floats]:
    """Return the lower and the upper middle value of each `width` neighbours.

    Parameters
    ----------
    values : numpy.ndarray, shape (n,)
        n >= `width`; no NaN among them.
    width : int
        A power of two, at least 2.

    Returns
    -------
    low, high : numpy.ndarray, shape (n - width + 1,)
        The values of rank `width` / 2 and the next.
    """
    half = width // 2
    low, high = _lower_and_upper(_ranked(values, half), half)
    return reduce(np.maximum, low), reduce(np.minimum, high)


def _ranked(values: Floats, width: int) -> list[Floats]:
    """Return each `width` neighbours in order: one array for each rank."""
    if width == 1:
        return [values]
    half = width // 2
    low, high = _lower_and_upper(_ranked(values, half), half)
    return [*_merged(low), *_merged(high)]


def _lower_and_upper(ranked: list[Floats], apart: int) -> tuple[list[Floats], list[Floats]]:
    """Share each ranked window and the one `apart` later into a lower and an upper half.

    Compared is the first rank of one with the last of the other, and so on (a bitonic merge).
    """
    early = [values[:-apart] for values in ranked]
    late = [values[apart:] for values in reversed(ranked)]
    return _compared(early, late)


def _merged(halves: list[Floats]) -> list[Floats]:
    """Return in order what `_lower_and_upper` left in one half."""
    if len(halves) == 1:
        return halves
    middle = len(halves) // 2
    low, high = _compared(halves[:middle], halves[middle:])
    return [*_merged(low), *_merged(high)]


def _compared(
    some: Sequence[Floats], others: Sequence[Floats]
) -> tuple[list[Floats], list[Floats]]:
    pairs = list(zip(some, others, strict=True))
    return [np.minimum(*pair) for pair in pairs], [np.maximum(*pair) for pair in pairs]
