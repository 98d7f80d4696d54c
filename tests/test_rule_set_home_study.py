"""Ramanathan R, Corwin MJ, Hunt CE, et al., JAMA 2001;285:2199-2207 (CHIME study); from memory."""

import pytest
from rule_set_findings import breathing, heart, stored, told

from infantmon.errors import ArgumentError
from infantmon.events.rule_sets import HomeStudyEvents

BEFORE, FROM = 43 + 6 / 7, 44.0


def slowings(weeks, *slow, upper=False):
    rule = HomeStudyEvents(weeks, upper=upper)
    found = rule.episodes(stored(beats=heart(*slow), breaths=breathing()))
    return [e.clause for e in found.episodes if e.what == "bradycardia"]


@pytest.mark.parametrize(("length", "count"), [(19.9, 0), (20.0, 1), (20.1, 1)])
@pytest.mark.parametrize("weeks", [BEFORE, FROM])
def test_lower_apnea_is_20_s_or_more_at_any_age(length, count, weeks):
    """Apnea: 20 s or more, any age."""
    found = HomeStudyEvents(weeks).episodes(stored(breaths=breathing((100.0, length))))
    assert told(found) == [("apnea", 100.0, length)] * count


@pytest.mark.parametrize(("length", "count"), [(29.9, 0), (30.0, 1), (30.1, 1)])
def test_upper_apnea_is_30_s_or_more(length, count):
    """Extreme event, apnea: 30 s or more."""
    found = HomeStudyEvents(FROM, upper=True).episodes(stored(breaths=breathing((100.0, length))))
    assert len(found) == count


def test_before_44_weeks_below_80_for_15_s():
    """Before 44 weeks: below 80 for 15 s or more (19 intervals at 75 a minute: 15.2 s)."""
    assert slowings(BEFORE, (100.0, 75.0, 19)) == ["below 80 a minute for 15 s or more"]
    assert slowings(BEFORE, (100.0, 75.0, 18)) == []
    assert slowings(BEFORE, (100.0, 80.0, 30)) == []  # exactly the limit is not below it


def test_before_44_weeks_below_60_for_5_s():
    """Before 44 weeks: below 60 for 5 s or more (5 intervals at 50: 6 s; at 48: 4 are 5.0 s)."""
    assert slowings(BEFORE, (100.0, 50.0, 5)) == ["below 60 a minute for 5 s or more"]
    assert slowings(BEFORE, (100.0, 48.0, 4)) == ["below 60 a minute for 5 s or more"]
    assert slowings(BEFORE, (100.0, 50.0, 4)) == []


def test_from_44_weeks_below_60_for_15_s():
    """From 44 weeks: below 60 for 15 s or more (exactly 15 s at 56 a minute: 14 intervals)."""
    assert slowings(FROM, (100.0, 56.0, 14)) == ["below 60 a minute for 15 s or more"]
    assert slowings(FROM, (100.0, 56.0, 13)) == []


def test_from_44_weeks_below_50_for_5_s():
    """From 44 weeks: below 50 for 5 s or more."""
    assert slowings(FROM, (100.0, 48.0, 4)) == ["below 50 a minute for 5 s or more"]
    assert slowings(FROM, (100.0, 48.0, 3)) == []


def test_43_weeks_6_days_and_44_weeks_0_days_differ():
    """75 a minute for 16 s is an event up to 43 weeks 6 days, and none from 44 weeks 0 days."""
    assert slowings(BEFORE, (100.0, 75.0, 20))
    assert slowings(FROM, (100.0, 75.0, 20)) == []


def test_upper_bradycardia_by_age():
    """Extreme: below 60 for 10 s before 44 weeks, below 50 for 10 s from then on."""
    assert slowings(BEFORE, (100.0, 55.0, 10), upper=True) == ["below 60 a minute for 10 s or more"]
    assert slowings(BEFORE, (100.0, 55.0, 9), upper=True) == []
    assert slowings(FROM, (100.0, 55.0, 10), upper=True) == []
    assert slowings(FROM, (100.0, 48.0, 8), upper=True) == ["below 50 a minute for 10 s or more"]


@pytest.mark.parametrize("count", [1, 2, 3, 5, 8])
def test_so_few_slow_beats_are_none_until_they_last_5_s(count):
    """1, 2, 3, 5, 8 intervals at 58 a minute (1.03 s each): only 5 and 8 last 5 s."""
    assert bool(slowings(BEFORE, (100.0, 58.0, count))) == (count >= 5)


def test_a_pause_is_not_counted_over_an_unusable_stretch():
    breaths = breathing((100.0, 25.0))
    found = HomeStudyEvents(FROM).episodes(stored(breaths=breaths, unusable=[(110.0, 114.0)]))
    assert told(found) == []
    assert found.judged_s["impedance"] == pytest.approx(396.0)


def test_the_source_says_that_it_is_from_memory():
    assert "from memory" in HomeStudyEvents.source


def test_an_age_out_of_range_is_refused():
    with pytest.raises(ArgumentError, match="postmenstrual_age_weeks"):
        HomeStudyEvents(4.0)
