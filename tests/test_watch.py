"""Rules of a prescription over findings made by hand: limits, known times, settling, links, order.

The clock is that of an apnea monitor in 21 CFR 868.2377: time without breath runs from the last
detected breath. The windows that couple a slow heart to an apnea are those of Lee H et al., Physiol
Meas 2012;33:1-17 (50 s of the onset, 25 s of the end). All else is the project's own rule, stated
in the prescription's and the rules' docstrings.
"""

import itertools
import math

import numpy as np
import pytest
from made_findings import (
    Stretch,
    beats_at,
    breaths_at,
    contact_of,
)
from watched import (
    APNEA,
    ROLES,
    changes_of,
    events_of,
    high,
    lost,
    low,
    random_night,
    regular,
    spans,
)

from infantmon.events.log import fold
from infantmon.model.prescription import Prescription
from infantmon.model.usability import Usability

# Limits, exactly ----------------------------------------------------------------------------


@pytest.mark.parametrize(("pause_s", "listed"), [(19.9, 0), (20.0, 1), (20.1, 1)])
def test_an_apnea_of_exactly_the_limit_counts(pause_s, listed):
    breaths = breaths_at(np.concatenate((regular(0, 31, 1), 30.0 + pause_s + np.arange(20))))
    events = events_of(Prescription(apnea=APNEA), 80.0, breaths=breaths)
    assert spans(events) == [("apnea", 30.0, 30.0 + pause_s)] * listed


@pytest.mark.parametrize(("pause_s", "listed"), [(3.9, 0), (4.0, 1), (4.1, 1)])
def test_no_heart_beat_for_exactly_the_limit_counts(pause_s, listed):
    beats = beats_at(np.concatenate((regular(0, 10.25, 0.5), 10.0 + pause_s + np.arange(20) / 2)))
    events = events_of(Prescription(no_heart_beat={"limit_s": 4}), 24.0, beats=beats)
    assert spans(events) == [("no heart beat", 10.0, 10.0 + pause_s)] * listed


@pytest.mark.parametrize(("interval_s", "listed"), [(0.74, 0), (0.75, 0), (0.76, 1)])
def test_a_low_rate_is_strictly_below_its_limit(interval_s, listed):
    beats = beats_at(np.arange(100) * interval_s)
    assert len(events_of(low(80, 5), 60.0, beats=beats)) == listed


@pytest.mark.parametrize(("interval_s", "listed"), [(0.49, 1), (0.5, 0), (0.51, 0)])
def test_a_high_rate_is_strictly_above_its_limit(interval_s, listed):
    beats = beats_at(np.arange(100) * interval_s)
    assert len(events_of(high(120, 5), 45.0, beats=beats)) == listed


SLOW_BEATS = [
    # slow intervals of 1 s (60 a minute) after intervals of 0.5 s, limit 80 (0.75 s):
    # averaged over so many, listed with so many slow beats, by the mean alone. A mean of N with k
    # slow ones is 0.5 + 0.5 k / N: at most 0.75 (not below the limit) while k <= N / 2.
    ({"average_beats": 1}, {1: True, 2: True, 3: True, 5: True, 8: True}),
    ({"average_beats": 3}, {1: False, 2: True, 3: True, 5: True, 8: True}),
    ({"average_beats": 5}, {1: False, 2: False, 3: True, 5: True, 8: True}),
    ({"average_beats": 8}, {1: False, 2: False, 3: False, 5: True, 8: True}),
    # over 4 s: 2 slow beats and 4 to 5 others; 3 s + 2 of 0.5 s make 4 s of 5 intervals: 0.8 s
    ({"average_s": 4}, {1: False, 2: False, 3: True, 5: True, 8: True}),
]


@pytest.mark.parametrize(("averaging", "answers"), SLOW_BEATS, ids=lambda v: str(v)[:30])
@pytest.mark.parametrize("slow", [1, 2, 3, 5, 8])
def test_so_many_slow_beats_under_so_much_averaging(averaging, answers, slow):
    intervals = [0.5] * 30 + [1.0] * slow + [0.5] * 30
    beats = beats_at(np.concatenate(([0.0], np.cumsum(intervals))))
    # a hold-off of 0.5 s leaves out what only the open interval passes, for 0.25 s at a time
    events = events_of(low(80, 0.5, **averaging), beats.time_s[-1], beats=beats)
    assert bool(len(events)) == answers[slow]


