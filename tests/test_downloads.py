"""Many downloads of one infant: exact small cases, no advice, nothing that vanishes."""

import dataclasses
import json
import math
import re
from datetime import UTC, date, datetime

import pytest

import infantmon as im
from infantmon import simulate as sim
from infantmon.cli import main
from infantmon.downloads.download import Download, FoundEvent, download_of, read_download
from infantmon.downloads.page import downloads_html, write_downloads
from infantmon.downloads.stretches import joined, within, without
from infantmon.downloads.summary import Prescribed, summarise_downloads
from infantmon.downloads.telling import downloads_plain, downloads_text
from infantmon.errors import ArgumentError, RecordingError
from infantmon.formats import write_edf
from infantmon.recorded.decisions import Decisions
from infantmon.report.cautions import CAUTIONS

HOUR = 3600.0
LIMITS = {"apnea": "limit 20 s"}


def event(kind, onset_h, length_s=20.0, judgement="supported", decisions=()):
    return FoundEvent(kind, onset_h * HOUR, onset_h * HOUR + length_s, judgement, decisions)


def download(name, started, hours, events=(), lost=(), tests=(), limits=None):
    at = None if started is None else datetime.fromisoformat(started)
    spans = tuple((start * HOUR, end * HOUR) for start, end in lost)
    held = tuple((start * HOUR, end * HOUR) for start, end in tests)
    return Download(name, at, hours * HOUR, {"ecg": spans}, tuple(events), limits or LIMITS, held)


# Stretches ----------------------------------------------------------------------------------------


def test_stretches_are_joined_cut_and_measured():
    assert joined([(5, 6), (1, 2), (2, 3), (2.5, 2.6), (9, 9)]) == [(1, 3), (5, 6)]
    assert without([(0, 10)], [(2, 3), (3, 4), (9, 12)]) == [(0, 2), (4, 9)]
    assert within([(0, 2), (4, 9)], 1, 5) == 2.0


# Use by day ---------------------------------------------------------------------------------------


def test_hours_fall_on_calendar_days_and_days_without_a_record_are_shown():
    """22:00 + 8 h: 2 h and 6 h; nothing on the 4th; 3 h on the 5th of which one cannot be used."""
    summary = summarise_downloads(
        [
            download("b", "2031-05-05T10:00:00", 3.0, lost=[(1.0, 2.0)]),
            download("a", "2031-05-02T22:00:00", 8.0),
        ]
    )
    assert [(d.day.day, d.recorded_s / HOUR, d.usable_s / HOUR) for d in summary.days] == [
        (2, 2.0, 2.0), (3, 6.0, 6.0), (4, 0.0, 0.0), (5, 3.0, 2.0),
    ]  # fmt: skip
    assert (summary.days_used, summary.share_of_days, summary.share_of_hours) == (3, None, None)


def test_use_is_compared_with_what_was_prescribed_and_no_day_makes_up_for_another():
    """Ten hours a day for four days: 12 h (counts 10), 5 h, none, none: 15 of 40 h, 2 of 4 days."""
    summary = summarise_downloads(
        [download("a", "2031-05-02T06:00:00", 12.0), download("b", "2031-05-03T06:00:00", 5.0)],
        prescribed=Prescribed(date(2031, 5, 2), date(2031, 5, 5), 10.0),
    )
    assert summary.share_of_days == 0.5
    assert summary.share_of_hours == pytest.approx(15 / 40)


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ((date(2031, 5, 2), date(2031, 5, 1), None), "before they begin"),
        ((date(2031, 5, 2), date(2031, 5, 3), 0.0), "hours_a_day"),
        ((date(2031, 5, 2), date(2031, 5, 3), 25.0), "hours_a_day"),
    ],
)
def test_wrong_prescribed_days_raise(wrong, told):
    with pytest.raises(ArgumentError, match=told):
        Prescribed(*wrong)


def test_time_in_two_downloads_counts_once_and_its_events_too():
    one = download("a", "2031-05-02T00:00:00", 4.0, [event("apnea", 3.5)])
    other = download("b", "2031-05-02T03:00:00", 3.0, [event("apnea", 0.5), event("apnea", 2.0)])
    summary = summarise_downloads([other, one])
    assert summary.recorded_s == 6.0 * HOUR
    assert (summary.overlap_s, summary.left_out) == (HOUR, 1)
    assert summary.events[0].count == 2


