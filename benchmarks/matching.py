"""Measures the pairing of marks at size: 4 million against 4 million, time and memory.

    python -m benchmarks.matching

Writes benchmarks/results/matching.json and matching.md. Each case runs in a process of its own, so
that the memory told is that of this case alone. Marks are drawn: they stand for months of beats.
"""

from __future__ import annotations

import argparse
import multiprocessing
import resource
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np

from benchmarks.results import PROJECT, run_facts, write_result
from infantmon.model.arrays import Floats
from infantmon.scoring.marks import match_marks

SEED = 61
COUNT = 4_000_000
REPEATS = 3
WINDOW_S = 0.15
MOST_S, MOST_BYTES = 30.0, 2_000_000_000
CASES = {
    "a good detector of 150 beats a minute": (0.4, 0.01, 0.001),
    "300 beats a minute, marks off by 80 ms, a tenth missed and a tenth extra": (0.2, 0.08, 0.1),
}
"""Usual interval (s), spread of the test marks (s), share missed and share extra."""


def drawn(case: str, count: int, seed: int = SEED) -> tuple[Floats, Floats]:
    """Return reference and test marks of a case, so many of each, in seconds."""
    interval, spread, lost = CASES[case]
    draw = np.random.default_rng([seed, list(CASES).index(case)])
    reference = np.cumsum(interval * draw.uniform(0.8, 1.2, count))
    kept = reference[draw.random(count) >= lost]
    kept = kept + draw.normal(0.0, spread, len(kept))
    extra = draw.uniform(0.0, reference[-1], 2 * count)  # more than needed; cut to the count
    test = np.unique(np.abs(kept))
    test = np.unique(np.concatenate((test, extra[: count - len(test)])))
    return reference, test


def measured(case: str, count: int) -> dict[str, Any]:
    """Return time and memory of one pairing; memory is the peak of the whole process."""
    reference, test = drawn(case, count)
    before = _peak_bytes()
    begin = time.perf_counter()
    match = match_marks(reference, test, WINDOW_S)
    seconds = time.perf_counter() - begin
    return {
        "case": case,
        "reference": len(reference),
        "test": len(test),
        "pairs": len(match),
        "seconds": round(seconds, 2),
        "peak_mb": round(_peak_bytes() / 1e6),
        "peak_before_mb": round(before / 1e6),
    }


def _peak_bytes() -> int:
    return 1024 * resource.getrusage(resource.RUSAGE_SELF).ru_maxrss  # Linux counts KiB


def as_markdown(result: dict[str, Any]) -> str:
    """Return the result for people."""
    about = (
        f"Made by `python -m benchmarks.matching`; window {1000 * WINDOW_S:g} ms; median of "
        f"{REPEATS} runs, each in a process of its own. Population: none, the marks are drawn "
        f"(seed {SEED}, not used in tuning); labels: drawn. Asked: under {MOST_S:g} s and "
        f"{MOST_BYTES / 1e9:g} GB."
    )
    head = "| case | reference | test | pairs | seconds | peak of the process, MB | met |"
    lines = ["# Pairing of marks at size", "", result["run"]["caution"], "", about, ""]
    lines += [head, "|---|---|---|---|---|---|---|"]
    lines += [
        f"| {row['case']} | {row['reference']} | {row['test']} | {row['pairs']} | "
        f"{row['seconds']:.1f} | {row['peak_mb']} | {'yes' if row['met'] else 'NO'} |"
        for row in result["rows"]
    ]
    return "\n".join(lines) + "\n"


def rows_of(count: int, repeats: int) -> list[dict[str, Any]]:
    """Return one row a case."""
    rows = []
    context = multiprocessing.get_context("spawn")
    for case in CASES:
        runs = []
        for _ in range(repeats):
            with ProcessPoolExecutor(1, mp_context=context) as pool:
                runs.append(pool.submit(measured, case, count).result())
        row = runs[0] | {
            "seconds": median(run["seconds"] for run in runs),
            "peak_mb": max(run["peak_mb"] for run in runs),
        }
        row["met"] = row["seconds"] < MOST_S and row["peak_mb"] < MOST_BYTES / 1e6
        rows.append(row)
        print(row, flush=True)
    return rows


def main(words: list[str] | None = None) -> int:
    """Run the command; 1 if a case takes longer or more memory than asked."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, default=PROJECT / "benchmarks/results/matching.json")
    parser.add_argument("--count", type=int, default=COUNT)
    options = parser.parse_args(words)
    rows = rows_of(options.count, REPEATS)
    result = {"run": run_facts(), "seed": SEED, "rows": rows}
    write_result(options.out, result, as_markdown(result))
    return 0 if all(row["met"] for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
