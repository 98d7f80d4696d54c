"""Hours by day, days free of events, the what-if table, and pages without identity."""

from __future__ import annotations

import dataclasses
import json
import re
import tempfile
from datetime import date, datetime
from pathlib import Path

import numpy as np
import pytest
from invented_review import InventedReview, invented_review

from infantmon import ArgumentError, Event, Prescription, PrescriptionError, review
from infantmon.model.spans import Reason, Spans
from infantmon.report.cautions import BLIND_SPOT
from infantmon.report.days import DAY_S, days_of, event_free_text
from infantmon.report.extremes import extremes_of
from infantmon.report.identity import recording_without_identity
from infantmon.report.page import review_page
from infantmon.report.published import PUBLISHED, published_for
from infantmon.report.what_if import changes_text, what_if_of
from infantmon.report.words import time_text
from infantmon.reviewing import variations
from infantmon.simulate import demo_scenario, simulate_night

PLAN = Prescription(
    apnea={"limit_s": 20}, low_heart_rate={"limit_bpm": 80, "hold_off_s": 2, "average_beats": 4}
)


def spans(*rows: tuple[float, float, Reason]) -> Spans:
    starts, ends, why = zip(*rows, strict=True) if rows else ((), (), ())
    return Spans(
        np.array(starts, dtype=float),
        np.array(ends, dtype=float),
        np.array([int(w) for w in why], dtype=np.int64),
    )


def three_days(*events: Event, plan: Prescription = PLAN) -> InventedReview:
    """Return a review of 2.5 days; the ECG is lost for 16 h of the second."""
    second = DAY_S
    contact = {
        "ecg": spans(
            (second - 1800.0, second + 16 * 3600.0, Reason.FLAT),
            (2 * DAY_S + 5.0, 2 * DAY_S + 65.0, Reason.NOT_FINITE),
            (100.0, 200.0, Reason.MOVEMENT),
        ),
        "impedance": spans(),
    }
    made = invented_review(1800.0)
    return dataclasses.replace(
        made, recorded_s=2.5 * DAY_S, contact=contact, events=events, plan=plan
    )


def test_lost_hours_fall_on_their_day_with_the_reason() -> None:
    days = days_of(three_days())
    ecg = [row.channels[0] for row in days.rows]
    assert [channel.usable_s / 3600 for channel in ecg] == [23.5, 8.0, 12.0 - 1.0 / 60.0]
    assert [channel.reasons for channel in ecg] == [
        "flat signal 30 min 00 s",
        "flat signal 16 h 00 min",
        "invalid samples 1 min 00 s",
    ]
    assert [row.channels[1].lost_s for row in days.rows] == [0.0, 0.0, 0.0]


def test_a_day_counts_only_with_enough_usable_hours() -> None:
    """8.0 h of the second day and 11.98 h of the third could be used."""
    verdicts = {
        hours: [row.verdict for row in days_of(three_days(), hours).rows]
        for hours in (8.0, 8.1, 11.99)
    }
    free, short = "free of events", "not enough recorded"
    assert verdicts == {
        8.0: [free, free, free],
        8.1: [free, short, free],
        11.99: [free, short, short],
    }


def test_an_event_of_any_judgement_takes_its_days_and_technical_ones_do_not() -> None:
    over_midnight = Event(1, "apnea", DAY_S - 10.0, DAY_S + 10.0, end_s=DAY_S + 15.0)
    technical = Event(2, "contact loss", 2 * DAY_S + 50.0, 2 * DAY_S + 60.0, end_s=2 * DAY_S + 70.0)
    days = days_of(three_days(over_midnight, technical))
    assert [row.verdict for row in days.rows] == ["with events", "with events", "free of events"]
    assert days.rows[2].kinds == (("contact loss", 1),)
    assert days.sentence == "Of 3 days: 1 free of events, 2 with events"


def test_an_open_event_reaches_to_the_end() -> None:
    days = days_of(three_days(Event(1, "apnea", 1000.0, 1023.0)))
    assert [row.verdict for row in days.rows] == ["with events"] * 3


