"""Alarms compared with true episodes: which episodes were alarmed, how late, and what was false."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from infantmon.errors import ArgumentError, require_number
from infantmon.model.arrays import Bools, Floats, Ints
from infantmon.scoring.checks import require_episodes, require_marks
from infantmon.scoring.pairing import TOLERANCE_S
from infantmon.scoring.tallies import Tally, ratio


@dataclass(frozen=True, eq=False)
class AlarmScore:
    """Alarms of one recording, or of several added up.

    Attributes
    ----------
    alarmed, missed : int
        True episodes with and without an alarm.
    right, false : int
        Alarms with and without a true episode. Several alarms of one episode are all right.
    recorded_s : float
        Time over which it was watched, in seconds.
    delay_s : numpy.ndarray, shape (alarmed,)
        From the onset of each alarmed episode to its first alarm, in seconds.
    """

    alarmed: int
    missed: int
    right: int
    false: int
    recorded_s: float
    delay_s: Floats

    def __add__(self, other: AlarmScore) -> AlarmScore:
        return AlarmScore(
            self.alarmed + other.alarmed,
            self.missed + other.missed,
            self.right + other.right,
            self.false + other.false,
            self.recorded_s + other.recorded_s,
            np.concatenate((self.delay_s, other.delay_s)),
        )

    @property
    def sensitivity(self) -> float | None:
        """Share of the true episodes that were alarmed; None if there are none."""
        return ratio(self.alarmed, self.alarmed + self.missed)

    @property
    def positive_predictivity(self) -> float | None:
        """Share of the alarms that are right; None if there are none."""
        return ratio(self.right, self.right + self.false)

    @property
    def false_per_hour(self) -> float | None:
        """False alarms an hour; None if nothing was recorded."""
        return ratio(3600.0 * self.false, self.recorded_s)

    @property
    def episodes(self) -> Tally:
        """Episodes as a tally: alarmed ones are hits, false alarms are extras."""
        return Tally(self.alarmed, self.missed, self.false)


def score_alarms(
    reference_s: npt.ArrayLike,
    alarm_s: npt.ArrayLike,
    *,
    recorded_s: float,
    grace_s: float = 0.0,
) -> AlarmScore:
    """Compare the moments of alarms with true episodes.

    Parameters
    ----------
    reference_s : array_like, shape (n, 2)
        Start and end of each true episode, in seconds, sorted and without overlap.
    alarm_s : array_like, shape (m,)
        When each alarm began, in seconds, strictly increasing.
    recorded_s : float
        Time over which it was watched, in seconds.
    grace_s : float
        An alarm so long after an episode's end still belongs to it (it was under way), in seconds;
        not beyond the onset of the next.

    Returns
    -------
    AlarmScore
        Counts, false alarms an hour, and the delay of each alarmed episode.

    Raises
    ------
    ArgumentError
        If episodes or alarms are not sorted, are negative or not finite, or the time or grace is
        negative.

    Examples
    --------
    >>> score = score_alarms([[100, 130]], [121.5, 900.0], recorded_s=3600)
    >>> score.delay_s, score.false_per_hour
    (array([21.5]), 1.0)
    """
    recorded = require_number(recorded_s, name="recorded_s", unit="s")
    grace = require_number(grace_s, name="grace_s", unit="s")
    for name, value in (("recorded_s", recorded), ("grace_s", grace)):
        if value < 0.0:
            raise ArgumentError(f"{name} is {value:g} s; 0 s or more is expected.")
    episodes = require_episodes(reference_s, name="reference_s", end_s=max(recorded, 1e-9))
    alarms = require_marks(alarm_s, name="alarm_s")
    belongs = _episode_of(episodes, alarms, grace)
    right: Bools = belongs >= 0
    hit, first = np.unique(belongs[right], return_index=True)
    return AlarmScore(
        alarmed=len(hit),
        missed=len(episodes) - len(hit),
        right=int(right.sum()),
        false=int((~right).sum()),
        recorded_s=recorded,
        delay_s=np.maximum(alarms[right][first] - episodes[hit, 0], 0.0),
    )


def _episode_of(episodes: Floats, alarms: Floats, grace: float) -> Ints:
    """Return the episode that each alarm belongs to, -1 for none; rounding decides nothing."""
    place = np.searchsorted(episodes[:, 0] - TOLERANCE_S, alarms, side="right") - 1
    ends = np.append(episodes[:, 1], -math.inf)  # the last entry stands for "before all"
    return np.where(alarms <= ends[place] + grace + TOLERANCE_S, place, -1).astype(np.int64)
