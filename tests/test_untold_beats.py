"""Beats that do not look like beats for long: told as an unusable signal, equal however cut."""

import numpy as np
import pytest
from made_findings import batches_of, beats_at, contact_of, random_cuts
from r_peak_inputs import beat_times, ecg_of

import infantmon as im
from infantmon.events.batch import Latencies
from infantmon.events.contact_loss import ContactLossRule, SignalUnusableRule
from infantmon.events.untold_beats import UntoldBeats
from infantmon.model.channel import Channel
from infantmon.model.marks import RPeaks
from infantmon.model.prescription import ContactLossLimit


def beats(strange_from, strange_to, until=60.0, known=1.0):
    times = np.arange(0.0, until, 0.5)
    plain = beats_at(times, times + known)
    strange = (times >= strange_from) & (times < strange_to)
    columns = {name: getattr(plain, name) for name in plain.columns()}
    return RPeaks(**{**columns, "reliable": ~strange})


def marks(found):
    return [(m.opens, m.since_s, m.time_s, m.known_s) for m in UntoldBeats().push(found)]


@pytest.mark.parametrize(("last", "told"), [(24.5, False), (25.0, True)])
def test_5_s_of_strange_beats_are_told(last, told):
    """From the first strange beat at 20 s to the last one."""
    found = marks(beats(20.0, last + 0.5))
    assert bool(found) == told


def test_it_begins_with_the_first_strange_beat_and_is_over_with_the_next_reliable_one():
    assert marks(beats(20.0, 40.0)) == [(True, 20.0, 25.0, 26.0), (False, 20.0, 40.0, 41.0)]


def test_one_reliable_beat_begins_anew():
    found = beats(20.0, 40.0)
    reliable = found.reliable.copy()
    reliable[found.time_s == 24.0] = True
    columns = {name: getattr(found, name) for name in found.columns()}
    assert marks(RPeaks(**{**columns, "reliable": reliable})) == [
        (True, 24.5, 29.5, 30.5),
        (False, 24.5, 40.0, 41.0),
    ]


def steps(cuts, delay_s=10.0, rule=SignalUnusableRule):
    given = batches_of(cuts, beats=beats(20.0, 40.0), contact={"ecg": contact_of([])})
    watch = rule(ContactLossLimit(delay_s=delay_s), Latencies(1.0, 3.0, 0.5))
    return [
        (step.known_s, step.state, step.onset_s, step.end_s, step.cause)
        for batch in given
        for step in watch.push(batch)
    ]


def test_longer_than_the_delay_it_is_a_technical_condition():
    assert steps([60.0]) == [
        (26.0, "pending", 20.0, None, "ecg: beats cannot be told"),
        (30.5, "active", 20.0, None, "hold-off over"),
        (41.0, "latched", 20.0, 40.0, "signal usable again"),
    ]


def test_with_a_short_delay_it_is_active_as_soon_as_told():
    assert steps([60.0], delay_s=3.0)[0] == (
        26.0,
        "active",
        20.0,
        None,
        "ecg: beats cannot be told",
    )


def test_it_is_no_lost_contact():
    assert steps([60.0], rule=ContactLossRule) == []


@pytest.mark.parametrize("seed", range(10))
def test_equal_however_cut(seed):
    assert steps(random_cuts(np.random.default_rng(seed), 60.0)) == steps([60.0])


@pytest.mark.parametrize("every", [1, 2])
def test_p_waves_without_a_beat_that_are_counted_as_beats_are_told(every):
    """A standstill of the ventricles, or a block of every second beat, is not silent."""
    times = beat_times(130, 90.0, seed=6)
    gone = (times > 30.0) & (times < 60.0) & (np.arange(len(times)) % every == 0)
    p_only = times[gone] - 0.12
    ecg = ecg_of(times[~gone], 90.0, 250.0, p_height=0.35, t_height=0.1, p_only=p_only)
    plan = im.Prescription.model_validate(
        {
            "low_heart_rate": {"limit_bpm": 80, "hold_off_s": 5, "average_beats": 8},
            "no_heart_beat": {"limit_s": 3},
            "contact_loss": {"delay_s": 5},
        }
    )
    events = im.review(im.Recording({"ecg": Channel(ecg, 250.0, "mV")}), plan).events
    assert [event.kind for event in events] == ["signal unusable"]
    assert 30.0 <= events[0].onset_s < events[0].known_s < 40.0
