"""Rows of swings that are smaller than usual: breathing that has become small, or none.

In come the latest swings of the impedance; out come those of a row that may be breathing, or none.
What is left in a pause, of noise and of the heart's pulsation, makes small swings too: breaths come
more evenly, and keep no step with the heart.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from infantmon.dsp.beat_places import kept_to

# Time in seconds, size, and heart beats up to then with shares: NaN where they are not known.
Swing = tuple[float, float, float]

# Shares are of the usual size of a breath, unless another measure is named. An even row is a few
# swings whose intervals differ by no more than a factor. All values are the project's choice, on
# the recordings and simulated seeds that the results page names.

EVEN_APART_S = (0.55, 6.0)  # least and longest mean interval of an even row

# After a burst
SMALL_COUNT = 6  # swings in the row
SMALL_EVEN = 1.9  # factor by which their sizes, and their intervals, may differ
SMALL = 0.6  # all are smaller than this

# Where for long no larger breath has come
AMONG = 0.45  # of the largest of the swings: smaller ones do not belong to the row
COUNT = 5  # swings in the row,
LED_COUNT = 6  # or so many, where R peaks lead, of which pairs count once
EVEN = 2.5  # factor by which their intervals may differ
PAIR = 0.35  # of their usual interval: two that are closer are one breath with two tops
FEWEST = 3  # swings that have a usual interval
NOISE_MOST = 0.15  # a row smaller than this could be noise, and more is asked of it:
SURE_COUNT = 9  # so many swings,
SURE_EVEN = 2.0  # so even,
SURE_BETWEEN = 0.15  # of the row's largest: none from this size on that is too small for the row,
SURE_APART_S = 0.62  # and so far apart, at least, on average

# What keeps step with the heart is left of its pulsation
STEP = 1.25  # intervals of a row are mostly within this factor of the heart's,
LOCKED = 0.5  # or swings come at one place of the beat, or at two that lie opposite; 1: always


def row_after_burst(swings: Sequence[Swing], known: float) -> list[Swing]:
    """Return the latest swings if they are small and alike, and come evenly; otherwise none.

    Parameters
    ----------
    swings : sequence of tuple
        The latest ones, in order of time.
    known : float
        Usual size of a breath.
    """
    row = list(swings)[-SMALL_COUNT:]
    sizes = [size for _, size, _ in row]
    small = max(sizes) <= min(SMALL * known, SMALL_EVEN * min(sizes))
    return row if small and len(row) == SMALL_COUNT and is_even(row, SMALL_EVEN) else []


def shallow_row(since: Sequence[Swing], known: float, *, led: bool) -> list[Swing]:
    """Return the latest swings of a row that may be shallow breathing, or none.

    Parameters
    ----------
    since : sequence of tuple
        Swings since the last one that was large, in order of time; one at least.
    known : float
        Usual size of a breath.
    led : bool
        Whether R peaks lead: otherwise a close pair may be the two waves of a beat.
    """
    largest = max(size for _, size, _ in since)
    row = [each for each in since if each[1] >= AMONG * largest]
    if largest < NOISE_MOST * known:
        between = sum(each[1] >= SURE_BETWEEN * largest for each in since) - len(row)
        return row[-SURE_COUNT:] if not between and _is_sure(row[-SURE_COUNT:]) else []
    count = COUNT
    if led:
        row, count = _without_pairs(row), LED_COUNT
    row = row[-count:]
    return row if len(row) == count and is_even(row, EVEN) else []


def keeps_step(row: Sequence[Swing], since: Sequence[Swing]) -> bool:
    """Tell whether a row comes as the heart beats, so that it is what is left of its pulsation.

    Parameters
    ----------
    row, since : sequence of tuple
        The row, and all swings since the last one that was large.

    Returns
    -------
    bool
        False where beats are not known.
    """
    if any(math.isnan(cycle) for _, _, cycle in since):
        return False
    apart = sorted(after - before for (*_, before), (*_, after) in pairwise(row))
    if 1.0 / STEP <= apart[len(apart) // 2] <= STEP:
        return True
    return kept_to([cycle for _, _, cycle in since], places=2) >= LOCKED


def is_even(row: Sequence[Swing], factor: float) -> bool:
    """Tell whether swings come at even intervals, as breaths do."""
    apart = _apart(row)
    mean = sum(apart) / len(apart)
    return max(apart) <= factor * min(apart) and EVEN_APART_S[0] <= mean <= EVEN_APART_S[1]


def mean_apart_s(row: Sequence[Swing]) -> float:
    """Return the mean interval of two swings or more, in seconds."""
    return (row[-1][0] - row[0][0]) / (len(row) - 1)


def _is_sure(row: list[Swing]) -> bool:
    """Tell whether a row is so long and so even, and its swings so far apart, as no noise."""
    if len(row) < SURE_COUNT or mean_apart_s(row) < SURE_APART_S:
        return False
    return is_even(row, SURE_EVEN)


def _without_pairs(swings: list[Swing]) -> list[Swing]:
    """Return swings without the smaller one of two that are far closer than is usual for them."""
    left = list(swings)
    while len(left) > FEWEST:
        apart = _apart(left)
        closest = min(range(len(apart)), key=apart.__getitem__)
        if apart[closest] >= PAIR * sorted(apart)[len(apart) // 2]:
            break
        del left[closest if left[closest][1] < left[closest + 1][1] else closest + 1]
    return left


def _apart(swings: Sequence[Swing]) -> list[float]:
    """Return the intervals between swings, in seconds."""
    return [after - before for (before, _, _), (after, _, _) in pairwise(swings)]
