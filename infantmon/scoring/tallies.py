"""Tallies: hits, misses and extras, and the figures made from them.

Figures come from sums. A figure whose denominator is 0 is None and is printed as "-" (ANSI/AAMI
EC57), never 0 or 100 %.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from statistics import NormalDist

from infantmon.errors import ArgumentError, require_each, require_number, require_row
from infantmon.scoring.checks import require_level


@dataclass(frozen=True, slots=True)
class Tally:
    """Counts of a comparison of test marks with reference marks. Tallies can be added.

    Attributes
    ----------
    true_positives : int
        Reference marks that were found.
    false_negatives : int
        Reference marks that were missed.
    false_positives : int
        Test marks beside which there is no reference mark.

    References
    ----------
    Se = TP / (TP + FN) and +P = TP / (TP + FP): ANSI/AAMI EC57, as in WFDB's bxb.
    """

    true_positives: int = 0
    false_negatives: int = 0
    false_positives: int = 0

    def __post_init__(self) -> None:
        for name in ("true_positives", "false_negatives", "false_positives"):
            _require_count(getattr(self, name), name=name)

    def __add__(self, other: Tally) -> Tally:
        return Tally(
            self.true_positives + other.true_positives,
            self.false_negatives + other.false_negatives,
            self.false_positives + other.false_positives,
        )

    @property
    def reference_count(self) -> int:
        """How many reference marks there are."""
        return self.true_positives + self.false_negatives

    @property
    def test_count(self) -> int:
        """How many test marks there are."""
        return self.true_positives + self.false_positives

    @property
    def sensitivity(self) -> float | None:
        """Share of the reference marks that were found; None if there are none."""
        return ratio(self.true_positives, self.reference_count)

    @property
    def positive_predictivity(self) -> float | None:
        """Share of the test marks that are right; None if there are none."""
        return ratio(self.true_positives, self.test_count)

    @property
    def f1(self) -> float | None:
        """Harmonic mean of sensitivity and positive predictivity; None without any mark."""
        return ratio(2 * self.true_positives, self.reference_count + self.test_count)

    def sensitivity_interval(self, level: float = 0.95) -> tuple[float, float] | None:
        """Return the Wilson interval of the sensitivity; None if there are no reference marks.

        Parameters
        ----------
        level : float
            How sure the interval is, above 0 and below 1.
        """
        return wilson_interval(self.true_positives, self.reference_count, level)

    def positive_predictivity_interval(self, level: float = 0.95) -> tuple[float, float] | None:
        """Return the Wilson interval of the positive predictivity; None without test marks.

        Parameters
        ----------
        level : float
            How sure the interval is, above 0 and below 1.
        """
        return wilson_interval(self.true_positives, self.test_count, level)


def gross(tallies: Iterable[Tally]) -> Tally:
    """Return the sum of the tallies of many records: gross figures weigh every mark alike.

    Parameters
    ----------
    tallies : iterable of Tally
        One a record.

    Raises
    ------
    ArgumentError
        If they are no tallies.
    """
    return sum(require_each(tallies, Tally, name="tallies", called="Tally objects"), Tally())


def average(figures: Iterable[float | None]) -> float | None:
    """Return the mean of one figure over records: averages weigh every record alike.

    Records for which it is undefined are left out (EC57 3.5.3); None if it is nowhere defined.

    Parameters
    ----------
    figures : iterable of float or None
        One a record; None where it is undefined.

    Raises
    ------
    ArgumentError
        If one is no number.
    """
    told = require_row(figures, name="figures", called="shares, None where undefined")
    unit = "shares of 1"
    defined = [require_number(f, name="figures", unit=unit) for f in told if f is not None]
    return math.fsum(defined) / len(defined) if defined else None


def ratio(count: float, of: float) -> float | None:
    """Return count / of, or None where there is nothing to divide by."""
    return count / of if of > 0 else None


def wilson_interval(count: int, of: int, level: float = 0.95) -> tuple[float, float] | None:
    """Return the Wilson score interval of a share.

    Parameters
    ----------
    count, of : int
        So many of so many.
    level : float
        Confidence level, between 0 and 1.

    Returns
    -------
    tuple of float, or None
        Lower and upper end, between 0 and 1; None where `of` is 0.

    Raises
    ------
    ArgumentError
        If the counts are no counts, or the level is not between 0 and 1.

    Notes
    -----
    It takes every mark as independent of the others. Marks of one record are not, so between
    records the figures spread more than it says.

    References
    ----------
    Wilson EB, Probable inference, the law of succession, and statistical inference, J Am Stat
    Assoc 22:209-212, 1927.
    """
    count, of = _require_count(count, name="count"), _require_count(of, name="of")
    if count > of:
        raise ArgumentError(f"count is {count} of {of}; a share cannot be above 1.")
    require_level(level)
    if of == 0:
        return None
    z = NormalDist().inv_cdf(0.5 + 0.5 * level)
    share, weight = count / of, z * z / of
    middle = (share + 0.5 * weight) / (1.0 + weight)
    half = z / (1.0 + weight) * math.sqrt(share * (1.0 - share) / of + 0.25 * weight / of)
    # at 0 and 1 the ends are exact; rounding must not carry them past the share itself
    return max(0.0, min(middle - half, share)), min(1.0, max(middle + half, share))


def percent(figure: float | None, decimals: int = 2) -> str:
    """Return a share as percent in words, "-" where it is undefined (EC57).

    Parameters
    ----------
    figure : float or None
        A share, 0 to 1.
    decimals : int
        Digits after the point.
    """
    return "-" if figure is None else f"{100.0 * figure:.{decimals}f}"


def _require_count(value: object, *, name: str) -> int:
    number = require_number(value, name=name, unit="marks")
    if number < 0 or number != int(number):
        raise ArgumentError(f"{name} is {number:g}; a count of 0 or more is expected.")
    return int(number)
