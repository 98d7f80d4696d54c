"""Small swings in a recorded apnea: the heart's pulsation, or shallow breathing; no clear breath.

A stream knows the breaths before a pause, and in a short strip that may be few. Who judges a
recorded event knows those after it as well.
"""

from __future__ import annotations

import numpy as np

from infantmon.model.marks import Breaths
from infantmon.recorded.listed import Listed
from infantmon.recorded.measures import lost_stretches
from infantmon.recorded.reviewed import Reviewed

CLEAR_SHARE = 0.3
"""A swing smaller than this share of the breaths around is no clear breath: the breath detector
asks about as much of a breath, once it knows the breathing."""
ENOUGH = 3
"""With fewer breaths outside of the listed stretch their size is not known; then a large swing of
the whole recording (their upper quartile) stands for it."""


def clear_breaths(breaths: Breaths, listed: Listed) -> Breaths:
    """Return the breaths that are not small beside those outside of a listed stretch.

    Parameters
    ----------
    breaths : Breaths
        Of the whole recording.
    listed : Listed
        The stretch.
    """
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
    clear_s = clear_breaths(found.breaths, listed).time_s
    lost = lost_stretches(found.spans("impedance"))
    for start_s, end_s in zip(clear_s[:-1].tolist(), clear_s[1:].tolist(), strict=True):
        seen = not lost.overlap_s(start_s, end_s)
        long = end_s - start_s >= found.plan.apnea.limit_s
        if long and seen and listed.is_reached(start_s, end_s):
            swings = f"for {end_s - start_s:.1f} s all swings are below {CLEAR_SHARE:g} of a breath"
            return f"no event found, but {swings}: the heart's pulsation, or shallow breathing"
    return ""
