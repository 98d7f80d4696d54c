"""Episodes compared: any overlap is a match, in both directions, and how far ends are off.

ANSI/AAMI EC57 scores episodes of fibrillation so (as in WFDB's epicmp): sensitivity over the
reference episodes, positive predictivity over the test episodes; the two counts of hits may differ.
It has no clause on apnea; to use this rule for apnea too is this project's choice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from infantmon.errors import require_between
from infantmon.model.arrays import Bools, Floats, Ints
from infantmon.scoring.checks import require_episodes, require_period
from infantmon.scoring.pairing import TOLERANCE_S
from infantmon.scoring.tallies import ratio, wilson_interval


@dataclass(frozen=True, slots=True)
class EpisodeTally:
    """Counts and lengths of a comparison of episodes. Tallies can be added.

    Attributes
    ----------
    found, missed : int
        Reference episodes with and without a matching test episode.
    right, false : int
        Test episodes with and without a matching reference episode.
    overlap_s, reference_s, test_s : float
        Time in episodes of both, of the reference, and of the test, in seconds.
    """

    found: int = 0
    missed: int = 0
    right: int = 0
    false: int = 0
    overlap_s: float = 0.0
    reference_s: float = 0.0
    test_s: float = 0.0

    def __add__(self, other: EpisodeTally) -> EpisodeTally:
        return EpisodeTally(
            *(getattr(self, f.name) + getattr(other, f.name) for f in fields(EpisodeTally))
        )

    @property
    def sensitivity(self) -> float | None:
        """Share of the reference episodes that were found; None if there are none."""
        return ratio(self.found, self.found + self.missed)

    @property
    def positive_predictivity(self) -> float | None:
        """Share of the test episodes that are right; None if there are none."""
        return ratio(self.right, self.right + self.false)

    @property
    def duration_sensitivity(self) -> float | None:
        """Share of the reference's time that the test covers; None without reference time."""
        return ratio(self.overlap_s, self.reference_s)

    @property
    def duration_positive_predictivity(self) -> float | None:
        """Share of the test's time that the reference covers; None without test time."""
        return ratio(self.overlap_s, self.test_s)

    def sensitivity_interval(self, level: float = 0.95) -> tuple[float, float] | None:
        """Return the Wilson interval of the sensitivity; None without reference episodes.

        Parameters
        ----------
        level : float
            How sure the interval is, above 0 and below 1.
        """
        return wilson_interval(self.found, self.found + self.missed, level)

    def positive_predictivity_interval(self, level: float = 0.95) -> tuple[float, float] | None:
        """Return the Wilson interval of the positive predictivity; None without test episodes.

        Parameters
        ----------
        level : float
            How sure the interval is, above 0 and below 1.
        """
        return wilson_interval(self.right, self.right + self.false, level)


@dataclass(frozen=True, eq=False)
class EpisodeMatch:
    """Which episodes overlap, and how well.

    Attributes
    ----------
    reference_s, test_s : numpy.ndarray, shape (n, 2)
        The episodes that were compared: start and end, in seconds, clipped to the scored period.
    reference_found, test_right : numpy.ndarray of bool
        For each episode, whether it has a match.
    partner : numpy.ndarray of int64, shape (reference episodes,)
        The test episode that overlaps each found reference episode for longest; -1 where missed.
    tally : EpisodeTally
        Counts and lengths.
    """

    reference_s: Floats
    test_s: Floats
    reference_found: Bools
    test_right: Bools
    partner: Ints
    tally: EpisodeTally

    def __repr__(self) -> str:
        return f"EpisodeMatch({self.tally})"

    @property
    def onset_error_s(self) -> Floats:
        """Test onset minus reference onset of each found episode, in seconds."""
        found = self.reference_found
        errors: Floats = self.test_s[self.partner[found], 0] - self.reference_s[found, 0]
        return errors

    @property
    def length_error_s(self) -> Floats:
        """Test length minus reference length of each found episode, in seconds."""
        found = self.reference_found
        errors: Floats = _lengths(self.test_s[self.partner[found]]) - _lengths(
            self.reference_s[found]
        )
        return errors