@pytest.mark.parametrize(("hold_off_s", "listed"), [(0.2, 1), (0.25, 1), (0.3, 0)])
def test_between_beats_the_open_interval_counts_whatever_the_averaging(hold_off_s, listed):
    """A single interval of 1 s passes a limit of 80 for its last 0.25 s, even averaged over 8."""
    intervals = [0.5] * 30 + [1.0] + [0.5] * 30
    beats = beats_at(np.concatenate(([0.0], np.cumsum(intervals))))
    events = events_of(low(80, hold_off_s, average_beats=8), 31.0, beats=beats)
    assert spans(events) == [("low heart rate", 15.75, 16.0)] * listed


def test_one_long_interval_does_not_end_a_high_rate_that_is_averaged():
    """Intervals of 0.25 and 0.375 s alternate: 192 a minute by the mean of 8, with a limit of 180;
    the longer one alone would be 160."""
    beats = beats_at(np.cumsum(np.tile([0.25, 0.375], 60)))
    events = events_of(high(180, 5, average_beats=8), 37.0, beats=beats)
    assert [(event.kind, event.end_s) for event in events] == [("high heart rate", None)]
    assert events_of(high(180, 5, average_beats=1), 37.0, beats=beats) == fold([])[0]


def test_a_high_rate_ends_when_the_heart_stops():
    """With no beat for 8 limit intervals the mean of 8 is back at the limit in any case."""
    beats = beats_at(regular(0, 20, 0.375))
    events = events_of(high(120, 5, average_beats=8), 40.0, beats=beats)
    assert spans(events) == [("high heart rate", 0.375, beats.time_s[-1] + 8 * 0.5)]


def test_a_stopped_heart_is_a_low_rate_and_then_no_heart_beat():
    plan = Prescription(
        low_heart_rate={"limit_bpm": 80, "hold_off_s": 2, "average_beats": 4},
        no_heart_beat={"limit_s": 4},
    )
    beats = beats_at(regular(0, 30.25, 0.5))
    events = events_of(plan, 60.0, beats=beats)
    assert [(e.kind, e.onset_s, e.known_s, e.end_s) for e in events] == [
        ("low heart rate", 30.75, 30.75 + 2 + 1.25, None),
        ("no heart beat", 30.0, 30.0 + 4 + 1.25, None),
    ]


# Rows of pauses ----------------------------------------------------------------------------


def test_periodic_breathing_begins_with_its_first_pause_and_ends_with_its_last():
    plan = Prescription(periodic_breathing={"pause_s": 3, "count": 3, "gap_s": 20})
    pauses = [(10.0, 14.0), (20.0, 24.0), (35.0, 39.0)]
    times = np.array([t for t in regular(0, 80, 1) if not any(a < t < b for a, b in pauses)])
    events = events_of(plan, 80.0, breaths=breaths_at(times, times + 0.5))
    # the third pause has its length at 38 s; over when a fourth could no longer begin in time
    assert [(e.onset_s, e.known_s, e.end_s, e.settled_s) for e in events] == [
        (10.0, 39.5, 39.0, 39.0 + 20 + 3 + 3.5)
    ]


def test_a_short_hole_ends_periodic_breathing_at_the_next_breath_however_cut():
    plan = Prescription(periodic_breathing={"pause_s": 3, "count": 2, "gap_s": 60})
    times = np.array([t for t in regular(0, 60, 1) if not 10 < t < 14 and not 20 < t < 24])
    contact = {"impedance": contact_of([lost(31.125, 32.375, missing=True)])}
    known = np.where(times == 31.0, 32.9, times + 0.25)  # the last before the hole is told after it
    breaths = breaths_at(times, np.maximum.accumulate(known))
    findings = {"breaths": breaths, "contact": contact}
    for cuts in ([], [33.0, 34.0], regular(0, 60, 0.25).tolist()):
        event = events_of(plan, 60.0, cuts=cuts, **findings)[0]
        assert (event.onset_s, event.end_s, event.settled_s) == (10.0, 31.125, 33.25)


