"""Jumps and rebounds of the level, held, quick, large and small breaths: one test a rule."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from breath_inputs import infant, longest_near, matched, r_peaks

from infantmon.dsp.alternation import Alternation
from infantmon.dsp.beat_places import kept_to
from infantmon.dsp.breath_rhythm import BreathRhythm
from infantmon.dsp.short_swings import ShortSwings
from infantmon.dsp.usual_size import UsualSize
from infantmon.effort import detect_breaths
from infantmon.stages.breaths import BreathDetector, BreathSettings

PAUSES = tuple((40.0 + 60.0 * n, 21.0) for n in range(5))


def after(time_s, at_s, size):
    return size * (time_s >= at_s)


@pytest.mark.parametrize("size", [-5.0, -1.0, 0.7, 1.0, 2.0, 5.0])
def test_a_jump_of_the_level_inside_a_pause_ends_it_not(size):
    data = infant(61, 340.0, pulsation=0.3, pauses=PAUSES)
    time_s = np.arange(len(data.impedance)) / 62.5
    jumps = sum(after(time_s, onset + 9.0, size) for onset, _ in data.pauses)
    marks = detect_breaths(data.impedance + jumps, 62.5, r_peaks(data.beat_s)).time_s
    gaps = list(pairwise(marks))
    for onset, end in data.pauses:
        assert any(abs(a - onset) <= 1.0 and abs(b - end) <= 1.0 for a, b in gaps)


@pytest.mark.parametrize("led", [True, False])
@pytest.mark.parametrize(("size", "creeps", "sinks"), [(0.7, 0.2, 0.0), (2.3, 0.0, 0.35)])
def test_nor_where_the_level_creeps_up_before_a_jump_or_sinks_after_it(led, size, creeps, sinks):
    data = infant(61, 340.0, pulsation=0.0, pauses=PAUSES)
    time_s = np.arange(len(data.impedance)) / 62.5
    level = np.zeros(len(time_s))
    for at_s in (onset + 9.0 for onset, _ in data.pauses):
        level += creeps * np.clip((time_s - at_s + 1.8) / 1.8, 0.0, 1.0)
        level += after(time_s, at_s, size) - sinks * np.clip((time_s - at_s) / 2.5, 0.0, 1.0)
    beats = r_peaks(data.beat_s) if led else None
    marks = detect_breaths(data.impedance + level, 62.5, beats).time_s
    gaps = list(pairwise(marks))
    for onset, end in data.pauses:
        assert any(abs(a - onset) <= 1.0 and abs(b - end) <= 1.0 for a, b in gaps)


@pytest.mark.parametrize("size", [-5.0, 2.0, 5.0])
def test_a_jump_of_the_level_costs_no_more_than_the_breath_it_falls_on(size):
    data = infant(62, 340.0, pulsation=0.0)
    time_s = np.arange(len(data.impedance)) / 62.5
    at_s = np.arange(30.0, 330.0, 30.0)
    jumps = sum(after(time_s, at, size) for at in at_s)
    marks = detect_breaths(data.impedance + jumps, 62.5).time_s
    calm = data.breath_s[np.min(np.abs(data.breath_s[:, None] - at_s), axis=1) > 1.0]
    assert matched(calm, marks, 0.3) == len(calm)
    assert len(marks) <= len(data.breath_s) + 1


@pytest.mark.parametrize("at_s", [3.0, 6.0, 15.0])
@pytest.mark.parametrize("size", [15.0, 30.0, 100.0])
@pytest.mark.parametrize("shape", ["jump", "bump", "burst"])
def test_what_is_far_larger_than_a_breath_near_the_start_is_forgotten_soon(shape, size, at_s):
    time_s = np.arange(round(120.0 * 62.5)) / 62.5
    for seed in range(70, 76):
        data = infant(seed, 120.0, pulsation=0.3, breaths_per_min=45.0)
        wander = np.cumsum(np.random.default_rng(seed).standard_normal(len(time_s))) / 40.0
        disturbed = {
            "jump": after(time_s, at_s, size),
            "bump": size * np.exp(-(((time_s - at_s) / 0.6) ** 2)),
            "burst": size * wander * (np.abs(time_s - at_s - 1.5) < 1.5),
        }[shape]
        marks = detect_breaths(data.impedance + disturbed, 62.5, r_peaks(data.beat_s)).time_s
        # a burst that comes when hardly a breath was seen may be breaths, until 30 s are silent
        within_s = 32.0 if shape == "burst" and at_s < 10.0 else 15.0
        late = data.breath_s[data.breath_s > at_s + 3.0 + within_s]
        assert matched(late, marks, 0.4) == len(late)


@pytest.mark.parametrize("to_peak_s", [0.8, 1.0, 1.5, 2.5])
@pytest.mark.parametrize("share", [0.3, 0.5])
def test_a_rebound_of_the_level_after_the_last_breath_is_no_breath(share, to_peak_s):
    pauses = tuple((40.0 + 60.0 * n, 21.0) for n in range(20))
    data = infant(66, 1240.0, pulsation=0.2, pauses=pauses)
    time_s = np.arange(len(data.impedance)) / 62.5
    rebound = np.zeros(len(time_s))
    for onset, end in data.pauses:
        x = np.maximum(time_s - onset - 0.6, 0.0) / to_peak_s  # up, then slowly down to the level
        back = np.clip((end - time_s) / 1.0, 0.0, 1.0)
        rebound += share * x * np.exp(1.0 - x) * back * (time_s < end)
    marks = detect_breaths(data.impedance + rebound, 62.5, r_peaks(data.beat_s)).time_s
    gaps = list(pairwise(marks))
    for onset, end in data.pauses:
        assert any(abs(a - onset) <= 1.0 and abs(b - end) <= 1.0 for a, b in gaps)


@pytest.mark.parametrize("pulsation", [0.0, 0.2, 0.5])
def test_two_breaths_a_second_with_a_spread_of_a_quarter_are_counted(pulsation):
    data = infant(67, 900.0, breaths_per_min=120.0, breath_spread=0.25, pulsation=pulsation)
    marks = detect_breaths(data.impedance, 62.5, r_peaks(data.beat_s)).time_s
    assert len(marks) == pytest.approx(len(data.breath_s), rel=0.03)


def test_breaths_that_rise_as_steeply_and_are_held_count_where_they_are_usual():
    # a ventilator's: up within a tenth of a second, held for 1.6 s, then out
    time_s = np.arange(0.0, 300.0, 0.02)
    phase = time_s % 4.0
    values = np.clip(phase / 0.1, 0.0, 1.0) * np.clip((2.1 - phase) / 0.4, 0.0, 1.0)
    values += 0.005 * np.random.default_rng(1).standard_normal(len(time_s))
    marks = detect_breaths(values, 50.0).time_s
    assert len(marks) == pytest.approx(75, abs=2)


@pytest.mark.parametrize("creeps", [0.0, -0.1])
@pytest.mark.parametrize("pulsation", [0.0, 0.2, 0.5])
@pytest.mark.parametrize("per_min", [25.0, 45.0, 80.0])
def test_upside_down_pauses_keep_their_length(per_min, pulsation, creeps):
    # the last breath is held then: where its mark is missed, a pause is a breath longer
    data = infant(71, 340.0, breaths_per_min=per_min, pulsation=pulsation, pauses=PAUSES)
    time_s = np.arange(len(data.impedance)) / 62.5
    level = sum(
        creeps * np.interp(time_s, (on, on + 2.0, end - 1.0, end), (0.0, 1.0, 1.0, 0.0))
        for on, end in data.pauses
    )
    breaths = detect_breaths(level - data.impedance, 62.5, r_peaks(data.beat_s))
    for onset, end in data.pauses:
        held_s, length_s = longest_near(breaths, onset, end)
        assert length_s == pytest.approx(end - onset, abs=0.5)
        held = breaths.where(breaths.time_s == held_s)
        assert np.isnan(held.fall_end_s).all()  # it ends long after it was told
    assert len(breaths) == pytest.approx(len(data.breath_s), abs=2)


def test_a_brisk_breath_is_held_where_it_is_due_however_steep_it_is():
    # as steep as a jump: out within a quarter of a second, upside down
    time_s = np.arange(0.0, 300.0, 0.02)
    onset_s, end_s = 150.0, 171.0  # starts of the breaths around the pause, 1.5 s each
    values = -(np.sin(np.pi * np.minimum(time_s % 1.5 / 0.45, 1.0)) ** 2)
    values[(time_s >= onset_s + 1.5) & (time_s < end_s)] = 0.0
    values += 0.01 * np.random.default_rng(9).standard_normal(len(time_s))
    _, length_s = longest_near(detect_breaths(values, 50.0), onset_s, end_s)
    assert length_s == pytest.approx(end_s - onset_s, abs=1.0)


def held_slowly(time_s, starts_s):
    """Breaths that rise fast, then slowly, and fall fast; slowly for 0.7 s, every third for 3.2."""
    values = np.zeros(len(time_s))
    for number, start in enumerate(starts_s):
        top_s = 1.1 if number % 3 else 3.6
        knots_s = start + np.array([0.0, 0.4, top_s, top_s + 0.4])
        values += np.interp(time_s, knots_s, [0.0, 0.7, 1.0, 0.0], left=0.0, right=0.0)
    return values


def test_slow_breaths_of_which_some_go_on_to_rise_are_one_breath_each():
    time_s = np.arange(0.0, 400.0, 0.02)
    starts_s = np.arange(3.0, 390.0, 5.0)
    values = held_slowly(time_s, starts_s)
    values += 0.01 * np.random.default_rng(7).standard_normal(len(time_s))
    marks = detect_breaths(values, 50.0).time_s
    top_s = starts_s + np.where(np.arange(len(starts_s)) % 3, 1.1, 3.6)
    learned = top_s[starts_s > 130.0]  # nine intervals of no more than 6 s show that they are slow
    assert matched(learned, marks, 0.6) == len(learned)
    assert len(marks) <= len(starts_s) + 2


@pytest.mark.parametrize("creeps", [-1.0, 0.5, 1.0])
def test_a_level_that_creeps_in_a_pause_of_slow_breathing_is_no_breath(creeps):
    time_s = np.arange(0.0, 400.0, 0.02)
    starts_s = np.arange(3.0, 390.0, 5.0)
    onset_s, end_s = 189.0, 216.0
    values = held_slowly(time_s, starts_s[(starts_s < onset_s - 2.0) | (starts_s > end_s)])
    values += np.interp(time_s, (onset_s, end_s, end_s + 1.0), (0.0, creeps, 0.0))
    values += 0.01 * np.random.default_rng(8).standard_normal(len(time_s))
    marks = detect_breaths(values, 50.0).time_s
    assert not np.any((marks > onset_s) & (marks < end_s - 1.0))


@pytest.mark.parametrize("spread", [0.0, 0.1])
def test_large_and_small_breaths_in_turn_all_count(spread):
    data = infant(63, 400.0, pulsation=0.1, sizes=(1.0, 0.35))
    varied = np.random.default_rng(4)
    time_s = np.arange(len(data.impedance)) / 62.5
    edges = np.convolve(data.breath_s, [0.5, 0.5], "valid")
    size = np.exp(spread * varied.standard_normal(len(data.breath_s)))
    values = data.impedance * size[np.searchsorted(edges, time_s)]
    marks = detect_breaths(values, 62.5, r_peaks(data.beat_s)).time_s
    learned = data.breath_s[data.breath_s > 20.0]  # three or four pairs show that they are
    assert matched(learned, marks, 0.5) >= 0.98 * len(learned)


def test_noise_does_not_end_a_long_pause():
    data = infant(64, 560.0, pulsation=0.0, noise=0.05, pauses=((60.0, 170.0), (290.0, 230.0)))
    marks = detect_breaths(data.impedance, 62.5, r_peaks(data.beat_s)).time_s
    for onset, end in data.pauses:
        assert not np.any((marks > onset + 1.0) & (marks < end - 1.0))


@pytest.mark.parametrize(("share", "within_s"), [(0.12, 40.0), (0.05, 240.0)])
def test_breathing_that_has_become_shallow_for_good_is_found_again(share, within_s):
    data = infant(65, 600.0, pulsation=0.0, noise=0.005)
    time_s = np.arange(len(data.impedance)) / 62.5
    values = data.impedance * np.where(time_s < 120.0, 1.0, share)
    marks = detect_breaths(values, 62.5).time_s
    late = data.breath_s[data.breath_s > 125.0 + within_s]
    assert matched(late, marks, 0.5) >= 0.97 * len(late)


def test_only_one_small_swing_after_a_large_breath_is_let_through():
    turns = Alternation()
    for _ in range(6):
        turns.note(1.0)
        turns.note(0.35)
    assert turns.least_share(1.0) == 1.0
    turns.note(1.0)
    assert turns.least_share(1.0) < 1.0


def test_breaths_of_one_size_are_not_in_turn():
    turns = Alternation()
    for size in (1.0, 0.9, 1.1, 0.7, 1.0, 0.35, 1.0, 0.9, 1.0, 0.8, 1.2, 1.0):
        turns.note(size)
        assert turns.least_share(1.0) == 1.0


@pytest.mark.parametrize(
    ("left_out_s", "counts"),
    [((), True), ((0.8,), True), ((3.0,), True), ((2.0,), False), ((1.4, 2.7), False)],
)
def test_swings_left_out_show_a_faster_rhythm_unless_one_alone_lies_to_a_side(left_out_s, counts):
    rhythm = BreathRhythm(50.0)
    for breath in range(20):
        rhythm.accept(200 * breath)
        if breath >= 10:
            for after_s in left_out_s:
                rhythm.leave_out(200 * breath + round(50.0 * after_s))
    assert rhythm.interval == (200.0 if counts else 0.0)


@pytest.mark.parametrize("size", [0.4, 0.5])
def test_a_small_swing_after_every_breath_never_becomes_one(size):
    time_s = np.arange(0.0, 600.0, 0.02)
    phase_s = time_s % 2.0
    values = np.exp(-(((phase_s - 0.5) / 0.24) ** 2))
    values += np.where(time_s > 60.0, size, 0.0) * np.exp(-(((phase_s - 1.22) / 0.16) ** 2))
    values += 0.01 * np.random.default_rng(9).standard_normal(len(time_s))
    marks = detect_breaths(values, 50.0).time_s
    assert len(marks) == pytest.approx(300, abs=2)


def test_one_swing_far_above_the_large_ones_that_follow_does_not_become_usual():
    # an electrode is put on again: a jump, then breaths much larger than what was seen before
    usual = UsualSize()
    swings = [(0.5 * n, 0.2) for n in range(60)]
    swings += [(31.0, 24.0), *((32.0 + n, 3.0) for n in range(14))]
    for time_s, size in swings:
        usual.learn(time_s, size, usual.at(time_s, size))
    assert usual.at(46.0, 3.0) == pytest.approx(3.0)


def learned(swings):
    """Sizes judged one after the other, as (time in s, size)."""
    usual = UsualSize()
    for time_s, size in swings:
        if size < 0.275 * usual.at(time_s, size):
            usual.pass_over(time_s, size)
        else:
            usual.learn(time_s, size, usual.at(time_s, size))
    return usual


BREATHS = [(3.0 * n, 1.0) for n in range(30)]


def test_breaths_are_usual_again_after_a_row_that_was_believed_goes_on_between_them():
    row = [(120.0 + 2.0 * n, 0.2) for n in range(10)]
    assert learned(BREATHS + row).at(140.0, 0.2) == pytest.approx(0.2)
    both = [(141.0 + n, 0.2 if n % 3 else 1.0) for n in range(9)]
    assert learned(BREATHS + row + both).at(150.0, 1.0) == pytest.approx(1.0)


def test_a_row_far_quicker_than_the_breaths_before_a_silence_is_no_shallow_breathing():
    row = [(120.0 + 0.65 * n, 0.2) for n in range(60)]
    assert learned(BREATHS + row).at(160.0, 0.2) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("apart", "at", "believed"),
    [
        (1.1, 0.0, False),  # one a beat, at any place of it
        (1.61, 0.0, True),  # as breathing comes: at any place
        (2.0, 0.3, False),  # every other beat, at one place of it
        (1.5, 0.3, False),  # at one place or at the opposite one
        (math.nan, 0.0, True),  # beats are not known
    ],
)
def test_a_row_in_step_with_the_heart_after_a_silence_is_no_shallow_breathing(apart, at, believed):
    usual = learned(BREATHS)
    for n in range(20):
        usual.pass_over(120.0 + 1.3 * n, 0.2, 200.0 + at + apart * n)
    assert usual.at(146.0, 0.2) == pytest.approx(0.2 if believed else 1.0)
    for n in range(20):  # but for ever it is not left out
        usual.pass_over(270.0 + 1.3 * n, 0.2, 400.0 + at + apart * n)
    assert usual.at(296.0, 0.2) == pytest.approx(0.2)


@pytest.mark.parametrize(("heart_bpm", "rate"), [(110.0, 75.0), (140.0, 90.0), (170.0, 75.0)])
def test_quick_small_breaths_after_slow_ones_are_counted_where_beats_are_known(heart_bpm, rate):
    """From 22 breaths a minute to many of a third of the size, with a pulsation of 0.2."""
    lost = of = 0
    for seed in range(4):
        kept = {"heart_bpm": heart_bpm, "pulsation": 0.0, "noise": 0.02}
        slow = infant(seed, 120.0, breaths_per_min=22.0, **kept)
        quick = infant(seed, 120.0, breaths_per_min=rate, **kept)
        beside = infant(seed, 240.0, breaths_per_min=22.0, **(kept | {"pulsation": 0.2}))
        pulse = beside.impedance - infant(seed, 240.0, breaths_per_min=22.0, **kept).impedance
        values = np.concatenate((slow.impedance, 0.35 * quick.impedance)) + pulse
        marks = detect_breaths(values, 62.5, r_peaks(beside.beat_s)).time_s
        marks = marks[marks > 119.5]
        lost += len(quick.breath_s) - matched(quick.breath_s + 120.0, marks, 0.4)
        of += len(quick.breath_s)
        assert np.diff(np.r_[marks, 238.0]).max() < 15.0
    assert lost < 0.16 * of


def test_how_far_moments_keep_to_places_of_the_beat():
    assert kept_to([1.3, 7.3, 9.3]) == pytest.approx(1.0)
    assert kept_to([1.3, 2.8, 9.3, 4.8]) == pytest.approx(0.0, abs=1e-9)
    assert kept_to([1.3, 2.8, 9.3, 4.8], places=2) == pytest.approx(1.0)
    assert kept_to([0.0, 1.25, 2.5, 3.75], places=2) == pytest.approx(0.0, abs=1e-9)


def test_a_short_swing_is_the_hearts_unless_a_few_come_anywhere_in_the_beat():
    alone = ShortSwings()
    assert alone.is_heart(math.nan)
    assert [alone.is_heart(20.0 * n + 0.3 * n) for n in range(6)] == [True] * 6  # far apart
    at_one_place = ShortSwings()
    assert [at_one_place.is_heart(float(n) + 0.02 * (n % 3)) for n in range(8)] == [True] * 8
    breathing = ShortSwings()
    assert [breathing.is_heart(1.7 * n) for n in range(6)] == [True] * 3 + [False] * 3


def test_a_return_to_what_was_usual_before_keeps_how_long_that_was_known():
    """After long shallow breathing the long memory comes back slowly, by sizes between."""
    usual = learned([(1.5 * n, 0.2) for n in range(100)])
    rng = np.random.default_rng(5)
    for n in range(260):
        at_s, size = 160.0 + 1.5 * n, float(rng.uniform(0.75, 1.2))
        usual.learn(at_s, size, usual.at(at_s, size))
        assert usual.is_settled or n < 40
    assert usual.at(560.0, 1.0) == pytest.approx(1.0, abs=0.15)


@pytest.mark.parametrize(("pulse", "counted"), [(0.0, True), (0.4, True), (0.6, False)])
def test_what_may_be_left_of_a_large_pulsation_is_no_breath(pulse, counted):
    """Swings of 0.35 in a pause; those of 0.45 count beside any pulsation."""
    time_s = np.arange(0.0, 80.0, 0.02)
    breathing = 0.5 * (1.0 - np.cos(2.0 * np.pi * time_s / 2.0))
    for share, found in ((0.35, counted), (0.45, True)):
        values = np.where((time_s > 40.0) & (time_s < 60.0), share, 1.0) * breathing
        detector = BreathDetector(BreathSettings(50.0))
        marks = detector.push(values, pulse=np.full(len(time_s), pulse), last=True).time_s
        inside = np.count_nonzero((marks > 40.0) & (marks < 60.0))
        assert inside == (10 if found else 0)


def test_two_jumps_are_not_what_is_usual_after_a_silence_longer_than_any_limit():
    usual = learned([(1.5, 63.0), (2.0, 50.0)])
    assert usual.at(90.0, 1.0) > 50.0
    assert usual.at(93.0, 1.0) == 1.0


def test_a_silence_among_the_first_breaths_does_not_make_them_slow():
    # two breaths, an electrode off for 14 s, a jump as it is put on again, and breaths as before
    swings = [(3.1, 1.5), (5.1, 1.7), (19.3, 4.4), *((20.8 + 2.0 * n, 1.1) for n in range(7))]
    assert learned(swings).at(34.0, 1.1) == pytest.approx(1.1)


def test_a_sigh_after_three_breaths_that_are_alike_is_not_what_is_usual():
    usual = UsualSize()
    for time_s, size in ((1.0, 1.0), (4.0, 1.2), (7.0, 1.1), (10.0, 3.5)):
        usual.learn(time_s, size, usual.at(time_s, 1.0))
    assert usual.at(13.0, 1.0) < 1.5
