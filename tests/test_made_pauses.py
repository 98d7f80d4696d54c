"""Made pauses in a recording: where windows lie, which are left out, how they are counted."""

from itertools import pairwise

import numpy as np
import pytest

from benchmarks.made import with_pauses
from benchmarks.made_pauses import compare
from infantmon.labelled.database import Labelled
from infantmon.model.channel import Channel
from infantmon.model.recording import Recording

RATE_HZ, END_S, HEART_HZ = 50.0, 600.0, 1.2
BREATHS = np.arange(2.0, END_S - 2.0, 4.0)


def recording(breaths=(BREATHS,), *, breath_hz=0.25, top=10.0):
    """Breathing every 4 s, with a heart of 0.1 on it; clipped at a level."""
    time_s = np.arange(round(END_S * RATE_HZ)) / RATE_HZ
    values = np.cos(2.0 * np.pi * breath_hz * (time_s - 2.0))
    values += 0.1 * np.sin(2.0 * np.pi * HEART_HZ * time_s)
    values = np.where((time_s > 100.0) & (time_s < 500.0), np.minimum(values, top), values)
    values[[5, 6]] = -top, top  # the ends of the range, seen once each
    return Labelled(
        Recording({"impedance": Channel(values, RATE_HZ, None)}), breaths_s=tuple(breaths)
    )


@pytest.mark.parametrize("wholly", [False, True])
def test_breathing_is_gone_inside_and_untouched_outside(wholly):
    whole = recording()
    made = with_pauses(whole, HEART_HZ, seed=1, wholly=wholly)
    before, after = (each.recording.impedance.segments[0].values for each in (whole, made.labelled))
    time_s = np.arange(len(before)) / RATE_HZ
    assert len(made.windows_s) >= 8
    outside = np.ones(len(time_s), dtype=bool)
    for start, end in made.windows_s:
        assert np.ptp(after[(time_s > start + 1.0) & (time_s < end - 1.0)]) < 0.5
        outside &= (time_s < start - 0.5) | (time_s > end + 0.5)
    assert np.array_equal(before[outside], after[outside])


@pytest.mark.parametrize(
    ("way", "level"), [({}, 0.0), ({"at_rest": True}, -1.0), ({"wholly": True}, -1.0)]
)
def test_the_level_rests_at_the_end_of_a_breath_or_is_the_mean(way, level):
    made = with_pauses(recording(), HEART_HZ, seed=1, **way)
    values = made.labelled.recording.impedance.segments[0].values
    time_s = np.arange(len(values)) / RATE_HZ
    for start, end in made.windows_s:
        inside = values[(time_s > start + 1.0) & (time_s < end - 1.0)]
        assert np.mean(inside) == pytest.approx(level, abs=0.1)


def test_ends_lie_only_where_all_annotators_mark_both_breaths_and_none_between():
    other = BREATHS[::3] + 0.2  # of three breaths in a row, the second annotator saw one
    other = np.sort(np.concatenate((other, BREATHS[BREATHS < 300.0][1::3], [310.0])))
    made = with_pauses(recording((BREATHS, other)), HEART_HZ, seed=2)
    sure = [
        0.5 * (a + b)
        for a, b in pairwise(BREATHS)
        if sum(abs(other - a) < 0.5) == sum(abs(other - b) < 0.5) == 1
    ]
    assert len(made.windows_s)
    assert set(made.windows_s.ravel().tolist()) <= set(sure)
    assert made.windows_s.max() < 300.0


def test_windows_that_are_clipped_or_as_fast_as_the_heart_are_left_out():
    clipped = with_pauses(recording(top=0.9), HEART_HZ, seed=1)
    assert clipped.left_out == 0  # the ends of the range are elsewhere: that is no clipping
    low = recording()
    values = low.recording.impedance.segments[0].values
    values[:] = np.clip(values, -0.9, 0.9)
    assert len(with_pauses(low, HEART_HZ, seed=1).windows_s) == 0
    fast = np.arange(2.0, END_S - 2.0, 1.0)  # 60 a minute beside a heart at 72
    made = with_pauses(recording((fast,), breath_hz=1.0), HEART_HZ, seed=1)
    assert len(made.windows_s)
    made = with_pauses(recording((fast,), breath_hz=1.0), 1.1, seed=1)
    assert (len(made.windows_s), made.left_out > 0) == (0, True)


def test_a_pause_is_found_if_both_ends_are_and_every_other_long_gap_is_counted():
    made = with_pauses(recording(), HEART_HZ, seed=1)
    first, second = made.pauses_s[:2]
    gaps = np.array([first + 1.4, second + np.array([0.0, 1.6]), [first[0] - 14.0, first[0] - 2.0]])
    counted = compare(made, gaps)
    assert (counted["windows"], counted["found"]) == (len(made.pauses_s), 1)
    assert (counted["other"], counted["other_slow"]) == (1, 0)


def test_an_apnea_of_20_s_is_kept_if_so_much_of_the_window_is_free_of_breaths():
    made = with_pauses(recording(), HEART_HZ, seed=1)
    start, end = made.windows_s[np.ptp(made.windows_s, axis=1) >= 24.0][0]
    wide = compare(made, np.array([[start - 5.0, end + 5.0]]))
    assert (wide["long_found"], wide["long_kept"]) == (0, 1)
    late = compare(made, np.array([[start - 5.0, start + 19.0], [start + 19.0, end + 5.0]]))
    assert (late["long_found"], late["long_kept"]) == (0, 0)


def test_other_pauses_where_breathing_is_slower_than_15_a_minute_are_told_apart():
    slow = np.arange(2.0, END_S - 2.0, 6.0)
    made = with_pauses(recording((slow,), breath_hz=1.0 / 6.0), HEART_HZ, seed=1)
    first = made.pauses_s[0]
    counted = compare(made, np.array([[first[0] - 14.0, first[0] - 2.0]]))
    assert (counted["other"], counted["other_slow"]) == (0, 1)
