"""What a second lead says of a slow, fast or stopped heart: the same, another rate, or nothing.

In comes a `Case`; out comes what the second lead shows meanwhile, as `Evidence`, and whether it
vouches for what the first lead shows but doubtfully.
"""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from infantmon.events.case import HAIR_S, Case
from infantmon.model.arrays import Floats
from infantmon.model.event import Evidence
from infantmon.model.marks import RPeaks
from infantmon.model.spans import BLOCKING

ENOUGH_IN_SECOND = 3
"""With fewer beats than this in a second lead nothing is made of it."""
MEANWHILE_S = 1.0
"""So much more than the event, on either side, is looked at for the rate in a second lead, in s."""
UNRELIABLE_SHARE = 0.3
"""From this share of beats that do not look like their neighbours a rate is doubtful."""
SAME_BEAT_S = 0.1
"""Marks of two leads no further apart than this are one beat, in seconds."""
AVERAGED = 8
"""Over so many of its intervals, at most, the rate in a second lead is averaged (project's choice).
"""
BEYOND_SHARE = 0.25
"""For this share of the time its rate has to be beyond the limit (project's choice): where the
first lead counts artefacts as well, its event is longer than what is true of it."""
AGREE_SHARE = 0.8
"""From this share of beats that both leads have, either way, they show the same rhythm."""
AGREE_BEFORE_S = 10.0
"""How far back from an event the beats of two leads are compared, in seconds."""


def second_lead(case: Case) -> list[Evidence]:
    """Look at a second lead: another rhythm there speaks against; no beats there say nothing.

    Nor do strange ones against a fast heart: some may be missing.
    """
    event = case.event
    if leads_agree(case):
        return [Evidence("the second lead shows the same beats", "for")]
    until_s = case.until_s + MEANWHILE_S
    other = case.history.second_beats(event.onset_s - MEANWHILE_S, until_s, case.known_s)
    rate_bpm = _rate_meanwhile(case, other)
    if rate_bpm is None:
        return []
    text = f"the second lead shows {rate_bpm:.0f} beats a minute meanwhile"
    if _beyond_limit(case, other):
        return [Evidence(text, "for")]
    says_nothing = event.kind == "high heart rate" and _is_strange(other)
    return [Evidence(text, "beside" if says_nothing else "against")]


def _beyond_limit(case: Case, other: RPeaks) -> bool:
    """Tell whether the beats of a second lead are beyond the limit of an event by themselves."""
    event, rate_bpm = case.event, _rate_meanwhile(case, other)
    if rate_bpm is None:
        return False
    if event.kind == "no heart beat":
        return float(np.diff(other.time_s).max()) >= float(event.limits.get("limit_s", 0.0))
    limit_bpm = float(event.limits.get("limit_bpm", 0.0))
    return rate_bpm > limit_bpm if event.kind == "high heart rate" else rate_bpm < limit_bpm


def _rate_meanwhile(case: Case, other: RPeaks) -> float | None:
    """Return the rate that a second lead comes up to, or down to, for a quarter of the time.

    It is averaged over as many intervals as the first lead has beats in the event, eight at most,
    in none of which the second lead was lost; None where there are none.
    """
    if len(other) < ENOUGH_IN_SECOND:
        return None
    starts_s, ends_s = other.time_s[:-1], other.time_s[1:]
    own = case.history.beats(case.event.onset_s, case.until_s + HAIR_S, case.known_s)
    count = min(max(len(own), 1), AVERAGED, len(starts_s))
    lost = case.history.spans("ecg2", case.known_s, BLOCKING).unbridged
    seen = sliding_window_view(~lost.touch(starts_s, ends_s), count).all(axis=1)
    lengths_s = (ends_s[count - 1 :] - starts_s[: len(starts_s) - count + 1])[seen]
    if not len(lengths_s):
        return None
    part = BEYOND_SHARE if case.event.kind == "high heart rate" else 1.0 - BEYOND_SHARE
    return float(60.0 * count / np.quantile(lengths_s, part))


def _is_strange(beats: RPeaks) -> bool:
    """Tell whether so many beats do not look like their neighbours that a rate is doubtful."""
    return float(np.mean(~beats.reliable)) >= UNRELIABLE_SHARE


def leads_agree(case: Case) -> bool:
    """Tell whether both leads show the same beats around the event, one to one within 0.1 s."""
    start_s, end_s = case.event.onset_s - AGREE_BEFORE_S, case.until_s + HAIR_S
    first = case.history.beats(start_s, end_s, case.known_s).time_s
    other = case.history.second_beats(start_s, end_s, case.known_s).time_s
    if min(len(first), len(other)) < ENOUGH_IN_SECOND:
        return False
    near = _distance_s(first, other) <= SAME_BEAT_S
    near_other = _distance_s(other, first) <= SAME_BEAT_S
    return bool(min(np.mean(near), np.mean(near_other)) >= AGREE_SHARE)


def _distance_s(times_s: Floats, others_s: Floats) -> Floats:
    """Return how far each time is from the nearest of the others, in seconds."""
    after = np.clip(np.searchsorted(others_s, times_s), 1, len(others_s) - 1)
    nearest = np.minimum(np.abs(times_s - others_s[after - 1]), np.abs(others_s[after] - times_s))
    return np.asarray(nearest, dtype=np.float64)


def carried_by_second_lead(case: Case) -> bool:
    """Tell whether a second lead vouches for what the first shows but doubtfully.

    It does if its beats are beyond the limit too, and are the same, or look alike: the first lead
    may have counted artefacts beside the same beats.
    """
    start_s = case.event.onset_s - MEANWHILE_S
    other = case.history.second_beats(start_s, case.until_s + HAIR_S, case.known_s)
    return _beyond_limit(case, other) and (leads_agree(case) or not _is_strange(other))
