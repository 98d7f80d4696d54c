"""Swings that go on in a pause: shallow breathing is doubtful, a pause under pulsation is not."""

from __future__ import annotations

import pytest

import infantmon as im
from infantmon import simulate as sim

LIMITS = im.Prescription(apnea={"limit_s": 10.0}, no_heart_beat={"limit_s": 4.0})
AT_S = [60.0 + 90.0 * n for n in range(14)]
LONG_S = AT_S[-1] + 90.0


def apneas(seed, pulsation, *happen):
    scenario = sim.Scenario(
        LONG_S, 250.0, 62.5, pulsation=sim.PulsationByPhase(pulsation), events=happen
    )
    return im.review(sim.simulate_night(scenario, seed).recording, LIMITS).events.of_kind("apnea")


@pytest.mark.parametrize("share", [0.25, 0.3])
@pytest.mark.parametrize("seed", [1, 2, 3, 4, 5])
def test_breathing_at_a_fraction_of_its_size_is_never_a_supported_apnea(seed, share):
    events = apneas(seed, 0.2, *(sim.ShallowBreathing(at, 30.0, share) for at in AT_S))
    assert events
    assert not [e for e in events if e.judgement == "supported"]


@pytest.mark.parametrize("pulsation", [0.2, 0.8])
def test_a_pause_is_supported_although_the_heart_goes_on_and_slows(pulsation):
    slowing = sim.SlowingInPause(65.0)
    events = apneas(4, pulsation, *(sim.Pause(at, 21.0, slowing) for at in AT_S))
    assert [e.judgement for e in events] == ["supported"] * len(AT_S)
