"""Alarms against true episodes: delay, false ones an hour, added up."""

import numpy as np
import pytest

from infantmon.errors import ArgumentError
from infantmon.scoring.alarms import score_alarms


def test_each_alarm_belongs_to_one_episode_or_is_false():
    score = score_alarms(
        [[100, 130], [200, 220], [300, 330]], [50.0, 120.0, 125.0, 319.0], recorded_s=3600
    )
    assert (score.alarmed, score.missed, score.right, score.false) == (2, 1, 3, 1)
    assert score.delay_s.tolist() == [20.0, 19.0]
    assert score.false_per_hour == 1.0
    assert score.sensitivity == pytest.approx(2 / 3)
    assert score.positive_predictivity == pytest.approx(3 / 4)


def test_grace_after_the_end_but_not_into_the_next():
    late = [[100, 130], [131, 150]]
    assert score_alarms(late, [130.5], recorded_s=600).false == 1
    assert score_alarms(late, [130.5], recorded_s=600, grace_s=5.0).delay_s.tolist() == [30.5]
    assert score_alarms(late, [131.5], recorded_s=600, grace_s=5.0).delay_s.tolist() == [0.5]


def test_an_alarm_at_the_very_onset_or_end_does_not_hang_on_rounding():
    """0.1 * 3 lies 6e-17 above 0.3."""
    onset = score_alarms([[0.1 * 3, 0.9]], [0.3], recorded_s=1.0)
    assert (onset.alarmed, onset.false, onset.delay_s.tolist()) == (1, 0, [0.0])
    assert score_alarms([[0.1, 0.3]], [0.1 * 3], recorded_s=1.0).false == 0


def test_scores_add_up():
    one = score_alarms([[10, 20]], [12.0], recorded_s=1800)
    two = score_alarms([[10, 20]], [30.0, 40.0], recorded_s=1800)
    both = one + two
    assert (both.alarmed, both.missed, both.false) == (1, 1, 2)
    assert both.false_per_hour == 2.0
    assert both.episodes.sensitivity == 0.5


def test_undefined_is_none():
    score = score_alarms([], [], recorded_s=0)
    assert score.sensitivity is None
    assert score.positive_predictivity is None
    assert score.false_per_hour is None


def test_against_all_by_all():
    draw = np.random.default_rng(5)
    for _ in range(50):
        edges = np.sort(draw.choice(1000, 20, replace=False)).astype(float).reshape(-1, 2)
        alarms = np.sort(draw.choice(1000, 12, replace=False)) + 0.5
        score = score_alarms(edges, alarms, recorded_s=1000)
        inside = [(a <= alarms) & (alarms <= b) for a, b in edges]
        assert score.alarmed == sum(row.any() for row in inside)
        assert score.false == int((~np.any(inside, axis=0)).sum())
        first = [alarms[row][0] - a for (a, _), row in zip(edges, inside, strict=True) if row.any()]
        assert score.delay_s.tolist() == first


@pytest.mark.parametrize(
    ("alarms", "recorded", "grace", "words"),
    [
        ([2.0, 1.0], 10, 0, "sort the marks"),
        ([1.0], -1, 0, "recorded_s is -1 s"),
        ([1.0], 10, -2, "grace_s is -2 s"),
    ],
)
def test_what_cannot_be_scored(alarms, recorded, grace, words):
    with pytest.raises(ArgumentError, match=words):
        score_alarms([[1, 2]], alarms, recorded_s=recorded, grace_s=grace)
