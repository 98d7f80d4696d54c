"""Central apnea of an infant as sleep medicine scores it, as far as impedance and ECG can tell.

In come the stored findings of a recording; out come long pauses, and those in which at least two
breaths are missed if the heart is slow with them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from infantmon.events.rule_sets.coupling import coupled
from infantmon.events.rule_sets.episodes import Episode, Episodes, Stored, in_order
from infantmon.events.rule_sets.intervals import (
    ROUNDING_S,
    Intervals,
    beat_intervals,
    breath_intervals,
    reaches,
)
from infantmon.events.rule_sets.pauses import long_pauses
from infantmon.events.rule_sets.slowing import slow_stretches

LONG_S = 20.0
MISSED = 2
SLOW = ((50.0, 5.0), (60.0, 15.0))
"""Rate (beats a minute) and how long (s) the heart must stay below it."""
BASELINE_S = 120.0
LEAST_BREATHS = 5


@dataclass(frozen=True)
class InfantCentralApnea:
    """No effort for 20 s or more; or two missed breaths with a slow heart (infants under a year).

    Slow: below 50 a minute for 5 s or more, or below 60 for 15 s or more.

    Notes
    -----
    The routes by arousal and by desaturation need what is not recorded here, and are never met. Two
    breaths are missed when a pause, mark to mark, is at least three baseline intervals: two breaths
    that were due in it did not come (project's choice). The baseline is the median interval of the
    120 s before (project's choice), of five breaths at least. A slow heart goes with a pause by the
    published coupling windows (see `coupled`; project's choice). Effort without flow (obstructive
    apnea) cannot be seen in the impedance.

    References
    ----------
    Berry RB et al., J Clin Sleep Med 2012;8:597-619 (citation from memory), looked up through a
    teaching site on paediatric sleep medicine.
    """

    source = (
        "AASM rules, Berry RB et al., J Clin Sleep Med 2012;8:597-619 (citation from memory; rules "
        "looked up through a teaching site)"
    )

    def episodes(self, findings: Stored) -> Episodes:
        """Return what the rule makes of stored findings."""
        breaths, beats = breath_intervals(findings.whole), beat_intervals(findings.whole)
        found = long_pauses(breaths, LONG_S, f"no effort for {LONG_S:g} s or more")
        missed = _missed_breaths(breaths)
        for limit_bpm, least_s in SLOW:
            clause = f"below {limit_bpm:g} a minute for {least_s:g} s or more"
            slowings = slow_stretches(beats, limit_bpm, least_s, clause)
            for pair in coupled(missed, slowings):
                if pair.slowings:
                    lowest = min(one.measures["lowest_bpm"] for one in pair.slowings)
                    measures = {**pair.apnea.measures, "lowest_bpm": lowest}
                    words = f"{MISSED} missed breaths with a heart rate {clause}"
                    found.append(replace(pair.apnea, clause=words, measures=measures))
        slow = " or ".join(f"below {bpm:g} for {least:g} s" for bpm, least in SLOW)
        rule = f"no effort for {LONG_S:g} s or more, or {MISSED} missed breaths and {slow}"
        judged = {"impedance": breaths.judged_s, "ecg": beats.judged_s}
        return Episodes(rule, self.source, in_order(_first_clause_only(found)), judged)


def _missed_breaths(breaths: Intervals) -> list[Episode]:
    """Return the pauses in which at least two breaths are missed."""
    found: list[Episode] = []
    shortest_s = 3.0 * (MISSED + 1) / 10.0  # of 200 breaths a minute: none that counts is shorter
    for pause in long_pauses(breaths, shortest_s, ""):
        baseline_s = _baseline_s(breaths, pause.start_s)
        if reaches(pause.length_s, (MISSED + 1) * baseline_s):
            measures = {**pause.measures, "baseline_breath_s": baseline_s}
            found.append(replace(pause, measures=measures))
    return found


def _baseline_s(breaths: Intervals, before_s: float) -> float:
    first, after = np.searchsorted(breaths.end_s, (before_s - BASELINE_S, before_s + ROUNDING_S))
    usual = breaths.length_s[first:after][breaths.whole[first:after]]
    return float(np.median(usual)) if len(usual) >= LEAST_BREATHS else math.inf


def _first_clause_only(found: list[Episode]) -> list[Episode]:
    """Return each pause once, with the first clause that it meets."""
    first: dict[float, Episode] = {}
    for episode in found:
        first.setdefault(episode.start_s, episode)
    return list(first.values())
