"""The last pulse before a standstill is no breath; a breath that is much larger stays one."""

import numpy as np
import pytest

from infantmon import Prescription, review
from infantmon import simulate as sim
from infantmon.dsp.last_pulse import peak_to_peak, without_last_pulse

PLAN = Prescription(apnea={"limit_s": 20})


def test_peak_to_peak_of_one_harmonic():
    assert peak_to_peak((3.0, 4.0, 0.0, 0.0, 0.0, 0.0)) == pytest.approx(10.0, rel=0.02)
    assert peak_to_peak((0.0,) * 6) == 0.0


def test_small_swings_go_large_ones_stay():
    since_s = np.linspace(0.0, 1.9, 200)
    swing = np.sin(2.0 * np.pi * since_s)
    assert np.ptp(without_last_pulse(7.0 + swing, since_s, 7.0, 0.5)) == 0.0
    assert np.ptp(without_last_pulse(7.0 + 5.0 * swing, since_s, 7.0, 0.5)) > 7.0
    assert np.array_equal(without_last_pulse(swing, since_s, 0.0, 0.0), swing)
    assert np.array_equal(without_last_pulse(swing, since_s + 4.0, 0.0, 9.0), swing)


@pytest.mark.parametrize("pulsation", [sim.PulsationByPhase(0.8), sim.PulsationInTime(0.8)])
@pytest.mark.parametrize("still_after_s", [4.0, 10.0])
def test_an_apnea_is_known_although_the_heart_stops_in_it(pulsation, still_after_s):
    events = [(sim.Pause(at, 25.0), sim.Standstill(at + still_after_s, 20.0)) for at in (60, 120)]
    flat = tuple(each for pair in events for each in pair)
    breathing = sim.Breathing(rate_per_min=45.0)
    made = sim.Scenario(190.0, 250.0, 62.5, breathing=breathing, pulsation=pulsation, events=flat)
    night = sim.simulate_night(made, 41)
    found = review(night.recording, PLAN).events.of_kind("apnea")
    assert [event.onset_s for event in found] == pytest.approx([60.0, 120.0], abs=1.5)
