"""Local maxima, against a loop over samples."""

import numpy as np
import pytest
from r_peak_inputs import cut_in

from infantmon.dsp.local_maxima import LocalMaxima


def slow_twin(values, radius):
    found = []
    for k, value in enumerate(values):
        before = max([0.0, *values[max(0, k - radius) : k]])
        after = max([0.0, *values[k + 1 : k + 1 + radius]])
        if value > before and value >= after:
            found.append(k)
    return found


@pytest.mark.parametrize("radius", [1, 2, 5, 8, 13])
@pytest.mark.parametrize("length", [0, 1, 5, 40, 500])
@pytest.mark.parametrize("size", [1, 3, 11, 1000])
def test_equals_its_slow_twin_however_cut(radius, length, size):
    draw = np.random.default_rng(length + radius)
    values = draw.integers(0, 30, length).astype(float)  # small integers: many ties
    maxima = LocalMaxima(radius)
    parts = [maxima.push(piece) for piece in cut_in(values, range(size, length, size))]
    parts.append(maxima.push(values[:0], last=True))
    places = np.concatenate([part[0] for part in parts])
    assert places.tolist() == slow_twin(values.tolist(), radius)
    np.testing.assert_array_equal(np.concatenate([part[1] for part in parts]), values[places])


def test_nothing_in_a_constant():
    assert len(LocalMaxima(3).push(np.zeros(100), last=True)[0]) == 0
    assert LocalMaxima(3).push(np.ones(100), last=True)[0].tolist() == [0]
