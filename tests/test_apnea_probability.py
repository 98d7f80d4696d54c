"""The second opinion on apnea: its published check points, a slow twin, apneas under pulsation."""

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy import signal

import infantmon.simulate as sim
from infantmon import detect_r_peaks
from infantmon.dsp.beat_notch import BeatNotch
from infantmon.errors import ArgumentError
from infantmon.events.probable_apneas import ProbableApnea, probable_apneas
from infantmon.model.marks import ApneaProbabilities, RPeaks
from infantmon.stages.apnea_probability import (
    ApneaProbability,
    ApneaProbabilitySettings,
    probability_of,
)

RATE_HZ = 62.5


# Check points -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("spread", "probability"),
    [(0.0, 0.995), (0.057, 0.99), (0.257, 0.9), (0.44, 0.5), (0.623, 0.1), (0.823, 0.01)],
)
def test_the_published_logistic(spread, probability):
    """P = 1 / (1 + exp(12 (s - 0.44))), Lee et al., Physiol Meas 2012;33:1-17."""
    assert probability_of(spread) == pytest.approx(probability, abs=5e-4)


def table(probabilities):
    probabilities = np.asarray(probabilities, dtype=float)
    time_s = 0.25 * np.arange(1, len(probabilities) + 1)
    led = np.ones(len(time_s), dtype=bool)
    return ApneaProbabilities(time_s, time_s + 4.0, probabilities, probabilities, led)


@pytest.mark.parametrize(("level", "weighted_s"), [(1.0, 12.0), (0.5, 6.0)])
def test_the_published_weighted_duration(level, weighted_s):
    """P = 1 for 12 s weighs 12 s, P = 0.5 for 12 s weighs 6 s (derived from the definition)."""
    found = probable_apneas(table([0.0] * 40 + [level] * 48 + [0.0] * 40))
    assert found == [ProbableApnea(10.0, 22.0, pytest.approx(weighted_s))]


def test_short_stretches_need_a_neighbour_and_near_ones_are_joined():
    quiet, still = [0.0], [1.0]
    assert probable_apneas(table(quiet * 40 + still * 16 + quiet * 40)) == []
    near = table(quiet * 40 + still * 16 + quiet * 10 + still * 16 + quiet * 40)
    assert probable_apneas(near) == [ProbableApnea(10.0, 20.5, pytest.approx(8.0))]
    apart = table(quiet * 40 + still * 16 + quiet * 16 + still * 16 + quiet * 40)
    assert [one.weighted_s for one in probable_apneas(apart)] == [4.0, 4.0]
    assert probable_apneas(table([0.11] * 60)) == []  # 15 s, but it weighs 1.65 s
    assert probable_apneas(table([math.nan] * 60)) == []


# A slow twin --------------------------------------------------------------------------------------


def slow_twin(samples, beats_s):
    """All at once, interval by interval; sampled so that nothing has to be averaged down."""
    rate = 31.25
    time_s = np.arange(len(samples)) / rate
    high = signal.butter(3, 0.4, "highpass", fs=rate, output="sos")
    low = signal.butter(3, 1 / 400, "lowpass", fs=rate, output="sos")
    y = signal.sosfilt(high, samples - samples[0])
    envelope = signal.sosfilt(low, np.abs(y)) / signal.sosfilt(low, np.ones(len(y)))
    cleaned = y.copy()
    if len(beats_s):
        run_s, run = [], []
        for begin, end in pairwise(beats_s):
            assert end - begin <= 3.0  # the scene has one run
            at = [begin + (end - begin) * k / 30 for k in range(30)]
            run_s += at
            run += [float(np.interp(t, time_s, y)) for t in at]
        for k in (1, 2, 3):
            stop = signal.butter(1, (k - 0.05, k + 0.05), btype="bandstop", fs=30)
            run = signal.lfilter(*stop, run)
        inside = (time_s >= run_s[0]) & (time_s <= run_s[-1])
        cleaned[inside] = np.interp(time_s[inside], run_s, run)
    moved = signal.sosfilt(high, cleaned) / np.where(envelope > 0, envelope, np.inf)
    ends = [round(k * 0.25 * rate) for k in range(1, int(4 * time_s[-1]) + 2)]
    ends = [end for end in ends if 62 <= end <= len(samples)]
    return np.array([(end - 1) / rate for end in ends]), np.array(
        [np.std(moved[end - 62 : end]) for end in ends]
    )


