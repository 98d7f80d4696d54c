"""A shorter apnea limit lists at least what a longer one lists: doubtful breaths, holes and all."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import pytest
from made_findings import batches_of, breaths_at, contact_of, random_noise, random_stretches

from infantmon.events.apnea import ApneaRule
from infantmon.events.batch import Latencies
from infantmon.model.event import ACTIVE
from infantmon.model.prescription import ApneaLimit

REACHED_S = 240.0
LIMITS_S = (10.0, 12.0, 15.0, 20.0, 25.0, 30.0)
LAG_S = 1.0


def listed(limit_s: float, contact, breaths) -> list[tuple[float, float]]:
    """Onset and end of what goes active under a limit."""
    rule = ApneaRule(ApneaLimit(limit_s=limit_s), Latencies(1.0, LAG_S, 0.5))
    found: list[tuple[float, float]] = []
    for batch in batches_of([REACHED_S], contact=contact, breaths=breaths):
        for step in rule.push(batch):
            if step.state == ACTIVE:
                again = found and found[-1][1] == math.inf
                found = [*(found[:-1] if again else found), (step.onset_s, math.inf)]
            elif found and found[-1][1] == math.inf and step.end_s is not None:
                found[-1] = (found[-1][0], step.end_s)
    return found


@pytest.mark.parametrize("seed", range(300))
def test_a_shorter_limit_lists_what_a_longer_one_lists(seed) -> None:
    chance = np.random.default_rng(seed)
    steps = chance.choice([0.75, 1.0, 1.5], 400)
    longer = chance.random(400) < 0.25
    steps[longer] = chance.choice([4.0, 5.0, 7.0, 9.0, 11.0, 14.0], int(longer.sum()))
    times = np.cumsum(steps)
    times = times[times < REACHED_S - LAG_S]
    stretches = random_stretches(chance, REACHED_S, int(chance.choice([0, 1, 2])))
    contact = {"impedance": contact_of(stretches, random_noise(chance, REACHED_S, 12))}
    lost = np.array([any(s.since <= t <= s.end for s in stretches) for t in times], dtype=bool)
    breaths = breaths_at(times[~lost], times[~lost] + LAG_S)
    by_limit = {limit_s: listed(limit_s, contact, breaths) for limit_s in LIMITS_S}
    for shorter_s, longer_s in combinations(LIMITS_S, 2):
        for onset_s, end_s in by_limit[longer_s]:
            assert any(onset < end_s and onset_s < end for onset, end in by_limit[shorter_s]), (
                f"{longer_s:g} s lists {onset_s:g} to {end_s:g} s, {shorter_s:g} s does not"
            )