def test_findings_in_each_of_several_stretches_close_together_do_not_count():
    usable = Usability()
    for since, end in ((10.0, 12.0), (12.5, 14.0), (15.0, 17.0)):
        usable.opens(since, 2)
        usable.closes(end, 2)
    usable.opens(18.0, 2)
    times = np.array([9.0, 10.0, 11.9, 12.0, 12.5, 13.9, 14.0, 16.0, 17.0, 18.0, 99.0])
    assert times[usable.counts(times)].tolist() == [9.0, 12.0, 14.0, 17.0]


@pytest.mark.parametrize(("gap_s", "listed"), [(5.9, 0), (6.0, 1)])
def test_pauses_are_one_row_when_the_next_begins_within_the_gap(gap_s, listed):
    plan = Prescription(periodic_breathing={"pause_s": 3, "count": 2, "gap_s": gap_s})
    times = [t for t in regular(0, 60, 1) if not 10 < t < 14 and not 20 < t < 24]
    assert len(events_of(plan, 60.0, breaths=breaths_at(times))) == listed


# Known times, settling, links, numbers ------------------------------------------------------


@pytest.mark.parametrize("next_breath_s", [50.0, 51.0, 53.25, 60.0, None])
def test_an_apnea_is_known_at_onset_and_limit_and_latency_and_never_later(next_breath_s):
    times = [*regular(0, 30.5, 1), *([] if next_breath_s is None else [next_breath_s])]
    breaths = breaths_at(times, np.array(times) + 0.25)
    event = events_of(Prescription(apnea=APNEA), 100.0, breaths=breaths)[0]
    assert event.known_s == min(30.0 + 20.0 + 3.5, (next_breath_s or math.inf) + 0.25)


def test_the_end_of_the_stream_cuts_the_wait_short():
    breaths = breaths_at(regular(0, 30.5, 1))
    assert [e.known_s for e in events_of(Prescription(apnea=APNEA), 51.0, breaths=breaths)] == [51]
    assert len(events_of(Prescription(apnea=APNEA), 49.9, breaths=breaths)) == 0


def coupled(slow_onset_s, *, hold_off_s=0.0, end_s=150.0):
    """An apnea from 30 to 60 s, and a heart that is slow for 10 s from a given onset."""
    plan = Prescription(
        apnea=APNEA,
        low_heart_rate={"limit_bpm": 80, "hold_off_s": hold_off_s, "average_beats": 1},
    )
    start = slow_onset_s - 0.75  # of the first long interval: below the limit 0.75 s later
    fast_before, fast_after = (
        start - np.arange(0, start, 0.5)[::-1],
        regular(start + 15, end_s, 0.5),
    )
    beats = beats_at([*fast_before, *(start + np.arange(1.5, 15, 1.5)), *fast_after])
    breaths = breaths_at([*regular(0, 30.5, 1), *regular(60, end_s, 1)])
    return plan, {"beats": beats, "breaths": breaths}


@pytest.mark.parametrize(
    ("slow_onset_s", "linked"),
    [(29.0, False), (31.0, True), (79.0, True), (84.5, True), (85.5, False)],
)
def test_a_slow_heart_within_50_s_of_the_onset_or_25_s_of_the_end_is_linked(slow_onset_s, linked):
    plan, findings = coupled(slow_onset_s)
    events = events_of(plan, 150.0, **findings)
    apnea, slow = events.of_kind("apnea")[0], events.of_kind("low heart rate")[0]
    assert slow.onset_s == slow_onset_s
    assert apnea.linked == ((slow.number,) if linked else ())


def test_a_linked_slow_heart_may_still_wait_for_its_hold_off():
    plan, findings = coupled(84.5, hold_off_s=6.0)
    events = events_of(plan, 150.0, **findings)
    apnea, slow = events.of_kind("apnea")[0], events.of_kind("low heart rate")[0]
    assert slow.known_s == 84.5 + 6.0 + 1.25
    assert apnea.linked == (slow.number,)
    assert apnea.settled_s == 60.0 + 25.0 + 6.0 + 1.25


def test_events_are_numbered_in_the_order_of_going_active():
    plan, findings = coupled(31.0)
    events = events_of(plan, 150.0, **findings)
    assert [event.number for event in events] == list(range(1, len(events) + 1))
    assert [event.known_s for event in events] == sorted(event.known_s for event in events)


