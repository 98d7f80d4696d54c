"""Breaths as a stream: equal however cut, each given when it is known, saved and resumed."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from breath_inputs import infant, r_peaks
from hypothesis import given, settings
from hypothesis import strategies as st

from infantmon.dsp.turning_points import TurningPoints
from infantmon.dsp.usual_size import UsualSize
from infantmon.effort import detect_breaths
from infantmon.errors import ArgumentError
from infantmon.model.marks import Breaths
from infantmon.stages.breaths import BreathDetector, BreathSettings

DATA = infant(21, 90.0, rate_hz=25.0, pauses=((30.0, 15.0),), noise=0.05)
SETTINGS = BreathSettings(25.0, input_lag_s=0.4)


def pushed(values, cuts) -> Breaths:
    stage = BreathDetector(SETTINGS)
    parts = [stage.push(part) for part in np.split(values, np.sort(cuts))]
    return Breaths.joined([*parts, stage.push([], last=True)])


WHOLE = BreathDetector(SETTINGS).push(DATA.impedance, last=True)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.integers(0, len(DATA.impedance)), max_size=40))
def test_every_cutting_gives_the_same_breaths(cuts):
    assert pushed(DATA.impedance, cuts).equals(WHOLE)


def test_single_samples_give_each_breath_exactly_when_it_is_known():
    stage = BreathDetector(SETTINGS)
    seen: list[Breaths] = []
    for tick, value in enumerate(DATA.impedance):
        out = stage.push([value])
        reached_s = tick / 25.0 + SETTINGS.input_lag_s  # the raw input when this sample is ready
        assert np.all(out.known_s <= reached_s + 1e-9)
        assert np.all(out.known_s > reached_s - 1.0 / 25.0 - 1e-9)
        assert out.settled_until_s <= reached_s
        seen.append(out)
        rest = WHOLE.where(WHOLE.time_s < out.settled_until_s)
        assert len(rest) <= sum(map(len, seen))
    seen.append(stage.push([], last=True))
    assert Breaths.joined(seen).equals(WHOLE)
    assert seen[-1].settled_until_s == math.inf


def test_contract_of_times():
    assert len(WHOLE) > 40
    stage = BreathDetector(SETTINGS)
    assert np.all(WHOLE.time_s <= WHOLE.known_s)
    assert np.all(WHOLE.known_s <= WHOLE.time_s + stage.latency_s)
    assert np.all(np.diff(WHOLE.known_s) >= 0)
    assert np.all(np.diff(WHOLE.time_s) > 0)
    assert WHOLE.known_s[-1] <= (len(DATA.impedance) - 1) / 25.0
    assert np.all(WHOLE.rise_start_s < WHOLE.time_s)
    assert np.all(np.isnan(WHOLE.fall_end_s) | (WHOLE.fall_end_s > WHOLE.time_s))


def test_edges_of_effort_fit_the_breaths_as_they_were_made():
    clean = infant(3, 100.0, rate_hz=25.0, pulsation=0.0, noise=0.0)
    found = BreathDetector(BreathSettings(25.0)).push(clean.impedance, last=True)
    usual = 60.0 / 45.0
    assert np.median(found.time_s - found.rise_start_s) == pytest.approx(0.42 * usual, abs=0.12)
    assert np.nanmedian(found.fall_end_s - found.time_s) == pytest.approx(0.43 * usual, abs=0.12)
    assert np.median(found.size) == pytest.approx(1.0, abs=0.05)


@pytest.mark.parametrize("at", [0, 1, 500, 1234, 2249])
def test_a_saved_detector_goes_on_where_it_stood(at):
    stage = BreathDetector(SETTINGS)
    first = stage.push(DATA.impedance[:at])
    rest = BreathDetector.resume(stage.save()).push(DATA.impedance[at:], last=True)
    assert Breaths.joined([first, rest]).equals(WHOLE)


def test_the_input_is_left_alone_and_bad_samples_are_held():
    values = DATA.impedance.copy()
    values[100:103] = np.nan
    values[500] = np.inf
    before = values.copy()
    found = BreathDetector(SETTINGS).push(values, last=True)
    assert np.array_equal(values, before, equal_nan=True)
    assert abs(len(found) - len(WHOLE)) <= 1


def test_memory_is_bounded():
    stage = BreathDetector(SETTINGS)
    for _ in range(30):
        stage.push(DATA.impedance)
        assert len(stage.save()) < 20_000
    flat = BreathDetector(SETTINGS)
    for values in (np.zeros(5000), np.arange(5000.0), np.sin(np.arange(50_000) * 3e-4)):
        flat.push(values)
        assert len(flat.save()) < 20_000


def test_blocks_of_the_replay_do_not_show(monkeypatch):
    data = infant(22, 120.0, pauses=((50.0, 21.0),))
    peaks = r_peaks(data.beat_s, latency_s=0.7)
    whole = detect_breaths(data.impedance, 62.5, peaks)
    for block_s in (0.5, 7.3, 59.9):
        monkeypatch.setattr("infantmon.effort.BLOCK_S", block_s)
        assert detect_breaths(data.impedance, 62.5, peaks).equals(whole)


def test_movement_does_not_hide_the_breaths_after_it():
    data = infant(23, 300.0, pulsation=0.0)
    values = data.impedance.copy()
    moving = slice(round(100 * 62.5), round(105 * 62.5))
    rng = np.random.default_rng(1)
    values[moving] += 6.0 * np.convolve(rng.standard_normal(313), np.ones(20) / 4.5, "same")[:312]
    found = detect_breaths(values, 62.5).time_s
    for start_s, end_s in ((0.0, 99.0), (106.5, 300.0)):
        true = data.breath_s[(data.breath_s > start_s) & (data.breath_s < end_s)]
        near = np.min(np.abs(true[:, None] - found[None, :]), axis=1)
        assert np.mean(near < 0.5) >= 0.995


def test_after_movement_from_the_first_sample_breathing_is_found_again():
    data = infant(24, 120.0, pulsation=0.0)
    values = data.impedance.copy()
    rng = np.random.default_rng(2)
    values[:625] += 6.0 * np.convolve(rng.standard_normal(625), np.ones(20) / 4.5, "same")
    found = detect_breaths(values, 62.5).time_s
    true = data.breath_s[data.breath_s > 35.0]
    near = np.min(np.abs(true[:, None] - found[None, :]), axis=1)
    assert np.mean(near < 0.5) >= 0.99


def test_breathing_that_becomes_ten_times_smaller_is_found_again():
    data = infant(25, 240.0, pulsation=0.0, noise=0.005)
    values = np.where(np.arange(len(data.impedance)) < 60 * 62.5, 1.0, 0.1) * data.impedance
    found = detect_breaths(values, 62.5).time_s
    true = data.breath_s[data.breath_s > 135.0]
    near = np.min(np.abs(true[:, None] - found[None, :]), axis=1)
    assert np.mean(near < 0.5) >= 0.99


def slow_turns(values):
    """A plain loop: where the sign of the change turns; the first of equal samples counts."""
    turns = []
    for i in range(1, len(values) - 1):
        if values[i - 1] < values[i] >= values[i + 1]:
            turns.append((i, values[i], True))
        elif values[i - 1] > values[i] <= values[i + 1]:
            turns.append((i, values[i], False))
    return turns


def test_turning_points_equal_the_plain_loop_however_cut():
    rng = np.random.default_rng(4)
    for levels in (2, 4, 1000):
        values = np.round(rng.standard_normal(300) * levels) / levels
        for cuts in ([], np.arange(300), np.sort(rng.integers(0, 300, 20))):
            finder = TurningPoints()
            got = []
            for part in np.split(values, cuts):
                place, value, peak = finder.push(part)
                got += zip(place.tolist(), value.tolist(), peak.tolist(), strict=True)
            assert got == slow_turns(values)


def test_usual_size_keeps_bursts_out_and_comes_back_from_silence():
    usual = UsualSize()
    for n in range(30):
        usual.learn(1.3 * n, 1.0, 1.0)
    for n in range(5):
        usual.learn(40.0 + n, 9.0, 1.0)  # movement of 5 s
    assert usual.at(46.0, 9.0) == 1.0
    assert usual.at(200.0, 0.1) == 1.0
    assert usual.at(300.0, 0.1) == pytest.approx(0.5)  # noise is not to end a pause
    assert usual.at(750.0, 0.1) < 0.05
    assert 0.0 < usual.at(1e9, 0.1) < 1e-9  # a size to divide by, however long the silence
    for n in range(20):
        usual.learn(80.0 + n, 9.0, 1.0)  # it lasts: the new usual size
    assert usual.at(101.0, 9.0) == 9.0


def test_wrong_arguments_are_told():
    with pytest.raises(ArgumentError, match=r"rate_hz is 5 Hz; the lowest rate .* 15 Hz"):
        BreathSettings(5.0)
    with pytest.raises(ArgumentError, match=r"ahead_s is 0 s; it must be between 0.2 and 10 s"):
        BreathSettings(50.0, ahead_s=0.0)
    with pytest.raises(TypeError):
        BreathSettings()  # type: ignore[call-arg]
    with pytest.raises(
        ArgumentError, match=r"cycles has 2 values for 3 samples; pass one for each"
    ):
        BreathDetector(SETTINGS).push(np.zeros(3), np.zeros(2))
    with pytest.raises(ArgumentError, match="impedance has shape"):
        detect_breaths(np.zeros((3, 3)), 50.0)
    assert dataclasses.is_dataclass(BreathSettings)


def test_usual_size_survives_any_order_of_what_it_is_told():
    rng = np.random.default_rng(11)
    for _ in range(20):
        usual, now_s = UsualSize(), 0.0
        for _ in range(400):
            now_s += float(rng.exponential(1.0)) + 0.04
            size = float(np.exp(rng.normal(0.0, 1.5)))
            known = usual.at(now_s, size)
            assert np.isfinite(known)
            if size >= 0.28 * known:
                usual.learn(now_s, size, known)
            else:
                usual.pass_over(now_s, size)
