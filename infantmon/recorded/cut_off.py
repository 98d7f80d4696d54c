"""What a recording's edge, or a stretch that could not be used, cuts off: how long is not known.

A recorder keeps a strip around an event, and the strip may begin or end inside it. Then no event is
found, but nothing speaks against the recorded one either.
"""

from __future__ import annotations

import math

import numpy as np

from infantmon.model.arrays import Floats
from infantmon.model.recording import ROLE_WORDS
from infantmon.recorded.listed import Listed
from infantmon.recorded.measures import lost_stretches
from infantmon.recorded.reviewed import Reviewed
from infantmon.recorded.small_swings import clear_breaths

SHARE_OF_LIMIT, SHARE_LISTED = 0.25, 0.5
"""A pause that is cut off may be an event if so much of the limit is seen of it, or if it fills so
much of what was listed (project's choice)."""
MARKS = {"impedance": "clear breath", "ecg": "heart beat"}
NOT_TOLD = "how long that went on cannot be told"


def cut_off(found: Reviewed, listed: Listed) -> str:
    """Say what cuts a recorded event off, where no event stands beside it.

    Parameters
    ----------
    found : Reviewed
        The review.
    listed : Listed
        What was listed.

    Returns
    -------
    str
        Why it cannot be told how long it went on, in words; empty where nothing cuts it off.
    """
    plan = found.plan
    if listed.kind == "apnea" and plan.apnea is not None:
        marks_s = clear_breaths(found, listed).time_s
        return _cut_pause(found, listed, "impedance", marks_s, plan.apnea.limit_s)
    if listed.kind == "no heart beat" and plan.no_heart_beat is not None:
        return _cut_pause(found, listed, "ecg", found.r_peaks.time_s, plan.no_heart_beat.limit_s)
    limits = {"low heart rate": plan.low_heart_rate, "high heart rate": plan.high_heart_rate}
    limit = limits.get(listed.kind)
    return "" if limit is None else _cut_excursion(found, listed, limit.hold_off_s)


def _cut_pause(found: Reviewed, listed: Listed, role: str, marks_s: Floats, limit_s: float) -> str:
    """Tell of a time without a mark that is cut off and may have reached the limit."""
    channel, lost = found.recording.channels[role], lost_stretches(found.spans(role))
    usable_s = channel.end_s - channel.start_s - lost.overlap_s(channel.start_s, channel.end_s)
    if usable_s < limit_s:
        limit = f"less than the limit of {limit_s:g} s"
        return f"the {ROLE_WORDS[role]} could be used for {usable_s:.1f} s only, {limit}"
    marks_s = marks_s[~lost.inside(marks_s)]
    edges_s = np.concatenate(([-math.inf], marks_s, [math.inf]))
    cuts_s = np.concatenate(([channel.start_s], lost.start_s, [channel.end_s]))
    least_s = min(SHARE_OF_LIMIT * limit_s, SHARE_LISTED * listed.length_s)
    for row in np.unique(np.searchsorted(edges_s, cuts_s, side="right")).tolist():
        before_s, after_s = float(edges_s[row - 1]), float(edges_s[row])
        start_s, end_s = max(before_s, channel.start_s), min(after_s, channel.end_s)
        seen_s = end_s - start_s - lost.overlap_s(start_s, end_s)
        may_be = after_s - before_s >= limit_s and seen_s >= least_s
        if may_be and listed.is_reached(start_s, end_s):
            return _pause_text(role, before_s, after_s, seen_s)
    return ""


def _pause_text(role: str, before_s: float, after_s: float, seen_s: float) -> str:
    mark, usable = MARKS[role], f"the {ROLE_WORDS[role]} that could be used"
    if before_s == -after_s:
        where = f"no {mark} was seen in {seen_s:.1f} s of {usable}"
    elif before_s == -math.inf:
        where = f"{usable} begins {seen_s:.1f} s before the first {mark}"
    elif after_s == math.inf:
        where = f"{usable} ends {seen_s:.1f} s after the last {mark}"
    else:
        where = f"a time without a {mark} is cut by {ROLE_WORDS[role]} that could not be used"
    return f"no event found, but {where}: {NOT_TOLD}"


def _cut_excursion(found: Reviewed, listed: Listed, hold_off_s: float) -> str:
    """Tell of a rate beyond the limit that is cut off, or of too little to find one in."""
    channel, lost = found.recording.channels["ecg"], lost_stretches(found.spans("ecg"))
    opens_s = np.concatenate(([channel.start_s], lost.end_s))
    closes_s = np.concatenate((lost.start_s, [channel.end_s]))
    for one in found.excursions:
        near_s = min(np.abs(opens_s - one.onset_s).min(), np.abs(closes_s - one.end_s).min())
        same = one.kind == listed.kind and listed.is_reached(one.onset_s, one.end_s)
        if same and near_s <= listed.margin_s:
            beyond = f"the rate was beyond the limit for {one.end_s - one.onset_s:.1f} s"
            return f"no event found, but {beyond} at the edge of the usable ECG: {NOT_TOLD}"
    at_edge = min(listed.start_s - channel.start_s, channel.end_s - listed.end_s)
    if at_edge > listed.margin_s or listed.length_s >= hold_off_s:
        return ""
    return (
        f"no event found, but only {listed.length_s:.1f} s of it lie in the recording, less than "
        f"the hold-off of {hold_off_s:g} s"
    )
