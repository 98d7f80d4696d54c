"""Many simulated nights over one process and two: speed, scaling, memory, storage.

    python -m benchmarks.corpus_speed --nights 1000 --repeats 3 --out benchmarks/results/corpus.json

Takes about ten minutes, on a machine that does nothing else; no repeat is begun that would not end
within `--longest-min`, and the result says how many there were.

Population: simulated nights of 30 min at 250 Hz and 62.5 Hz (EDF), seeds 5000 and up; `--invented`
different ones are made, and the others are copies of them, since making 1000 takes longer than
reviewing them. Every copy is read, hashed, reviewed and written anew. Tuned on: no.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import sys
import tempfile
import time
from functools import partial
from pathlib import Path
from typing import Any

import infantmon as im
from benchmarks.results import run_facts, write_result
from infantmon import corpus
from infantmon.formats.writing import write_edf
from infantmon.simulate import demo_scenario, simulate_night
from infantmon.what_if import neighbours

FIRST_SEED = 5000
LEAST_SPEEDUP, LEAST_TIMES_REAL = 1.8, 8_000.0
LIMITS = Path(__file__).parents[1] / "examples" / "limits.toml"


def main(argv: list[str] | None = None) -> int:
    """Measure, store, and say whether the bars are reached."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--nights", type=int, default=1000)
    asked.add_argument("--invented", type=int, default=20)
    asked.add_argument("--repeats", type=int, default=1)
    asked.add_argument("--longest-min", type=float, default=17.0)
    asked.add_argument("--out", type=Path, default=None)
    told = asked.parse_args(argv)
    until = time.perf_counter() + 60.0 * told.longest_min
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        made = make_nights(folder / "nights", told.nights, told.invented)
        result = measured(folder, made, told.repeats, until)
    result["nights"] = told.nights
    result["different_nights"] = told.invented
    result["run"] = run_facts(("infantmon", "numpy", "scipy", "pyarrow"))
    text = as_markdown(result)
    print(text)
    if told.out is not None:
        write_result(told.out, result, text)
    return int(result["speedup"] < LEAST_SPEEDUP or result["times_real"] < LEAST_TIMES_REAL)


def make_nights(folder: Path, count: int, different: int) -> list[corpus.Listing]:
    """Write nights, the later ones as copies of the first."""
    folder.mkdir()
    for number in range(count):
        path = folder / f"night-{number:05}.edf"
        if number < different:
            write_edf(simulate_night(demo_scenario(), seed=FIRST_SEED + number).recording, path)
        else:
            shutil.copy(folder / f"night-{number % different:05}.edf", path)
    return corpus.list_recordings(folder)


