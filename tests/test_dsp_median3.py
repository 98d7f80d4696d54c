"""Median of three, against a loop over samples."""

import numpy as np
import pytest
from r_peak_inputs import cut_in

from infantmon.dsp.median3 import Median3


def slow_twin(values):
    out = list(values)
    for k in range(1, len(values) - 1):
        out[k] = sorted(values[k - 1 : k + 2])[1]
    if len(values) > 2:
        out[0], out[-1] = out[1], out[-2]
    return np.array(out)


@pytest.mark.parametrize("length", [0, 1, 2, 3, 4, 50, 301])
@pytest.mark.parametrize("size", [1, 2, 7, 1000])
def test_equals_its_slow_twin_however_cut(length, size):
    values = np.random.default_rng(length).standard_normal(length)
    median = Median3()
    parts = [median.push(piece) for piece in cut_in(values, range(size, length, size))]
    found = np.concatenate([*parts, median.push(values[:0], last=True)])
    np.testing.assert_array_equal(found, slow_twin(values))


def test_a_spike_of_one_sample_goes_and_an_edge_stays():
    values = np.concatenate((np.zeros(10), np.ones(10)))
    spiked = values.copy()
    spiked[[0, 4, -1]] = 50.0
    np.testing.assert_array_equal(Median3().push(spiked, last=True), values)
