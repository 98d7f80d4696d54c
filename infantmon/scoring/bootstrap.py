"""How much a figure would move with other records: resampling of whole records."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from infantmon.errors import ArgumentError, require_each, require_whole
from infantmon.model.arrays import Floats
from infantmon.scoring.checks import require_level
from infantmon.scoring.tallies import Tally

REPEATS = 2000
_FEWEST = 2  # records: of one there is nothing to resample


def record_interval(
    tallies: Sequence[Tally],
    figure: Callable[[Floats], Floats],
    *,
    seed: int,
    level: float = 0.95,
    repeats: int = REPEATS,
) -> tuple[float, float] | None:
    """Return the bootstrap percentile interval of a gross figure over records.

    Marks of one record are alike, so an interval that takes each as independent is too narrow.
    Here whole records are drawn with replacement, summed, and the figure taken of the sum.

    Parameters
    ----------
    tallies : sequence of Tally
        One a record.
    figure : callable
        Takes summed counts, shape (repeats, 3): true positives, false negatives, false positives;
        gives the figure of each row, NaN where undefined. `sensitivities` and
        `positive_predictivities` are such.
    seed : int
        Of the draws: the same seed gives the same interval.
    level : float
        Confidence level, between 0 and 1.
    repeats : int
        How often records are drawn.

    Returns
    -------
    tuple of float, or None
        Lower and upper end; None with fewer than two records, or where the figure is undefined in
        every draw.

    Raises
    ------
    ArgumentError
        If the level is not between 0 and 1, repeats are fewer than 1, or an argument is of another
        kind.

    References
    ----------
    Efron B, Tibshirani RJ, An introduction to the bootstrap, Chapman and Hall, 1993 (from memory).

    Examples
    --------
    >>> from infantmon.scoring.tallies import Tally
    >>> alike = [Tally(98, 2, 1), Tally(98, 2, 1), Tally(98, 2, 1)]
    >>> record_interval(alike, sensitivities, seed=1)
    (0.98, 0.98)
    """
    require_level(level)
    repeats = require_whole(repeats, 1, 10_000_000, name="repeats", unit="draws of records")
    seed = require_whole(seed, 0, 2**53, name="seed")
    tallies = require_each(tallies, Tally, name="tallies", called="Tally objects")
    if not callable(figure):
        raise ArgumentError(f"figure is a {type(figure).__name__}; pass `sensitivities` or alike.")
    if len(tallies) < _FEWEST:
        return None
    counts = np.array(
        [(t.true_positives, t.false_negatives, t.false_positives) for t in tallies],
        dtype=np.float64,
    )
    draw = np.random.default_rng(seed)
    often = draw.multinomial(len(counts), np.full(len(counts), 1.0 / len(counts)), size=repeats)
    drawn = figure(often @ counts)
    defined = drawn[~np.isnan(drawn)]
    if not len(defined):
        return None
    tail = 0.5 * (1.0 - level)
    low, high = np.quantile(defined, (tail, 1.0 - tail))
    return float(low), float(high)


def sensitivities(counts: Floats) -> Floats:
    """Return TP / (TP + FN) of each row of counts; NaN where there is no reference mark.

    Parameters
    ----------
    counts : numpy.ndarray, shape (n, 3)
        True positives, false negatives and false positives.

    Returns
    -------
    numpy.ndarray, shape (n,)
        Between 0 and 1.
    """
    return _shares(counts[:, 0], counts[:, 0] + counts[:, 1])


def positive_predictivities(counts: Floats) -> Floats:
    """Return TP / (TP + FP) of each row of counts; NaN where there is no test mark.

    Parameters
    ----------
    counts : numpy.ndarray, shape (n, 3)
        True positives, false negatives and false positives.

    Returns
    -------
    numpy.ndarray, shape (n,)
        Between 0 and 1.
    """
    return _shares(counts[:, 0], counts[:, 0] + counts[:, 2])


def _shares(count: Floats, of: Floats) -> Floats:
    shares = np.full(len(count), np.nan)
    np.divide(count, of, out=shares, where=of > 0.0)
    return shares
