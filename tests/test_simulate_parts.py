"""The parts of the invented infant: breaths, beats, waves, pulsation."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from infantmon.errors import ArgumentError
from infantmon.simulate import (
    Bradycardia,
    Breathing,
    EcgChannel,
    EcgLead,
    Heart,
    ImpedanceChannel,
    InventedInfant,
    Pause,
    PulsationByPhase,
    PulsationInTime,
    Rebound,
    Scenario,
    ShallowBreathing,
    Sigh,
    SlowingInPause,
    Standstill,
    Tachycardia,
    simulate_night,
)
from infantmon.simulate.heart import Beats
from infantmon.simulate.noise import bumps, generator, smooth_curve

STILL_ECG = EcgChannel(noise_mv=0.0, wander_mv=0.0)
STILL_CHEST = ImpedanceChannel(drift_ohm=0.0, noise_ohm=0.0)


def infant(*events, duration_s=300.0, seed=5, **parts):
    return InventedInfant(Scenario(duration_s, 250.0, 62.5, events=events, **parts), seed)


def samples(night, role):
    (segment,) = night.recording.channels[role].segments
    return segment.values, np.arange(len(segment.values)) / night.recording.channels[role].rate_hz


# breaths


@given(
    lengths=st.lists(st.floats(3.0, 40.0), min_size=1, max_size=5),
    gaps=st.lists(st.one_of(st.just(0.0), st.floats(1.0, 30.0)), min_size=5, max_size=5),
    seed=st.integers(0, 2**32),
)
@settings(deadline=None, max_examples=30)
def test_a_pause_is_as_long_as_it_was_asked_for(lengths, gaps, seed):
    pauses, at = [], 20.0
    for length, gap in zip(lengths, gaps, strict=False):
        pauses.append(Pause(at, length))
        at += length + gap
    made = infant(*pauses, duration_s=at + 20.0, seed=seed)
    peaks = made.breaths.peak_s
    for pause in pauses:
        onset = np.searchsorted(peaks, pause.onset_s - 1e-6)
        assert peaks[onset] == pytest.approx(pause.onset_s, abs=1e-9)
        assert peaks[onset + 1] - peaks[onset] == pytest.approx(pause.length_s, abs=1e-9)
    assert np.all(np.diff(peaks) > 0.0)
    assert np.all(made.breaths.end_s[:-1] <= made.breaths.start_s[1:] + 1e-9)


def test_each_mark_is_the_highest_point_of_the_effort():
    breaths = infant(Pause(60.0, 20.5), Sigh(100.0)).breaths
    for start, peak, end in zip(breaths.start_s, breaths.peak_s, breaths.end_s, strict=True):
        grid = np.linspace(start, end, 2001)
        effort = breaths.effort_ohm(np.append(grid, peak))
        assert effort.max() == effort[-1]  # that at the mark
        assert abs(grid[np.argmax(effort[:-1])] - peak) <= grid[1] - grid[0]
    assert breaths.effort_ohm(breaths.peak_s) == pytest.approx(breaths.size_ohm, abs=1e-12)


def test_no_effort_between_the_edges_of_a_pause():
    made = infant(Pause(60.0, 20.5))
    pauses = made.truth.pauses
    start, end = pauses.effort_free_onset_s[0], pauses.effort_free_end_s[0]
    assert 60.0 < start < end < 80.5
    assert np.all(made.breaths.effort_ohm(np.linspace(start, end, 5000)) < 1e-9)
    assert made.breaths.effort_ohm(np.array([start - 0.1]))[0] > 1e-3
    assert made.breaths.effort_ohm(np.array([end + 0.1]))[0] > 1e-3
    assert pauses.effort_free_s[0] == pytest.approx(end - start)


def test_effort_equals_a_plain_loop():
    breaths = infant(Pause(20.0, 6.0), duration_s=60.0).breaths
    times = np.linspace(0.0, 60.0, 4001)
    slow = []
    for t in times:
        total = 0.0
        for a, p, e, size in zip(
            breaths.start_s, breaths.peak_s, breaths.end_s, breaths.size_ohm, strict=True
        ):
            if a <= t < p:
                total += size * 0.5 * (1 - math.cos(math.pi * (t - a) / (p - a)))
            elif p <= t < e:
                left = 1.0 - (t - p) / (e - p)
                total += size * 0.5 * (1 + math.cos(math.pi * (1.0 - left**1.4)))
        slow.append(total)
    assert breaths.effort_ohm(times) == pytest.approx(np.array(slow), abs=1e-9)


@pytest.mark.parametrize("rate", [20.0, 45.0, 120.0])
def test_breathing_rate_is_as_asked_and_no_pause_comes_by_itself(rate):
    made = infant(duration_s=4 * 3600.0, breathing=Breathing(rate))
    periods = np.diff(made.truth.breath_s)
    assert 60.0 / np.median(periods) == pytest.approx(rate, rel=0.04)
    assert periods.max() < 2.3 * 60.0 / rate


def test_shallow_breaths_and_sighs_have_the_asked_size():
    plain = infant(seed=9).truth
    changed = infant(ShallowBreathing(100.0, 50.0, 0.25), Sigh(200.0, 3.0), seed=9).truth
    ratio = changed.breath_size_ohm / plain.breath_size_ohm
    shallow = (plain.breath_s >= 100.0) & (plain.breath_s < 150.0)
    sigh = np.argmin(np.abs(plain.breath_s - 200.0))
    assert ratio[shallow] == pytest.approx(0.25)
    assert ratio[sigh] == pytest.approx(3.0)
    rest = ~shallow
    rest[sigh] = False
    assert ratio[rest] == pytest.approx(1.0)


def test_a_rebound_moves_the_impedance_but_not_the_truth():
    parts = {"impedance": STILL_CHEST, "pulsation": PulsationByPhase(0.0)}
    plain = infant(Pause(60.0, 25.0), **parts).night()
    moved = infant(Pause(60.0, 25.0, rebound=Rebound(0.5, 2.0)), **parts).night()
    difference = samples(moved, "impedance")[0] - samples(plain, "impedance")[0]
    time = samples(plain, "impedance")[1]
    pauses = plain.truth.pauses
    outside = (time < pauses.effort_free_onset_s[0]) | (time > pauses.effort_free_end_s[0])
    assert np.all(difference[outside] == 0.0)
    assert difference.max() == pytest.approx(0.5, rel=0.01)
    assert np.array_equal(plain.truth.breath_s, moved.truth.breath_s)


def test_pauses_too_close_are_refused_with_words():
    with pytest.raises(ArgumentError, match=r"begins 0\.1 s after the one at 50 s has ended"):
        infant(Pause(50.0, 10.0), Pause(60.1, 5.0))
    with pytest.raises(ArgumentError, match="begins 5 s before the one at 50 s"):
        infant(Pause(50.0, 10.0), Pause(55.0, 10.0))


# beats


@pytest.mark.parametrize("rate", [30.0, 80.0, 142.0, 300.0])
def test_heart_rate_is_as_asked(rate):
    beats = infant(heart=Heart(rate), duration_s=1200.0).truth.beat_s
    assert len(beats) / 20.0 == pytest.approx(rate, rel=0.015)
    assert np.all(np.diff(beats) > 0.0)


def test_the_heart_slows_after_the_published_delay_and_comes_back_after_the_pause():
    # 9.3 s: Henderson-Smart et al., Arch Dis Child 1986;61:227-232
    made = infant(Pause(100.0, 30.0, SlowingInPause(rate_bpm=65.0)))
    beats = made.truth.beat_s
    rate, at = 60.0 / np.diff(beats), beats[1:]
    assert rate[(at > 90.0) & (at < 109.0)].min() > 125.0
    assert rate[(at > 115.0) & (at < 130.0)] == pytest.approx(65.0, rel=0.05)
    assert rate[(at > 136.0) & (at < 150.0)].min() > 125.0
    changes = made.truth.bradycardias
    assert changes.start_s[0] == pytest.approx(109.3)
    assert changes.left_s[0] == pytest.approx(130.0)
    (low,) = made.truth.beats_slower_than(80.0).onset_s
    assert 110.0 < low < 115.0


def test_a_pause_too_short_for_its_bradycardia_is_refused():
    with pytest.raises(ArgumentError, match=r"a pause of 10 s ends before the heart has slowed"):
        Pause(10.0, 10.0, SlowingInPause())


def test_no_beat_falls_into_a_standstill():
    made = infant(Standstill(100.0, 12.0))
    beats, still = made.truth.beat_s, made.truth.standstills
    assert not np.any((beats >= 100.0) & (beats < 112.0))
    assert still.onset_s[0] in beats
    assert still.end_s[0] in beats
    assert 12.0 < still.length_s[0] < 13.0
    assert still.length_s[0] == np.diff(beats).max()


@pytest.mark.parametrize("rate", [180.0, 240.0, 300.0])
def test_tachycardia_at_once(rate):
    change = Tachycardia(60.0, rate, ramp_s=0.0, hold_s=30.0, return_s=0.0)
    beats = infant(change).truth.beat_s
    rates, at = 60.0 / np.diff(beats), beats[1:]
    assert np.median(rates[(at > 60.5) & (at < 89.5)]) == pytest.approx(rate, rel=0.02)
    assert np.median(rates[(at > 30.0) & (at < 59.5)]) == pytest.approx(142.0, rel=0.05)


def test_the_heart_beats_faster_in_inspiration():
    made = infant(heart=Heart(breathing_coupling=0.06, jitter=0.0), duration_s=600.0)
    beats = made.truth.beat_s
    middle = 0.5 * (beats[1:] + beats[:-1])
    correlation = np.corrcoef(made.breaths.inspired(middle), 1.0 / np.diff(beats))[0, 1]
    assert correlation > 0.4
    plain = infant(heart=Heart(breathing_coupling=0.0, jitter=0.0), duration_s=600.0)
    beats = plain.truth.beat_s
    middle = 0.5 * (beats[1:] + beats[:-1])
    assert abs(np.corrcoef(plain.breaths.inspired(middle), 1.0 / np.diff(beats))[0, 1]) < 0.1


def test_a_change_in_the_wrong_direction_is_refused():
    with pytest.raises(ArgumentError, match="goes to 150 a minute; it must be below the usual"):
        infant(Bradycardia(10.0, 150.0))
    with pytest.raises(ArgumentError, match="goes to 100 a minute; it must be above the usual"):
        infant(Tachycardia(10.0, 100.0))


def test_slow_stretches_of_beats_equal_a_plain_loop():
    truth = infant(Bradycardia(50.0, 70.0), Bradycardia(100.0, 78.0, hold_s=2.0)).truth
    found = truth.beats_slower_than(85.0, beats=3)
    slow, run = [], []
    for a, b in zip(truth.beat_s, truth.beat_s[1:], strict=False):
        if b - a > 60.0 / 85.0:
            run.append((a, b))
            continue
        if len(run) >= 3:
            slow.append((run[0][0], run[-1][1]))
        run = []
    assert list(zip(found.onset_s, found.end_s, strict=True)) == slow
    assert len(slow) >= 1


# waves


@pytest.mark.parametrize("inverted", [False, True])
@pytest.mark.parametrize("lead", [EcgLead(), EcgLead(q_share=0.3, s_share=0.8, qrs_s=0.09)])
def test_the_r_peak_is_where_the_mark_says(inverted, lead):
    parts = {f: getattr(lead, f) for f in ("q_share", "s_share", "qrs_s")}
    lead = EcgLead(**parts, inverted=inverted, breathing_share=0.0)
    scenario = Scenario(60.0, 2000.0, 62.5, lead=lead, ecg=STILL_ECG)
    night = simulate_night(scenario, 3)
    ecg, time = samples(night, "ecg")
    upright = -ecg if inverted else ecg
    for beat in night.truth.beat_s[1:-1]:
        low, high = np.searchsorted(time, [beat - 0.03, beat + 0.03])
        best = low + np.argmax(upright[low:high])
        assert abs(time[best] - beat) <= 1.0 / 2000.0
        assert upright[best] == pytest.approx(0.9, rel=0.03)


@pytest.mark.parametrize("qrs_s", [0.04, 0.05, 0.09])
def test_the_qrs_is_as_long_as_asked(qrs_s):
    lead = EcgLead(qrs_s=qrs_s)
    night = simulate_night(Scenario(20.0, 4000.0, 62.5, lead=lead, ecg=STILL_ECG), 3)
    ecg, time = samples(night, "ecg")
    beat = night.truth.beat_s[5]
    near = np.abs(time - beat) < 0.5 * qrs_s + 0.02
    steep = np.abs(np.gradient(ecg[near], time[near]))
    fast = time[near][steep > 0.05 * steep.max()]
    assert fast[-1] - fast[0] == pytest.approx(qrs_s, rel=0.06)


def test_intervals_are_those_of_newborns():
    # QT 260 +- 20 ms: newborn ECG abstract (n = 364)
    heart = Heart(142.0, slow_variability=0.0, breathing_coupling=0.0, jitter=0.0)
    scenario = Scenario(20.0, 2000.0, 62.5, heart=heart, ecg=STILL_ECG)
    night = simulate_night(scenario, 3)
    ecg, time = samples(night, "ecg")
    beat = night.truth.beat_s[5]
    after = (time > beat + 0.06) & (time < beat + 0.3)
    t_peak = time[after][np.argmax(ecg[after])]
    tail = (time > t_peak) & (ecg < 0.15 * ecg[after].max())
    assert 0.24 <= time[tail][0] - (beat - 0.025) <= 0.28


def test_bumps_equal_a_plain_sum():
    random = np.random.default_rng(1)
    time = 10.0 + np.arange(500) / 250.0
    centre, width = random.uniform(9.5, 12.5, 40), random.uniform(0.004, 0.05, 40)
    height = random.standard_normal(40)
    plain = sum(
        h * np.exp(-0.5 * ((time - c) / w) ** 2)
        for c, w, h in zip(centre, width, height, strict=True)
    )
    assert bumps(time, centre, width, height) == pytest.approx(plain, abs=1e-5)


def test_smooth_curve_goes_through_its_knots():
    knots = np.random.default_rng(2).standard_normal(12)
    inner = np.arange(1, 10)
    assert smooth_curve(knots, 2.0, 5.0, 5.0 + 2.0 * inner) == pytest.approx(knots[inner])


def test_random_numbers_belong_to_their_key_alone():
    one = generator(7, 3, 1).standard_normal(4)
    generator(7, 3, 2).standard_normal(100)
    assert np.array_equal(one, generator(7, 3, 1).standard_normal(4))
    assert not np.array_equal(one, generator(7, 3, 2).standard_normal(4))
    assert not np.array_equal(one, generator(8, 3, 1).standard_normal(4))


# pulsation


@pytest.mark.parametrize("kind", [PulsationByPhase, PulsationInTime])
@pytest.mark.parametrize("share", [0.05, 0.3, 0.8])
def test_pulsation_has_the_asked_size(kind, share):
    heart = Heart(142.0, slow_variability=0.0, breathing_coupling=0.0, jitter=0.0)
    made = infant(
        Pause(100.0, 20.0), heart=heart, pulsation=kind(share), impedance=STILL_CHEST
    ).night()
    impedance, time = samples(made, "impedance")
    pause = impedance[(time > 102.0) & (time < 118.0)]
    assert np.ptp(pause) == pytest.approx(share, rel=0.04)


def test_pulsation_grows_as_the_heart_slows():
    usual, slow = 60.0 / 140.0, 60.0 / 65.0
    sizes = []
    for rr in (usual, slow):
        beats = Beats.at(np.arange(0.0, 60.0, rr), rr)
        time = np.arange(20.0, 40.0, 0.005)
        sizes.append(np.ptp(PulsationByPhase(0.3, growth=0.9).wave(time, beats, usual)))
    assert sizes[0] == pytest.approx(1.0, rel=0.01)
    assert sizes[1] == pytest.approx(2.0, rel=0.02)


def test_a_pulse_fixed_in_time_keeps_its_shape_when_the_heart_slows():
    pulse, wave = PulsationInTime(0.3), PulsationByPhase(0.3)
    time = np.arange(0.0, 1.0, 0.005)
    shapes = {}
    for rr in (1.2, 1.4):
        beats = Beats.at(np.arange(-12.0 * rr, 12.0 * rr, rr), rr)
        shapes[rr] = [kind.wave(time, beats, 0.42) for kind in (pulse, wave)]
    assert shapes[1.2][0] == pytest.approx(shapes[1.4][0], abs=0.01)
    assert np.abs(shapes[1.2][1] - shapes[1.4][1]).max() > 0.1


@pytest.mark.parametrize("kind", [PulsationByPhase, PulsationInTime])
def test_pulsation_has_no_jump_and_stops_with_the_heart(kind):
    beats = Beats.at(np.concatenate([np.arange(0, 20, 0.43), np.arange(32, 60, 0.43)]), 0.43)
    steepest = []
    for spacing in (0.002, 0.0005):
        time = np.arange(0.0, 60.0, spacing)
        wave = kind(0.3, growth=0.9).wave(time, beats, 0.43)
        steepest.append(np.abs(np.diff(wave)).max())
    assert steepest[0] > 3.0 * steepest[1]
    assert np.ptp(wave[(time > 23.0) & (time < 31.5)]) < 1e-3
    none = kind().wave(time, Beats.at(np.empty(0), 0.43), 0.43)
    assert np.all(none == 0.0)
