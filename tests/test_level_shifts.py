"""Shifts of the level of an ECG: an electrode that moves, and an amplifier that recovers."""

from __future__ import annotations

import numpy as np
import pytest

import infantmon as im
from infantmon import simulate as sim
from infantmon.dsp.level_shifts import LevelShifts
from infantmon.model.spans import Reason

HZ = 250.0
SHIFT = int(Reason.SHIFT)


def night(*happen, wander_mv=0.1):
    channel = sim.EcgChannel(wander_mv=wander_mv)
    scenario = sim.Scenario(150.0, HZ, 62.5, ecg=channel, events=happen)
    return sim.simulate_night(scenario, 3).recording


def blocked(recording, size_mv, *, at_s=80.0, hidden_s=4.0, fall_s=1.5):
    """An electrode jumps: the level runs back exponentially, and beats are hidden for a while."""
    channel = recording.ecg
    ecg = channel.segments[0].values.copy()
    since_s = np.arange(len(ecg)) / HZ - at_s
    hidden = (since_s >= 0.0) & (since_s < hidden_s)
    noise = 0.005 * np.random.default_rng(1).standard_normal(len(ecg))
    way = size_mv * np.exp(-np.maximum(since_s, 0.0) / fall_s)
    ecg = np.where(hidden, way + noise, ecg + np.where(since_s >= 0.0, way, 0.0))
    return im.Recording({"ecg": im.Channel(ecg, HZ, channel.unit)}, name="blocked")


def reviewed(recording):
    plan = im.Prescription(
        low_heart_rate={"limit_bpm": 80, "hold_off_s": 0, "average_beats": 1},
        no_heart_beat={"limit_s": 3.0},
    )
    return im.review(recording, plan)


def told_against(event):
    return any(
        r.side == "against" and "level of the ECG was shifted" in r.text for r in event.reasons
    )


@pytest.mark.parametrize("size_mv", [3.0, 1.5, -1.5, -3.0])
def test_beats_hidden_as_the_level_runs_back_are_no_sure_slow_or_stopped_heart(size_mv):
    review = reviewed(blocked(night(), size_mv))
    (span,) = review.contact["ecg"].to_frame().itertuples()
    assert (span.reason, span.start_s) == ("level far off", pytest.approx(80.0, abs=0.3))
    assert 82.0 < span.end_s < 87.0
    for event in review.events:
        assert told_against(event)
        assert event.judgement == "doubtful"
    assert {event.kind for event in review.events} == {"low heart rate", "no heart beat"}


@pytest.mark.parametrize("size_mv", [2.0, -2.0])
@pytest.mark.parametrize("seed", range(3))
def test_a_shift_is_seen_through_noise_and_mains_that_come_and_go(size_mv, seed):
    recording = blocked(night(), size_mv)
    ecg = recording.ecg.segments[0].values.copy()
    at_s = np.arange(len(ecg)) / HZ
    mains = 0.4 * np.sin(2.0 * np.pi * 50.0 * at_s) * (at_s % 15.0 < 8.0)
    ecg += mains + 0.05 * np.random.default_rng(seed).standard_normal(len(ecg))
    review = reviewed(im.Recording({"ecg": im.Channel(ecg, HZ, "mV")}, name="blocked"))
    spans = review.contact["ecg"]
    shifted = spans.where((spans.reason & SHIFT) != 0)
    assert shifted.start_s.tolist() == [pytest.approx(80.0, abs=0.3)]
    assert {event.judgement for event in review.events} == {"doubtful"}


def test_a_true_standstill_beside_wander_and_breathing_has_no_shift():
    review = reviewed(night(sim.Standstill(80.0, 6.0), wander_mv=0.4))
    assert not len(review.contact["ecg"])
    assert {event.judgement for event in review.events} == {"supported"}


def test_a_shift_with_beats_all_the_way_changes_no_event():
    """The level runs back, the beats can be seen; the heart stands still half a minute later."""
    review = reviewed(blocked(night(sim.Standstill(110.0, 6.0)), 3.0, hidden_s=0.0))
    assert len(review.contact["ecg"]) == 1
    assert {event.judgement for event in review.events} == {"supported"}
    assert all(event.onset_s > 100.0 for event in review.events)


@pytest.mark.parametrize("wander_mv", [0.0, 0.3, 0.5])
def test_wander_is_no_shift(wander_mv):
    assert not len(reviewed(night(wander_mv=wander_mv)).contact["ecg"])


@pytest.mark.parametrize("seed", range(4))
def test_however_it_is_cut_and_saved(seed):
    ecg = blocked(night(), -3.0).ecg.segments[0].values.copy()
    ecg[20500:20700] = np.nan
    finite = np.isfinite(ecg)
    whole = LevelShifts(SHIFT, 62).push(ecg, finite)
    assert len(whole) >= 2
    cuts = np.sort(np.random.default_rng(seed).integers(0, len(ecg), 60)).tolist()
    finder, edges = LevelShifts(SHIFT, 62), []
    for first, after in zip([0, *cuts], [*cuts, len(ecg)], strict=True):
        edges += finder.push(ecg[first:after], finite[first:after])
        saved = finder.snapshot()
        finder = LevelShifts(SHIFT, 62)
        finder.restore(saved)
    assert edges == whole


def test_a_shift_in_a_heart_that_is_slow_all_along_does_not_speak_against_it():
    """The electrode jumps at a slow beat: the interval is no longer than those after it."""
    slow = sim.Bradycardia(70.0, 45.0, ramp_s=3.0, hold_s=20.0)
    for at_s in np.arange(82.0, 83.4, 0.2).tolist():
        recording = blocked(night(slow), 3.0, at_s=at_s, hidden_s=0.3)
        plan = {"low_heart_rate": {"limit_bpm": 80, "hold_off_s": 5, "average_beats": 8}}
        review = im.review(recording, im.Prescription.model_validate(plan))
        assert len(review.contact["ecg"]) == 1
        (event,) = review.events
        assert not told_against(event)
