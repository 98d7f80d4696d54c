"""Swings that go on in a pause: shallow breathing is doubtful, a pause under pulsation is not."""

from __future__ import annotations

import pytest

import infantmon as im
from infantmon import simulate as sim
from infantmon.recorded.event import recorded_events

LIMITS = im.Prescription(apnea={"limit_s": 10.0}, no_heart_beat={"limit_s": 4.0})
AT_S = [60.0 + 90.0 * n for n in range(14)]
LONG_S = AT_S[-1] + 90.0


def apneas(seed, pulsation, *happen):
    scenario = sim.Scenario(
        LONG_S, 250.0, 62.5, pulsation=sim.PulsationByPhase(pulsation), events=happen
    )
    return im.review(sim.simulate_night(scenario, seed).recording, LIMITS).events.of_kind("apnea")


@pytest.mark.parametrize("share", [0.25, 0.3])
@pytest.mark.parametrize("seed", [1, 2, 3, 4, 5])
def test_breathing_at_a_fraction_of_its_size_is_never_a_supported_apnea(seed, share):
    events = apneas(seed, 0.2, *(sim.ShallowBreathing(at, 30.0, share) for at in AT_S))
    assert events
    assert not [e for e in events if e.judgement == "supported"]


@pytest.mark.parametrize("pulsation", [0.2, 0.8])
def test_a_pause_is_supported_although_the_heart_goes_on_and_slows(pulsation):
    slowing = sim.SlowingInPause(65.0)
    events = apneas(4, pulsation, *(sim.Pause(at, 21.0, slowing) for at in AT_S))
    assert [e.judgement for e in events] == ["supported"] * len(AT_S)


def judged_pause(pulsation, *events, ecg=True):
    """A pause at 60 to 84 s with what else happens: reasons of its apnea, and its measures."""
    scenario = sim.Scenario(
        120.0,
        250.0,
        62.5,
        pulsation=sim.PulsationByPhase(pulsation),
        events=(*events, sim.Pause(60.0, 24.0)),
    )
    recording = sim.simulate_night(scenario, 3).recording
    if not ecg:
        recording = im.Recording({"impedance": recording.impedance})
    listed = recorded_events([(60.0, 84.0, "apnea", "", False)])
    review = im.review(recording, LIMITS, recorded=listed)
    (one,) = review.recorded.judged
    (apnea,) = [e for e in review.events.of_kind("apnea") if e.onset_s > 55.0]
    return apnea.reasons, one.measures


def test_what_could_not_be_used_before_a_pause_is_no_small_breath():
    """20 of the 30 s before it are missing: the pulsation is compared with a breath, not with 0."""
    reasons, measures = judged_pause(0.2, sim.MissingSamples(30.0, 20.0))
    (told,) = [r.text for r in reasons if r.text.startswith("heart pulsation taken out")]
    assert 0.1 < float(told.split(": ")[1].split()[0]) < 0.4
    assert not [r for r in reasons if "effort may have gone on" in r.text]
    assert measures.pulsation_ratio == pytest.approx(0.2, abs=0.1)


@pytest.mark.parametrize("lost", ["not recorded", "lost in the pause", "there"])
def test_without_r_peaks_the_pulsation_that_was_followed_is_told_as_such(lost):
    gone = [sim.MissingSamples(62.0, 24.0, impedance=False)] if lost == "lost in the pause" else []
    reasons, measures = judged_pause(0.2, *gone, ecg=lost != "not recorded")
    (told,) = [r for r in reasons if "pulsation" in r.text]
    assert measures.pulsation_ratio > 0.0
    if lost == "there":
        assert told.side == "for"
        assert told.text.startswith("heart pulsation taken out: 0.")
    else:
        assert told.side == "beside"
        assert told.text.endswith("they come evenly, but no R peaks tell")


def test_without_r_peaks_and_without_a_line_of_the_heart_no_pulsation_is_told():
    """That nothing was taken out says nothing of the heart where nothing could be."""
    reasons, measures = judged_pause(0.0, ecg=False)
    (told,) = [r for r in reasons if "pulsation" in r.text]
    assert told.side == "beside"
    assert told.text.startswith("no reliable R peaks for most of it")
    assert measures.pulsation_ratio is None


def test_pauses_close_to_each_other_are_measured_by_the_breaths_between_them():
    """More than half of the 30 s before each is the pause before: its rest is no breath's size."""
    at_s = [60.0 + 36.0 * n for n in range(12)]
    pauses = [sim.Pause(at, 26.0) for at in at_s]
    scenario = sim.Scenario(
        at_s[-1] + 60.0, 250.0, 62.5, pulsation=sim.PulsationByPhase(0.2), events=tuple(pauses)
    )
    listed = recorded_events([(at, at + 26.0, "apnea", "", False) for at in at_s])
    review = im.review(sim.simulate_night(scenario, 7).recording, LIMITS, recorded=listed)
    events = review.events.of_kind("apnea")
    assert [e.judgement for e in events] == ["supported"] * len(at_s)
    ratios = [one.measures.pulsation_ratio for one in review.recorded.judged]
    assert ratios == pytest.approx([0.09] * len(at_s), abs=0.04)  # as in pauses far apart


@pytest.mark.parametrize(("lost", "judgement"), [(False, "supported"), (True, "doubtful")])
def test_after_a_long_pause_and_three_breaths_those_before_it_count_if_all_could_be_used(
    lost, judgement
):
    events = [sim.Pause(60.0, 28.5), sim.Pause(91.0, 26.0)]
    events += [sim.MissingSamples(50.0, 3.0)] if lost else []
    scenario = sim.Scenario(
        160.0,
        250.0,
        62.5,
        breathing=sim.Breathing(45.0, period_variability=0.05),
        pulsation=sim.PulsationByPhase(0.2),
        events=tuple(events),
    )
    second = im.review(sim.simulate_night(scenario, 5).recording, LIMITS).events.of_kind("apnea")[1]
    breaths = [r.text for r in second.reasons if "in the 30 s before" in r.text]
    assert second.judgement == judgement
    assert breaths == (["only 3 breaths in the 30 s before"] if lost else [])


@pytest.mark.parametrize("heart_bpm", [126.0, 141.0, 174.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_heart_alone_in_a_long_pause_after_few_breaths_is_no_breathing_in_step(heart_bpm, seed):
    """The pause holds more beats than the breathing before it: nothing is learned anew in it."""
    scenario = sim.Scenario(
        75.0,
        250.0,
        62.5,
        heart=sim.Heart(rate_bpm=heart_bpm),
        breathing=sim.Breathing(40.0),
        pulsation=sim.PulsationByPhase(0.1),
        events=(sim.Pause(15.0, 34.0),),
    )
    review = im.review(sim.simulate_night(scenario, seed).recording, LIMITS)
    (apnea,) = review.events.of_kind("apnea")
    assert not review.pulsation.between(20.0, 48.0).locked.any()
    assert apnea.judgement == "supported"


def test_few_breaths_before_are_told_with_the_time_that_was_recorded():
    slow = sim.Breathing(30.0, period_variability=0.05)
    scenario = sim.Scenario(60.0, 250.0, 62.5, breathing=slow, events=(sim.Pause(5.0, 24.0),))
    (apnea,) = im.review(sim.simulate_night(scenario, 3).recording, LIMITS).events.of_kind("apnea")
    (told,) = [reason.text for reason in apnea.reasons if reason.side == "against"]
    assert told.startswith("only ")
    assert told.endswith(f" in the {apnea.onset_s:.0f} s before")
    assert apnea.onset_s < 6.0
