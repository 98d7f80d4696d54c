"""What is asked of periodic breathing alone: whether its pauses are any, and are short.

In comes a `Case`: a row of pauses, and all findings known by the time it is looked at. Shallow
breaths that are not counted look like pauses, and rows of them like periodic breathing; but in a
pause nothing moves. What is asked of an apnea too stands in `evidence_breathing`.
"""

from __future__ import annotations

import numpy as np

from infantmon.events.case import HAIR_S, Case
from infantmon.events.evidence_breathing import usable_pulsation
from infantmon.model.arrays import Floats, Ints
from infantmon.model.event import Evidence
from infantmon.model.marks import PULSATION_OVER_S, Breaths

LEFT_SHARE = 0.2
"""From this share of a breath on, what is left in the pauses may be effort. In simulated rows true
pauses had up to 0.05 of a breath (0.10 without R peaks), pauses made in the impedance of preterm
infants 0.13 (0.18); simulated shallow breathing had 0.22 and more."""
EDGE_S = 0.2
"""By so much what is left may reach into the breaths beside a pause, in seconds."""
SHALLOW_MOST = 0.5
"""From this share of shallow breaths on others may have been too small to be counted."""
LONGEST_S = 60.0
"""A longer pause belongs to no periodic breathing, whose pauses are followed by breaths again and
again (project's choice: sources give no longest one)."""


def effort_in_pauses(case: Case) -> list[Evidence]:
    """Compare the swings that are left in its pauses with its breaths.

    A pause is as quiet as its quietest 3 s; those that hold no 3 s without a breath tell nothing.
    """
    breaths = _breaths_of(case)
    left = _left_in(case, breaths, _pauses(case, breaths))
    if not len(left):
        return [Evidence("its pauses were too short to see that nothing moved in them", "beside")]
    share = float(np.median(left)) / float(np.median(breaths.size))
    text = f"swings of {share:.2f} of a breath were left in its pauses"
    if share >= LEFT_SHARE:
        return [Evidence(f"{text}: effort may have gone on", "against")]
    return [Evidence(text, "for")]


def shallow_between(case: Case) -> list[Evidence]:
    """Look whether its breaths were shallow, so that others may have been too small to count."""
    shallow = _breaths_of(case).shallow
    if not len(shallow) or np.mean(shallow) < SHALLOW_MOST:
        return []
    text = f"{100.0 * np.mean(shallow):.0f} % of its breaths were shallow"
    return [Evidence(f"{text}: others may have been too small to be counted", "against")]


def long_pause(case: Case) -> list[Evidence]:
    """Look for a pause too long to be one of periodic breathing."""
    apart_s = np.diff(_breaths_of(case).time_s)
    if not len(apart_s) or apart_s.max() <= LONGEST_S:
        return []
    text = f"one of its pauses lasted {apart_s.max():.0f} s: those of periodic breathing are short"
    return [Evidence(text, "against")]


def _breaths_of(case: Case) -> Breaths:
    """Return the breaths of the row, those that it begins and ends with included."""
    onset_s = case.event.onset_s
    return case.history.breaths(onset_s - HAIR_S, case.until_s + HAIR_S, case.known_s)


def _pauses(case: Case, breaths: Breaths) -> Ints:
    """Return the breaths after which a pause follows."""
    long = np.diff(breaths.time_s) >= float(case.event.limits["pause_s"]) * (1.0 - 1e-9)
    return np.flatnonzero(long)


def _left_in(case: Case, breaths: Breaths, pauses: Ints) -> Floats:
    """Return the smallest swing left in each pause that holds enough time without a breath."""
    found = usable_pulsation(case, case.event.onset_s, case.until_s)
    starts_s = breaths.fall_end_s[pauses] - EDGE_S + PULSATION_OVER_S
    ends_s = breaths.rise_start_s[pauses + 1] + EDGE_S
    first = np.searchsorted(found.time_s, starts_s)
    after = np.searchsorted(found.time_s, ends_s, side="right")
    rows = zip(first.tolist(), after.tolist(), strict=True)
    return np.array([found.breath[start:stop].min() for start, stop in rows if stop > start])
