"""Agreement of two readers who put the same things into categories: Cohen's kappa."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from infantmon.errors import ArgumentError, require_each
from infantmon.model.arrays import Ints
from infantmon.scoring.checks import require_level


@dataclass(frozen=True, eq=False)
class Agreement:
    """How two readers agree.

    Attributes
    ----------
    categories : tuple of str
        In the order of rows and columns of the table.
    table : numpy.ndarray of int64, shape (k, k)
        How often the first reader said the row and the second the column.
    observed, expected : float or None
        Share of agreement, and what chance alone would give; None without any item.
    kappa : float or None
        (observed - expected) / (1 - expected); None where chance alone agrees always.
    interval : tuple of float or None
        Large-sample interval of kappa, cut to -1 to 1.
    """

    categories: tuple[str, ...]
    table: Ints
    observed: float | None
    expected: float | None
    kappa: float | None
    interval: tuple[float, float] | None

    @property
    def count(self) -> int:
        """How many items both judged."""
        return int(self.table.sum())


def cohen_kappa(first: Sequence[str], second: Sequence[str], *, level: float = 0.95) -> Agreement:
    """Return the agreement of two readers beyond chance.

    Parameters
    ----------
    first, second : sequence of str
        The category that each reader gave to each item, item by item.
    level : float
        Confidence level, between 0 and 1.

    Returns
    -------
    Agreement
        Undefined figures are None, never 0.

    Raises
    ------
    ArgumentError
        If the two are not of equal length or hold no texts, or the level is not between 0 and 1.

    Notes
    -----
    The interval takes items as independent and is for large samples; with few it is too narrow.

    References
    ----------
    Cohen J, Educ Psychol Meas 20:37-46, 1960. Standard error: Fleiss JL, Cohen J, Everitt BS,
    Psychol Bull 72:323-327, 1969 (both from memory).

    Examples
    --------
    >>> a = ["real"] * 25 + ["not real"] * 25
    >>> b = ["real"] * 20 + ["not real"] * 5 + ["real"] * 10 + ["not real"] * 15
    >>> round(cohen_kappa(a, b).kappa, 3)
    0.4
    """
    called = "one judgement an item, as texts"
    first = require_each(first, str, name="first", called=called)
    second = require_each(second, str, name="second", called=called)
    if len(first) != len(second):
        raise ArgumentError(
            f"one reader judged {len(first)} items and the other {len(second)}; pass both "
            "judgements of the same items."
        )
    require_level(level)
    categories = tuple(dict.fromkeys([*first, *second]))
    place = {category: i for i, category in enumerate(categories)}
    table = np.zeros((len(categories), len(categories)), dtype=np.int64)
    for one, other in zip(first, second, strict=True):
        table[place[one], place[other]] += 1
    if not len(first):
        return Agreement(categories, table, None, None, None, None)
    p = table / table.sum()
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    observed, expected = float(np.trace(p)), float(rows @ columns)
    if expected >= 1.0 - 1e-12:
        return Agreement(categories, table, observed, expected, None, None)
    kappa = (observed - expected) / (1.0 - expected)
    # rows stand for the first reader; in the off-diagonal term the margins change places
    weights = (columns[:, None] + rows[None, :]) * (1.0 - kappa)
    on = float(np.sum(np.diag(p) * (1.0 - np.diag(weights)) ** 2))
    off = (1.0 - kappa) ** 2 * float(
        np.sum((p - np.diag(np.diag(p))) * (columns[:, None] + rows[None, :]) ** 2)
    )
    middle = (kappa - expected * (1.0 - kappa)) ** 2
    variance = max(on + off - middle, 0.0) / (len(first) * (1.0 - expected) ** 2)
    half = NormalDist().inv_cdf(0.5 + 0.5 * level) * math.sqrt(variance)
    ends = (max(kappa - half, -1.0), min(kappa + half, 1.0))
    return Agreement(categories, table, observed, expected, kappa, ends)