def match_episodes(
    reference_s: npt.ArrayLike,
    test_s: npt.ArrayLike,
    *,
    start_s: float = 0.0,
    end_s: float = math.inf,
    least_share: float = 0.0,
) -> EpisodeMatch:
    """Compare test episodes with reference episodes.

    Parameters
    ----------
    reference_s, test_s : array_like, shape (n, 2)
        Start and end of each episode, in seconds, sorted and without overlap. An episode that had
        not ended has the end infinity.
    start_s, end_s : float
        The scored period, in seconds. Episodes are clipped to it; one without an end ends there.
    least_share : float
        0 for any overlap; otherwise the share of an episode that must be covered: of the
        reference episode for the sensitivity, of the test episode for the positive predictivity
        (EC57's rule for ST episodes has 0.5). Episodes that only touch do not overlap: a billionth
        of a second is left to rounding.

    Returns
    -------
    EpisodeMatch
        Flags for each episode, and the sums.

    Raises
    ------
    ArgumentError
        If episodes are not sorted, overlap within one list, end before they start, or are negative
        or not finite; if one has no end and `end_s` is not given.

    Examples
    --------
    >>> match = match_episodes([[10, 32], [100, 121]], [[11, 33], [60, 80]])
    >>> match.tally.sensitivity, match.onset_error_s
    (0.5, array([1.]))
    """
    share = require_between(least_share, 0.0, 1.0, name="least_share", unit="of an episode")
    start, end = require_period(start_s, end_s)
    reference = _clipped(require_episodes(reference_s, name="reference_s", end_s=end), start, end)
    test = _clipped(require_episodes(test_s, name="test_s", end_s=end), start, end)
    row, column, overlap = _overlaps(reference, test)
    found, partner = _matched(row, column, overlap, _lengths(reference), share)
    right, _ = _matched(column, row, overlap, _lengths(test), share)
    tally = EpisodeTally(
        found=int(found.sum()),
        missed=int((~found).sum()),
        right=int(right.sum()),
        false=int((~right).sum()),
        overlap_s=float(overlap.sum()),
        reference_s=float(_lengths(reference).sum()),
        test_s=float(_lengths(test).sum()),
    )
    return EpisodeMatch(reference, test, found, right, partner, tally)


def _clipped(episodes: Floats, start_s: float, end_s: float) -> Floats:
    """Return the parts of episodes that lie in the scored period."""
    clipped = np.clip(episodes, start_s, end_s)
    return clipped[clipped[:, 1] > clipped[:, 0]]


def _lengths(episodes: Floats) -> Floats:
    return episodes[:, 1] - episodes[:, 0]


def _overlaps(reference: Floats, test: Floats) -> tuple[Ints, Ints, Floats]:
    """Return the places of each pair that overlaps, and by how many seconds."""
    low = np.searchsorted(test[:, 1], reference[:, 0], side="right")  # ends after the start
    high = np.searchsorted(test[:, 0], reference[:, 1], side="left")  # starts before the end
    counts = np.maximum(high - low, 0)
    row = np.repeat(np.arange(len(reference), dtype=np.int64), counts)
    first = np.cumsum(counts) - counts
    column = np.arange(len(row), dtype=np.int64) - np.repeat(first - low, counts)
    end = np.minimum(reference[row, 1], test[column, 1])
    return row, column, end - np.maximum(reference[row, 0], test[column, 0])


def _matched(
    place: Ints, other: Ints, overlap: Floats, lengths: Floats, share: float
) -> tuple[Bools, Ints]:
    """Tell which episodes are covered well enough, and by which one for longest (-1: none)."""
    covered = np.bincount(place, weights=overlap, minlength=len(lengths))
    # what only touches, or just reaches the share, must not hang on rounding
    matched: Bools = (covered > TOLERANCE_S) & (covered >= share * lengths - TOLERANCE_S)
    partner = np.full(len(lengths), -1, dtype=np.int64)
    order = np.lexsort((-other, overlap))  # the longest, then the earliest, is written last
    partner[place[order]] = other[order]
    partner[~matched] = -1
    return matched, partner
