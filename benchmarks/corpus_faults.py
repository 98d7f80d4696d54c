"""A corpus under bad luck: the driver killed ten times, one recording in a hundred damaged.

Where in the run each kill falls is drawn by progress, not by the clock: after so many recordings
are finished, and a share of the time that one more takes.

    python -m benchmarks.corpus_faults --out benchmarks/results/corpus_faults.json

Simulated nights of `--minutes`, seeds from 7000. The dataset is compared byte for byte (but for the
table that tells what a run took) with that of a run which nothing disturbed.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.results import run_facts, write_result
from infantmon.corpus import Dataset
from infantmon.corpus.listing import key_of
from infantmon.formats.writing import write_edf
from infantmon.simulate import Pause, Scenario, simulate_night

FIRST_SEED, KILLS = 7000, 10
A_MINUTE_S = 0.01
"""What reviewing a minute takes, about, in seconds: the scale of the delay before a kill."""
LIMITS = Path(__file__).parents[1] / "examples" / "limits.toml"


def main(argv: list[str] | None = None) -> int:
    """Kill, damage, compare, store."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--nights", type=int, default=200)
    asked.add_argument("--minutes", type=float, default=2.0)
    asked.add_argument("--seed", type=int, default=11)
    asked.add_argument("--out", type=Path, default=None)
    told = asked.parse_args(argv)
    chance = np.random.default_rng(told.seed)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        nights = folder / "nights"
        nights.mkdir()
        for number in range(told.nights):
            scenario = Scenario(
                60.0 * told.minutes, ecg_hz=250.0, impedance_hz=62.5, events=(Pause(25.0, 22.0),)
            )
            recording = simulate_night(scenario, seed=FIRST_SEED + number).recording
            write_edf(recording, nights / f"night-{number:04}.edf")
        first = batch(nights, folder / "whole")
        drawn = np.sort(chance.choice(told.nights, KILLS, replace=False)).tolist()
        kills = [
            killed(
                nights, folder / "out", after, chance.uniform(0.0, 1.0) * told.minutes * A_MINUTE_S
            )
            for after in drawn
        ]
        last = batch(nights, folder / "out")
        result: dict[str, Any] = {
            "nights": told.nights,
            "minutes": told.minutes,
            "seed": told.seed,
            "exit_codes": [first["code"], last["code"]],
            "kill_drawn_after": drawn,
            "finished_at_each_kill": [kill["finished"] for kill in kills],
            "half_written_at_each_kill": [kill["half_written"] for kill in kills],
            "driver_was_running": all(kill["running"] for kill in kills),
            "rows_and_recordings": rows_and_recordings(folder / "out"),
            "left_for_the_last_run": last["done"],
            "equal_to_the_undisturbed_run": content(folder / "out") == content(folder / "whole"),
        }
        result |= damaged(nights, folder, chance, told.nights)
    result["run"] = run_facts(("infantmon", "numpy", "scipy", "pyarrow"))
    text = as_markdown(result)
    print(text)
    if told.out is not None:
        write_result(told.out, result, text)
    rows, recordings = result["rows_and_recordings"]
    fine = (
        result["equal_to_the_undisturbed_run"]
        and result["driver_was_running"]
        and rows == recordings == told.nights
        and result["damaged_all_named"]
        and result["damaged_in_the_dataset"]
    )
    return int(not (fine and result["damaged_exit_code"] == 3))


def command(nights: Path, out: Path) -> list[str]:
    """Return the words that start a run."""
    code = "from infantmon.cli import run\nif __name__ == '__main__': run()"
    words = ("batch", str(nights), "--out", str(out), "--prescription", str(LIMITS), "--json")
    return [sys.executable, "-c", code, *words]


def batch(nights: Path, out: Path) -> dict[str, Any]:
    """Run to the end."""
    done = subprocess.run(command(nights, out), capture_output=True, text=True, check=False)  # noqa: S603
    told = json.loads(done.stdout)
    return {"code": done.returncode, "done": told["done"], "failed": told["failed"]}


