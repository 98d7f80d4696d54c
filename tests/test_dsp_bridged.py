"""Gaps bridged without a step, against a loop over samples."""

import math

import numpy as np
import pytest
from r_peak_inputs import cut_in

from infantmon.dsp.bridged import Bridged


def slow_twin(values, longest):
    held, anchor, shift, lost, last, out = math.nan, None, 0.0, 0, 0.0, []
    for value in values:
        if math.isfinite(value) and abs(value) <= 1e100:
            anchor = value if anchor is None else anchor
            if lost > longest:
                shift = (value - anchor) - last
            held, lost = value, 0
        else:
            lost += 1
        last = 0.0 if anchor is None else (held - anchor) - shift
        out.append(last)
    return np.array(out)


def spoiled(seed, length=400):
    draw = np.random.default_rng(seed)
    values = np.cumsum(draw.standard_normal(length)) + 50.0
    for _ in range(8):
        start = int(draw.integers(0, length))
        values[start : start + int(draw.integers(1, 30))] = draw.choice([np.nan, np.inf, 1e200])
    if seed % 3 == 0:
        values[:20] = np.nan
    return values


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("longest", [0, 3, 10])
def test_equals_its_slow_twin_however_cut(seed, longest):
    values = spoiled(seed)
    wanted = slow_twin(values, longest)
    cuts = np.random.default_rng(seed).integers(0, len(values), 40).tolist()
    for pieces in ([values], cut_in(values, cuts), cut_in(values, range(len(values)))):
        bridged = Bridged(longest)
        parts = [bridged.push(piece) for piece in pieces]
        np.testing.assert_array_equal(np.concatenate([p[0] for p in parts]), wanted)
        lost = np.concatenate([p[1] for p in parts])
        np.testing.assert_array_equal(lost, ~(np.abs(values) <= 1e100))


def test_no_step_after_a_long_gap():
    values = np.concatenate((np.zeros(50), np.full(20, np.nan), np.full(50, 9.0)))
    assert np.all(Bridged(10).push(values)[0] == 0.0)
    assert Bridged(30).push(values)[0][-1] == 9.0