def test_only_channels_behind_watched_kinds_have_to_be_usable() -> None:
    plan = Prescription(apnea={"limit_s": 20})
    assert days_of(three_days(plan=plan)).rows[1].verdict == "free of events"
    nothing = days_of(three_days(plan=Prescription(contact_loss={"delay_s": 5})))
    assert nothing.rows[0].verdict == "not enough recorded"
    assert event_free_text(nothing).startswith("No breathing or heart condition is watched")


def test_a_channel_that_was_not_recorded_is_not_enough() -> None:
    made = three_days()
    alone = dataclasses.replace(made, contact={"impedance": made.contact["impedance"]})
    assert days_of(alone).rows[0].verdict == "not enough recorded"


@pytest.mark.parametrize("hours", [-1.0, 24.5, float("nan")])
def test_hours_that_cannot_be_are_refused(hours: float) -> None:
    with pytest.raises(ArgumentError, match="least_hours"):
        days_of(three_days(), hours)


def test_page_shows_setting_and_blind_spot_beside_the_count() -> None:
    page = review_page(three_days(), least_hours=8.1)
    assert "Of 3 days: 2 free of events, 1 not enough recorded" in page
    assert "usable for 8.10 h or more" in page
    assert BLIND_SPOT[1:] in page


# What-if -----------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def night():
    recording = simulate_night(demo_scenario(), seed=5).recording
    plan = Prescription(
        apnea={"limit_s": 20},
        contact_loss={"delay_s": 5},
        infant={
            "label": "Ann Invented",
            "born_on": date(2031, 1, 2),
            "postmenstrual_age_weeks": 44,
        },
        prescriber={"name": "Dr. Madeup", "note": "by telephone"},
    )
    named = dataclasses.replace(
        recording,
        name="ann",
        started_at=datetime(2031, 3, 1, 22, 15),  # noqa: DTZ001 - local time
        notes=("segment ann_0003 is shorter than the record says",),
    )
    named.channels["ecg"].name = "lead one"
    return review(named, plan)


def test_variations_change_one_limit_and_nothing_else() -> None:
    first, second = variations(PLAN, "low_heart_rate.limit_bpm", [60, 70])
    assert (first.low_heart_rate.limit_bpm, second.low_heart_rate.limit_bpm) == (60.0, 70.0)
    assert first.apnea == PLAN.apnea
    assert first.low_heart_rate.average_beats == 4
    with pytest.raises(ArgumentError, match=r"'apnea.limit'; this prescription has apnea.limit_s"):
        variations(PLAN, "apnea.limit", [10])
    with pytest.raises(PrescriptionError):
        variations(PLAN, "apnea.limit_s", [1])


def test_what_if_counts_what_a_review_under_those_limits_would_list(night) -> None:
    tried = variations(night.plan, "apnea.limit_s", [10, 30])
    table = what_if_of(
        night.plan, night.events, [(p, review(night.recording, p).events) for p in tried]
    )
    page = night_page(night, tried)
    apneas = [len(review(night.recording, p).events.of_kind("apnea")) for p in tried]
    assert [row.counts[0][0] for row in table.rows] == [len(night.events.of_kind("apnea")), *apneas]
    assert apneas[0] > apneas[1]
    assert [row.changed for row in table.rows[1:]] == ["apnea: limit 10 s", "apnea: limit 30 s"]
    assert "recommends no limit" in page
    assert page.count('data-label="apnea"') == 3


def test_without_other_limits_there_is_no_table(night) -> None:
    assert what_if_of(night.plan, night.events, ()) is None
    assert "what-if-head" not in night_page(night, ())


def test_a_kind_that_a_row_does_not_watch_is_said(night) -> None:
    other = Prescription(no_heart_beat={"limit_s": 4})
    assert changes_text(night.plan, other) == (
        "no heart beat: limit 4 s; apnea: not watched; contact loss: not watched"
    )
    assert "not watched</td>" in night_page(night, [other])


