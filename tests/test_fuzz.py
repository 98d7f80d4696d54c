"""The readers under a coverage-guided fuzzer, for some seconds; longer by hand (tests/fuzz/run.py).

Seeds are readable files of the tests; what once broke a rule is kept in tests/fuzz/found and
tried every time, also without the fuzzer.
"""

import importlib.util
import os
import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent / "fuzz"
sys.path.insert(0, str(HERE))

from targets import TARGETS, run_once  # noqa: E402

SECONDS = 2
LONGEST_OF_ALL_S = 100  # beside the fuzzing itself: imports watched by the fuzzer are slow

FOUND = sorted((HERE / "found").iterdir())
"""Inputs that once broke a rule, named by their reader and a number."""


@pytest.fixture(scope="module")
def fuzzer():
    if importlib.util.find_spec("atheris") is None:
        reason = "atheris is not installed (dependency group fuzz)"
        if os.environ.get("INFANTMON_REQUIRE_ALL") == "1":
            pytest.fail(reason)
        pytest.skip(reason)


@pytest.mark.fuzz
@pytest.mark.usefixtures("fuzzer")
@pytest.mark.parametrize("name", sorted(TARGETS))
def test_a_reader_stands_some_seconds_of_fuzzing(name, tmp_path):
    command = [sys.executable, str(HERE / "run.py"), name, "--seconds", str(SECONDS)]
    done = subprocess.run(
        [*command, "--seed", "1", "--out", str(tmp_path)],
        capture_output=True,
        text=True,
        timeout=LONGEST_OF_ALL_S,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    assert "stat::number_of_executed_units" in done.stderr
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("name", sorted(TARGETS))
def test_every_seed_can_be_read(name, tmp_path):
    target = TARGETS[name]
    seeds = target.packed_seeds(tmp_path)
    assert len(seeds) >= 2
    for number, seed in enumerate(seeds):
        folder = tmp_path / str(number)
        folder.mkdir()
        target.unpacked(seed, folder)
        target.read(folder)


@pytest.mark.parametrize("path", FOUND, ids=lambda path: path.name)
def test_what_once_broke_a_rule_no_longer_does(path):
    run_once(TARGETS[path.name.rpartition("-")[0]], path.read_bytes())
