"""A slow or fast heart that an unusable stretch cuts in two: each clause in plain words."""

import numpy as np
from made_findings import Stretch, batches_of, beats_at, contact_of

import infantmon as im
from infantmon import simulate as sim
from infantmon.events.batch import Latencies
from infantmon.events.heart_rate_limits import HighHeartRateRule, LowHeartRateRule
from infantmon.model.prescription import HeartRateLimit

LAG_S = 1.0
LOST = Stretch(64.4, 65.6, 68.0, 68.5)


def beats(slow_s=0.8, usual_s=0.4, *, first=60.0, last=72.0):
    """Usual beats, and others between two times."""
    before, inside = np.arange(0.0, first, usual_s), np.arange(first, last + 1e-9, slow_s)
    after = np.arange(inside[-1] + usual_s, 100.0, usual_s)
    times = np.round(np.concatenate((before, inside, after)), 3)
    return times[(times < LOST.since) | (times > LOST.end)]


def events(times, *, stretch=LOST, kind=LowHeartRateRule, limit=100.0, averaged=1):
    """Onset, end and whether it could be assessed, of what went active."""
    rule = kind(
        HeartRateLimit(limit_bpm=limit, hold_off_s=5.0, average_beats=averaged),
        Latencies(LAG_S, 3.0, 0.5),
    )
    marks = {"ecg": contact_of([stretch])}
    (batch,) = batches_of([100.0], beats=beats_at(times, times + LAG_S), contact=marks)
    steps = rule.push(batch)
    active = [k for k, step in enumerate(steps) if step.state == "active"]
    ends = [next(s for s in steps[k:] if s.end_s is not None) for k in active]
    return [(round(e.onset_s, 1), round(e.end_s, 1), e.assessable) for e in ends]


def test_two_short_parts_are_one_event_that_is_not_assessable():
    """Slow from 60 s on, lost at 64.4 to 68.0 s, slow until 72 s; hold-off 5 s."""
    assert events(beats()) == [(60.6, 72.4, False)]


def test_a_part_that_lasts_is_an_event_of_its_own():
    """Slow until 76 s: what follows the stretch is enough, and can be assessed."""
    ((onset, end, assessable),) = events(beats(last=76.0))
    assert onset > LOST.end
    assert (end, assessable) == (76.4, True)


def test_back_at_the_limit_when_it_is_known_again_it_is_over():
    assert events(beats(last=66.0)) == []


def test_not_over_a_hole_of_the_recording():
    hole = Stretch(64.4, 65.6, 68.0, 68.5, missing=True)
    assert events(beats(), stretch=hole) == []


def test_without_a_stretch_two_short_parts_are_two():
    twice = np.concatenate((beats(last=63.0)[:-20], beats(first=70.0, last=73.0)))
    assert events(np.unique(twice), stretch=Stretch(90.0, 91.2, 92.0, 92.5)) == []


def test_a_fast_heart_likewise():
    """Averaged over four intervals, so that no beat for 1.2 s is needed to end it."""
    fast = beats(slow_s=0.25, usual_s=0.5, last=71.0)
    found = events(fast, kind=HighHeartRateRule, limit=200.0, averaged=4)
    ((onset, end, assessable),) = found
    assert 60.5 <= onset <= 61.5
    assert 71.0 <= end <= 73.0
    assert not assessable


def test_it_stands_in_the_review_with_its_reason():
    scenario = sim.Scenario(
        240.0,
        ecg_hz=250.0,
        impedance_hz=62.5,
        events=(
            sim.Bradycardia(120.0, 60.0, ramp_s=2.0, hold_s=9.0, return_s=2.0),
            sim.MissingSamples(124.5, 3.0),
        ),
    )
    limits = {"limit_bpm": 80, "hold_off_s": 6, "average_beats": 1}
    plan = im.Prescription(low_heart_rate=limits)
    review = im.review(sim.simulate_night(scenario, 3).recording, plan)
    (event,) = review.events.of_kind("low heart rate")
    assert event.judgement == "not assessable"
    assert any("only by counting time in which the ECG" in r.text for r in event.reasons)
