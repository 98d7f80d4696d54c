"""Many recordings: skipped, redone, split, damaged, killed; on this machine, at an address."""

from __future__ import annotations

import http.server
import json
import math
import os
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path

import corpus_workers
import numpy as np
import pytest
from corpus_workers import PLAN, SETTINGS

import infantmon as im
from infantmon import corpus
from infantmon.cli import main
from infantmon.corpus import running
from infantmon.corpus.dataset import HALF
from infantmon.corpus.listing import key_of
from infantmon.corpus.pieces import Found
from infantmon.errors import ArgumentError, InfantmonError
from infantmon.formats import write_edf, write_wfdb
from infantmon.report.cautions import CAUTIONS, NOTICE
from infantmon.simulate import Pause, Scenario, simulate_night

LIMITS = '[apnea]\nlimit_s = 20\n[contact_loss]\ndelay_s = 5\n[prescriber]\nname = "Dr. Madeup"\n'


def night(seed: int, duration_s: float = 60.0) -> im.Recording:
    pauses = (Pause(20.0, 23.0),) if duration_s < 100 else (Pause(290.0, 23.0), Pause(500.0, 30.0))
    scenario = Scenario(duration_s, ecg_hz=125.0, impedance_hz=50.0, events=pauses)
    return simulate_night(scenario, seed=seed).recording


