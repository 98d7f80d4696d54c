"""Gee AH et al., IEEE Trans Biomed Eng 2017;64:2300-2308, and the page of its database (PICS).

Of the database only onset marks of one infant are shared, without the signal: no check against it.
"""

import pytest
from rule_set_findings import heart, stored, told

from infantmon.events.rule_sets import PooledSlowBeats


def found(*slow):
    return told(PooledSlowBeats().episodes(stored(beats=heart(*slow), reached=600.0)))


@pytest.mark.parametrize(("count", "events"), [(1, 0), (2, 1), (3, 1), (5, 1), (8, 1)])
def test_two_beats_or_more(count, events):
    """RR longer than 0.6 s for two beats or more."""
    assert len(found((100.0, 90.0, count))) == events


@pytest.mark.parametrize(("rate", "events"), [(100.0, 0), (98.0, 1)])
def test_longer_than_600_ms_strictly(rate, events):
    assert len(found((100.0, rate, 4))) == events


def test_two_of_them_last_longer_than_1_2_s():
    (episode,) = found((100.0, 98.0, 2))
    assert episode[2] > 1.2


@pytest.mark.parametrize(("gap", "events"), [(179.5, 1), (180.0, 1), (180.5, 2)])
def test_pooled_within_3_min(gap, events):
    """From the end of one to the start of the next."""
    end = 100.0 + 3 * 0.8
    assert len(found((100.0, 75.0, 3), (end + gap, 75.0, 3))) == events
