"""Windows of the open code of an academic group, citing Lee H et al., Physiol Meas 2012;33:1-17.

TB > 0 and (TB < 50 s or tauB < 25 s): T from the apnea's start, tau from its end.
"""

import pytest

from infantmon.events.rule_sets import Episode, coupled


def pairs(apnea, *starts):
    slow = [Episode("bradycardia", "", start, start + 5.0) for start in starts]
    (found,) = coupled([Episode("apnea", "", *apnea)], slow)
    return [one.start_s for one in found.slowings]


@pytest.mark.parametrize(("start", "belongs"), [(99.0, False), (100.0, False), (100.1, True)])
def test_it_begins_after_the_apnea_has_begun(start, belongs):
    """TB > 0, strictly."""
    assert (pairs((100.0, 120.0), start) == [start]) == belongs


@pytest.mark.parametrize(("start", "belongs"), [(149.9, True), (150.0, False)])
def test_less_than_50_s_after_the_onset(start, belongs):
    """TB < 50 s, strictly; the apnea is over 45 s before."""
    assert (pairs((100.0, 105.0), start) == [start]) == belongs


@pytest.mark.parametrize(("start", "belongs"), [(184.9, True), (185.0, False)])
def test_or_less_than_25_s_after_the_end(start, belongs):
    """tauB < 25 s, strictly; the onset is 85 s before."""
    assert (pairs((100.0, 160.0), start) == [start]) == belongs


def test_several_may_belong():
    assert pairs((100.0, 120.0), 95.0, 110.0, 140.0, 300.0) == [110.0, 140.0]
