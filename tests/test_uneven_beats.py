"""Swings of the pulsation's size held back while beats are uneven in a pause."""

from __future__ import annotations

import numpy as np
import pytest

from infantmon.dsp.kept import Kept
from infantmon.dsp.last_pulse import peak_to_peak
from infantmon.dsp.uneven_beats import Stretch, UnevenBeats

RATE = 25.0
SHAPE = (0.2, 0.0, 0.0, 0.0, 0.0, 0.0)  # 0.4 peak to peak
BEATS = [
    Stretch(start, start + 10, SHAPE, 40 <= start < 80 or start == 120)
    for start in range(0, 200, 10)
]


def held(values, cuts=()):
    """Samples held as they come in, cut at some places; each cut sees the beats known by then."""
    stage, given, parts = UnevenBeats(RATE), Kept(), []
    for first, after in zip((0, *cuts), (*cuts, len(values)), strict=True):
        part = values[first:after].copy()
        seen = [each for each in BEATS if each.start < after]
        latest = max(index for index, each in enumerate(seen) if each.start <= first)
        stage.hold(seen[latest:], first, part, given)
        given.push(part)
        parts.append(part)
    return np.concatenate(parts)


def test_the_shape_is_as_large_as_it_is_said_to_be():
    assert peak_to_peak(SHAPE) == pytest.approx(0.4)


def test_swings_of_the_pulsation_are_held_back_and_larger_ones_are_only_smaller():
    values = np.full(200, 3.0)
    values[45:55] += 0.4
    values[60:70] += 1.5
    left = held(values)
    assert left[:80] == pytest.approx(np.r_[np.full(60, 3.0), np.full(10, 4.0), np.full(10, 3.0)])
    values[45:55] -= 0.4
    values[150:160] += 0.4  # beats are even again
    assert held(values)[150:160] == pytest.approx(3.4)


def test_the_level_comes_back_softly():
    values = np.full(200, 1.0)
    values[50:] = 1.3
    left = held(values)
    assert left[50:80] == pytest.approx(1.0)
    assert 0.0 < np.diff(left[79:92]).max() <= 0.3 / 10 + 1e-9
    assert left[90:120] == pytest.approx(1.3)


@pytest.mark.parametrize("seed", range(5))
def test_it_is_the_same_however_it_is_cut(seed):
    rng = np.random.default_rng(seed)
    values = np.cumsum(0.1 * rng.standard_normal(200))
    cuts = tuple(sorted(rng.choice(np.arange(1, 200), 12, replace=False).tolist()))
    assert held(values, cuts) == pytest.approx(held(values), abs=1e-12)
