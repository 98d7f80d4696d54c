"""Rows of small swings: breathing that has become small, or what is left in a pause."""

import math
from itertools import pairwise

import numpy as np
import pytest
from breath_inputs import matched

from infantmon import simulate as sim
from infantmon.dsp.small_rows import keeps_step, row_after_burst, shallow_row
from infantmon.dsp.usual_size import UsualSize
from infantmon.effort import detect_breaths
from infantmon.stages.r_peaks import detect_r_peaks


def swings(times_s, sizes=0.2, beats_s=math.nan):
    """Swings at times, a heart beat each so many seconds."""
    sizes = np.broadcast_to(sizes, len(times_s)).tolist()
    return [(at_s, size, at_s / beats_s) for at_s, size in zip(times_s, sizes, strict=True)]


EVEN_S = [1.3 * n for n in range(12)]


def test_an_even_row_is_believed_and_an_uneven_one_is_not():
    assert len(shallow_row(swings(EVEN_S), 1.0, led=True)) == 6
    assert len(shallow_row(swings(EVEN_S), 1.0, led=False)) == 5
    assert shallow_row(swings(EVEN_S[:5]), 1.0, led=True) == []
    uneven_s = np.cumsum([1.0, 2.7] * 6).tolist()
    assert shallow_row(swings(uneven_s), 1.0, led=True) == []


def test_a_row_that_could_be_noise_must_be_longer_and_more_even():
    assert shallow_row(swings(EVEN_S[:8], 0.12), 1.0, led=True) == []
    assert len(shallow_row(swings(EVEN_S, 0.12), 1.0, led=True)) == 9
    one_between = [*swings(EVEN_S, 0.12), (16.0, 0.03, math.nan)]
    assert shallow_row(one_between, 1.0, led=True) == []


def test_a_breath_with_two_tops_counts_once_where_r_peaks_lead():
    both_s = sorted([*EVEN_S, EVEN_S[9] + 0.3])
    sizes = [0.15 if at_s == EVEN_S[9] + 0.3 else 0.2 for at_s in both_s]
    row = shallow_row(swings(both_s, sizes), 1.0, led=True)
    assert [at_s for at_s, _, _ in row] == EVEN_S[-6:]
    assert shallow_row(swings(both_s, sizes), 1.0, led=False) == []


def test_after_a_burst_a_row_must_be_small_and_alike():
    assert len(row_after_burst(swings(EVEN_S), 1.0)) == 6
    assert row_after_burst(swings(EVEN_S), 0.3) == []
    assert row_after_burst(swings(EVEN_S, [0.1, 0.2] * 6), 1.0) == []
    assert row_after_burst(swings(EVEN_S[:5]), 1.0) == []


def test_a_row_in_step_with_the_heart_is_told_only_where_beats_are_known():
    in_step = swings(EVEN_S, beats_s=1.3)
    assert keeps_step(in_step[-6:], in_step)
    apart = swings(EVEN_S, beats_s=0.77)
    assert not keeps_step(apart[-6:], apart)
    unknown = swings(EVEN_S)
    assert not keeps_step(unknown[-6:], unknown)


@pytest.mark.parametrize(("led", "believed"), [(True, True), (False, False)])
def test_breaths_that_became_small_are_usual_though_some_of_them_count(led, believed):
    """Every fourth is just large enough; without R peaks each of these ends a silence."""
    usual = UsualSize()
    for n in range(40):
        usual.learn(1.5 * n, 1.0, 1.0, 4.0 * n, led=led)
    for n in range(24):
        at_s, size = 60.0 + 1.5 * n, 0.22 if n % 4 else 0.3
        if size >= 0.275 * usual.at(at_s, size):
            usual.learn(at_s, size, usual.at(at_s, size), 160.0 + 3.7 * n, led=led)
        else:
            usual.pass_over(at_s, size, 160.0 + 3.7 * n, led=led)
    assert (usual.at(96.0, 0.3) < 0.4) == believed


@pytest.mark.parametrize("share", [0.3, 0.25, 0.2])
def test_simulated_breathing_that_becomes_small_for_long_is_found_again(share):
    """Sizes differ from breath to breath, so that some of the small ones are large enough."""
    lost = of = 0
    for seed in range(3):
        scenario = sim.Scenario(
            260.0,
            250.0,
            62.5,
            pulsation=sim.PulsationByPhase(0.3),
            events=(sim.ShallowBreathing(80.0, 150.0, share=share),),
        )
        night = sim.simulate_night(scenario, 70 + seed)
        ecg, impedance = night.recording.ecg, night.recording.impedance
        beats = detect_r_peaks(ecg.segments[0].values, 250.0, unit="mV")
        marks = detect_breaths(impedance.segments[0].values, 62.5, beats).time_s
        true = night.truth.breath_s[(night.truth.breath_s > 125.0) & (night.truth.breath_s < 225.0)]
        lost += len(true) - matched(true, marks, 0.5)
        of += len(true)
        gaps = [after - before for before, after in pairwise(marks[marks < 235.0])]
        assert max(gaps) < 35.0
    assert lost <= 0.01 * of