@pytest.fixture(scope="module")
def nights(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("nights")
    (folder / "ward").mkdir()
    for seed, name in enumerate(("susie-a", "susie-b", "ward/susie-c")):
        write_edf(night(seed), folder / f"{name}.edf")
    write_edf(night(7, 700.0), folder / "susie-long.edf")
    write_wfdb(night(8), folder, "susie-wfdb")
    return folder


@pytest.fixture
def copied(nights, tmp_path) -> Path:
    return Path(shutil.copytree(nights, tmp_path / "nights"))


def run(folder, out, **more) -> corpus.Report:
    listed = corpus.list_recordings(folder)
    return corpus.run_corpus(
        listed, SETTINGS, out, executor=more.pop("executor", in_threads), **more
    )


def in_threads() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(1)


def content(out: Path) -> dict[str, bytes]:
    """Every file of the dataset but for the one table that tells what a run took."""
    return {
        str(path.relative_to(out)): path.read_bytes()
        for path in sorted(Path(out).glob("*/part=*/*"))
        if path.relative_to(out).parts[0] != "timing"
    }


@pytest.fixture(scope="module")
def plain(nights, tmp_path_factory) -> Path:
    out = tmp_path_factory.mktemp("plain")
    report = run(nights, out)
    assert len(report.done) == 5
    assert not report.failed
    return out


def test_long_recordings_come_first(nights) -> None:
    listed = corpus.list_recordings(nights)
    assert listed[0].name == "susie-long.edf"
    assert [r.size_bytes for r in listed] == sorted((r.size_bytes for r in listed), reverse=True)
    assert {r.name for r in listed} >= {"ward/susie-c.edf", "susie-wfdb.hea"}


def test_the_dataset_holds_what_a_review_gives(nights, plain) -> None:
    reviewed = im.review(im.read(nights / "susie-long.edf"), PLAN)
    rows = corpus.Dataset(plain).read("events").to_pylist()
    mine = [row for row in rows if row["recording"] == key_of("susie-long.edf")]
    assert len(mine) == len(reviewed.events) >= 2
    for row, event in zip(mine, reviewed.events, strict=True):
        assert (row["kind"], row["onset_s"], row["known_s"], row["end_s"], row["judgement"]) == (
            event.kind,
            event.onset_s,
            event.known_s,
            event.end_s,
            event.judgement,
        )
    breaths = corpus.Dataset(plain).read("breaths").to_pandas()
    there = breaths[breaths["recording"] == key_of("susie-long.edf")]
    assert there["time_s"].tolist() == reviewed.breaths.time_s.tolist()


def test_other_readers_read_it(plain) -> None:
    duckdb = pytest.importorskip("duckdb")
    import pandas as pd

    said = duckdb.sql(
        f"select count(distinct r.recording), count(*) from '{plain}/runs/*/*.parquet' r "  # noqa: S608
        f"join '{plain}/events/*/*.parquet' e using (recording)"
    ).fetchall()[0]
    assert said[0] == 5
    assert said[1] == len(pd.read_parquet(plain / "events"))


def test_no_name_is_copied(plain) -> None:
    for path in plain.rglob("*"):
        assert b"susie" not in (path.read_bytes() if path.is_file() else b"")
        assert "susie" not in path.name
    rows = corpus.Dataset(plain).read("runs").to_pylist()
    assert not any("susie" in str(row) for row in rows)
    assert all(row["input_sha256"] and row["settings_sha256"] and row["version"] for row in rows)


def test_what_is_done_is_skipped_and_what_has_changed_is_redone(copied, tmp_path) -> None:
    out = tmp_path / "out"
    run(copied, out)
    before = content(out)
    assert len(run(copied, out).skipped) == 5
    write_edf(night(99), copied / "susie-a.edf")
    os.utime(copied / "susie-b.edf")  # touched, but the same
    again = run(copied, out)
    assert [r.name for r in again.done] == ["susie-a.edf"]
    assert [r.name for r in again.unchanged] == ["susie-b.edf"]
    assert len(run(copied, out).skipped) == 5
    changed = {name for name, found in content(out).items() if before[name] != found}
    assert {Path(name).stem for name in changed} == {key_of("susie-a.edf"), key_of("susie-b.edf")}
    other = corpus.Settings(im.Prescription(apnea={"limit_s": 25}))
    redone = corpus.run_corpus(corpus.list_recordings(copied), other, out, executor=in_threads)
    assert len(redone.done) == 5
    assert not list(out.glob("beats/*/*.parquet")), "what is no longer asked for is gone"


@pytest.mark.parametrize("piece_s", [300.0, 600.0])
def test_pieces_join_exactly(nights, plain, tmp_path, piece_s) -> None:
    run(nights, tmp_path, piece_s=piece_s)
    assert content(tmp_path) == content(plain)
    pieces = corpus.Dataset(tmp_path).read("timing").column("pieces").to_pylist()
    assert max(pieces) == (3 if piece_s == 300.0 else 2)


def test_a_run_broken_off_between_pieces_goes_on_there(nights, plain, tmp_path) -> None:
    long = corpus.list_recordings(nights)[0]
    task = running._task(long, SETTINGS, corpus.Dataset(tmp_path), None, 300.0)
    assert corpus.work(task).status == "unfinished"
    assert not content(tmp_path)
    run(nights, tmp_path, piece_s=300.0)
    assert content(tmp_path) == content(plain)


def test_a_damaged_state_is_none(tmp_path) -> None:
    state = tmp_path / "damaged.state"
    state.write_bytes(b"infantmon state\nnot one")
    assert Found.resumed(state, "any") is None


def test_a_piece_has_whole_blocks(nights, tmp_path) -> None:
    with pytest.raises(ArgumentError, match="multiple of 300 s"):
        run(nights, tmp_path, piece_s=450.0)


def test_a_worker_that_dies_costs_only_its_recording(copied, tmp_path, monkeypatch, plain) -> None:
    shutil.copy(copied / "susie-a.edf", copied / "poison.edf")
    monkeypatch.setattr(running, "work", corpus_workers.dies_on_poison)
    report = run(copied, tmp_path / "out", executor=None, workers=1)  # each worker costs a start
    assert [(r.name, o.status) for r, o in report.failed] == [("poison.edf", "failed")]
    assert "died twice" in report.failed[0][1].reason
    found = content(tmp_path / "out")
    poison = found.pop(f"runs/part={key_of('poison.edf')[:2]}/{key_of('poison.edf')}.parquet")
    assert b"died twice" in poison
    assert b"poison" not in poison
    assert found == content(plain)


def test_a_worker_that_is_killed_once_costs_nothing(nights, tmp_path, monkeypatch, plain) -> None:
    monkeypatch.setattr(running, "work", corpus_workers.dies_once)
    report = run(nights, tmp_path, executor=None)
    assert (tmp_path / "died-once").exists()
    assert not report.failed
    assert content(tmp_path) == content(plain)


def test_an_executor_that_takes_no_work_is_told(nights, tmp_path) -> None:
    spent = ThreadPoolExecutor(1)
    spent.shutdown()
    with pytest.raises(InfantmonError, match="takes no work"):
        run(nights, tmp_path, executor=lambda: spent)


def test_damaged_files_are_named_and_the_rest_is_done(copied, tmp_path, capsys) -> None:
    (copied / "torn.edf").write_bytes((copied / "susie-a.edf").read_bytes()[:100])
    (copied / "susie-text.csv").write_text("this is\nno table\n")
    (copied / "empty.edf").touch()
    (tmp_path / "limits.toml").write_text(LIMITS)
    out = tmp_path / "out"
    words = [
        "batch",
        str(copied),
        "--out",
        str(out),
        "--prescription",
        str(tmp_path / "limits.toml"),
    ]
    assert main(words) == 3
    told = capsys.readouterr()
    for name in ("torn.edf", "susie-text.csv", "empty.edf"):
        assert f"  {name}: " in told.err
    assert "5 recordings reviewed" in told.out
    assert all(caution in told.out for caution in CAUTIONS)
    page = (out / "summary.html").read_text()
    assert "susie" not in page
    assert "torn" not in page
    assert "3 recordings failed" in page
    check_failed_rows(out, {key_of(n) for n in ("torn.edf", "susie-text.csv", "empty.edf")})
    for name in ("torn.edf", "susie-text.csv", "empty.edf"):
        (copied / name).unlink()
    assert main([*words, "--json"]) == 0
    whole = json.loads(capsys.readouterr().out)
    assert whole["notice"] == NOTICE
    assert whole["skipped"] == 5
    assert whole["keys"]["susie-a.edf"] == key_of("susie-a.edf")


def check_failed_rows(out: Path, keys: set[str]) -> None:
    """Other readers find each failed recording once, with its reason and no figure."""
    duckdb = pytest.importorskip("duckdb")
    import pandas as pd

    told = duckdb.sql(
        "select recording, reason, input_sha256, recorded_s, infant "  # noqa: S608
        f"from '{out}/runs/*/*.parquet' where status = 'failed'"
    ).fetchall()
    assert {row[0] for row in told} == keys
    assert len(told) == len(keys)
    assert all(row[1] and len(row[2]) == 64 and math.isnan(row[3]) for row in told)
    assert "susie" not in str(told)
    runs = pd.read_parquet(out / "runs")
    assert runs["status"].value_counts().to_dict() == {"done": 5, "failed": len(keys)}
    assert (runs["reason"].str.len() > 0).tolist() == (runs["status"] == "failed").tolist()
    events = pd.read_parquet(out / "events")
    assert not set(events["recording"]) & keys


def test_a_recording_that_fails_now_has_no_row_of_before(copied, tmp_path) -> None:
    out = tmp_path / "out"
    run(copied, out)
    whole = (copied / "susie-a.edf").read_bytes()
    (copied / "susie-a.edf").write_bytes(whole[:100])
    for _ in range(2):  # it is tried again
        assert [r.name for r, _ in run(copied, out).failed] == ["susie-a.edf"]
    tables = {
        path.parts[0] for path in map(Path, content(out)) if key_of("susie-a.edf") in path.stem
    }
    assert tables == {"runs"}
    (copied / "susie-a.edf").write_bytes(whole)
    assert [r.name for r in run(copied, out).done] == ["susie-a.edf"]
    rows = corpus.Dataset(out).read("runs").to_pylist()
    assert sorted(row["status"] for row in rows) == ["done"] * 5


def test_each_column_is_documented() -> None:
    text = (Path(__file__).parents[1] / "docs" / "corpus.md").read_text()
    for table, columns in corpus.TABLES.items():
        part = text.partition(f"\n### {table}\n")[2].partition("\n#")[0]
        told = re.findall(r"^\| `(\w+)` \| (\w+) \|", part, flags=re.MULTILINE)
        assert told == list(columns.items()), table


def test_a_driver_that_is_killed_is_finished_by_the_next_run(nights, tmp_path, plain) -> None:
    """Thrice here, at drawn points; ten times over more nights in benchmarks/corpus_faults.py."""
    chance = np.random.default_rng(4)
    code = (
        "import sys, corpus_workers\n"
        "if __name__ == '__main__': corpus_workers.drive(sys.argv[1], sys.argv[2])"
    )
    (tmp_path / "driver.py").write_text(code)
    out = tmp_path / "out"
    environment = os.environ | {
        "PYTHONPATH": os.pathsep.join([str(Path(__file__).parents[1]), str(Path(__file__).parent)])
    }
    reached = []
    for after in sorted(chance.choice(5, 3, replace=False).tolist()):
        driver = subprocess.Popen(
            [sys.executable, str(tmp_path / "driver.py"), str(nights), str(out)], env=environment
        )
        while len(list(out.glob("runs/part=*/[!.]*"))) < after and driver.poll() is None:
            time.sleep(0.001)
        time.sleep(chance.uniform(0.0, 0.05))
        driver.send_signal(signal.SIGKILL)
        driver.wait()
        reached.append(len(list(out.glob("runs/part=*/[!.]*"))))
    assert reached == sorted(reached)
    assert reached[-1] > 0, "one kill at least fell in the middle"
    time.sleep(0.5)  # the workers notice that their driver is gone, and go
    (out / "events" / "part=00").mkdir(parents=True, exist_ok=True)
    (out / "events" / "part=00" / f"{HALF}1-torn.parquet").write_bytes(b"PAR1")
    run(nights, out)
    assert content(out) == content(plain)
    rows = corpus.Dataset(out).read("runs").column("recording").to_pylist()
    assert len(rows) == len(set(rows)) == 5


class _Quiet(http.server.SimpleHTTPRequestHandler):
    def log_message(self, *_words) -> None:
        """Say nothing."""


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_recordings_at_an_address(nights, plain, tmp_path) -> None:
    pytest.importorskip("fsspec")
    server = http.server.ThreadingHTTPServer(
        ("127.0.0.1", 0), partial(_Quiet, directory=str(nights))
    )
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        address = f"http://127.0.0.1:{server.server_address[1]}/"
        listed = corpus.list_recordings(address)
        assert {r.name for r in listed} == {r.name for r in corpus.list_recordings(nights)}
        report = run(address, tmp_path)
        assert len(report.done) == 5
        assert len(run(address, tmp_path).skipped) == 5
    finally:
        server.shutdown()
        server.server_close()
    mine, local = content(tmp_path), content(plain)
    same = [name for name in local if not name.startswith("runs")]  # the stamp is the store's own
    assert mine.keys() == local.keys()
    assert all(mine[name] == local[name] for name in same)


def test_a_list_with_ages_makes_groups(copied, tmp_path) -> None:
    rows = ["recording,postmenstrual_age_weeks,infant", "susie-a.edf,33,susie"]
    rows += ["susie-b.edf,34,susie", "ward/susie-c.edf,40,tim", "susie-wfdb,,"]
    (copied / "list.csv").write_text("\n".join(rows) + "\n")
    listed = corpus.list_recordings(copied / "list.csv")
    out = tmp_path / "out"
    report = corpus.run_corpus(listed, SETTINGS, out, executor=in_threads)
    assert len(report.done) == 4
    summary = corpus.summarise(out, SETTINGS.sha256, [r.key for r in listed])
    assert (summary.recordings, summary.infants) == (4, 3)
    apneas = {r["group"]: r for r in summary.of("events an hour") if r["kind"] == "apnea"}
    assert set(apneas) == {"all ages", "32 to 36 weeks", "37 to 44 weeks", "age not given"}
    assert apneas["all ages"]["count"] == 4  # one true pause of 23 s in each night
    assert apneas["all ages"]["figure"] == pytest.approx(4 / (4 / 60))
    assert apneas["all ages"]["supported"] + apneas["all ages"]["doubtful"] <= 4
    slow = next(r for r in summary.of("events an hour") if r["kind"] == "contact loss")
    assert (slow["count"], slow["low"]) == (0, 0.0)
    assert math.exp(-slow["high"] * slow["hours"]) == pytest.approx(0.025)  # none in so long
    load = [r for r in summary.of("events an hour") if r["kind"] == "all alarms"]
    assert load[0]["count"] >= apneas["all ages"]["count"]
    tried = [r for r in summary.of("what if") if r["kind"] == "apnea"]
    assert [r["count"] for r in tried] == [4, 4]  # 18 s and 22 s: 23 s is longer than both
    paths = corpus.write_summary(summary, out)
    import pandas as pd

    assert len(pd.read_parquet(paths[1])) == len(summary.rows)
    page = paths[0].read_text()
    assert all(caution in page for caution in CAUTIONS)
    assert "susie" not in page
    assert "Limits in force" not in page
    paths = corpus.write_summary(summary, out, ["torn", "torn", "other"], PLAN)
    page = paths[0].read_text()
    for told in ("Limits in force", "limit 20 s", "2 recordings: torn", "3 recordings failed"):
        assert told in page


def test_a_corpus_of_which_nothing_could_be_reviewed_has_no_figures(tmp_path) -> None:
    summary = corpus.summarise(tmp_path, SETTINGS.sha256, [])
    page = corpus.write_summary(summary, tmp_path, ["torn"], PLAN)[0].read_text()
    assert "there are no figures" in page
    assert "nan" not in page


def test_a_recording_of_a_list_that_is_missing_is_a_failure_of_its_own(copied, tmp_path) -> None:
    (copied / "list").write_text("susie-a.edf\nnot-there.edf\n")
    report = run(copied / "list", tmp_path / "out")
    assert [r.name for r in report.done] == ["susie-a.edf"]
    assert [r.name for r, _ in report.failed] == ["not-there.edf"]
