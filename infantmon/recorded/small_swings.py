"""Swings in a recorded apnea that are no clear breaths: the heart's, or shallow breathing.

A stream knows the breaths before a pause, and in a short strip that may be few. Who judges a
recorded event knows those after it as well.
"""

from __future__ import annotations

import numpy as np

from infantmon.model.arrays import Bools, Floats
from infantmon.model.marks import Breaths, RPeaks
from infantmon.recorded.listed import Listed
from infantmon.recorded.measures import lost_stretches
from infantmon.recorded.reviewed import Reviewed

CLEAR_SHARE = 0.3
"""A swing smaller than this share of the breaths around is no clear breath: the breath detector
asks about as much of a breath, once it knows the breathing."""
ENOUGH = 3
"""With fewer breaths outside of the listed stretch their size is not known; then a large swing of
the whole recording (their upper quartile) stands for it."""

ONE_A_BEAT, IN_A_ROW = 0.15, 4
"""So many intervals in a row that differ from the heart's by less than this share of it: the swings
come one a beat, as its pulsation does that grows when it slows in a pause (project's choice)."""


def clear_breaths(found: Reviewed, listed: Listed) -> Breaths:
    """Return the breaths that are neither small beside those outside of a stretch nor the heart's.

    Parameters
    ----------
    found : Reviewed
        The review.
    listed : Listed
        The stretch.
    """
    large = _large_breaths(found.breaths, listed)
    return large.where(~_one_a_beat(large, found.r_peaks))


def _one_a_beat(breaths: Breaths, r_peaks: RPeaks) -> Bools:
    """Tell which breaths are of a row that keeps step with the heart, one a beat."""
    beats_s = r_peaks.time_s
    of_row = np.zeros(len(breaths), dtype=np.bool_)
    if len(breaths) <= IN_A_ROW or len(beats_s) < 2:
        return of_row
    time_s = breaths.time_s
    middle_s = 0.5 * (time_s[1:] + time_s[:-1])
    after = np.clip(np.searchsorted(beats_s, middle_s), 1, len(beats_s) - 1)
    single = np.abs(np.diff(time_s) / (beats_s[after] - beats_s[after - 1]) - 1.0) < ONE_A_BEAT
    rows = np.lib.stride_tricks.sliding_window_view(single, IN_A_ROW).all(axis=1)
    for first in np.flatnonzero(rows).tolist():
        of_row[first : first + IN_A_ROW + 1] = True
    return of_row


def _large_breaths(breaths: Breaths, listed: Listed) -> Breaths:
    """Return the breaths that are not small beside those outside of a listed stretch."""
    if not len(breaths):
        return breaths
    inside = breaths.time_s > listed.start_s - listed.margin_s
    inside &= breaths.time_s < listed.end_s + listed.margin_s
    outside = breaths.size[~inside]
    enough = len(outside) >= ENOUGH
    usual = np.median(outside) if enough else np.percentile(breaths.size, 75.0)
    return breaths.where(breaths.size >= CLEAR_SHARE * usual)


def small_swings(found: Reviewed, listed: Listed) -> str:
    """Say that nothing but small swings stands against a recorded apnea, if so.

    Parameters
    ----------
    found : Reviewed
        The review.
    listed : Listed
        What was listed.

    Returns
    -------
    str
        In words; empty if there are clear breaths, or too short a time without.
    """
    if listed.kind != "apnea" or found.plan.apnea is None:
        return ""
    small = f"below {CLEAR_SHARE:g} of a breath"
    large_s = _large_breaths(found.breaths, listed).time_s
    clear_s = clear_breaths(found, listed).time_s
    return _long_without(found, listed, large_s, small) or _long_without(
        found, listed, clear_s, f"{small} or come one a heart beat"
    )


def _long_without(found: Reviewed, listed: Listed, clear_s: Floats, swings: str) -> str:
    """Say what all swings are in a time without a clear breath, if it is long enough."""
    limit_s = 0.0 if found.plan.apnea is None else found.plan.apnea.limit_s
    lost = lost_stretches(found.spans("impedance"))
    for start_s, end_s in zip(clear_s[:-1].tolist(), clear_s[1:].tolist(), strict=True):
        seen = not lost.overlap_s(start_s, end_s)
        long = end_s - start_s >= limit_s
        if long and seen and listed.is_reached(start_s, end_s):
            told = f"for {end_s - start_s:.1f} s all swings are {swings}"
            return f"no event found, but {told}: the heart's pulsation, or shallow breathing"
    return ""