@pytest.mark.parametrize("led", [True, False])
def test_equals_its_slow_twin(led):
    scenario = sim.Scenario(90.0, 250.0, 31.25, events=(sim.Pause(50.0, 20.0),))
    night = sim.simulate_night(scenario, 5)
    samples = night.recording.impedance.segments[0].values
    ecg = night.recording.ecg
    beats = detect_r_peaks(ecg.segments[0].values, ecg.rate_hz, unit="mV")
    stage = ApneaProbability(
        ApneaProbabilitySettings(31.25, beat_lag_s=1.1 if led else 0.0, led_by_beats=led)
    )
    found = stage.push(samples, beats if led else None, last=True)
    time_s, spread = slow_twin(samples, beats.time_s if led else [])
    np.testing.assert_allclose(found.time_s, time_s, atol=1e-9)
    # The very first sample has no envelope yet and is not valid; it is in the first window alone.
    np.testing.assert_allclose(found.spread[1:], spread[1:], rtol=1e-6, atol=1e-9)
    assert found.led_by_beats.mean() > 0.9 if led else not found.led_by_beats.any()


def test_a_pause_of_the_heart_is_left_as_it_is_and_the_run_begins_anew():
    notch, time_s = BeatNotch(), np.arange(0.0, 20.0, 0.02)
    values = np.sin(2 * np.pi * 2.0 * time_s)
    beats = np.concatenate((np.arange(0.0, 8.0, 0.5), np.arange(12.0, 20.0, 0.5)))
    notch.note(beats)
    cleaned, inside = notch.clean(time_s, values, math.inf, time_s, values)
    still = (time_s > 7.6) & (time_s < 12.0)
    assert not inside[still].any()
    np.testing.assert_array_equal(cleaned[still], values[still])
    assert np.std(cleaned[(time_s > 5) & (time_s < 7)]) < 0.3 * np.std(values)
    assert np.std(cleaned[(time_s > 17) & (time_s < 19)]) < 0.3 * np.std(values)


# Apneas -------------------------------------------------------------------------------------------


def opinion(night, led=True):
    impedance, ecg = night.recording.impedance, night.recording.ecg
    beats = detect_r_peaks(ecg.segments[0].values, ecg.rate_hz, unit="mV")
    stage = ApneaProbability(
        ApneaProbabilitySettings(RATE_HZ, beat_lag_s=1.1 if led else 0.0, led_by_beats=led)
    )
    return stage.push(impedance.segments[0].values, beats if led else None, last=True)


def test_it_finds_apneas_under_pulsation_and_nothing_in_between():
    """Seed not used in building; pulsation of half a breath, four apneas of 20 s in 15 min."""
    pauses = [sim.Pause(240.0 + 150.0 * k, 20.0) for k in range(4)]
    scenario = sim.Scenario(
        900.0, 250.0, RATE_HZ, events=tuple(pauses), pulsation=sim.PulsationByPhase(share=0.5)
    )
    night = sim.simulate_night(scenario, 7460)
    found = [one for one in probable_apneas(opinion(night)) if one.weighted_s >= 8.0]
    assert len(found) == 4
    for one, pause in zip(found, pauses, strict=True):
        assert abs(one.start_s - pause.onset_s) < 5.0
        assert abs(one.end_s - pause.onset_s - 20.0) < 5.0
    alone = [one for one in probable_apneas(opinion(night, led=False)) if one.weighted_s >= 8.0]
    assert len(alone) < 4  # without R peaks the pulsation passes for breathing


