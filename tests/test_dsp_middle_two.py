"""The two middle values of every few neighbours, against a sort by rows."""

import numpy as np
import pytest
from numpy.lib.stride_tricks import sliding_window_view

from infantmon.dsp.middle_two import middle_two


@pytest.mark.parametrize("width", [2, 4, 8, 16])
@pytest.mark.parametrize("more", [0, 1, 300])
@pytest.mark.parametrize("distinct", [3, 10**9])
def test_equals_a_sort_by_rows(width, more, distinct):
    draw = np.random.default_rng(width)
    values = draw.integers(0, distinct, width + more).astype(np.float64)
    ordered = np.sort(sliding_window_view(values, width), axis=1)
    low, high = middle_two(values, width)
    np.testing.assert_array_equal(low, ordered[:, width // 2 - 1])
    np.testing.assert_array_equal(high, ordered[:, width // 2])
