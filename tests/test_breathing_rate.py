"""Rate of breathing: the mean of the latest intervals, and where it starts anew."""

import numpy as np
import pytest

import infantmon as im
from infantmon import simulate as sim
from infantmon.errors import ArgumentError
from infantmon.model.marks import Breaths
from infantmon.model.spans import ContactMarks, Reason
from infantmon.stages.breathing_rate import BreathingRate, BreathingRateSettings

LAG_S = 3.0


def breaths_at(time_s):
    time_s = np.asarray(time_s, dtype=np.float64)
    ones = np.ones(len(time_s))
    whole, none = np.arange(len(time_s)), np.zeros(len(time_s), dtype=np.bool_)
    return Breaths(time_s, time_s + LAG_S, whole, ones, time_s, time_s, none)


def rates(time_s, contact=None, **averaging):
    stage = BreathingRate(BreathingRateSettings(breath_lag_s=LAG_S, **averaging))
    return stage.push(breaths_at(time_s), contact, last=True)


def slow_rates(time_s, average_breaths):
    """One breath at a time, from the definition."""
    found = []
    for row in range(1, len(time_s)):
        first = max(row - average_breaths, 0)
        intervals = [time_s[k + 1] - time_s[k] for k in range(first, row)]
        found.append(60.0 / (sum(intervals) / len(intervals)))
    return found


@pytest.mark.parametrize("average_breaths", [1, 4, 8])
def test_mean_of_the_latest_intervals(average_breaths):
    time_s = np.cumsum(np.random.default_rng(3).uniform(0.6, 2.4, 60))
    found = rates(time_s, average_breaths=average_breaths)
    assert found.breathing_rate_per_min == pytest.approx(
        slow_rates(time_s.tolist(), average_breaths), rel=1e-12
    )
    assert np.array_equal(found.time_s, time_s[1:])
    assert np.array_equal(found.known_s, time_s[1:] + LAG_S)


def test_a_pause_is_one_long_interval():
    found = rates([0.0, 1.0, 2.0, 22.0, 23.0], average_breaths=2)
    assert found.breathing_rate_per_min.tolist() == pytest.approx([60, 60, 120 / 21, 120 / 21])


def test_over_seconds():
    found = rates([0.0, 1.0, 2.0, 4.0, 6.0], average_s=4.0)
    assert found.breathing_rate_per_min[-1] == pytest.approx(30.0)


def test_anew_after_an_unusable_stretch():
    opens, closes = (12.0, 12.0, 10.0, False), (15.0, 15.5, 10.0, True)
    time_s, known_s, since_s, usable = (np.array(each) for each in zip(opens, closes, strict=True))
    flat = np.full(2, int(Reason.FLAT), dtype=np.int64)
    contact = ContactMarks(time_s, known_s, since_s, flat, usable, np.zeros(2, dtype=np.bool_))
    breath_s = [6.0, 7.0, 8.0, 9.0, 16.0, 18.0, 20.0]
    found = rates(breath_s, contact, average_breaths=8)
    assert found.time_s.tolist() == [7.0, 8.0, 9.0, 18.0, 20.0]
    assert found.breathing_rate_per_min.tolist() == pytest.approx([60, 60, 60, 30, 30])


def test_a_bridged_stretch_changes_nothing():
    one = np.array([9.6])
    contact = ContactMarks(
        one, one + 0.5, one - 0.4, np.array([2]), np.array([True]), np.array([True])
    )
    time_s = np.arange(12.0)
    assert rates(time_s, contact, average_breaths=3).equals(rates(time_s, average_breaths=3))


def test_exactly_one_averaging():
    with pytest.raises(ArgumentError, match="exactly one"):
        BreathingRate(BreathingRateSettings())


def test_in_a_review():
    scenario = sim.Scenario(
        90.0, ecg_hz=250.0, impedance_hz=50.0, breathing=sim.Breathing(rate_per_min=40.0)
    )
    night = sim.simulate_night(scenario, seed=5)
    found = im.review(night.recording, im.Prescription(apnea={"limit_s": 20})).breathing_rate
    late = found.breathing_rate_per_min[found.time_s > 30.0]
    assert len(late) > 20
    assert np.median(late) == pytest.approx(40.0, rel=0.1)