def test_cutting_a_download_in_two_changes_no_sum():
    events = [event("apnea", h, judgement=j) for h, j in ((1, "supported"), (5, "doubtful"))]
    events.append(event("contact loss", 7.0, 600.0))
    whole = download("w", "2031-05-02T20:00:00", 10.0, events, lost=[(2.0, 2.5), (7.0, 8.0)])
    early = download("e", "2031-05-02T20:00:00", 4.0, events[:1], lost=[(2.0, 2.5)])
    late = download(
        "l",
        "2031-05-03T00:00:00",
        6.0,
        [event("apnea", 1.0, judgement="doubtful"), event("contact loss", 3.0, 600.0)],
        lost=[(3.0, 4.0)],
    )
    one, two = summarise_downloads([whole]), summarise_downloads([late, early])
    for name in ("recorded_s", "usable_s", "days", "events", "loads", "free"):
        assert getattr(one, name) == getattr(two, name), name


# Events, alarms, stretches ------------------------------------------------------------------------


def test_events_by_kind_and_judgement_with_the_readers_beside():
    found = [
        event("apnea", 1.0, decisions=("real", "artefact")),
        event("apnea", 2.0, judgement="doubtful", decisions=("artefact",)),
        event("low heart rate", 3.0, judgement="not assessable"),
    ]
    apnea, low = summarise_downloads([download("a", "2031-05-02T00:00:00", 5.0, found)]).events
    assert (apnea.kind, apnea.count) == ("apnea", 2)
    assert dict(apnea.judgements) == {"supported": 1, "doubtful": 1}
    assert dict(apnea.decisions) == {"real": 1, "artefact": 2}
    assert (low.count, dict(low.judgements)) == (1, {"not assessable": 1})


def test_kinds_stand_in_one_order_whatever_came_first():
    found = [event(kind, h) for h, kind in enumerate(("contact loss", "low heart rate", "apnea"))]
    told = summarise_downloads([download("a", "2031-05-02T00:00:00", 5.0, found)]).events
    assert [each.kind for each in told] == ["apnea", "low heart rate", "contact loss"]


def test_alarms_for_ten_hours_and_their_interval():
    """Three events in 20 h: 1.5; exact Poisson limits of 3 are 0.619 and 8.767 (Garwood's table,
    from memory)."""
    found = [event("apnea", h) for h in (1, 2, 3)] + [event("contact loss", 4.0)]
    physiological, technical = summarise_downloads(
        [download("a", "2031-05-02T00:00:00", 20.0, found)]
    ).loads
    assert physiological.rate == pytest.approx(1.5)
    assert physiological.low == pytest.approx(0.619 / 2, abs=5e-4)
    assert physiological.high == pytest.approx(8.767 / 2, abs=5e-4)
    assert (technical.count, technical.rate) == (1, pytest.approx(0.5))
    empty = summarise_downloads([download("a", "2031-05-02T00:00:00", 0.0)]).loads
    assert math.isnan(empty[0].rate)


def test_stretches_without_an_event_know_their_usable_hours():
    """Events at 2 and 10 h of 24, two hours lost in between, a contact loss that does not count."""
    found = [event("apnea", 2.0, 0.0), event("contact loss", 5.0), event("apnea", 10.0, 0.0)]
    summary = summarise_downloads(
        [download("a", "2031-05-02T00:00:00", 24.0, found, lost=[(4.0, 6.0)])]
    )
    assert [(f.start.hour, f.recorded_s / HOUR, f.usable_s / HOUR) for f in summary.free] == [
        (10, 14.0, 14.0), (2, 8.0, 6.0), (0, 2.0, 2.0),
    ]  # fmt: skip


def test_known_input_test_periods_count_nowhere():
    found = [event("apnea", 1.0), event("apnea", 5.0)]
    summary = summarise_downloads(
        [download("a", "2031-05-02T00:00:00", 6.0, found, tests=[(0.9, 1.5)])]
    )
    assert summary.events[0].count == 1
    assert summary.recorded_s == pytest.approx(5.4 * HOUR)
    assert summary.tests == 1


