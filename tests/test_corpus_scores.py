"""A detector scored over a corpus: the figures of the scorecard, resumed and kept as Parquet."""

from __future__ import annotations

import json
import shutil
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from scored_folder import make_folder

from infantmon import corpus
from infantmon.cli import main
from infantmon.corpus.listing import key_of
from infantmon.corpus.scoring import card_of
from infantmon.errors import ArgumentError, RecordingError
from infantmon.formats import read, write_edf
from infantmon.formats.wfdb_annotations import NOTE, Annotation, write_annotations
from infantmon.labelled.beside import BEAT_NUMBERS, with_labels_beside
from infantmon.labelled.wfdb_folder import BEAT_CODES
from infantmon.report.cautions import CAUTIONS
from infantmon.scorecard.running import Source, run_task
from infantmon.scorecard.running import Task as ScoreTask
from infantmon.simulate import Pause, Scenario, simulate_night

BEATS = corpus.ScoreSettings("beats")
WHOM = {"population": "invented", "label_origin": "drawn", "tuned_on": "no"}


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Path:
    return make_folder(tmp_path_factory.mktemp("scored") / "susie", extra_marks=9)


@pytest.fixture
def copied(made, tmp_path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "susie"))


def run(folder, out, settings=BEATS) -> corpus.Report:
    listed = corpus.list_recordings(folder, settings.labels)
    return corpus.run_corpus(listed, settings, out, executor=lambda: ThreadPoolExecutor(1))


def card(folder, out, settings=BEATS):
    keys = [one.key for one in corpus.list_recordings(folder, settings.labels)]
    return card_of(out, settings, keys, name="invented", **WHOM)


def test_the_figures_are_those_of_the_scorecard(made, tmp_path) -> None:
    report = run(made, tmp_path)
    assert len(report.done) == 3
    mine = card(made, tmp_path)
    theirs = run_task(ScoreTask(Source(str(made)), "beats"), workers=1)
    order = {key_of(f"{score.record}.hea"): score for score in theirs.records}
    assert {score.record for score in mine.records} == set(order)
    for score in mine.records:
        other = order[score.record]
        assert score.windows == other.windows
        assert (score.shutdown, score.trusted) == (other.shutdown, other.trusted)
        assert (score.recorded_s, score.scored_s) == (other.recorded_s, other.scored_s)
    assert mine.gross().false_negatives == 9, "the marks where there is no beat"


def test_other_readers_add_it_up(made, tmp_path) -> None:
    duckdb = pytest.importorskip("duckdb")
    import pandas as pd

    run(made, tmp_path)
    total = card(made, tmp_path).gross()
    told = duckdb.sql(
        "select sum(true_positives), sum(false_negatives), sum(false_positives) "  # noqa: S608
        f"from '{tmp_path}/scores/*/*.parquet' where window_s = 0.15"
    ).fetchall()[0]
    assert told == (total.true_positives, total.false_negatives, total.false_positives)
    scores = pd.read_parquet(tmp_path / "scores")
    assert scores.groupby("recording").size().tolist() == [2, 2, 2]
    for path in tmp_path.rglob("*.parquet"):
        assert b"invented" not in path.read_bytes()


def test_only_what_has_changed_is_scored_anew(copied, tmp_path) -> None:
    out = tmp_path / "out"
    run(copied, out)
    assert len(run(copied, out).skipped) == 3
    whole = (copied / "invented1.atr").read_bytes()
    shutil.copy(copied / "invented0.atr", copied / "invented1.atr")
    assert [one.name for one in run(copied, out).done] == ["invented1.hea"]
    (copied / "invented1.atr").write_bytes(whole)
    stricter = corpus.ScoreSettings("beats", windows_s=(0.01,))
    assert len(run(copied, out, stricter).done) == 3
    with pytest.raises(ArgumentError, match="could be scored"):
        card(copied, out)


def test_missing_and_damaged_labels_are_named_and_in_no_figure(copied, tmp_path) -> None:
    out = tmp_path / "out"
    (copied / "invented0.atr").unlink()
    (copied / "invented1.atr").write_bytes(b"\x00" * 7)
    report = run(copied, out)
    assert [one.name for one in report.done] == ["invented2.hea"]
    told = {one.name: outcome.bare_reason for one, outcome in report.failed}
    assert "no labels beside it" in told["invented0.hea"]
    assert set(told) == {"invented0.hea", "invented1.hea"}
    assert "invented" not in str(list(told.values()))
    rows = {row["recording"]: row for row in corpus.Dataset(out).read("runs").to_pylist()}
    assert rows[key_of("invented0.hea")]["reason"] == told["invented0.hea"]
    found = card(copied, out)
    assert len(found.records) == 1
    assert "2 of 3 recordings failed and are in no figure" in found.population


def test_a_detector_that_fails_has_missed_everything(made, tmp_path, monkeypatch) -> None:
    monkeypatch.syspath_prepend(str(tmp_path))
    (tmp_path / "sulky.py").write_text("def find(samples, rate_hz):\n    raise ValueError('no')\n")
    settings = corpus.ScoreSettings("beats", detector="sulky:find")
    run(made, tmp_path / "out", settings)
    found = card(made, tmp_path / "out", settings)
    assert all(score.failed for score in found.records)
    assert found.gross().true_positives == 0
    assert found.gross().false_negatives > 200