def test_missing_samples_are_no_apnea():
    samples = np.sin(2 * np.pi * 0.8 * np.arange(0, 120, 1 / RATE_HZ))
    samples[round(60 * RATE_HZ) : round(80 * RATE_HZ)] = np.nan
    stage = ApneaProbability(ApneaProbabilitySettings(RATE_HZ, beat_lag_s=0.0, led_by_beats=False))
    found = stage.push(samples, last=True)
    inside = (found.time_s > 62.0) & (found.time_s < 80.0)
    assert np.isnan(found.probability[inside]).all()
    assert np.isfinite(found.probability[found.time_s < 60.0]).all()


def test_wrong_arguments_raise():
    stage = ApneaProbability(ApneaProbabilitySettings(RATE_HZ, beat_lag_s=1.0))
    with pytest.raises(ArgumentError, match="led_by_beats"):
        stage.push(np.zeros(10))
    stage = ApneaProbability(ApneaProbabilitySettings(RATE_HZ, beat_lag_s=0.0, led_by_beats=False))
    with pytest.raises(ArgumentError, match="led_by_beats"):
        stage.push(np.zeros(10), RPeaks.empty())
    with pytest.raises(ArgumentError, match="beat_lag_s"):
        ApneaProbabilitySettings(RATE_HZ, beat_lag_s=-1.0)
    with pytest.raises(ArgumentError, match="rate_hz"):
        ApneaProbabilitySettings(10.0, beat_lag_s=0.0)


# Gaps ---------------------------------------------------------------------------------------------


def breathing_with_a_pause():
    """100 s of breathing at 40 a minute, none from 40 s to 70 s."""
    time_s = np.arange(round(100.0 * RATE_HZ)) / RATE_HZ
    going_on = (time_s < 40.0) | (time_s >= 70.0)
    noise = 0.01 * np.random.default_rng(2).standard_normal(len(time_s))
    return noise + going_on * np.sin(2.0 * np.pi * time_s * 40.0 / 60.0)


def unled(parts):
    stage = ApneaProbability(ApneaProbabilitySettings(RATE_HZ, 0.0, led_by_beats=False))
    found = [stage.push(part) for part in parts]
    return ApneaProbabilities.joined([*found, stage.push([], last=True)])


def test_after_a_gap_of_an_hour_a_pause_is_as_probable_as_without_it():
    """What was usual before the gap has died away: beside nothing the pause would be movement."""
    alone = breathing_with_a_pause()
    gap_s = 3600.0
    gap = np.full(round(gap_s * RATE_HZ), np.nan)
    both = unled([np.concatenate((alone, gap, alone))])
    after = both.where(both.time_s > 100.0 + gap_s + 2.0)
    first = both.where((both.time_s > 2.0) & (both.time_s <= 100.0))
    shift_s = after.time_s[-1] - first.time_s[-1]
    assert shift_s == pytest.approx(100.0 + gap_s, abs=0.3)
    pause = (after.time_s - shift_s > 43.0) & (after.time_s - shift_s < 69.0)
    assert after.probability[pause].min() > 0.9
    np.testing.assert_allclose(after.probability[-350:], first.probability[-350:], atol=0.1)


@pytest.mark.parametrize("beyond", [-1, 0, 1])
def test_a_long_gap_may_be_cut_anywhere(beyond):
    alone = breathing_with_a_pause()
    gap = np.full(round(75.0 * RATE_HZ), np.nan)
    samples = np.concatenate((alone, gap, alone))
    whole = unled([samples])
    for at in (len(alone), len(alone) + 700, len(alone) + len(gap)):
        cut = at + beyond
        parts = unled([samples[:cut], samples[cut : cut + 1], [], samples[cut + 1 :]])
        np.testing.assert_array_equal(parts.probability, whole.probability)
