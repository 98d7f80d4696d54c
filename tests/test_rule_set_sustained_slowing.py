"""Nagraj VP et al., Pediatr Res 2019;86:622-627; joining from the group's open code."""

import pytest
from rule_set_findings import heart, stored, told

from infantmon.events.rule_sets import SustainedSlowing


def found(*slow, **more):
    return told(SustainedSlowing().episodes(stored(beats=heart(*slow), **more)))


@pytest.mark.parametrize(("count", "events"), [(1, 0), (2, 0), (3, 0), (5, 1), (8, 1)])
def test_slow_beats_around_4_s(count, events):
    """Below 100 for 4 s or more: intervals of 0.8 s, so five of them are exactly 4 s."""
    assert len(found((100.0, 75.0, count))) == events


@pytest.mark.parametrize(("rate", "events"), [(100.0, 0), (99.0, 1)])
def test_below_100_strictly(rate, events):
    assert len(found((100.0, rate, 20))) == events


@pytest.mark.parametrize(("gap", "events"), [(3.5, 1), (4.0, 1), (4.5, 2)])
def test_joined_if_4_s_or_less_apart(gap, events):
    """Two stretches of 4 s (5 intervals at 75 a minute)."""
    assert len(found((100.0, 75.0, 5), (104.0 + gap, 75.0, 5))) == events


def test_a_stretch_does_not_reach_over_an_unusable_one():
    assert found((100.0, 75.0, 8), unusable=[(102.0, 104.5)]) == []
