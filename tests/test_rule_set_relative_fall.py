"""Poets CF et al., Pediatr Res 1993;34:144: a fall of 33 % or more from the baseline for 4 s."""

import pytest
from rule_set_findings import heart, stored

from infantmon.errors import ArgumentError
from infantmon.events.rule_sets import RelativeFall


def found(*slow, rate=150.0):
    return RelativeFall().episodes(stored(beats=heart(*slow, rate=rate))).episodes


@pytest.mark.parametrize(("rate", "events"), [(101.0, 0), (100.5, 1), (90.0, 1)])
def test_a_third_below_its_own_baseline(rate, events):
    """33 % below 150 a minute is 100.5; exactly that counts."""
    assert len(found((100.0, rate, 12))) == events


def test_the_baseline_is_the_infants_own():
    """100 a minute is a fall from 150, and none from 120."""
    assert found((100.0, 100.0, 12))
    assert not found((100.0, 100.0, 12), rate=120.0)


@pytest.mark.parametrize(("count", "events"), [(1, 0), (3, 0), (4, 0), (5, 1), (8, 1)])
def test_for_4_s_or_more(count, events):
    """Intervals of 0.8 s: five of them are exactly 4 s."""
    assert len(found((100.0, 75.0, count))) == events


def test_a_long_fall_keeps_the_baseline_it_fell_from():
    """100 s at 75 a minute: longer than the time that the baseline looks back over."""
    (episode,) = found((100.0, 75.0, 125))
    assert episode.measures["baseline_bpm"] == pytest.approx(150.0)
    assert episode.length_s == pytest.approx(100.0)


def test_no_baseline_no_fall():
    """A recording that begins slow has nothing to fall from."""
    assert not found(rate=60.0)


def test_a_share_out_of_range_is_refused():
    with pytest.raises(ArgumentError, match="share"):
        RelativeFall(share=33.0)
