"""What unusable stretches do to clocks, conditions and averaging: one test a clause."""

import numpy as np
import pytest
from made_findings import (
    Stretch,
    beats_at,
    breaths_at,
    contact_of,
)
from watched import APNEA, changes_of, events_of, lost, low, regular, spans

from infantmon.events.log import fold
from infantmon.model.prescription import Prescription


def test_the_averaging_starts_anew_after_an_unusable_stretch():
    """Slow before, fast after: the first interval after the stretch is a mean of its own."""
    times = np.concatenate((regular(0, 20.5, 1.0), regular(25, 40, 0.5)))
    contact = {"ecg": contact_of([Stretch(20.5, 21.625, 24.5, 25.0)])}
    beats = beats_at(times, times + 1.0)
    events = events_of(low(80, 2, average_beats=8), 40.5, beats=beats, contact=contact)
    assert spans(events) == [("low heart rate", 0.75, 25.5)]


def test_the_first_beat_after_a_stretch_tells_no_rate_and_ends_nothing():
    times = np.concatenate((regular(0, 20.5, 1.0), regular(25, 40, 1.0)))
    contact = {"ecg": contact_of([Stretch(20.5, 21.625, 24.5, 25.0)])}
    beats = beats_at(times, times + 1.0)
    events = events_of(low(80, 2, average_beats=8), 39.5, beats=beats, contact=contact)
    assert spans(events) == [("low heart rate", 0.75, None)]


def apnea_over(stretches, pause=(30.0, 45.0), limit_s=20.0, end_s=80.0, bridged=()):
    """Breaths every second but in the pause, with contact marks; the events."""
    noise = [(end, end + 0.5, since, 2, True, True) for since, end in bridged]
    breaths = breaths_at([*regular(0, pause[0] + 0.5, 1), *regular(pause[1], end_s, 1)])
    plan = Prescription(apnea={"limit_s": limit_s})
    contact = {"impedance": contact_of(stretches, noise)}
    return events_of(plan, end_s, breaths=breaths, contact=contact)


def test_a_stretch_of_up_to_a_second_is_bridged_and_changes_no_timer():
    events = apnea_over([], pause=(30.0, 50.0), bridged=[(40.0, 41.0)])
    assert spans(events) == [("apnea", 30.0, 50.0)]
    assert events[0].assessable


def test_during_a_stretch_no_apnea_starts():
    breaths = breaths_at(regular(0, 30.5, 1))
    contact = {"impedance": contact_of([Stretch(32.0, 33.125)])}
    changes = changes_of(Prescription(apnea=APNEA), 200.0, breaths=breaths, contact=contact)
    assert changes == []


def test_an_active_apnea_stays_active_during_a_stretch_and_ends_after_it():
    events = apnea_over([lost(52.0, 60.0)], pause=(30.0, 63.0))
    assert spans(events) == [("apnea", 30.0, 63.0)]
    assert events[0].assessable
    assert [(s.start_s, s.end_s) for s in events[0].unusable] == [(52.0, 60.0)]


def test_the_breath_clock_starts_anew_at_the_end_of_a_stretch():
    """10 s before and 19 s after: without the stretch counted no pause reaches 20 s."""
    assert [e.assessable for e in apnea_over([lost(40.0, 45.0)], (30.0, 64.0))] == [False]


@pytest.mark.parametrize(("end_s", "listed"), [(49.9, 0), (50.0, 1), (50.1, 1)])
def test_pause_and_stretch_and_pause_that_reach_the_limit_list_one_not_assessable(end_s, listed):
    events = apnea_over([lost(35.0, 42.0)], pause=(30.0, end_s))
    assert spans(events) == [("apnea", 30.0, end_s)] * listed
    assert [event.judgement for event in events] == ["not assessable"] * listed
    assert [[(s.start_s, s.end_s) for s in e.unusable] for e in events] == [[(35.0, 42.0)]] * listed


def test_a_breath_after_the_stretch_before_the_limit_means_no_apnea():
    assert len(apnea_over([lost(35.0, 42.0)], pause=(30.0, 44.0))) == 0


def test_none_is_listed_across_a_hole_of_the_recording():
    assert len(apnea_over([lost(35.0, 42.0, missing=True)], pause=(30.0, 55.0))) == 0


def test_a_hole_interrupts_an_active_apnea():
    events = apnea_over([lost(52.0, 60.0, missing=True)], pause=(30.0, 63.0))
    assert spans(events) == [("apnea", 30.0, 52.0)]