def night_page(night, tried, *, identity: bool = False) -> str:
    with tempfile.TemporaryDirectory() as folder:
        night.to_html(Path(folder) / "page.html", what_if=tried, identity=identity)
        return (Path(folder) / "page.html").read_text(encoding="utf-8")


# Identity ----------------------------------------------------------------------------------------

TELLING = ("ann", "Ann", "Madeup", "telephone", "2031", "22:15", "22:30")


def told(text: str) -> list[str]:
    return [word for word in TELLING if re.search(rf"(?<![^\W_]){word}(?![^\W_])", text)]


def test_nothing_telling_is_left(night, tmp_path) -> None:
    full, bare = night_page(night, (), identity=True), night_page(night, ())
    assert told(full) == list(TELLING)
    assert told(bare) == []
    assert "44 weeks postmenstrual age" in bare
    assert "shown without names and dates" in bare
    assert "Who set the limits is not shown here" in bare
    assert "segment recording_0003 is shorter" in bare
    assert "lead one" in bare
    night.to_json(tmp_path / "events.json")
    text = (tmp_path / "events.json").read_text()
    assert told(text) == []
    night.to_json(tmp_path / "full.json", identity=True)
    assert "Dr. Madeup" in (tmp_path / "full.json").read_text()
    assert json.loads(text)["notice"]


def test_events_and_days_do_not_change_with_identity(night) -> None:
    bare = night.without_identity()
    assert bare.events == night.events
    assert days_of(bare) == days_of(night)
    assert night.recording.name == "ann"


def test_names_of_joined_recordings_are_taken_out_of_the_notes(night) -> None:
    notes = ("mon begins 0.400 s before sun ends", "sun: monday is no name", "no ecg in mon, sun")
    joined = dataclasses.replace(night.recording, name="sun + mon", notes=notes)
    assert recording_without_identity(joined).notes == (
        "recording 2 begins 0.400 s before recording 1 ends",
        "recording 1: monday is no name",
        "no ecg in recording 2, recording 1",
    )


# The whole recording -----------------------------------------------------------------------------


def test_extremes_count_usable_time_only() -> None:
    made = invented_review()
    rows = {row.words.split(",")[0]: row for row in extremes_of(made)}
    heart, pause = rows["averaged heart rate"], rows["time from breath to breath"]
    inside = made.contact["ecg"].blocking
    usable = [
        (bpm, time_s)
        for time_s, bpm in zip(made.heart_rate.time_s, made.heart_rate.heart_rate_bpm, strict=True)
        if not any(a <= time_s < b for a, b in zip(inside.start_s, inside.end_s, strict=True))
    ]
    lowest, at_s = min(usable)
    assert heart.smallest == f"{lowest:.0f} at {time_text(at_s)}"
    assert heart.largest.startswith(f"{max(usable)[0]:.0f} at ")
    assert pause.largest == "24.0 s at 0:05:00.0; 31.0 s at 0:15:00.0 (event 3, doubtful)"
    sure = [dataclasses.replace(one, judgement="supported") for one in made.events]
    (_, _, pause) = extremes_of(dataclasses.replace(made, events=tuple(sure)))
    assert pause.largest == "31.0 s at 0:15:00.0"


def test_extremes_of_nothing() -> None:
    alone = invented_review(roles=("impedance",))
    assert [row.words for row in extremes_of(alone)] == [
        "breaths in each minute",
        "time from breath to breath",
    ]
    silent = dataclasses.replace(alone, breaths=alone.breaths.between(0.0, 0.0))
    assert extremes_of(silent)[1].middle == "nothing to tell"


def test_published_figures_have_a_source_and_stand_only_beside_what_is_watched() -> None:
    assert all(one.source and one.population for one in PUBLISHED)
    assert {one.kind for one in published_for(("apnea",))} == {"any event", "apnea"}
    page = review_page(three_days())
    assert "Ramanathan et al., JAMA 2001" in page
    assert "Fleming" not in page  # no limit on a high rate is set
    assert "say nothing about what is right for one infant" in page