def test_a_settled_event_never_changes_again():
    changes = _changes_of_events()
    settled = [change for change in changes if change.event.settled_s is not None]
    assert len(settled) > 10
    last = {change.event.number: change for change in changes}
    assert all(last[change.event.number] is change for change in settled)


def test_onset_and_known_time_of_an_event_never_change():
    for change, later in _pairs_of_one_event():
        assert (change.event.onset_s, change.event.known_s) == (
            later.event.onset_s,
            later.event.known_s,
        )


def _changes_of_events():
    plan, findings = random_night(5)
    changes = [c for c in changes_of(plan, 400.0, roles=ROLES, **findings) if c.event is not None]
    assert len(changes) > 20
    return changes


def _pairs_of_one_event():
    pairs = list(itertools.combinations(_changes_of_events(), 2))
    return [(a, b) for a, b in pairs if a.event.number == b.event.number]


def test_every_event_is_settled_at_the_end_of_the_stream():
    plan, findings = random_night(6)
    events = events_of(plan, 400.0, **findings)
    assert len(events) > 10
    assert all(event.settled_s is not None for event in events)


def test_an_excursion_still_pending_at_the_end_is_kept():
    beats = beats_at([*regular(0, 20.25, 0.5), *regular(21, 24, 1.0)])
    changes = changes_of(low(80, 10), 24.0, beats=beats)
    events, excursions = fold(changes)
    assert len(events) == 0
    assert [(x.onset_s, x.end_s, x.known_s) for x in excursions] == [(20.75, 24.0, 24.0)]


def test_excursions_that_never_went_active_are_kept():
    intervals = [0.5] * 30 + [1.0] * 3 + [0.5] * 30
    beats = beats_at(np.concatenate(([0.0], np.cumsum(intervals))))
    events, excursions = fold(changes_of(low(80, 5), 33.0, beats=beats))
    assert len(events) == 0
    assert [(x.kind, x.onset_s, x.end_s) for x in excursions] == [("low heart rate", 15.75, 18.5)]


def test_each_event_states_rule_limit_averaging_and_delay():
    beats = beats_at(np.arange(100) * 1.0)
    event = events_of(low(80, 5, average_beats=8), 90.0, beats=beats)[0]
    assert dict(event.limits) == {
        "rule": "heart rate below the limit for the hold-off time",
        "limit_bpm": 80.0,
        "hold_off_s": 5.0,
        "averaging": "mean of the last 8 RR intervals",
        "latency_s": 1.25,
    }


def test_the_lowest_rate_is_that_of_the_averaging_and_of_open_intervals():
    intervals = [0.5] * 30 + [1.0] * 6 + [1.5] + [1.0] * 4 + [0.5] * 30
    beats = beats_at(np.concatenate(([0.0], np.cumsum(intervals))))
    event = events_of(low(80, 2, average_beats=4), beats.time_s[-1], beats=beats)[0]
    assert event.lowest_bpm == 40.0
    still = beats_at([*regular(0, 20, 1.0)])
    assert events_of(low(80, 2, average_beats=4), 23.0, beats=still)[0].lowest_bpm == 15.0


def test_the_lowest_rate_does_not_count_an_unusable_stretch():
    times = np.concatenate((regular(0, 20.5, 1.0), regular(30, 40, 1.0)))
    contact = {"ecg": contact_of([Stretch(20.5, 21.625, 29.5, 30.0)])}
    beats = beats_at(times, times + 0.5)
    event = events_of(low(80, 2, average_beats=4), 39.5, beats=beats, contact=contact)[0]
    assert event.lowest_bpm == 60.0


def test_the_lowest_rate_at_a_low_limit_knows_the_interval_that_passed_it():
    """At a limit of 20 the interval began 3 s before the onset."""
    beats = beats_at([*regular(0, 20.25, 0.5), 25.0, *regular(25.5, 30, 0.5)])
    event = events_of(low(20, 1), 30.0, beats=beats)[0]
    assert (event.onset_s, event.lowest_bpm) == (23.0, 12.0)


def test_the_highest_rate_is_that_of_the_averaging():
    beats = beats_at(np.cumsum([0.5] * 20 + [0.25] * 20 + [0.5] * 20))
    event = events_of(high(150, 2, average_beats=4), 25.0, beats=beats)[0]
    assert event.highest_bpm == 240.0
