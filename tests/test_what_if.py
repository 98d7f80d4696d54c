"""The what-if table and its picture: counts, delays, the longest pause without alarm, scores."""

import math
import xml.etree.ElementTree as ET

import numpy as np
import pytest

import infantmon as im
from benchmarks.night_scenes import night_of
from infantmon import simulate as sim
from infantmon.errors import ArgumentError
from infantmon.reviewing import variations
from infantmon.what_if import ALL, draw_what_if, longest_unalarmed_s, what_if_table

LENGTHS_S = (12.0, 17.0, 22.0, 27.0)


@pytest.fixture(scope="module")
def night():
    pauses = [sim.Pause(60.0 + 70.0 * k, length) for k, length in enumerate(LENGTHS_S)]
    return sim.simulate_night(sim.Scenario(360.0, 125.0, 50.0, events=tuple(pauses)), 5)


@pytest.fixture(scope="module")
def tried(night):
    plan = im.Prescription(apnea={"limit_s": 20}, contact_loss={"delay_s": 5})
    review = im.review(night.recording, plan)
    plans = [plan, *variations(plan, "apnea.limit_s", [10, 15, 25, 30])]
    return review.findings, im.sweep(review.findings, plans)


@pytest.fixture(scope="module")
def truth(night):
    pauses = night.truth.pauses
    return {"apnea": np.column_stack((pauses.onset_s, pauses.end_s))}


def apneas(table):
    return table[table["kind"] == "apnea"]


@pytest.mark.parametrize("with_ecg", [True, False])
def test_every_row_of_a_sweep_is_the_review_itself_reasons_and_all(with_ecg):
    """A night full of faults; the doubts and most reasons are found once for all plans."""
    recording = night_of(1003)[0].recording
    if not with_ecg:
        recording = im.Recording({"impedance": recording.impedance})
    plans = [
        im.Prescription(
            apnea={"limit_s": limit_s},
            low_heart_rate={"limit_bpm": bpm, "hold_off_s": 5, "average_beats": 8},
            no_heart_beat={"limit_s": 4},
            contact_loss={"delay_s": 5},
        )
        for limit_s in (12.0, 15.0, 20.0, 25.0)
        for bpm in (70.0, 90.0)
    ]
    findings = im.review(recording, plans[-1]).findings
    swept = im.sweep(findings, plans)
    judgements = {event.judgement for _, events in swept for event in events}
    assert judgements == {"supported", "doubtful", "not assessable"}
    for plan, events in swept:
        assert list(events) == list(im.review(recording, plan).events)


def test_a_row_for_every_plan_and_watched_kind_and_one_for_all(tried):
    table = what_if_table(*tried)
    kinds = ["apnea", "contact loss", "signal unusable", ALL]
    assert table["kind"].tolist() == kinds * 5
    assert table["plan"].tolist() == [place for place in range(5) for _ in kinds]
    assert apneas(table)["limits"].tolist()[:2] == ["the first plan", "apnea: limit 10 s"]


def test_events_and_alarms_an_hour(tried):
    table = apneas(what_if_table(*tried))
    assert table["events"].tolist() == [2, 4, 3, 1, 0]
    assert table["events_an_hour"].tolist() == pytest.approx(
        [20.0, 40.0, 30.0, 10.0, 0.0], rel=1e-3
    )
    by_judgement = table[["supported", "doubtful", "not_assessable"]].sum(axis=1)
    assert by_judgement.tolist() == table["events"].tolist()


def test_the_longest_pause_that_was_no_event(tried):
    table = apneas(what_if_table(*tried))
    longest = [17.0, None, 12.0, 22.0, 27.0]  # with a limit of 10 s every pause is an event
    for told, expected in zip(table["longest_unalarmed_s"], longest, strict=True):
        if expected is None:
            assert told < 10.0
        else:
            assert told == pytest.approx(expected, abs=0.3)


def test_the_delay_holds_limit_and_latency(tried):
    findings, swept = tried
    table = apneas(what_if_table(findings, swept))
    latency = findings.chain.latencies.breaths_s
    assert table["longest_delay_s"].tolist()[0] == pytest.approx(20.0 + latency)
    assert table["median_delay_s"].tolist()[1] == pytest.approx(10.0 + latency)
    assert math.isnan(table["median_delay_s"].tolist()[-1])


def test_scores_where_truth_is_given(tried, truth):
    table = apneas(what_if_table(*tried, truth))
    assert table["true"].tolist() == [4] * 5
    assert table["found"].tolist() == [2, 4, 3, 1, 0]
    assert table["sensitivity"].tolist() == [0.5, 1.0, 0.75, 0.25, 0.0]
    assert table["positive_predictivity"].tolist()[:4] == [1.0] * 4
    assert math.isnan(table["positive_predictivity"].tolist()[-1])  # nothing listed: undefined
    low, high = table["sensitivity_low"].tolist(), table["sensitivity_high"].tolist()
    assert all(a < b for a, b in zip(low, high, strict=True))
    assert low[0] == pytest.approx(0.150, abs=1e-3)  # Wilson, 2 of 4


def test_a_false_event_costs_predictivity(tried, truth):
    table = apneas(what_if_table(*tried, {"apnea": truth["apnea"][1:]}))
    assert table["positive_predictivity"].tolist()[1] == 0.75


def test_the_rows_equal_a_review_of_each_plan(night, tried):
    _, swept = tried
    assert len({len(events) for _, events in swept}) > 1, "other limits list other events"
    for plan, events in swept:
        assert events == im.review(night.recording, plan).events


def test_an_unalarmed_pause_may_be_half_covered(tried):
    findings, swept = tried
    none, half = [], [event for event in swept[1][1] if event.length_s > 25.0]
    assert longest_unalarmed_s(findings, none) == pytest.approx(27.0, abs=0.3)
    assert longest_unalarmed_s(findings, half) == pytest.approx(22.0, abs=0.3)


def test_the_picture_is_well_formed_and_shows_every_plan(tried, truth):
    drawing = draw_what_if(what_if_table(*tried, truth), "apnea")
    root = ET.fromstring(drawing.svg)  # noqa: S314 - our own
    texts = "".join(root.itertext())
    assert "apnea: limit 30 s" in texts
    assert "positive predictivity" in texts
    assert "supported: 40.00 an hour" in texts
    assert "<image" not in drawing.svg
    points = [one for one in root.iter() if one.tag.endswith("circle") and one.get("r") == "3"]
    assert len(points) == 5 + 4  # sensitivity of five plans, predictivity of the four with events


def test_without_truth_there_is_nothing_to_score(tried):
    drawing = draw_what_if(what_if_table(*tried))
    assert "sensitivity" not in drawing.svg


def test_wrong_questions_are_refused(tried):
    findings, swept = tried
    with pytest.raises(ArgumentError, match="swept is empty"):
        what_if_table(findings, [])
    with pytest.raises(ArgumentError, match="kinds are"):
        what_if_table(findings, swept, {"sleep": [[0, 1]]})
    with pytest.raises(ArgumentError, match="no row of kind"):
        draw_what_if(what_if_table(findings, swept), "sleep")
    with pytest.raises(ArgumentError, match="too many"):
        draw_what_if(what_if_table(findings, list(swept) * 13))
