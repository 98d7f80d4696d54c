"""Recordings of several files, one of ECG and one of impedance: joined, skipped, named by a key."""

from __future__ import annotations

import http.server
import json
import shutil
import threading
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path

import pytest
from corpus_workers import PLAN, SETTINGS

import infantmon as im
from infantmon import corpus
from infantmon.cli import main
from infantmon.corpus.listing import key_of
from infantmon.formats import write_edf
from infantmon.simulate import Pause, Scenario, simulate_night

FILES = {"ecg": "susie-ecg.edf", "impedance": "susie-z.edf"}


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> Path:
    """Two nights, each in a folder of its own, its ECG and its impedance in a file each."""
    folder = tmp_path_factory.mktemp("infants")
    for seed in (1, 2):
        scenario = Scenario(90.0, ecg_hz=125.0, impedance_hz=50.0, events=(Pause(50.0, 23.0),))
        night = simulate_night(scenario, seed=seed).recording
        (folder / f"night{seed}").mkdir()
        for role, name in FILES.items():
            alone = im.Recording({role: night.channels[role]}, started_at=night.started_at)
            write_edf(alone, folder / f"night{seed}" / name)
    return folder


@pytest.fixture
def infants(made, tmp_path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "infants"))


def run(listed: list[corpus.Listing], out: Path) -> corpus.Report:
    return corpus.run_corpus(listed, SETTINGS, out, executor=lambda: ThreadPoolExecutor(1))


def test_the_files_of_a_folder_are_reviewed_as_one(infants, tmp_path) -> None:
    listed = corpus.list_recordings(infants, by_folder=True)
    report = run(listed, tmp_path / "out")
    assert [one.name for one in listed] == ["night1", "night2"]
    assert len(report.done) == 2
    rows = corpus.Dataset(tmp_path / "out").read("events").to_pylist()
    for name in ("night1", "night2"):
        reviewed = im.review(im.read(*(infants / name / one for one in FILES.values())), PLAN)
        mine = [row["onset_s"] for row in rows if row["recording"] == key_of(name)]
        assert mine == [event.onset_s for event in reviewed.events]
        assert "apnea" in [event.kind for event in reviewed.events]
    runs = corpus.Dataset(tmp_path / "out").read("runs").to_pylist()
    assert all(row["ecg_usable_s"] > 80.0 and row["impedance_usable_s"] > 60.0 for row in runs)
    assert "susie" not in str(runs)
    assert len(run(listed, tmp_path / "out").skipped) == 2


def test_a_change_of_any_file_is_noticed(infants, tmp_path) -> None:
    listed = corpus.list_recordings(infants, by_folder=True)
    run(listed, tmp_path / "out")
    file = infants / "night2" / FILES["impedance"]
    before = im.read(file).channels["impedance"]
    values = before.segments[0].values[::-1]
    write_edf(im.Recording({"impedance": im.Channel(values, rate_hz=50.0, unit="ohm")}), file)
    again = run(corpus.list_recordings(infants, by_folder=True), tmp_path / "out")
    assert [listing.name for listing in again.skipped] == ["night1"]
    assert len(again.done) == 1


def test_a_list_at_the_command_line(infants, tmp_path, capsys) -> None:
    (infants / "list.csv").write_text(
        f"recording,infant\nnight1/{FILES['ecg']} + night1/{FILES['impedance']},a\n"
        f"night2/{FILES['ecg']} + night2/lost.edf,a\n"
    )
    (tmp_path / "limits.toml").write_text("[apnea]\nlimit_s = 20\n")
    words = ["--out", str(tmp_path / "out"), "--prescription", str(tmp_path / "limits.toml")]
    assert main(["batch", str(infants / "list.csv"), *words, "--json", "--workers", "1"]) == 3
    told = json.loads(capsys.readouterr().out)
    assert told["done"] == 1
    (failed,) = told["failed"]
    assert failed["recording"] == f"night2/{FILES['ecg']} + night2/lost.edf"
    assert "lost.edf does not exist" in failed["reason"]
    runs = corpus.Dataset(tmp_path / "out").read("runs").to_pylist()
    assert "susie" not in str(runs)
    assert "lost" not in str(runs)


class _Quiet(http.server.SimpleHTTPRequestHandler):
    def log_message(self, *_words) -> None:
        """Say nothing."""


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_files_of_one_recording_at_an_address_may_share_a_name(infants, tmp_path) -> None:
    pytest.importorskip("fsspec")
    for role, name in FILES.items():
        (infants / role).mkdir()
        (infants / role / "night.edf").write_bytes((infants / "night1" / name).read_bytes())
    server = http.server.ThreadingHTTPServer(
        ("127.0.0.1", 0), partial(_Quiet, directory=str(infants))
    )
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        at = f"http://127.0.0.1:{server.server_address[1]}"
        (tmp_path / "list").write_text(f"{at}/ecg/night.edf + {at}/impedance/night.edf\n")
        report = run(corpus.list_recordings(tmp_path / "list"), tmp_path / "out")
    finally:
        server.shutdown()
        server.server_close()
    assert len(report.done) == 1
    local = im.review(im.read(*(infants / "night1" / name for name in FILES.values())), PLAN).events
    rows = corpus.Dataset(tmp_path / "out").read("events").to_pylist()
    assert [row["onset_s"] for row in rows] == [event.onset_s for event in local]
