"""Sums of columns: the same for one column alone as among many."""

import numpy as np

from infantmon.dsp.columns import count, inner, total, unit


def test_one_column_is_summed_as_among_many():
    values = np.random.default_rng(0).standard_normal((29, 300))
    together = total(values)
    alone = np.array([total(values[:, k : k + 1])[0] for k in range(300)])
    np.testing.assert_array_equal(alone, together)
    pairs = np.concatenate([total(values[:, k : k + 2]) for k in range(0, 300, 2)])
    np.testing.assert_array_equal(pairs, together)
    slow = np.zeros(300)
    for row in values:
        slow += row
    np.testing.assert_array_equal(slow, together)


def test_unit_columns_have_length_one_and_zero_stays_zero():
    values = np.random.default_rng(1).standard_normal((9, 4))
    values[:, 2] = 0.0
    np.testing.assert_allclose(inner(unit(values), unit(values)), [1.0, 1.0, 0.0, 1.0])


def test_flags_are_counted_up_to_127_rows():
    flags = np.random.default_rng(2).random((127, 40)) < 0.5
    flags[:, 0] = True
    counted = count(flags)
    np.testing.assert_array_equal(counted, np.count_nonzero(flags, axis=0))
    assert counted.dtype == np.int64