def measured(
    folder: Path, nights: list[corpus.Listing], repeats: int, until: float
) -> dict[str, Any]:
    """Run one process and two, in turn, until a time of the clock; medians of the repeats."""
    plan = im.Prescription.from_toml(LIMITS)
    settings = corpus.Settings(plan, tuple(neighbours(plan)))
    walls: dict[int, list[float]] = {1: [], 2: []}
    result: dict[str, Any] = {"load_before": os.getloadavg()[0]}
    speeds: dict[str, list[float]] = {}
    for turn in range(repeats):
        begun = time.perf_counter()
        for workers in (1, 2):
            out = folder / f"out-{workers}-{turn}"
            began, driver = time.perf_counter(), time.process_time()
            report = corpus.run_corpus(
                nights,
                settings,
                out,
                executor=partial(corpus.local_pool, workers),
                workers=workers,
            )
            walls[workers].append(time.perf_counter() - began)
            result[f"driver_processor_s_{workers}"] = time.process_time() - driver
            if len(report.done) != len(nights):
                raise RuntimeError(f"{len(report.failed)} nights failed")
            told = report.outcomes
            each = [one.recorded_s / one.processor_s for one in told]
            whole = sum(o.recorded_s for o in told) / sum(o.processor_s for o in told)
            speeds.setdefault(f"median_times_real_{workers}", []).append(statistics.median(each))
            speeds.setdefault(f"times_real_{workers}", []).append(whole)
            result["peak_mib"] = max(one.peak_mib for one in told)
            result["recorded_h"] = sum(one.recorded_s for one in told) / 3600.0
        if time.perf_counter() + 1.1 * (time.perf_counter() - begun) > until:
            break
    result["repeats"] = len(walls[1])
    result |= {name: statistics.median(some) for name, some in speeds.items()}
    began = time.perf_counter()
    report = corpus.run_corpus(nights, settings, out)
    result["skipping_s"] = time.perf_counter() - began
    began = time.perf_counter()
    summary = corpus.summarise(out, settings.sha256, [one.key for one in nights])
    result["summary_s"] = time.perf_counter() - began
    corpus.write_summary(summary, out)
    files = list(out.glob("*/part=*/*.parquet"))
    result["files_a_night"] = len(files) / len(nights)
    result["bytes_a_night"] = sum(path.stat().st_size for path in files) / len(nights)
    result["input_bytes_a_night"] = statistics.mean(one.size_bytes for one in nights)
    wall = {workers: statistics.median(some) for workers, some in walls.items()}
    return result | {
        "wall_s": {str(workers): some for workers, some in walls.items()},
        "speedup": wall[1] / wall[2],
        "times_real": result["times_real_1"],
        "wall_times_real": {str(w): 3600.0 * result["recorded_h"] / t for w, t in wall.items()},
        "load_after": os.getloadavg()[0],
    }


def as_markdown(result: dict[str, Any]) -> str:
    """Return the result as text."""
    wall = result["wall_times_real"]
    rows = [
        ("two processes against one, wall clock", f"{result['speedup']:.2f}", f"{LEAST_SPEEDUP:g}"),
        (
            "recorded hours a core-hour (processor time, reading to writing), one process",
            f"{result['times_real']:,.0f}",
            f"{LEAST_TIMES_REAL:,.0f} (aim 20,000)",
        ),
        ("the same, median night", f"{result['median_times_real_1']:,.0f}", ""),
        ("the same, two processes at once", f"{result['times_real_2']:,.0f}", ""),
        ("recorded hours an hour of wall clock, one process", f"{wall['1']:,.0f}", ""),
        ("recorded hours an hour of wall clock, two processes", f"{wall['2']:,.0f}", ""),
        (
            "processor time of the driver, two processes, s",
            f"{result['driver_processor_s_2']:.1f}",
            "",
        ),
        ("most memory of a worker, MiB", f"{result['peak_mib']:.0f}", ""),
        ("dataset a night, kB", f"{result['bytes_a_night'] / 1000:.1f}", ""),
        ("files a night", f"{result['files_a_night']:.0f}", ""),
        ("input a night, kB", f"{result['input_bytes_a_night'] / 1000:.0f}", ""),
        ("second run that skips all, s", f"{result['skipping_s']:.1f}", ""),
        ("summary, s", f"{result['summary_s']:.1f}", ""),
    ]
    lines = "\n".join(f"| {what} | {figure} | {bar} |" for what, figure, bar in rows)
    return (
        "# Many recordings\n\n"
        f"Population: {result['nights']} simulated nights of 30 min (250 Hz and 62.5 Hz, EDF), "
        f"{result['different_nights']} different ones and copies of them; seeds from {FIRST_SEED}, "
        "not tuned on. Limits in force and others beside them; events, quality, what-if and "
        f"provenance written. Medians of {result['repeats']} runs with one process and with two, "
        "in turn. Load of the machine before and after (two is this benchmark's own; what is above "
        f"that was other work): {result['load_before']:.1f} and {result['load_after']:.1f}. "
        f"By `python -m benchmarks.corpus_speed --nights {result['nights']} --repeats "
        f"{result['repeats']}`.\n\n"
        f"| what | reached | bar |\n| --- | --- | --- |\n{lines}\n"
    )


if __name__ == "__main__":
    sys.exit(main())