def killed(nights: Path, out: Path, after: int, delay_s: float) -> dict[str, Any]:
    """Start a run and kill its driver a while (s) after so many recordings are finished."""
    driver = subprocess.Popen(  # noqa: S603
        command(nights, out), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    while finished(out) < after and driver.poll() is None:
        time.sleep(0.001)
    time.sleep(delay_s)
    running = driver.poll() is None
    driver.kill()
    driver.wait()
    time.sleep(0.5)  # the workers notice, and go
    half = list(out.glob("*/part=*/.half-*"))
    return {"finished": finished(out), "half_written": len(half), "running": running}


def rows_and_recordings(out: Path) -> tuple[int, int]:
    """Return how many rows `runs` has, and of how many recordings they are."""
    rows = Dataset(out).read("runs", ("recording",)).column("recording").to_pylist()
    return len(rows), len(set(rows))


def finished(out: Path) -> int:
    """Return how many recordings count as done."""
    return len(list(out.glob("runs/part=*/[!.]*.parquet")))


def damaged(nights: Path, folder: Path, chance: Any, count: int) -> dict[str, Any]:
    """Damage one recording in a hundred, each in another way, and run over all."""
    files = sorted(nights.glob("*.edf"))
    chosen = [files[k] for k in chance.choice(count, max(count // 100, 3), replace=False)]
    for way, path in enumerate(chosen):
        whole = path.read_bytes()
        path.write_bytes((whole[:100], b"", b"\xff" * 400 + whole[400:])[way % 3])
    done = batch(nights, folder / "damaged")
    names = sorted(one["recording"] for one in done["failed"])
    rows = Dataset(folder / "damaged").read("runs").to_pylist()
    told = {row["recording"]: row["reason"] for row in rows if row["status"] == "failed"}
    return {
        "damaged": len(chosen),
        "damaged_exit_code": done["code"],
        "damaged_others_done": done["done"],
        "damaged_all_named": names == sorted(path.name for path in chosen),
        "damaged_in_the_dataset": told.keys() == {key_of(path.name) for path in chosen}
        and all(told.values()),
        "damaged_reasons": [one["reason"].rpartition("/")[2] for one in done["failed"]],
    }


def content(out: Path) -> dict[str, bytes]:
    """Return every file of a dataset but for the table that tells what a run took."""
    return {
        str(path.relative_to(out)): path.read_bytes()
        for path in sorted(out.glob("*/part=*/*"))
        if path.relative_to(out).parts[0] != "timing"
    }


def as_markdown(result: dict[str, Any]) -> str:
    """Return the result as text."""

    def listed(name: str) -> str:
        return ", ".join(map(str, result[name]))

    rows = [
        ("driver killed (SIGKILL) at random points", str(len(result["finished_at_each_kill"]))),
        ("each after so many recordings, as drawn", listed("kill_drawn_after")),
        ("recordings finished at each", listed("finished_at_each_kill")),
        ("files half written at each", listed("half_written_at_each_kill")),
        (
            "rows in `runs` after the last run, and recordings",
            " and ".join(map(str, result["rows_and_recordings"])),
        ),
        ("left for the last run", str(result["left_for_the_last_run"])),
        (
            "dataset equal to that of an undisturbed run, byte for byte",
            "yes" if result["equal_to_the_undisturbed_run"] else "NO",
        ),
        ("damaged recordings", f"{result['damaged']} of {result['nights']}"),
        ("each named with its reason", "yes" if result["damaged_all_named"] else "NO"),
        (
            "each in the dataset with its reason",
            "yes" if result["damaged_in_the_dataset"] else "NO",
        ),
        ("others done", str(result["damaged_others_done"])),
        ("exit code", str(result["damaged_exit_code"])),
    ]
    lines = "\n".join(f"| {what} | {found} |" for what, found in rows)
    return (
        "# Many recordings under bad luck\n\n"
        f"Population: {result['nights']} simulated nights of {result['minutes']:g} min, seeds from "
        f"{FIRST_SEED}; points of the kills drawn with seed {result['seed']}. Two processes. "
        "By `python -m benchmarks.corpus_faults`.\n\n"
        f"| what | found |\n| --- | --- |\n{lines}\n"
    )


if __name__ == "__main__":
    sys.exit(main())