def test_limits_are_told_once_and_then_what_changed():
    plans = [
        {"apnea": "limit 20 s", "contact loss": "delay 5 s"},
        {"apnea": "limit 20 s", "contact loss": "delay 5 s"},
        {"apnea": "limit 15 s"},
    ]
    made = [
        download(str(n), f"2031-05-0{n + 2}T00:00:00", 1.0, limits=p) for n, p in enumerate(plans)
    ]
    first, second = summarise_downloads(made[::-1]).limits
    assert dict(first.limits) == plans[0]
    assert dict(second.limits) == {
        "apnea": "limit 15 s",
        "contact loss": "not watched any more",
    }
    assert second.since == datetime.fromisoformat("2031-05-04")


def test_without_a_start_a_download_is_in_every_count_but_in_no_day():
    summary = summarise_downloads(
        [
            download("a", "2031-05-02T00:00:00", 2.0, [event("apnea", 1.0)]),
            download("b", None, 3.0, [event("apnea", 1.0)], lost=[(0.0, 1.0)]),
        ],
        unread={"c": "it is damaged"},
    )
    assert summary.undated == ("b",)
    assert (summary.recorded_s, summary.usable_s) == (5 * HOUR, 4 * HOUR)
    assert summary.events[0].count == 2
    assert [d.recorded_s for d in summary.days] == [2 * HOUR]
    text = downloads_text(summary, 100, identity=True)
    assert "start not known, in no day: b" in text
    assert "could not be read, in no figure: c: it is damaged" in text


def test_without_any_start_there_is_no_table_of_days():
    summary = summarise_downloads([download("b", None, 3.0, [])])
    text = downloads_text(summary, 100)
    assert text.splitlines()[0] == "1 download: 3.0 h recorded, 3.0 h usable"
    assert "recorded h" not in text
    assert "no event" in text
    page = downloads_html(summary)
    assert "no day: no start is known" in page
    assert "0 of 0 days" not in page


def test_no_download_at_all_is_an_empty_summary():
    summary = summarise_downloads([])
    assert (summary.recorded_s, summary.days, summary.free) == (0.0, (), ())
    assert "0 downloads" in downloads_text(summary, 80)
    assert downloads_html(summary)


# From reviews and their files ---------------------------------------------------------------------

START = datetime(2031, 5, 2, 23, 55, tzinfo=UTC)
PLAN = {"apnea": {"limit_s": 15}, "contact_loss": {"delay_s": 5}}


@pytest.fixture(scope="module")
def reviewed():
    events = (sim.Pause(120.0, 22.0), sim.LooseElectrode(300.0, 30.0), sim.Pause(450.0, 20.0))
    night = sim.simulate_night(sim.Scenario(600.0, 125.0, 50.0, events=events), 61)
    recording = dataclasses.replace(night.recording, name="invented", started_at=START)
    return im.review(recording, im.Prescription(**PLAN))


def test_a_review_and_its_file_give_the_same_download(reviewed, tmp_path):
    reviewed.to_json(tmp_path / "review.json", identity=True)
    apnea = reviewed.events.of_kind("apnea")[0]
    decisions = Decisions()
    decisions.add(apnea, "artefact", by="reader one")
    decisions.add(apnea, "real", by="reader one")
    decisions.write(tmp_path / "decisions.json")
    (tmp_path / "recorded.json").write_text(
        json.dumps({"tests": [{"onset_s": 500.0, "end_s": 560.0}]}), encoding="utf-8"
    )
    stored = read_download(tmp_path)
    direct = download_of(
        reviewed.shown(identity=True) if hasattr(reviewed, "shown") else reviewed,
        name=tmp_path.name,
        tests=[(500.0, 560.0)],
        decisions=decisions,
    )
    assert stored == direct
    assert stored.started_at == START.replace(tzinfo=None)
    decided = [e.decisions for e in stored.events if e.kind == "apnea"]
    assert decided[0] == ("real",)
    assert set(decided[1:]) == {()}
    assert stored.limits["apnea"].startswith("limit 15 s")
    summary = summarise_downloads([stored])
    assert [d.recorded_s for d in summary.days] == [300.0, 240.0]


