"""The shape of a breath: its top, in the middle of which the mark is, and the edges of effort."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from infantmon.dsp.breath_shape import fall_ends, rise_starts, top_of
from infantmon.stages.breaths import BreathDetector, BreathSettings

RATE_HZ = 25.0


def plain_reach(values, depth, rise):
    """Samples that the first goes on, no further below it than the depth: one after the other."""
    level, lowest = values[0] - depth, values[0]
    for reach, (here, following) in enumerate(pairwise(values)):
        lowest = min(lowest, following)
        if following < level:
            return reach + (here - level) / (here - following)
        if following - lowest > rise:
            return float(reach)
    return float(len(values) - 1)


@given(st.integers(0, 2**32 - 1), st.integers(0, 8), st.floats(0.01, 3.0), st.floats(0.01, 2.0))
def test_the_top_reaches_as_far_as_a_walk_from_the_maximum(seed, at, depth, rise):
    rows = np.random.default_rng(seed).standard_normal((5, 20))
    rows[:, at] = rows.max(axis=1)
    before, after = top_of(rows, at, np.full(5, depth), np.full(5, rise))
    for row, left, right in zip(rows, before, after, strict=True):
        assert left == pytest.approx(plain_reach(row[at::-1], depth, rise))
        assert right == pytest.approx(plain_reach(row[at:], depth, rise))


def test_a_top_that_reaches_the_ends_ends_there():
    flat = np.ones((1, 12))
    before, after = top_of(flat, 3, np.array([0.5]), np.array([0.1]))
    assert (before[0], after[0]) == (3.0, 8.0)


def test_edges_are_those_of_the_steep_rise_and_fall_and_not_of_a_notch_in_the_top():
    up = np.array([0.0, 0.0, 0.0, 1.0, 2.0, 3.0, 4.0, 3.9, 4.1])
    down = np.array([4.1, 4.0, 4.05, 4.0, 3.0, 2.0, 1.0, 0.0, 0.0, 0.0])
    assert rise_starts(up[np.newaxis], np.array([-8]), np.array([2.2])) == [-6]
    ends, over = fall_ends(down[np.newaxis], np.array([3.1]))
    assert (ends[0], bool(over[0])) == (7, True)
    assert not fall_ends(down[np.newaxis, :6], np.array([3.1]))[1][0]


def held(seconds, *, bump_at_s):
    """Breaths of 4 s with a plateau of some length; its highest point is somewhere on it."""
    time_s = np.arange(round(80.0 * RATE_HZ)) / RATE_HZ
    phase_s = time_s % 4.0
    breath = np.interp(phase_s, [0.0, 0.8, 0.8 + seconds, 1.8 + seconds], [0.0, 1.0, 1.0, 0.0])
    return breath + 0.03 * np.exp(-(((phase_s - 0.8 - bump_at_s) / 0.1) ** 2))


@pytest.mark.parametrize("bump_at_s", [0.1, 0.3, 0.5])
def test_the_mark_is_in_the_middle_of_a_plateau_wherever_its_maximum_is(bump_at_s):
    marks = BreathDetector(BreathSettings(RATE_HZ)).push(held(0.6, bump_at_s=bump_at_s), last=True)
    middle_s = marks.time_s % 4.0
    assert len(marks) == 20
    assert np.abs(middle_s - 1.1).max() < 0.15


@pytest.mark.parametrize("slope", [0.0, 1.0, 2.0])
def test_marks_in_noise_of_any_colour_come_in_order_between_their_edges(slope):
    rng = np.random.default_rng(17)
    for _ in range(30):
        spectrum = np.fft.rfft(rng.standard_normal(4000))
        spectrum[1:] /= np.arange(1.0, len(spectrum)) ** (0.5 * slope)
        stage = BreathDetector(BreathSettings(RATE_HZ))
        marks = stage.push(np.fft.irfft(spectrum), last=True)
        assert len(marks) > 20
        assert np.all(np.diff(marks.time_s) > 0.0)
        assert np.all(marks.rise_start_s < marks.time_s)
        assert np.all(np.isnan(marks.fall_end_s) | (marks.fall_end_s > marks.time_s))
        assert np.all(marks.known_s <= marks.time_s + stage.latency_s)
