"""Marks compared one to one: beats with beats, breaths with breaths.

Every mark is used at most once, so three marks near one beat are one hit and two extras. Of all
ways to pair test marks with reference marks within the window, one with the most pairs is taken,
and among those one with the smallest total distance. On a line such a pairing never crosses, so it
is found going once through both lists.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from infantmon.model.arrays import Bools, Floats, Ints
from infantmon.scoring.checks import require_marks, require_period, require_window
from infantmon.scoring.pairing import pair_up
from infantmon.scoring.tallies import Tally


@dataclass(frozen=True, eq=False)
class MarkMatch:
    """Which test mark belongs to which reference mark.

    Attributes
    ----------
    reference_s, test_s : numpy.ndarray
        The marks that were compared, in seconds.
    window_s : float
        The match window: a pair lies at most this far apart, in seconds.
    reference_index, test_index : numpy.ndarray of int64, shape (pairs,)
        Places of the paired marks in `reference_s` and in `test_s`, both increasing.
    """

    reference_s: Floats
    test_s: Floats
    window_s: float
    reference_index: Ints
    test_index: Ints

    def __len__(self) -> int:
        return len(self.reference_index)

    def __repr__(self) -> str:
        return f"MarkMatch({self.tally}, within {self.window_s:g} s)"

    @property
    def reference_found(self) -> Bools:
        """For each reference mark, whether it was found."""
        return _flags(len(self.reference_s), self.reference_index)

    @property
    def test_right(self) -> Bools:
        """For each test mark, whether it belongs to a reference mark."""
        return _flags(len(self.test_s), self.test_index)

    @property
    def missed_s(self) -> Floats:
        """Reference marks that were not found, in seconds."""
        return self.reference_s[~self.reference_found]

    @property
    def extra_s(self) -> Floats:
        """Test marks that belong to no reference mark, in seconds."""
        return self.test_s[~self.test_right]

    @property
    def error_s(self) -> Floats:
        """Test time minus reference time of each pair, in seconds."""
        return self.test_s[self.test_index] - self.reference_s[self.reference_index]

    @property
    def tally(self) -> Tally:
        """Hits, misses and extras over everything."""
        hits = len(self)
        return Tally(hits, len(self.reference_s) - hits, len(self.test_s) - hits)


@dataclass(frozen=True)
class MarkScore:
    """Figures of one comparison of marks.

    Attributes
    ----------
    tally : Tally
        Hits, misses and extras in the scored period.
    window_s : float
        The match window, in seconds.
    bias_s, spread_s : float or None
        Mean and standard deviation of test time minus reference time over the pairs, in seconds;
        None without a pair.
    """

    tally: Tally
    window_s: float
    bias_s: float | None
    spread_s: float | None


def match_marks(reference_s: npt.ArrayLike, test_s: npt.ArrayLike, window_s: float) -> MarkMatch:
    """Pair test marks with reference marks, one to one.

    Parameters
    ----------
    reference_s : array_like, shape (n,)
        Reference marks, in seconds from the recording's start, strictly increasing.
    test_s : array_like, shape (m,)
        Marks to be tested, likewise.
    window_s : float
        A pair lies at most this far apart, in seconds (to a billionth of a second, so that marks
        on a sampling grid do not depend on rounding).

    Returns
    -------
    MarkMatch
        A largest possible set of pairs, and among those one of the smallest total distance.

    Raises
    ------
    ArgumentError
        If marks are not sorted, are there twice, are negative or not finite, or the window is not
        above 0 s.

    Notes
    -----
    Time and memory grow with the number of marks and of possible pairs. In beats of more than 200
    a minute the windows of neighbouring beats overlap; a rule that pairs each mark with its nearest
    then misses pairs that this one finds.

    Examples
    --------
    >>> match_marks([1.0, 2.0, 3.0], [1.02, 2.96, 3.01], window_s=0.15).tally
    Tally(true_positives=2, false_negatives=1, false_positives=1)
    """
    reference = require_marks(reference_s, name="reference_s")
    test = require_marks(test_s, name="test_s")
    window = require_window(window_s)
    reference_index, test_index = pair_up(reference, test, window)
    return MarkMatch(reference, test, window, reference_index, test_index)


def score_marks(
    reference_s: npt.ArrayLike,
    test_s: npt.ArrayLike,
    window_s: float,
    *,
    start_s: float = 0.0,
    end_s: float = float("inf"),
) -> MarkScore:
    """Compare test marks with reference marks over a period.

    Parameters
    ----------
    reference_s, test_s : array_like, shape (n,) and (m,)
        Instants in seconds, as in `match_marks`.
    window_s : float
        As in `match_marks`.
    start_s, end_s : float
        The scored period, in seconds: start <= time < end. EC57 leaves out the first 300 s of a
        record, in which a detector may learn.

    Returns
    -------
    MarkScore
        Everything within the period is counted: a pair where its reference mark lies, an extra
        where it lies itself. Marks outside still take part in the pairing, so that the period's
        edge makes no errors.

    Raises
    ------
    ArgumentError
        As in `match_marks`, or if the period ends before it starts.

    Examples
    --------
    >>> score = score_marks([1.0, 2.0, 3.0], [1.1, 2.0, 2.6], window_s=0.15)
    >>> score.tally
    Tally(true_positives=2, false_negatives=1, false_positives=1)
    """
    start, end = require_period(start_s, end_s)
    match = match_marks(reference_s, test_s, window_s)

    def inside(times_s: Floats) -> Bools:
        within: Bools = (times_s >= start) & (times_s < end)
        return within

    paired = inside(match.reference_s[match.reference_index])
    errors = match.error_s[paired]
    tally = Tally(
        len(errors),
        int(np.count_nonzero(inside(match.missed_s))),
        int(np.count_nonzero(inside(match.extra_s))),
    )
    bias, spread = (float(errors.mean()), float(errors.std())) if len(errors) else (None, None)
    return MarkScore(tally, match.window_s, bias, spread)


def _flags(count: int, places: Ints) -> Bools:
    flags = np.zeros(count, dtype=np.bool_)
    flags[places] = True
    return flags