@pytest.fixture(scope="module")
def breathing(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("breathing")
    rows = ["recording,postmenstrual_age_weeks,infant"]
    for seed, age in enumerate((33, 40)):
        scenario = Scenario(120.0, ecg_hz=125.0, impedance_hz=50.0, events=(Pause(60.0, 23.0),))
        night = simulate_night(scenario, seed=seed)
        write_edf(night.recording, folder / f"night{seed}.edf")
        times = night.truth.breath_s
        times = times[(times > 0.0) & (times < night.recording.end_s)]
        marks = [Annotation(round(time * 50.0), NOTE) for time in times.tolist()]
        write_annotations(marks, folder / f"night{seed}.breaths", rate_hz=50.0)
        rows.append(f"night{seed}.edf,{age},infant{seed}")
    (folder / "list").write_text("\n".join(rows) + "\n")
    return folder


def test_breaths_on_the_command_line_by_age(breathing, tmp_path, capsys) -> None:
    words = ["batch", str(breathing / "list"), "--out", str(tmp_path), "--workers", "1"]
    words += ["--score", "breaths", "--labels", "breaths", "--population", "invented infants"]
    assert main(words) == 0
    told = capsys.readouterr().out
    for line in ("32 to 36 weeks", "37 to 44 weeks", "Population: invented infants", *CAUTIONS):
        assert line in told
    page = (tmp_path / "score.html").read_text()
    assert "night0" not in page
    assert "invented infants" in page
    assert main([*words, "--json"]) == 0
    whole = json.loads(capsys.readouterr().out)
    assert (whole["done"], whole["skipped"]) == (0, 2)
    gross = whole["cards"][0]["windows"][0]["gross"]
    assert gross["sensitivity"] > 0.98
    assert gross["positive_predictivity"] > 0.98
    assert set(whole["keys"].values()) == {r["record"] for r in whole["cards"][0]["records"]}


def test_nothing_scored_is_told_and_no_page_is_made(made, tmp_path, capsys) -> None:
    words = ["batch", str(made), "--out", str(tmp_path), "--score", "beats", "--workers", "1"]
    assert main([*words, "--labels", "qrs"]) == 3
    told = capsys.readouterr()
    assert "3 failed" in told.err
    assert not (tmp_path / "score.html").exists()


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ([], "--prescription"),
        (["--score", "beats", "--piece-h", "1"], "--piece-h cannot go with --score"),
        (["--score", "beats", "--breaths"], "--breaths cannot go with --score"),
        (["--score", "alarms"], "beats or breaths"),
        (["--score", "beats", "--detector", "nobody"], "no detector 'nobody'"),
        (["--score", "beats", "--window-s", "0"], "match window"),
        (["--score", "beats", "--labels", "../x"], "ending"),
    ],
)
def test_what_cannot_go_together_is_told(made, tmp_path, capsys, more, told) -> None:
    assert main(["batch", str(made), "--out", str(tmp_path), *more]) == 2
    assert told in capsys.readouterr().err


def test_numbers_and_signs_of_beats_agree_with_the_peer() -> None:
    from infantmon.formats.wfdb_files import wfdb_package

    with wfdb_package():
        from wfdb.io.annotation import ann_label_table as known
    numbers = dict(zip(known["symbol"], known["label_store"], strict=True))
    assert {numbers[sign] for sign in BEAT_CODES} == BEAT_NUMBERS
    assert (numbers["["], numbers["]"], numbers["~"], numbers["+"]) == (32, 33, 14, 28)


def test_labels_of_another_recording_are_refused(made, tmp_path) -> None:
    recording = read(made / "invented0")
    late = write_annotations([Annotation(10**6, 1)], tmp_path / "a.atr", rate_hz=100.0)
    with pytest.raises(RecordingError, match="belong to another rate or recording"):
        with_labels_beside(recording, late, "beats")
    none = write_annotations([Annotation(5, NOTE)], tmp_path / "b.atr", rate_hz=100.0)
    with pytest.raises(RecordingError, match="marks no beats"):
        with_labels_beside(recording, none, "beats")


def test_flutter_is_not_scored(made, tmp_path) -> None:
    recording = read(made / "invented0")
    marks = [Annotation(100, 1), Annotation(500, 32), Annotation(900, 33), Annotation(1000, 1)]
    path = write_annotations(marks, tmp_path / "a.atr", rate_hz=100.0)
    apart = with_labels_beside(recording, path, "beats").set_apart
    assert [(one.start_s, one.end_s, one.unmarked) for one in apart] == [(5.0, 9.0, True)]


def test_a_recording_is_scored_whole(made, tmp_path) -> None:
    listed = corpus.list_recordings(made, "atr")
    with pytest.raises(ArgumentError, match="scored whole"):
        corpus.run_corpus(listed, BEATS, tmp_path, piece_s=300.0)
