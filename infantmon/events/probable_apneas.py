"""Stretches of probable apnea, by the published rule on the probability of apnea.

In comes the probability, four times a second; out come the stretches in which it is high for long
enough. They stand beside what this library lists, as a second opinion, and raise no alarm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from infantmon.errors import ArgumentError, require_between
from infantmon.model.arrays import Bools
from infantmon.model.marks import PROBABILITY_EVERY_S, ApneaProbabilities

LEAST = 0.1  # a probability above this belongs to a stretch
LEAST_WEIGHTED_S = 2.0
LEAST_S = 5.0  # shorter ones are kept only beside another,
NEAR_S = 5.0  # no farther than this
JOINED_S = 3.0  # stretches no farther apart are one


@dataclass(frozen=True, slots=True)
class ProbableApnea:
    """A stretch of probable apnea.

    Attributes
    ----------
    start_s, end_s : float
        Where the probability is above 0.1, in seconds; it counts over the two seconds before.
    weighted_s : float
        Integral of the probability over it, in seconds.
    """

    start_s: float
    end_s: float
    weighted_s: float


def probable_apneas(
    found: ApneaProbabilities, step_s: float = PROBABILITY_EVERY_S
) -> list[ProbableApnea]:
    """Return stretches of probable apnea.

    Parameters
    ----------
    found : ApneaProbabilities
        Of a whole recording, or of a piece.
    step_s : float
        Time from one probability to the next, in seconds.

    Returns
    -------
    list of ProbableApnea
        In order of time.

    Raises
    ------
    ArgumentError
        If an argument is of another kind.

    Notes
    -----
    A stretch is where P > 0.1. It is kept if its weighted duration, the integral of P, is 2 s or
    more, and if it is 5 s long or has a neighbour within 5 s. Stretches up to 3 s apart are joined,
    their weighted durations added.

    References
    ----------
    H. Lee, C. G. Rusin, D. E. Lake et al., Physiol Meas 33:1-17, 2012.
    """
    if not hasattr(found, "probability"):
        told = type(found).__name__
        raise ArgumentError(f"found is a {told}; pass what the stage of that name gives.")
    step_s = require_between(step_s, 0.01, 10.0, name="step_s", unit="s")
    above = np.nan_to_num(found.probability, nan=0.0) > LEAST
    kept = [one for one in _stretches(found, above, step_s) if one.weighted_s >= LEAST_WEIGHTED_S]
    kept = [
        one
        for place, one in enumerate(kept)
        if one.end_s - one.start_s >= LEAST_S or _has_neighbour(kept, place)
    ]
    joined: list[ProbableApnea] = []
    for one in kept:
        if joined and one.start_s - joined[-1].end_s <= JOINED_S:
            before = joined.pop()
            weighted_s = before.weighted_s + one.weighted_s
            joined.append(ProbableApnea(before.start_s, one.end_s, weighted_s))
        else:
            joined.append(one)
    return joined


def _stretches(found: ApneaProbabilities, above: Bools, step_s: float) -> list[ProbableApnea]:
    edges = np.flatnonzero(np.diff(above, prepend=False, append=False))
    return [
        ProbableApnea(
            float(found.time_s[first]) - step_s,
            float(found.time_s[after - 1]),
            float(np.sum(found.probability[first:after])) * step_s,
        )
        for first, after in zip(edges[::2], edges[1::2], strict=True)
    ]


def _has_neighbour(stretches: list[ProbableApnea], place: int) -> bool:
    one = stretches[place]
    before = place > 0 and one.start_s - stretches[place - 1].end_s <= NEAR_S
    after = place + 1 < len(stretches) and stretches[place + 1].start_s - one.end_s <= NEAR_S
    return before or after