def test_a_pause_that_reaches_the_limit_after_the_stretch_too_is_one_event_and_assessable():
    events = apnea_over([lost(35.0, 42.0)], pause=(30.0, 63.0))
    assert spans(events) == [("apnea", 30.0, 63.0)]
    assert events[0].assessable


def test_a_stretch_before_the_first_breath_is_no_pause():
    """Time without breath counts from the first usable sample."""
    breaths = breaths_at(regular(45.0, 80, 1))
    contact = {"impedance": contact_of([Stretch(0.0, 1.125, 40.0, 40.5)])}
    assert len(events_of(Prescription(apnea=APNEA), 80.0, breaths=breaths, contact=contact)) == 0


def test_without_any_breath_the_time_counts_from_the_first_sample():
    events = events_of(Prescription(apnea=APNEA), 60.0)
    assert [(e.onset_s, e.known_s, e.end_s) for e in events] == [(0.0, 23.5, None)]


def test_a_pending_low_rate_is_given_up_when_the_ecg_is_lost():
    times = np.concatenate((regular(0, 20.25, 0.5), regular(21, 24, 1.0)))
    contact = {"ecg": contact_of([Stretch(24.0, 25.125)])}
    changes = changes_of(low(80, 10), 60.0, beats=beats_at(times), contact=contact)
    assert fold(changes)[0] == fold([])[0]
    assert [(x.onset_s, x.end_s) for x in fold(changes)[1]] == [(20.75, 24.0)]
    assert changes[-1].cause == "signal became unusable"


@pytest.mark.parametrize(("hold_off_s", "listed"), [(3.0, 1), (3.25, 1), (3.375, 0)])
def test_a_pending_low_rate_that_had_lasted_long_enough_goes_active_and_stays(hold_off_s, listed):
    """It lasts 3.25 s until the stretch begins; exactly the hold-off is long enough."""
    times = np.concatenate((regular(0, 20.25, 0.5), regular(21, 24, 1.0)))
    contact = {"ecg": contact_of([Stretch(24.0, 25.125)])}
    events = events_of(low(80, hold_off_s), 60.0, beats=beats_at(times), contact=contact)
    assert spans(events) == [("low heart rate", 20.75, None)] * listed


@pytest.mark.parametrize("reason", ["missing", "not finite", "flat"])
def test_unassessable_time_longer_than_the_delay_raises_a_technical_condition(reason):
    stretch = Stretch(10.0, 11.125, 17.0, 17.5, missing=reason == "missing", off=reason == "flat")
    plan = Prescription(contact_loss={"delay_s": 5})
    contact = {"impedance": contact_of([stretch])}
    events = events_of(plan, 30.0, contact=contact)
    kind = "contact loss" if reason == "flat" else "signal unusable"
    assert [(e.kind, e.onset_s, e.known_s, e.end_s) for e in events] == [(kind, 10.0, 15.5, 17.0)]


def test_exactly_the_delay_is_not_longer():
    plan = Prescription(contact_loss={"delay_s": 5})
    contact = {"impedance": contact_of([lost(10.0, 15.0)])}
    events, excursions = fold(changes_of(plan, 30.0, contact=contact))
    assert (len(events), len(excursions)) == (0, 1)


def test_the_delay_is_not_added_up_over_two_channels():
    """4 s of the ECG, then 4 s of the impedance, overlapping: neither is out for 5 s."""
    plan = Prescription(contact_loss={"delay_s": 5})
    contact = {"ecg": contact_of([lost(10.0, 14.0)]), "impedance": contact_of([lost(13.0, 17.0)])}
    events, excursions = fold(changes_of(plan, 30.0, contact=contact))
    assert len(events) == 0
    assert [(x.onset_s, x.end_s) for x in excursions] == [(10.0, 14.0), (13.0, 17.0)]


def test_an_unusable_stretch_takes_back_a_row_of_pauses():
    plan = Prescription(periodic_breathing={"pause_s": 3, "count": 3, "gap_s": 20})
    pauses = [(10.0, 14.0), (20.0, 24.0), (35.0, 39.0)]
    times = [t for t in regular(0, 60, 1) if not any(a < t < b for a, b in pauses)]
    stretch = {"impedance": contact_of([lost(27.5, 29.5)])}
    assert len(events_of(plan, 60.0, breaths=breaths_at(times))) == 1
    assert len(events_of(plan, 60.0, breaths=breaths_at(times), contact=stretch)) == 0
