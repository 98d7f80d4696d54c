"""What the published probability of apnea says of an event: each clause in plain words."""

import math

import numpy as np
import pytest

import infantmon as im
from infantmon import simulate as sim
from infantmon.events.batch import Batch
from infantmon.events.case import Case
from infantmon.events.evidence_breathing import OPINION_LAG_S, second_opinion
from infantmon.events.history import History
from infantmon.model.event import Event
from infantmon.model.marks import ApneaProbabilities, Breaths, Pulsations, RPeaks

ONSET_S, END_S = 100.0, 122.0
JUDGED_S = END_S - ONSET_S - 2.0  # a probability counts over the 2 s before it


def probabilities(share, *, value=0.9):
    """Telling rows for a share of what can be judged of the event, four a second."""
    time_s = ONSET_S + 2.0 + 0.25 * np.arange(round(4.0 * JUDGED_S * share))
    same = np.full(len(time_s), value)
    return ApneaProbabilities(time_s, time_s + 4.4, same, same, np.ones(len(time_s), dtype=bool))


def opinion(found, *, led=True, known_s=200.0):
    time_s = np.arange(60.0, 140.0)
    ones, flags = np.ones(len(time_s)), np.full(len(time_s), True)
    pulsation = Pulsations(time_s, time_s + 2.0, 0.1 * ones, ones, flags & led, ~flags, ~flags)
    history = History()
    history.add(
        Batch(
            r_peaks=RPeaks.empty(),
            breaths=Breaths.empty(),
            pulsation=pulsation,
            second_beats=RPeaks.empty(),
            contact={},
            reached_s=200.0,
            apnea_probability=found,
        )
    )
    event = Event(1, "apnea", ONSET_S, 123.0, END_S)
    until_s = min(END_S, known_s)
    case = Case(event, assessable=True, until_s=until_s, known_s=known_s, history=history)
    return [(reason.side, reason.text) for reason in second_opinion(case)]


@pytest.mark.parametrize(
    ("share", "led", "side"),
    [
        (1.0, True, "for"),
        (0.5, True, "for"),
        (0.45, True, "beside"),
        (0.1, True, "beside"),
        (0.05, True, "against"),
        (0.0, True, "against"),
        (0.0, False, "beside"),
        (0.6, False, "for"),
    ],
)
def test_its_side_follows_from_its_share_of_the_event(share, led, side):
    ((found, text),) = opinion(probabilities(share), led=led)
    assert found == side
    assert f"above 0.1 for {100 * share:.0f} % of it" in text


@pytest.mark.parametrize(("share_before", "side"), [(0.0, "for"), (0.8, "for"), (0.95, "beside")])
def test_it_tells_nothing_where_it_agreed_with_the_breathing_before_as_well(share_before, side):
    before_s = ONSET_S - 0.25 * np.arange(round(4.0 * 30.0 * share_before), 0, -1)
    time_s = np.concatenate([before_s, probabilities(1.0).time_s])
    same = np.full(len(time_s), 0.9)
    found = ApneaProbabilities(time_s, time_s + 4.4, same, same, np.ones(len(time_s), dtype=bool))
    ((told, text),) = opinion(found)
    assert told == side
    assert text.endswith("but of the 30 s before as well") is (side == "beside")


def test_where_too_few_samples_could_be_used_there_is_none():
    ((side, text),) = opinion(probabilities(0.6, value=math.nan))
    assert side == "beside"
    assert text == "no second opinion: too few samples could be used"


def test_only_what_is_known_by_then_counts():
    """Known 5 s later at most: at 108 s it covers one second, at 112 s five."""
    assert opinion(probabilities(1.0), known_s=108.0) == []
    ((side, text),) = opinion(probabilities(1.0), known_s=112.0)
    assert side == "for"
    assert "100 %" in text


@pytest.mark.parametrize(
    ("ecg_hz", "impedance_hz"), [(100.0, 20.0), (125.0, 25.0), (1000.0, 500.0)]
)
def test_the_chain_knows_it_as_soon_as_the_evidence_counts_on(ecg_hz, impedance_hz):
    plan = im.Prescription(apnea={"limit_s": 20})
    made = im.Monitor(plan, ecg_hz=ecg_hz, impedance_hz=impedance_hz)
    assert made.latency_budget_s["impedance second opinion"] <= OPINION_LAG_S


def test_the_chain_brings_it_to_simulated_apneas():
    """A clear pause of 25 s."""
    scenario = sim.Scenario(
        300.0,
        ecg_hz=250.0,
        impedance_hz=62.5,
        pulsation=sim.PulsationInTime(0.3),
        events=(sim.Pause(200.0, 25.0),),
    )
    night = sim.simulate_night(scenario, 3)
    review = im.review(night.recording, im.Prescription(apnea={"limit_s": 20}))
    (event,) = review.events
    (reason,) = [r for r in event.reasons if r.text.startswith("second opinion")]
    assert reason.side == "for"


def test_minutes_after_a_loose_electrode_it_speaks_for_no_apnea():
    """Its slow envelope is too large then, and it takes all breathing for apnea."""
    events = (sim.LooseElectrode(100.0, 40.0), sim.Pause(200.0, 25.0))
    scenario = sim.Scenario(300.0, ecg_hz=250.0, impedance_hz=62.5, events=events)
    night = sim.simulate_night(scenario, 3)
    review = im.review(night.recording, im.Prescription(apnea={"limit_s": 20}))
    (event,) = [one for one in review.events if one.onset_s > 190.0]
    (reason,) = [r for r in event.reasons if r.text.startswith("second opinion")]
    assert (event.judgement, reason.side) == ("supported", "beside")
