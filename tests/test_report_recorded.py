"""Recorded events and readers' decisions on the review page: all shown, nothing counted twice."""

from __future__ import annotations

import dataclasses
import json

import pytest
from invented_review import InventedReview, invented_review
from recorded_review import ROWS, listed_in, recorded_review
from test_report_page import Outline

import infantmon as im
from infantmon.recorded.decisions import Decision, Decisions, key_of
from infantmon.recorded.event import recorded_events
from infantmon.report.decided import key_text
from infantmon.report.page import review_page
from infantmon.report.recorded_strips import measure_texts, recorded_strip_of
from infantmon.simulate import demo_scenario, simulate_night

PLAN = im.Prescription(apnea={"limit_s": 20}, contact_loss={"delay_s": 5})


@pytest.fixture(scope="module")
def review() -> InventedReview:
    return recorded_review()


@pytest.fixture(scope="module")
def outline(review: InventedReview) -> Outline:
    return Outline(review_page(review))


def articles(outline: Outline) -> dict[str, dict[str, str | None]]:
    return {a["id"]: a for tag, a in outline.tags if tag == "article"}


def test_every_recorded_event_has_a_row_and_an_article_with_its_judgement(
    review: InventedReview, outline: Outline
) -> None:
    rows = [a["data-row"] for tag, a in outline.tags if tag == "tr" and "data-row" in a]
    assert rows == ["1", "2", "3", "4", "6", "7", "8"]
    assert [name for name in articles(outline) if name.startswith("row-")] == [
        f"row-{row}" for row in rows
    ]
    judged = [one.judgement for one in review.recorded.judged]
    assert judged == [
        "supported",
        "doubtful",
        "not found",
        "not assessable",
        "not found",
        "not assessable",
        "not assessable",
    ]
    for one in review.recorded.judged:
        assert f"Row {one.recorded.row}: recorded as {one.recorded.kind}" in outline.text
        for reason in one.reasons:
            assert reason.text in outline.text


def test_the_count_leaves_test_periods_out_and_says_so(outline: Outline) -> None:
    text = outline.text
    assert "Of 7 recorded: 1 supported, 1 doubtful, 3 not assessable, 2 not found." in text
    assert "Known-input test periods, counted nowhere: row 5 (0:23:20.0 to 0:24:20.0)." in text


def test_events_found_beside_the_list_stand_apart(review: InventedReview, outline: Outline) -> None:
    beside = outline.text.partition("Found beside them")[2].partition("What is wrong")[0]
    assert [event.number for event in review.recorded.beside] == [2, 4, 5]
    for number in (2, 4, 5):
        assert f"event {number} :" in beside or f"event {number}:" in beside
    assert "event 1" not in beside
    assert outline.text.count("not in the recorded list") == 3
    assert outline.text.count("recorded in row 1") == 1


def test_what_is_wrong_with_the_list_is_told_by_row(
    review: InventedReview, outline: Outline
) -> None:
    assert len(review.recorded.faults) >= 3
    for fault in review.recorded.faults:
        assert fault in outline.text


def test_a_strip_draws_the_recorded_span_and_what_was_found_in_it(review: InventedReview) -> None:
    strip = recorded_strip_of(review, review.recorded.judged[0])
    own, found = strip.bars
    assert (own.words, own.style) == ("recorded as apnea, 24.5 s", "own")
    assert (found.words, found.style) == ("found: event 1: apnea, 24.0 s", "linked")
    assert [moment.words for moment in strip.moments] == ["recorded onset", "recorded end"]
    ((left, width),) = strip.extent
    assert left == pytest.approx(strip.window.x(300.0))
    assert left + width == pytest.approx(strip.window.x(324.5))
    assert (strip.window.start_s, strip.window.end_s) == (290.0, 334.5)


def test_a_row_without_a_place_has_no_strip_and_one_without_an_end_has_a_moment(
    review: InventedReview, outline: Outline
) -> None:
    by_row = {one.recorded.row: one for one in review.recorded.judged}
    assert recorded_strip_of(review, by_row[7]) is None
    assert outline.text.count("No strip: no signals were kept where it was listed.") == 2
    strip = recorded_strip_of(review, by_row[6])
    assert [moment.words for moment in strip.moments] == ["recorded onset"]


def test_measures_are_told_both_ways_with_units() -> None:
    night = simulate_night(dataclasses.replace(demo_scenario(), duration_s=560.0), seed=1).recording
    listed = recorded_events([(480, 503, "apnea", "", False)])
    judged = im.review(night, PLAN, recorded=listed).recorded.judged[0]
    told = dict(measure_texts(judged.measures))
    m = judged.measures
    assert told["longest pause"] == (
        f"mark to mark {m.longest_pause_s:.1f} s, without effort {m.effort_free_s:.1f} s"
    )
    assert told["averaged heart rate"] == (
        f"lowest {m.lowest_bpm:.0f}/min, highest {m.highest_bpm:.0f}/min"
    )
    assert told["heart's pulsation"] == f"{m.pulsation_ratio:.2f} of a breath of the 30 s before"
    assert told["contact: not usable for"] == "ECG 0 %, chest impedance 0 %"
    nothing = dataclasses.replace(
        m, longest_pause_s=None, effort_free_s=None, lowest_bpm=None, unusable={}
    )
    told = dict(measure_texts(nothing))
    assert told["longest pause"] == "mark to mark cannot be told, without effort cannot be told"
    assert told["contact: not usable for"] == "cannot be told"


