"""JSON and plain text: every event with all its fields, the notice, and no NaN."""

from __future__ import annotations

import dataclasses
import json
import math
from pathlib import Path

import numpy as np
import pytest
from invented_review import events, invented_review

from infantmon.model.event import Event, Evidence
from infantmon.report.cautions import NOTICE
from infantmon.report.export import events_as_json, finite, write_json
from infantmon.report.table import event_table_text
from infantmon.report.words import (
    clock_text,
    extreme_text,
    hours_text,
    length_text,
    main_reason,
    named_value_text,
    share_text,
    time_text,
)


def refuse(constant: str) -> float:
    raise AssertionError(constant)


def test_json_holds_notice_limits_and_every_field_of_every_event() -> None:
    review = invented_review()
    read = json.loads(events_as_json(review), parse_constant=refuse)
    assert read["notice"] == NOTICE
    assert read["prescription"]["apnea"] == {"limit_s": 20.0}
    assert read["not_watched"] == list(review.plan.not_watched)
    without_ecg = json.loads(events_as_json(invented_review(roles=("impedance",))))
    assert without_ecg["not_watched"] == [*read["not_watched"], "low heart rate", "high heart rate"]
    assert len(read["events"]) == len(review.events)
    names = {field.name for field in dataclasses.fields(Event)} | {"assessable", "length_s"}
    for written, event in zip(read["events"], review.events, strict=True):
        assert set(written) == names
        assert written["onset_s"] == event.onset_s
        assert written["limits"] == dict(event.limits)
        assert [reason["text"] for reason in written["reasons"]] == [r.text for r in event.reasons]
    assert read["events"][-1]["end_s"] is None
    assert read["excursions"][0]["kind"] == "apnea"
    assert read["recording"]["unusable"]["ecg"][0]["reason"] == "flat signal"


def test_json_never_holds_nan() -> None:
    odd = dataclasses.replace(events()[1], lowest_bpm=math.nan, highest_bpm=math.inf)
    review = dataclasses.replace(
        invented_review(), events=(odd,), usable_s={"ecg": np.float64("nan")}
    )
    text = events_as_json(review)
    assert "NaN" not in text
    assert "Infinity" not in text
    read = json.loads(text, parse_constant=refuse)
    assert read["events"][0]["lowest_bpm"] is None
    assert read["recording"]["usable_s"] == {"ecg": None}


def test_finite_turns_numpy_numbers_into_plain_ones() -> None:
    plain = finite({"a": (np.int64(3), np.bool_(True)), "b": np.float64(0.5), 1: "x"})
    assert plain == {"a": [3, True], "b": 0.5, "1": "x"}
    assert [type(item) for item in plain["a"]] == [int, bool]


def test_json_file_is_the_same_text(tmp_path: Path) -> None:
    review = invented_review()
    write_json(review, tmp_path / "review.json")
    assert (tmp_path / "review.json").read_text(encoding="utf-8") == events_as_json(review) + "\n"


@pytest.mark.parametrize("width", [30, 45, 60, 76, 80, 100, 120, 200])
def test_table_fits_its_width_and_holds_every_event(width: int) -> None:
    text = event_table_text(events(), width)
    assert all(len(line) <= width for line in text.splitlines())
    words = " ".join(text.split())
    for event in events():
        assert time_text(event.onset_s) in words
        assert main_reason(event).split()[-1] in words
    assert words.count("supported") == 2


def test_table_of_80_characters_has_one_line_of_columns_an_event() -> None:
    lines = event_table_text(events(), 80).splitlines()
    assert lines[0].split() == ["event", "onset", "length", "kind", "judgement", "rate", "linked"]
    assert lines[4].split() == [
        "2",
        "0:15:20.1",
        "15.0",
        "s",
        "low",
        "heart",
        "rate",
        "supported",
        "61/min",
        "3",
    ]
    assert len(lines) == 2 + 2 * len(events())


def test_empty_table_and_hostile_reason() -> None:
    assert event_table_text((), 80) == "No event in the list."
    hostile = dataclasses.replace(events()[0], reasons=(Evidence("\x1b[31m[red]", "for"),))
    text = event_table_text((hostile,), 120)
    assert "\x1b" not in text
    assert "[red]" in text


def test_main_reason_is_the_one_that_decided() -> None:
    assert [main_reason(event) for event in events()] == [
        "no breath for 24.0 s, limit 20 s",
        "17 beats, all alike, lowest averaged rate 61 a minute",
        "2 small swings inside that are not locked to the heart",
        "impedance flat and out of range",
        "open at the end",
    ]
    assert main_reason(Event(1, "apnea", 0.0, 20.0)) == ""


def test_times_and_lengths_in_words() -> None:
    assert [time_text(t) for t in (0, 59.96, 3725.04, -2, math.nan)] == [
        "0:00:00.0", "0:01:00.0", "1:02:05.0", "-0:00:02.0", "?",
    ]  # fmt: skip
    assert time_text(86399.6, tenths=False) == "24:00:00"
    assert [length_text(s) for s in (0.0, 59.94, 59.96, 119.7, 3599.6, 7260.0, None)] == [
        "0.0 s", "59.9 s", "1 min 00 s", "2 min 00 s", "1 h 00 min", "2 h 01 min", "still open",
    ]  # fmt: skip
    assert [hours_text(s) for s in (1800.0, 86400.0)] == ["0.50 h", "24.0 h"]
    assert [share_text(*p) for p in ((1, 3), (0, 5), (0.001, 9), (1, 0))] == [
        "33.3 %", "0.0 %", "< 0.1 %", "–",
    ]  # fmt: skip
    assert clock_text(None, 3.0) == ""


def test_values_in_words() -> None:
    assert named_value_text("limit_bpm", 80.0) == "limit 80 beats/min"
    assert named_value_text("hold_off_s", None) == "hold off not set s"
    assert named_value_text("count", 3) == "count 3"
    assert extreme_text(events()[1]) == "lowest 61/min"
    fast = dataclasses.replace(events()[1], kind="high heart rate")
    assert extreme_text(fast) == "highest 79/min"
    assert extreme_text(events()[0]) == ""
