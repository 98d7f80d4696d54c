"""A real scheduler and two worker processes on loopback: the same bytes as at home."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from scored_folder import make_folder

import infantmon as im
from infantmon import corpus
from infantmon.corpus.cluster import dask_executor
from infantmon.errors import InfantmonError
from infantmon.formats import write_edf
from infantmon.simulate import Pause, Scenario, simulate_night

pytest.importorskip("distributed")

ROOT = Path(__file__).parents[1]
SETTINGS = corpus.Settings(im.Prescription(apnea={"limit_s": 20}), breaths=True)
WORKER = ("--nthreads", "1", "--no-dashboard", "--no-nanny", "--memory-limit", "0")


def started(*words: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "distributed.cli." + words[0], *words[1:]],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        stderr=subprocess.PIPE,
        text=True,
    )


def said(process: subprocess.Popen[str], pattern: str) -> str:
    """Read what a process says until it says the pattern; then let it talk to nobody."""
    for line in process.stderr:
        found = re.search(pattern, line)
        if found:
            threading.Thread(target=process.stderr.read, daemon=True).start()
            return found.group(1)
    raise AssertionError("it ended without saying so")


@pytest.fixture
def cluster():
    running = [started("dask_scheduler", "--port", "0", "--host", "127.0.0.1", "--no-dashboard")]
    try:
        address = said(running[0], r"(tcp://127\.0\.0\.1:\d+)")
        running += [started("dask_worker", address, *WORKER) for _ in range(2)]
        for worker in running[1:]:
            said(worker, r"(Registered to)")
        yield address, running[1:]
    finally:
        for process in reversed(running):
            process.kill()
            process.wait()
            process.stderr.close()


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
def test_two_workers_one_of_them_killed_in_the_middle(cluster, tmp_path) -> None:
    address, workers = cluster
    nights = tmp_path / "nights"
    nights.mkdir()
    for seed in range(12):
        scenario = Scenario(60.0, ecg_hz=125.0, impedance_hz=50.0, events=(Pause(20.0, 23.0),))
        write_edf(simulate_night(scenario, seed=seed).recording, nights / f"n{seed}.edf")
    listed = corpus.list_recordings(nights)
    make, threads = dask_executor(address)
    assert threads == 2
    killed = []

    def kill_one(share: float) -> None:
        if share >= 0.3 and not killed:
            killed.append(share)
            workers[0].send_signal(signal.SIGKILL)

    far = corpus.run_corpus(
        listed, SETTINGS, tmp_path / "far", executor=make, workers=threads, progress=kill_one
    )
    assert killed
    assert not far.failed
    assert len(far.done) == 12
    near = corpus.run_corpus(listed, SETTINGS, tmp_path / "near", workers=1)
    assert len(near.done) == 12
    assert content(tmp_path / "far") == content(tmp_path / "near")


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
def test_scores_are_equal_far_and_near(cluster, tmp_path) -> None:
    folder = make_folder(tmp_path / "records", rates=(90.0, 120.0, 150.0, 180.0), extra_marks=3)
    settings = corpus.ScoreSettings("beats")
    listed = corpus.list_recordings(folder, settings.labels)
    make, threads = dask_executor(cluster[0])
    far = corpus.run_corpus(listed, settings, tmp_path / "far", executor=make, workers=threads)
    near = corpus.run_corpus(listed, settings, tmp_path / "near", workers=1)
    assert len(far.done) == len(near.done) == 4
    assert content(tmp_path / "far") == content(tmp_path / "near")
    again = corpus.run_corpus(listed, settings, tmp_path / "far", executor=make, workers=threads)
    assert len(again.skipped) == 4


def content(out: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(out)): path.read_bytes()
        for path in sorted(out.glob("*/part=*/*"))
        if path.relative_to(out).parts[0] != "timing"
    }


def test_nobody_there_is_told() -> None:
    with pytest.raises(InfantmonError, match="no scheduler answers"):
        dask_executor("tcp://127.0.0.1:9", timeout_s=0.5)


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("address", ["there", "http://127.0.0.1:8786"])
def test_what_is_no_address_is_told(address) -> None:
    with pytest.raises(InfantmonError, match=r"is no address of a scheduler .*; pass one such as"):
        dask_executor(address)


def test_an_executor_that_is_shut_down_leaves_no_connection(cluster) -> None:
    """What goes on in the background would disturb whatever runs after it."""
    before = set(threading.enumerate())
    make, _ = dask_executor(cluster[0])
    executor = make()
    assert executor.submit(sum, (1, 2)).result(timeout=30.0) == 3
    executor.shutdown()
    left = [thread.name for thread in set(threading.enumerate()) - before if thread.is_alive()]
    assert [name for name in left if "loop" in name.lower()] == []
