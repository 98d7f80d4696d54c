"""Pauses of at least a length, as episodes.

In come intervals from breath to breath; out come those that are long enough.
"""

from __future__ import annotations

import numpy as np

from infantmon.events.rule_sets.episodes import Episode
from infantmon.events.rule_sets.intervals import Intervals, reaches


def long_pauses(
    breaths: Intervals, least_s: float, clause: str, *, strict: bool = False
) -> list[Episode]:
    """Return the pauses of at least a length, mark to mark (`strict`: longer than it)."""
    length_s = breaths.length_s
    long = reaches(length_s, least_s, strict=strict)
    return [
        Episode(
            "apnea",
            clause,
            float(breaths.start_s[row]),
            float(breaths.end_s[row]),
            {"longest_pause_s": float(length_s[row])},
            complete=bool(breaths.whole[row]),
        )
        for row in np.flatnonzero(long).tolist()
    ]
