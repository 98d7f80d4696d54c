"""The heart followed in the impedance where no R peaks lead: what it hides no more, and may not."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from breath_inputs import infant, r_peaks

import infantmon as im
from infantmon import simulate as sim
from infantmon.dsp.beat_fit import first_harmonic, fit
from infantmon.dsp.kept import Kept
from infantmon.dsp.pulse_follower import Followed, PulseFollower, next_top
from infantmon.dsp.sharp_lines import lines_in
from infantmon.effort import detect_breaths
from infantmon.stages.cardiac_artifact import CardiacArtifactRejector, CardiacArtifactSettings

RATE = 25.0
PAUSE = ((100.0, 20.0),)


def followed(values, until=None, follower=None):
    kept = Kept()
    kept.push(values)
    return (follower or PulseFollower(RATE)).follow(kept, len(values) if until is None else until)


def trusted_bpm(beats: list[Followed]):
    return np.array([60.0 * RATE / beat.period for beat in beats if beat.trusted])


def finds(data, breaths) -> bool:
    """Whether marks stand within 1 s of both ends of its pause, and none between."""
    onset_s, end_s = data.pauses[0]
    before, after = breaths.time_s[:-1], breaths.time_s[1:]
    return bool(((abs(before - onset_s) < 1.0) & (abs(after - end_s) < 1.0)).any())


@pytest.mark.parametrize("in_time", [False, True])
@pytest.mark.parametrize("pulsation", [0.5, 0.8])
@pytest.mark.parametrize("heart", [100.0, 140.0, 180.0])
def test_without_an_ecg_a_pause_is_found_beside_a_large_pulsation(heart, pulsation, in_time):
    data = infant(
        5, 150.0, heart_bpm=heart, pulsation=pulsation, pauses=PAUSE, in_time=in_time, noise=0.01
    )
    assert finds(data, detect_breaths(data.impedance, data.rate_hz))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_it_is_followed_as_the_heart_slows_in_the_pause(seed):
    data = infant(seed, 150.0, pulsation=0.5, pauses=PAUSE, heart_in_pause_bpm=65.0, noise=0.01)
    assert finds(data, detect_breaths(data.impedance, data.rate_hz))


@pytest.mark.parametrize("spread", [0.01, 0.05, 0.2])
@pytest.mark.parametrize("breaths", [20.0, 45.0, 80.0, 120.0])
def test_breathing_alone_is_never_followed(breaths, spread):
    data = infant(
        7, 180.0, rate_hz=RATE, breaths_per_min=breaths, pulsation=0.0, breath_spread=spread
    )
    assert not len(trusted_bpm(followed(data.impedance)))


def test_breathing_is_not_followed_as_something_larger_moves_beside_it():
    """The infant is rocked 25 times a minute from 90 s on, until 150 s."""
    data = infant(8, 240.0, rate_hz=RATE, breaths_per_min=80.0, pulsation=0.0, breath_spread=0.02)
    time_s = np.arange(len(data.impedance)) / RATE
    rocked = np.sin(2.0 * np.pi * time_s * 25.0 / 60.0) * ((time_s > 90.0) & (time_s < 150.0))
    assert not len(trusted_bpm(followed(data.impedance + rocked)))


@pytest.mark.parametrize("heart", [110.0, 150.0])
def test_what_is_followed_is_the_heart(heart):
    data = infant(9, 180.0, rate_hz=RATE, heart_bpm=heart, pulsation=0.4)
    found = trusted_bpm(followed(data.impedance))
    assert len(found) > 100.0 * heart / 60.0
    true_bpm = 60.0 / np.diff(data.beat_s)
    assert np.median(found) == pytest.approx(np.median(true_bpm), rel=0.02)
    assert abs(found / np.median(true_bpm) - 1.0).max() < 0.15


@pytest.mark.parametrize("noise", [0.0, 0.005])
@pytest.mark.parametrize("seed", [10, 16, 17])
def test_a_heart_that_stands_still_is_followed_no_longer(seed, noise):
    data = infant(seed, 180.0, rate_hz=RATE, pulsation=0.5, noise=0.0)
    still = data.impedance.copy()
    stops = round(120.0 * RATE)
    chance = np.random.default_rng(seed)
    still[stops:] = still[stops] + noise * chance.standard_normal(len(still) - stops)
    latest = max(beat.at for beat in followed(still) if beat.trusted)
    assert 115.0 < latest / RATE < 123.0


def test_a_pulse_that_is_all_that_moves_for_40_s_at_its_rate_is_given_up():
    """It was breathing then, beside something larger; a pause at an even rate lasts less."""
    time_s = np.arange(round(240.0 * RATE)) / RATE
    larger = infant(11, 240.0, rate_hz=RATE, breaths_per_min=25.0, heart_bpm=150.0, pulsation=0.0)
    values = larger.impedance * (time_s < 120.0) + 0.3 * np.sin(2.0 * np.pi * 2.0 * time_s)
    found = [beat for beat in followed(values) if beat.trusted]
    assert 150.0 < max(beat.at for beat in found) / RATE < 175.0


def cleaned_in_pieces(data, sizes, *, resumed=False):
    """Left-over and pulsation of an impedance without ECG, pushed in pieces of some sizes."""
    settings = CardiacArtifactSettings(RATE, input_lag_s=0.4, led_by_beats=False)
    stage = CardiacArtifactRejector(settings)
    values, place, parts = data.impedance, 0, []
    while place < len(values):
        size = sizes[len(parts) % len(sizes)]
        parts.append(stage.push(values[place : place + size], last=place + size >= len(values)))
        place += size
        if resumed and place < len(values):
            stage = CardiacArtifactRejector.resume(stage.save())
    signal = np.concatenate([part.signal.values for part in parts])
    rows = np.concatenate([part.pulsation.followed for part in parts])
    return signal, rows


def test_the_cutting_does_not_matter_nor_does_saving():
    data = infant(12, 150.0, rate_hz=RATE, pulsation=0.5, pauses=PAUSE, heart_in_pause_bpm=65.0)
    whole, rows = cleaned_in_pieces(data, [len(data.impedance)])
    assert rows[-100:].any()
    for sizes, resumed in (([1], False), ([7, 250, 1, 33], False), ([61], True)):
        cut, cut_rows = cleaned_in_pieces(data, sizes, resumed=resumed)
        np.testing.assert_array_equal(cut, whole)
        np.testing.assert_array_equal(cut_rows, rows)


def test_where_r_peaks_stop_it_goes_on_from_the_last_of_them():
    data = infant(13, 150.0, pulsation=0.6, pauses=PAUSE, noise=0.01)
    peaks = r_peaks(data.beat_s, latency_s=0.9)
    lost = replace(peaks.where(peaks.time_s < 90.0), settled_until_s=math.inf)
    assert finds(data, detect_breaths(data.impedance, data.rate_hz, lost))


def test_r_peaks_beside_the_beats_do_not_lead():
    """A tenth are missing, the others off by 40 ms (standard deviation)."""
    chance = np.random.default_rng(3)
    data = infant(14, 150.0, pulsation=0.6, pauses=PAUSE, noise=0.01)
    kept = data.beat_s[chance.random(len(data.beat_s)) > 0.1]
    off = np.maximum.accumulate(kept + 0.04 * chance.standard_normal(len(kept)))
    assert finds(data, detect_breaths(data.impedance, data.rate_hz, r_peaks(off, latency_s=0.9)))


@pytest.mark.parametrize(("pulsation", "judgement"), [(0.3, "supported"), (0.8, "doubtful")])
def test_an_apnea_that_rests_on_it_is_doubtful_and_says_so(pulsation, judgement):
    night = sim.simulate_night(
        sim.Scenario(
            240.0,
            ecg_hz=250.0,
            impedance_hz=62.5,
            heart=sim.Heart(rate_bpm=140.0),
            breathing=sim.Breathing(rate_per_min=45.0),
            pulsation=sim.PulsationByPhase(pulsation),
            events=(sim.Pause(150.0, 25.0),),
        ),
        3,
    )
    alone = im.Recording({"impedance": night.recording.impedance})
    events = im.review(alone, im.Prescription(apnea={"limit_s": 20})).events.of_kind("apnea")
    assert [event.judgement for event in events] == [judgement]
    assert any("no R peaks tell" in reason.text for reason in events[0].reasons)


# Slow twins ---------------------------------------------------------------------------------------


def slow_next_top(samples, size):
    """The same in words: the highest point after a rise of 0.45, told by a fall of 0.3."""
    lowest, top = samples[0], None
    for place, value in enumerate(samples):
        if top is None:
            lowest = min(lowest, value)
            if value - lowest >= 0.45 * size:
                top = place
        elif value > samples[top]:
            top = place
        if top is not None and samples[top] - value >= 0.3 * size:
            return top, samples[top] - lowest, place
    return None


def test_tops_equal_those_of_a_plain_loop():
    chance = np.random.default_rng(4)
    told = 0
    for _ in range(300):
        samples = np.cumsum(chance.standard_normal(chance.integers(3, 60)))
        expected, found = slow_next_top(samples, 4.0), next_top(samples, 4.0)
        told += expected is not None
        assert (found is None) == (expected is None)
        if found is not None:
            assert found == pytest.approx(expected)
    assert 50 < told < 290


def test_one_window_is_fitted_as_many_are():
    columns = np.random.default_rng(5).standard_normal((36, 8))
    harmonics, power, rest = fit(columns)
    for column in range(8):
        first, one_power, share = first_harmonic(np.ascontiguousarray(columns[:, column]))
        assert first == pytest.approx(complex(harmonics[0, column], -harmonics[1, column]))
        assert one_power == pytest.approx(power[column])
        assert share == pytest.approx(1.0 - rest[column] / power[column])


def test_lines_are_where_a_plain_sum_of_waves_finds_them():
    """A transform written out, at the frequencies told and on both sides of them."""
    data = infant(15, 14.0, rate_hz=RATE, breaths_per_min=40.0, heart_bpm=140.0, pulsation=0.5)
    values = (data.impedance - data.impedance.mean()) * np.hanning(len(data.impedance))
    time_s = np.arange(len(values)) / RATE

    def size(hertz):
        return abs(sum(values * np.exp(-2j * np.pi * hertz * time_s)))

    lines = lines_in(data.impedance, RATE)
    assert lines.breathing_hz == pytest.approx(40.0 / 60.0, rel=0.1)
    heart_hz = max(lines.sharp, key=lambda line: line[1])[0]
    assert heart_hz == pytest.approx(140.0 / 60.0, rel=0.05)
    for hertz, _ in lines.sharp:
        assert size(hertz) > max(size(hertz - 0.02), size(hertz + 0.02))