@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"format": 99}', '{"format": 1, "events": [{}], "recording": {}}']
)
def test_a_damaged_file_is_told_by_name(text, tmp_path):
    (tmp_path / "review.json").write_text(text, encoding="utf-8")
    with pytest.raises(RecordingError, match=r"review\.json"):
        read_download(tmp_path)


def test_the_command_writes_a_page_and_names_what_it_could_not_read(reviewed, tmp_path, capsys):
    for name in ("mon", "tue"):
        (tmp_path / "in" / name).mkdir(parents=True)
        reviewed.to_json(tmp_path / "in" / name / "review.json", identity=True)
    (tmp_path / "in" / "wed").mkdir()
    (tmp_path / "in" / "wed" / "review.json").write_text("{", encoding="utf-8")
    words = ["downloads", str(tmp_path / "in"), "--out", str(tmp_path / "out")]
    assert main([*words, "--json"]) == 3
    told = json.loads(capsys.readouterr().out)
    assert told["unread"] == [{"download": "unread 1", "why": "damaged"}]
    assert told["overlap_h"] == pytest.approx(600.0 / HOUR)
    assert told["use_by_day"][0]["day"] == "day 1"
    assert main([*words, "--identity"]) == 3
    shown = capsys.readouterr().out
    assert "2031-05-02" in shown
    assert all(caution in shown.replace("\n", " ") for caution in CAUTIONS)
    page = (tmp_path / "out" / "downloads.html").read_text(encoding="utf-8")
    assert all(caution in page for caution in CAUTIONS)


def test_what_the_review_command_wrote_is_summed_up(reviewed, tmp_path, capsys):
    write_edf(reviewed.recording, tmp_path / "night.edf")
    (tmp_path / "limits.toml").write_text("[apnea]\nlimit_s = 15\n", encoding="utf-8")
    words = ["review", str(tmp_path / "night.edf"), "--prescription", str(tmp_path / "limits.toml")]
    assert main([*words, "--out", str(tmp_path / "in" / "mon"), "--quiet"]) == 0
    reviewed.to_json(tmp_path / "in" / "mon" / "review.json")  # the same download: counted once
    assert main(["downloads", str(tmp_path / "in"), "--out", str(tmp_path / "o"), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["downloads"], told["unread"]) == (["download 1"], [])


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--first", "2031-05-02"], "--first and --last"),
        (["--hours-a-day", "4"], "--first and --last"),
    ],
)
def test_the_command_refuses_half_a_prescription(words, told, tmp_path, capsys):
    assert main(["downloads", str(tmp_path), "--out", str(tmp_path / "o"), *words]) == 2
    assert told in capsys.readouterr().err.replace("\n", " ")


def test_the_command_wants_a_folder_with_reviews(tmp_path, capsys):
    assert main(["downloads", str(tmp_path), "--out", str(tmp_path / "o")]) == 2
    assert "holds no events.json or review.json" in capsys.readouterr().err.replace("\n", " ")


# What the page says -------------------------------------------------------------------------------


def hostile():
    name = '<script>alert("x")</script>'
    return summarise_downloads(
        [download(name, "2031-05-02T00:00:00", 2.0, [event("apnea", 1.0)])],
        unread={name: name},
    )


def test_names_cannot_break_the_page_and_are_left_out_unless_asked_for(tmp_path):
    shown = downloads_html(hostile(), identity=True)
    assert "<script>" not in shown
    assert "&lt;script&gt;" in shown
    for text in (downloads_html(hostile()), json.dumps(downloads_plain(hostile()))):
        assert "alert" not in text
        assert "2031" not in text
    paths = write_downloads(hostile(), tmp_path / "new")
    assert [path.name for path in paths] == ["downloads.html", "downloads.json"]


def test_no_word_of_advice():
    text = re.sub(r"<[^>]+>", " ", downloads_html(hostile())).lower()
    for word in ("recommend", "should", "we suggest", "can be stopped", "safe to"):
        assert word not in text
    assert "cannot see obstructive apnea" in text
    assert "weese-mayer" in text
    assert "silvestri" in text
