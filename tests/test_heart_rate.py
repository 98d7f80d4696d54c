"""Heart rate: the mean of the latest RR intervals, against a loop over single beats."""

from itertools import pairwise

import numpy as np
import pytest
from made_findings import (
    Stretch,
    batches_of,
    beats_at,
    contact_of,
    random_cuts,
    random_stretches,
    random_times,
)

from infantmon.errors import ArgumentError
from infantmon.model.interval_average import IntervalAverage
from infantmon.stages.heart_rate import HeartRate, HeartRateSettings


def rates_of(settings, beats, contact=None, cuts=(100.0,)):
    stage = HeartRate(settings)
    parts = [
        stage.push(batch.r_peaks, batch.contact.get("ecg"), last=batch.last)
        for batch in batches_of(cuts, beats=beats, contact={} if contact is None else contact)
    ]
    return (
        np.concatenate([part.time_s for part in parts]),
        np.concatenate([part.heart_rate_bpm for part in parts]),
    )


def slow_rates(settings, beats, stretches):
    """Beat by beat: the intervals that count, their mean, the rate."""
    counting, rows = [], []
    for time, known in zip(beats.time_s, beats.known_s, strict=True):
        if any(stretch.told_at(known, time) for stretch in stretches):
            continue
        counting.append(time)
        ends = [s.end for s in stretches if s.end_told <= known and s.end <= time]
        since = max(ends, default=0.0)
        intervals = [(a, b) for a, b in pairwise(counting) if a >= since and b <= time]
        if settings.average_beats:
            intervals = intervals[-settings.average_beats :]
        else:
            latest = intervals[-1:]
            intervals = [i for i in intervals if i[1] > time - settings.average_s] or latest
        if intervals:
            mean = sum(b - a for a, b in intervals) / len(intervals)
            rows.append((time, 60.0 / mean))
    return rows


SETTINGS = [
    HeartRateSettings(average_beats=1),
    HeartRateSettings(average_beats=3),
    HeartRateSettings(average_beats=8),
    HeartRateSettings(average_s=1.0),
    HeartRateSettings(average_s=6.0),
]


@pytest.mark.parametrize("settings", SETTINGS, ids=str)
def test_equals_a_loop_over_single_beats_however_cut(settings):
    chance = np.random.default_rng(3)
    for _ in range(12):
        times, known = random_times(chance, 100.0, [3, 4, 5], 0.05, [9, 20, 60], 1.25)
        beats = beats_at(times, known)
        stretches = random_stretches(chance, 100.0, int(chance.choice([0, 1, 4])))
        contact = {"ecg": contact_of(stretches)}
        slow = slow_rates(settings, beats, stretches)
        for cuts in ([100.0], random_cuts(chance, 100.0)):
            time_s, rate = rates_of(settings, beats, contact, cuts)
            assert time_s.tolist() == [row[0] for row in slow]
            np.testing.assert_allclose(rate, [row[1] for row in slow], rtol=1e-12)


def test_the_first_beat_has_no_rate():
    time_s, rate = rates_of(HeartRateSettings(average_beats=8), beats_at([1.0, 1.5, 2.5]))
    assert time_s.tolist() == [1.5, 2.5]
    assert rate.tolist() == [120.0, 80.0]


def test_a_step_shows_in_full_after_as_many_beats_as_are_averaged():
    beats = beats_at(np.cumsum([1.0] * 20 + [0.5] * 20))
    time_s, rate = rates_of(HeartRateSettings(average_beats=4), beats)
    assert rate[time_s >= 20.0][:6].tolist() == [60.0, 60 / 0.875, 80.0, 96.0, 120.0, 120.0]


def test_seconds_count_the_intervals_that_end_in_them():
    """Intervals of 1 s end at 1, 2, 3 s; in the last 2 s before 3 s end those of 2 and 3 s."""
    beats = beats_at([0.0, 1.5, 2.5, 3.5])
    _, rate = rates_of(HeartRateSettings(average_s=2.0), beats)
    assert rate[-1] == 60.0
    _, rate = rates_of(HeartRateSettings(average_s=2.1), beats)
    assert rate[-1] == pytest.approx(60 / (3.5 / 3))


def test_averaging_starts_anew_after_an_unusable_stretch():
    beats = beats_at([0.0, 1.0, 2.0, 5.0, 5.5, 6.5], [1.0, 2.0, 3.0, 6.0, 6.5, 7.5])
    contact = {"ecg": contact_of([Stretch(2.5, 3.625, 4.5, 5.0)])}
    time_s, rate = rates_of(HeartRateSettings(average_beats=8), beats, contact)
    assert time_s.tolist() == [1.0, 2.0, 5.5, 6.5]
    assert rate.tolist() == [60.0, 60.0, 120.0, 80.0]


def test_a_beat_inside_an_unusable_stretch_does_not_count():
    beats = beats_at([0.0, 1.0, 3.0, 6.0, 7.0], [1.0, 2.0, 4.25, 7.0, 8.0])
    contact = {"ecg": contact_of([Stretch(2.5, 3.625, 5.0, 5.5)])}
    time_s, _ = rates_of(HeartRateSettings(average_beats=2), beats, contact)
    assert time_s.tolist() == [1.0, 7.0]


def test_no_beats_give_no_rates():
    assert len(rates_of(HeartRateSettings(average_beats=2), beats_at([]))[0]) == 0
    average = IntervalAverage(None, 3.0)
    assert len(average.push(np.empty(0), np.zeros(1))) == 0


@pytest.mark.parametrize(("beats", "seconds"), [(None, None), (4, 3.0)])
def test_the_averaging_is_one_of_two(beats, seconds):
    with pytest.raises(ArgumentError, match="give exactly one of the two"):
        IntervalAverage(beats, seconds)
