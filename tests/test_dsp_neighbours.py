"""Neighbours in an array, against numpy's own routines."""

import numpy as np
import pytest
from numpy.lib.stride_tricks import sliding_window_view

from infantmon.dsp.neighbours import neighbours, sliding, steps


@pytest.mark.parametrize("width", [1, 2, 7])
def test_rows_of_neighbours_are_those_of_numpy_and_cannot_be_written(width):
    values = np.arange(7.0)
    rows = neighbours(values, width)
    np.testing.assert_array_equal(rows, sliding_window_view(values, width))
    with pytest.raises(ValueError, match="read-only"):
        rows[0, 0] = 1.0


@pytest.mark.parametrize("shape", [(0,), (1,), (9,), (4, 6), (3, 0)])
@pytest.mark.parametrize("kind", [np.float32, np.float64, np.int64])
def test_steps_are_those_of_numpy(shape, kind):
    values = np.random.default_rng(1).integers(-9, 9, shape).astype(kind)
    np.testing.assert_array_equal(steps(values), np.diff(values))
    assert steps(values).dtype == kind


@pytest.mark.parametrize("width", [1, 2, 5, 8, 30])
@pytest.mark.parametrize("pick", [np.maximum, np.minimum])
def test_sliding_picks_are_those_of_the_rows(width, pick):
    values = np.random.default_rng(width).standard_normal(30)
    rows = sliding_window_view(values, width)
    np.testing.assert_array_equal(sliding(pick, values, width), pick.reduce(rows, axis=1))
