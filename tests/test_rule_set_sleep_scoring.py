"""AASM infant central apnea: Berry RB et al., J Clin Sleep Med 2012;8:597-619 (from memory)."""

import pytest
from rule_set_findings import breathing, heart, stored

from infantmon.events.rule_sets import InfantCentralApnea


def clauses(pause_s, *slow, interval=1.5):
    breaths = breathing((100.5, pause_s), interval=interval)
    found = InfantCentralApnea().episodes(stored(breaths=breaths, beats=heart(*slow)))
    return [episode.clause for episode in found.episodes]


@pytest.mark.parametrize(("length", "events"), [(19.9, 0), (20.0, 1), (20.1, 1)])
def test_no_effort_for_20_s_or_more(length, events):
    assert len(clauses(length)) == events


@pytest.mark.parametrize(("pause", "events"), [(4.4, 0), (4.5, 1), (6.0, 1)])
def test_two_missed_breaths_with_a_rate_below_50_for_5_s(pause, events):
    """At 40 a minute a breath is due every 1.5 s: two are missed in 4.5 s from mark to mark."""
    assert len(clauses(pause, (102.0, 48.0, 4))) == events


def test_below_50_must_last_5_s():
    assert clauses(6.0, (102.0, 48.0, 4)) == [
        "2 missed breaths with a heart rate below 50 a minute for 5 s or more"
    ]
    assert clauses(6.0, (102.0, 48.0, 3)) == []


def test_or_below_60_for_15_s():
    assert clauses(6.0, (102.0, 56.0, 14)) == [
        "2 missed breaths with a heart rate below 60 a minute for 15 s or more"
    ]
    assert clauses(6.0, (102.0, 56.0, 13)) == []


def test_missed_breaths_without_a_slow_heart_are_none():
    """Arousal and desaturation, the other routes, are not recorded."""
    assert clauses(12.0) == []


def test_a_pause_is_told_once():
    assert len(clauses(25.0, (102.0, 45.0, 20))) == 1


def test_without_a_baseline_nothing_is_missed():
    breaths = [100.0, 106.0, 112.0]
    given = stored(breaths=breaths, beats=heart((102.0, 45.0, 10)))
    apneas = InfantCentralApnea().episodes(given).episodes
    assert all(episode.clause.startswith("no effort") for episode in apneas)