def test_decisions_stand_beside_the_judgement_and_a_conflict_is_shown(outline: Outline) -> None:
    text = outline.text
    assert "real, by reader A on " in text
    assert "note: steady before and after" in text
    assert "the decisions differ; none is put over another" in text
    assert "apnea at 0:05:00.0: reader A: real; reader B: cannot tell" in text
    assert "3 decisions by reader A, reader B" in text
    assert text.count("1 supported, 1 doubtful, 3 not assessable, 2 not found") == 1


def test_a_decision_about_no_event_of_the_page_is_told(review: InventedReview) -> None:
    stray = Decision("apnea", 12.0, 33.0, "other night", "artefact", "reader C")
    told = dataclasses.replace(review, decisions=Decisions([stray]))
    text = Outline(review_page(told)).text
    assert "excerpt other night, apnea at 0:00:12.0: artefact, by reader C" in text


def test_every_event_can_be_decided_and_its_key_is_exact(
    review: InventedReview, outline: Outline
) -> None:
    found = {f"event-{event.number}": event for event in review.events}
    listed = {f"row-{one.recorded.row}": one.recorded for one in review.recorded.judged}
    told = articles(outline)
    assert set(told) == {*found, *listed}
    for name, event in (found | listed).items():
        key = json.loads(told[name]["data-decide"])
        made = Decision(**key, decision="real", by="x")
        assert made.key == key_of(event)
    assert json.loads(key_text(listed["row-6"]))["end_s"] is None


def test_without_a_list_nothing_of_it_is_shown() -> None:
    outline = Outline(review_page(invented_review()))
    assert "Recorded events" not in outline.text
    assert "not in the recorded list" not in outline.text
    assert not any(name.startswith("row-") for name in articles(outline))


def test_an_empty_list_is_told_and_links_lead_somewhere(outline: Outline) -> None:
    empty = Outline(review_page(listed_in(invented_review(), recorded_events([]))))
    assert "Of 0 recorded: 0 supported" in empty.text
    assert "The list holds no event to judge." in empty.text
    for page in (outline, empty):
        ids = page.values("id")
        assert len(ids) == len(set(ids))
        assert {link[1:] for link in page.values("href") if link.startswith("#")} <= set(ids)


def test_hostile_text_of_list_and_decisions_is_shown_as_text() -> None:
    hostile = '"><script>alert("x")</script><img src=x>'
    rows = [(300.0, 324.5, "apnea", hostile, False), (400.0, 410.0, hostile, hostile, False)]
    review = listed_in(invented_review(), recorded_events(rows))
    made = [Decision("apnea", 300.0, 324.5, hostile, "real", hostile, hostile)]
    made += [Decision(hostile, 1.0, None, hostile, "artefact", hostile, hostile)]
    outline = Outline(review_page(dataclasses.replace(review, decisions=Decisions(made))))
    tags = [tag for tag, _ in outline.tags]
    assert tags.count("script") == 1
    assert "img" not in tags
    assert json.loads(articles(outline)["row-1"]["data-decide"])["recording"] == hostile
    assert outline.text.count(hostile) >= 6


def test_without_identity_neither_names_nor_notes_nor_dates_are_shown(tmp_path) -> None:
    scenario = dataclasses.replace(demo_scenario(), duration_s=560.0)
    night = dataclasses.replace(simulate_night(scenario, seed=1).recording, name="susie")
    rows = [(480, 503, "apnea", "susie", False), (485, 500, "apnea", "susie", False)]
    decisions = Decisions()
    listed = recorded_events(rows)
    decisions.add(listed[0], "real", by="Dr Invented", note="private words")
    review = im.review(night, PLAN, recorded=listed, decisions=decisions)
    review.to_html(tmp_path / "a.html")
    page = (tmp_path / "a.html").read_text(encoding="utf-8")
    for word in ("susie", "Dr Invented", "private words", decisions.readers[0]):
        assert word not in page
    assert "real, by reader 1" in Outline(page).text
    assert "on 20" not in Outline(page).text
    review.to_html(tmp_path / "b.html", identity=True)
    named = Outline((tmp_path / "b.html").read_text(encoding="utf-8")).text
    assert "real, by Dr Invented on 20" in named
    assert "note: private words" in named


def test_decisions_given_to_a_review_are_copied() -> None:
    night = simulate_night(dataclasses.replace(demo_scenario(), duration_s=560.0), seed=1).recording
    given = Decisions()
    review = im.review(night, PLAN, decisions=given)
    review.decide(review.events[0], "real", by="x")
    assert (len(given), len(review.decisions)) == (0, 1)
    with pytest.raises(im.ArgumentError, match="decisions is a list"):
        im.review(night, PLAN, decisions=[])


def test_a_recorded_event_can_be_drawn_alone() -> None:
    night = simulate_night(dataclasses.replace(demo_scenario(), duration_s=560.0), seed=1).recording
    listed = recorded_events([(480, 503, "apnea", "", False), (900, 920, "apnea", "", False)])
    review = im.review(night, PLAN, recorded=listed)
    drawing = review.plot(listed[0])
    assert drawing.title == "row 1: apnea, supported"
    assert "recorded as apnea, 23.0 s" in drawing.svg
    assert drawing.svg.startswith("<svg")
    assert drawing.svg.endswith("</svg>")
    with pytest.raises(im.ArgumentError, match=r"row 2 has no place in the recording \(0 to 560 s"):
        review.plot(listed[1])
    with pytest.raises(im.ArgumentError, match="pass one that this review has judged"):
        im.review(night, PLAN).plot(listed[0])


def test_rows_of_the_fixture_are_all_on_the_page(review: InventedReview) -> None:
    assert len(review.recorded.judged) + len(review.recorded.tests) == len(ROWS)
