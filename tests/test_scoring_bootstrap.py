"""Intervals over records."""

import numpy as np
import pytest

from infantmon.errors import ArgumentError
from infantmon.scoring.bootstrap import positive_predictivities, record_interval, sensitivities
from infantmon.scoring.tallies import Tally


def test_records_alike_have_no_spread():
    assert record_interval([Tally(9, 1, 0)] * 5, sensitivities, seed=1) == (0.9, 0.9)


def test_equals_a_plain_loop_over_draws():
    rows = [Tally(10, 2, 1), Tally(50, 0, 5), Tally(5, 5, 0), Tally(20, 1, 1)]
    low, high = record_interval(rows, positive_predictivities, seed=3, repeats=4000)
    draw, found = np.random.default_rng(4), []
    for _ in range(4000):
        some = sum((rows[k] for k in draw.integers(4, size=4)), Tally())
        found.append(some.positive_predictivity)
    assert (low, high) == pytest.approx(np.quantile(found, (0.025, 0.975)), abs=0.01)


def test_the_same_seed_gives_the_same():
    rows = [Tally(10, 2, 1), Tally(50, 0, 5), Tally(5, 5, 0)]
    assert record_interval(rows, sensitivities, seed=3) == record_interval(
        rows, sensitivities, seed=3
    )


def test_wider_than_wilson_where_records_differ():
    rows = [Tally(1000, 0, 0)] * 9 + [Tally(500, 500, 0)]
    low, high = record_interval(rows, sensitivities, seed=1)
    whole = sum(rows, Tally()).sensitivity_interval()
    assert high - low > 3 * (whole[1] - whole[0])


def test_undefined_is_none():
    assert record_interval([], sensitivities, seed=1) is None
    assert record_interval([Tally(1, 0, 0)], sensitivities, seed=1) is None
    assert record_interval([Tally(), Tally()], sensitivities, seed=1) is None


def test_settings_that_cannot_be_used():
    with pytest.raises(ArgumentError, match="confidence level"):
        record_interval([], sensitivities, seed=1, level=1.0)
    with pytest.raises(ArgumentError, match="repeats is 0; a whole number from 1"):
        record_interval([], sensitivities, seed=1, repeats=0)
