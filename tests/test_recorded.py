"""Events that another device recorded: lists, judgements, decisions, agreement."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

import infantmon as im
from infantmon.cli import main
from infantmon.formats.edf_annotations import TimedNote, write_edf_notes
from infantmon.formats.wfdb_annotations import NOTE, Annotation, write_annotations
from infantmon.formats.writing import write_edf
from infantmon.model.event import SUPPORTED
from infantmon.recorded.decisions import Decision, Decisions
from infantmon.recorded.event import recorded_events
from infantmon.recorded.judging import NOT_FOUND
from infantmon.recorded.reading import read_recorded
from infantmon.report.plain_table import plain_table
from infantmon.report.recorded_files import recorded_csv, recorded_text
from infantmon.scoring.agreement import cohen_kappa
from infantmon.simulate import demo_scenario, simulate_night

PLAN = im.Prescription(apnea={"limit_s": 20}, contact_loss={"delay_s": 5})
BAD = """onset_s,end_s,kind,test
1230,1257,apnea,
480,503,apnea,
485,500,apnea,
5000,5020,apnea,
600,620,snore,
300,,apnea,
1700,1720,apnea,yes
,,apnea,
400,390,apnea,
100,120,bradycardia,
"""


@pytest.fixture(scope="module")
def night():
    return simulate_night(demo_scenario(), seed=1).recording


@pytest.fixture
def bad(tmp_path):
    path = tmp_path / "list.csv"
    path.write_text(BAD, encoding="utf-8")
    return read_recorded(path)


def test_a_bad_list_is_told_by_row_the_others_judged_and_nothing_lost(night, bad):
    judged = im.review(night, PLAN, recorded=bad).recorded
    assert [one.recorded.row for one in judged.judged] == [1, 2, 3, 4, 5, 6, 8, 9, 10]
    assert [event.row for event in judged.tests] == [7]
    assert [one.judgement for one in judged.judged[:3]] == [SUPPORTED] * 3
    told = "\n".join(judged.faults)
    for words in (
        "row 2: out of order: it begins before row 1",
        "row 3: it overlaps row 2",
        "row 4: it reaches outside the recording (0 to 1800 s)",
        "row 5: the kind 'snore' is not known",
        "row 6: no end is given",
        "row 8: no onset is given",
        "row 9: it ends at 390 s, before its onset at 400 s",
    ):
        assert words in told
    assert judged.sentence.startswith("of 9 recorded: 3 supported, ")
    assert repr(judged) == f"JudgedList({judged.sentence}; {len(judged.beside)} events beside)"
    assert repr(judged.judged[0]).endswith(" s, supported)")
    by_row = {one.recorded.row: one for one in judged.judged}
    assert by_row[6].judgement == NOT_FOUND
    assert by_row[10].reasons[0].text.startswith("no limit for low heart rate is set")
    assert sum(judged.counts.values()) == 9


def test_a_time_that_the_list_does_not_give_is_a_dash_on_the_screen_and_an_empty_cell(night, bad):
    judged = im.review(night, PLAN, recorded=bad).recorded
    assert "nan" not in recorded_text(judged, 200)
    rows = {row["row"]: row for row in csv.DictReader(io.StringIO(recorded_csv(judged)))}
    assert (rows["6"]["onset s"], rows["6"]["end s"]) == ("300.0", "")
    assert (rows["8"]["onset s"], rows["8"]["end s"]) == ("", "")


def test_measures_tell_the_pause_both_ways(night, bad):
    measures = im.review(night, PLAN, recorded=bad).recorded.judged[1].measures
    assert measures.longest_pause_s == pytest.approx(23.0, abs=1.0)
    assert measures.effort_free_s < measures.longest_pause_s
    assert 100 < measures.lowest_bpm < measures.highest_bpm < 200
    assert measures.unusable == {"ecg": 0.0, "impedance": 0.0}


def test_over_a_lost_electrode_neither_pause_nor_pulsation_is_told(night):
    """A loose electrode of the demonstration: the time between breaths across it is no pause."""
    lost = im.review(night, PLAN).blocked("impedance")
    start_s, end_s = float(lost.start_s[0]), float(lost.end_s[-1])
    listed = recorded_events(
        [(start_s + 1, end_s - 1, "apnea", "", False), (start_s - 20, end_s, "apnea", "", False)]
    )
    over, into = im.review(night, PLAN, recorded=listed).recorded.judged
    assert end_s - start_s > 20
    assert over.measures.longest_pause_s is None
    assert over.measures.effort_free_s is None
    assert over.measures.pulsation_ratio is None
    assert over.measures.unusable["impedance"] == pytest.approx(1.0)
    assert into.measures.longest_pause_s < 5  # of the breaths before
    assert into.measures.pulsation_ratio > 0


def test_what_is_found_beside_the_list_stands_apart_but_not_in_a_test_period(night):
    listed = recorded_events([(480, 503, "apnea", "", False), (1225, 1260, "test", "", False)])
    judged = im.review(night, PLAN, recorded=listed).recorded
    assert [event.kind for event in judged.beside] == ["contact loss", "apnea"]
    assert judged.beside[1].judgement == "not assessable"  # counted over the loose electrode


@pytest.mark.parametrize("ending", ["csv", "edf", "events"])
def test_three_formats_give_the_same_rows(tmp_path, ending):
    path = tmp_path / f"list.{ending}"
    if ending == "csv":
        path.write_text("onset_s,end_s,kind\n480,503,apnea\n", encoding="utf-8")
    elif ending == "edf":
        write_edf_notes([TimedNote(480.0, 23.0, "apnea")], path)
    else:
        marks = [Annotation(480, NOTE, "apnea"), Annotation(503, NOTE, "end of apnea")]
        write_annotations(marks, path, rate_hz=1.0)
    (row,) = read_recorded(path)
    assert (row.onset_s, row.end_s, row.kind, row.faults) == (480.0, 503.0, "apnea", ())


def test_a_list_without_a_column_says_which(tmp_path):
    path = tmp_path / "list.csv"
    path.write_text("onset_s,kind\n1,apnea\n", encoding="utf-8")
    with pytest.raises(im.RecordingError, match="lacks the column 'end_s'"):
        read_recorded(path)


def test_decisions_round_trip_merge_and_keep_conflicts(night, bad, tmp_path):
    review = im.review(night, PLAN, recorded=bad)
    event, row = review.events[0], review.recorded.judged[4].recorded
    before = (event.judgement, review.recorded.judged[4].judgement)
    review.decide(event, "real", by="reader A", note='quoted "note"')
    review.decide(row, "misdetected", by="reader A")
    assert (event.judgement, review.recorded.judged[4].judgement) == before
    review.decisions.write(tmp_path / "a.json")
    again = Decisions.read(tmp_path / "a.json")
    assert again == review.decisions
    other = Decisions()
    other.add(event, "artefact", by="reader B")
    both = again.merged(other)
    assert len(both) == 3
    ((one, two),) = both.conflicts
    assert (one.decision, two.decision) == ("real", "artefact")
    assert both.merged(again) == both
    assert both.agreement("reader A", "reader B").count == 1
    assert both.agreement_with("reader A", [(event, event.judgement)]).observed == 1.0


def test_a_file_without_times_of_decision_is_still_read(tmp_path):
    """As written before the field was there, and as a browser writes numbers: 480, not 480.0."""
    row = {"kind": "apnea", "onset_s": 480, "end_s": None, "recording": "", "decision": "real"}
    plain = {"format": "infantmon decisions 1", "decisions": [row | {"by": "reader A"}]}
    (tmp_path / "a.json").write_text(json.dumps(plain), encoding="utf-8")
    (made,) = Decisions.read(tmp_path / "a.json")
    assert made == Decision("apnea", 480.0, None, "", "real", "reader A")
    assert made.decided_at_utc is None
    assert isinstance(made.onset_s, float)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("decided_at_utc", "yesterday"),
        ("decided_at_utc", "2031-03-01T22:15:00"),
        ("decided_at_utc", "2031-03-01T22:15:00+02:00"),
        ("decided_at_utc", 5),
        ("onset_s", "soon"),
        ("kind", None),
        ("note", ["x"]),
        ("decision", "maybe"),
        ("by", ""),
        ("stranger", 1),
    ],
)
def test_a_damaged_file_of_decisions_is_refused(tmp_path, field, value):
    row = {"kind": "apnea", "onset_s": 1.0, "end_s": 2.0, "recording": "", "decision": "real"}
    plain = {"format": "infantmon decisions 1", "decisions": [row | {"by": "x"} | {field: value}]}
    (tmp_path / "a.json").write_text(json.dumps(plain), encoding="utf-8")
    with pytest.raises(im.InfantmonError):
        Decisions.read(tmp_path / "a.json")


def test_the_last_decision_is_that_of_the_latest_time_however_files_are_merged():
    def made(decision, at):
        return Decisions([Decision("apnea", 1.0, 2.0, "", decision, "x", "", at)])

    early, late = made("real", "2031-03-01T22:15:00.250Z"), made("artefact", "2031-03-01T22:16:00Z")
    untimed = made("cannot tell", None)
    key = ("", "apnea", 1.0, 2.0)
    for some in ((early, late, untimed), (late, untimed, early), (untimed, early, late)):
        whole = some[0].merged(some[1]).merged(some[2])
        assert len(whole) == 3
        assert whole.last_by("x") == {key: "artefact"}
        assert len(whole.conflicts[0]) == 3
    assert untimed.merged(early).last_by("x") == {key: "real"}


def test_a_decision_says_when_it_was_made_in_utc(night):
    review = im.review(night, PLAN)
    made = review.decide(review.events[0], "real", by="x")
    told = datetime.fromisoformat(made.decided_at_utc)
    assert told.utcoffset() == timedelta(0)
    assert abs(datetime.now(UTC) - told) < timedelta(minutes=2)
    assert review.decisions.without_identity().of(review.events[0])[0].decided_at_utc is None


def test_a_decision_needs_an_event_of_the_review_a_reader_and_a_known_word(night):
    review = im.review(night, PLAN)
    with pytest.raises(im.ArgumentError, match="choose one of real"):
        review.decide(review.events[0], "maybe", by="reader A")
    with pytest.raises(im.ArgumentError, match="say who decided"):
        review.decide(review.events[0], "real", by=" ")
    stranger = recorded_events([(1, 2, "apnea", "", False)])[0]
    with pytest.raises(im.ArgumentError, match="one of this review's events"):
        review.decide(stranger, "real", by="reader A")


def test_a_folder_of_excerpts_from_the_command_line(tmp_path, capsys):
    scenario = dataclasses.replace(demo_scenario(), duration_s=560.0)
    night = simulate_night(scenario, seed=1).recording
    (tmp_path / "kept").mkdir()
    write_edf(night, tmp_path / "kept" / "one.edf")
    (tmp_path / "kept" / "broken.edf").write_bytes(b"nothing")
    (tmp_path / "list.csv").write_text(
        "onset_s,end_s,kind,recording\n480,503,apnea,one\n1,2,apnea,broken\n1,2,apnea,none\n"
    )
    (tmp_path / "limits.toml").write_text("[apnea]\nlimit_s = 20\n")
    for reader, decision in (("reader A", "real"), ("reader B", "artefact")):
        made = Decisions([Decision("apnea", 480, 503, "one", decision, reader, "private")])
        made.write(tmp_path / f"{reader[-1]}.json")
    words = ["review", tmp_path / "kept", "--recorded", tmp_path / "list.csv", "--prescription"]
    words += [tmp_path / "limits.toml", "--out", tmp_path / "out"]
    words += ["--decisions", tmp_path / "A.json", "--decisions", tmp_path / "B.json"]
    assert main([str(word) for word in words]) == 0
    told = capsys.readouterr().out
    assert "of 3 recorded: 1 supported, 0 doubtful, 2 not assessable, 0 not found" in told
    assert "conflict: excerpt one, apnea at 0:08:00.0: reader 1: real; reader 2: artefact" in told
    plain = json.loads((tmp_path / "out" / "recorded.json").read_text())
    assert [one["judgement"] for one in plain["recorded"]][1:] == ["not assessable"] * 2
    assert [d["by"] for d in plain["recorded"][0]["decisions"]] == ["reader 1", "reader 2"]
    assert "private" not in json.dumps(plain)
    page = (tmp_path / "out" / "recorded.html").read_text(encoding="utf-8")
    assert "Of 3 recorded: 1 supported, 0 doubtful, 2 not assessable, 0 not found." in page
    assert [page.count(f'id="row-{row}"') for row in (1, 2, 3, 4)] == [1, 1, 1, 0]
    assert page.count('class="drawn"') == 1
    assert page.count("No strip: no signals were kept where it was listed.") == 2
    assert "real (reader 1); artefact (reader 2)" in page
    assert "excerpt one, apnea at 0:08:00.0: reader 1: real; reader 2: artefact" in page
    assert "private" not in page
    assert (tmp_path / "out" / "recorded.csv").read_text().count("\n1,one,apnea,") == 1


def test_a_list_that_names_no_excerpt_is_told_once(tmp_path, capsys):
    (tmp_path / "kept").mkdir()
    (tmp_path / "list.csv").write_text("onset_s,end_s,kind\n480,503,apnea\n1,2,apnea\n")
    (tmp_path / "limits.toml").write_text("[apnea]\nlimit_s = 20\n")
    words = ["--recorded", str(tmp_path / "list.csv"), "--prescription"]
    words += [str(tmp_path / "limits.toml"), "--out", str(tmp_path / "out")]
    assert main(["review", str(tmp_path / "kept"), *words]) == 2
    assert "the list needs a column 'recording'" in capsys.readouterr().err
    assert main(["review", str(tmp_path / "kept"), "night.edf", *words]) == 2
    assert "pass it alone, night.edf cannot be joined" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_a_table_on_a_screen_folds_its_last_column():
    heads, row = ("row", "kind", "why"), ("1", "apnea", "a reason of quite a few words and more")
    assert plain_table(heads, [row], 60).splitlines()[2] == "  1  apnea  " + row[2]
    assert plain_table(heads, [row], 40).splitlines() == [
        "row  kind   why",
        "-" * 35,
        "  1  apnea  a reason of quite a few",
        "            words and more",
    ]
    assert plain_table(heads, [row], 35).startswith("row 1; kind apnea; why a reason")


def test_kappa_of_a_published_kind_of_table_and_its_interval_against_resampling():
    """25 and 25 against 30 and 20 with 35 alike: observed 0.7, by chance 0.5, kappa 0.4."""
    first = np.array(["y"] * 25 + ["n"] * 25)
    second = np.array(["y"] * 20 + ["n"] * 5 + ["y"] * 10 + ["n"] * 15)
    told = cohen_kappa(first.tolist(), second.tolist())
    assert (told.observed, told.expected) == (pytest.approx(0.7), pytest.approx(0.5))
    assert told.kappa == pytest.approx(0.4)
    draw = np.random.default_rng(3)
    drawn = [
        cohen_kappa(first[rows].tolist(), second[rows].tolist()).kappa
        for rows in draw.integers(0, 50, (2000, 50))
    ]
    assert told.interval == pytest.approx(np.quantile(drawn, [0.025, 0.975]), abs=0.04)


def test_kappa_is_undefined_without_items_or_with_one_category():
    assert cohen_kappa([], []).kappa is None
    assert cohen_kappa(["a", "a"], ["a", "a"]).kappa is None
    with pytest.raises(im.ArgumentError, match="the same items"):
        cohen_kappa(["a"], [])
