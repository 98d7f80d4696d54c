"""Tallies add up; undefined is None; intervals."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from infantmon.errors import ArgumentError
from infantmon.scoring.tallies import Tally, average, gross, percent, wilson_interval

counts = st.integers(0, 10_000)


@given(st.lists(st.builds(Tally, counts, counts, counts), max_size=8))
def test_sums_add_up(tallies):
    total = gross(tallies)
    assert total.true_positives == sum(t.true_positives for t in tallies)
    assert total.reference_count == sum(t.reference_count for t in tallies)
    assert total.test_count == sum(t.test_count for t in tallies)


def test_f1_is_the_harmonic_mean():
    tally = Tally(6, 2, 4)
    se, ppv = tally.sensitivity, tally.positive_predictivity
    assert tally.f1 == pytest.approx(2 * se * ppv / (se + ppv))


def test_no_test_mark_at_all():
    tally = Tally(0, 5, 0)
    assert tally.sensitivity == 0.0
    assert tally.positive_predictivity is None
    assert tally.f1 == 0.0


@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [
        # Newcombe RG, Stat Med 17:857-872, 1998, table I, score method (quoted from memory)
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0000, 0.1611),
        (1, 29, 0.0061, 0.1718),
        (29, 29, 0.8830, 1.0000),
    ],
)
def test_wilson_interval(count, of, low, high):
    found = wilson_interval(count, of)
    assert found == pytest.approx((low, high), abs=5e-5)


@given(st.integers(0, 500), st.integers(1, 500), st.floats(0.5, 0.999))
def test_the_interval_holds_the_share(count, of, level):
    count = min(count, of)
    low, high = wilson_interval(count, of, level)
    assert 0.0 <= low <= count / of <= high <= 1.0


def test_undefined_is_none():
    assert wilson_interval(0, 0) is None
    assert Tally().sensitivity_interval() is None
    assert Tally().positive_predictivity_interval() is None
    assert average([]) is None


def test_percent():
    assert percent(0.98765) == "98.77"
    assert percent(1.0, 1) == "100.0"
    assert percent(None) == "-"


def test_what_is_no_count():
    with pytest.raises(ArgumentError, match="true_positives is -1; a count of 0 or more"):
        Tally(-1, 0, 0)
    with pytest.raises(ArgumentError, match=r"false_positives is 1.5; a count"):
        Tally(0, 0, 1.5)
    with pytest.raises(ArgumentError, match="count is 3 of 2"):
        wilson_interval(3, 2)
    with pytest.raises(ArgumentError, match="level is 95"):
        wilson_interval(1, 2, 95)
