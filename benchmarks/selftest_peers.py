"""The self-test on this chain, on other open detectors, and on one that is made worse on purpose.

    python -m benchmarks.selftest_peers --out benchmarks/results/selftest_peers.json

The last one halves fast rates: a bench that cannot tell it from a good one is of no use.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.results import run_facts, write_result
from infantmon.model.arrays import Floats
from infantmon.scorecard.peers import BEATS as DETECTORS
from infantmon.selftest import (
    FALLS_SHORT,
    NOT_RUN,
    PASS,
    TRIALS,
    ForeignDetector,
    OwnChain,
    Subject,
    run_bench,
)
from infantmon.selftest.export import NO_DELAY, NOTES
from infantmon.selftest.row import CHAIN
from infantmon.stages.r_peaks import detect_r_peaks

MADE_WORSE = "made worse: halves rates above 190"
SIGNS = {PASS: "pass", FALLS_SHORT: "**falls short**", NOT_RUN: "-"}


def halving(samples_mv: Floats, rate_hz: float) -> Floats:
    """Return our own beats, but every second one where the heart beats faster than 190 a minute."""
    beats = detect_r_peaks(samples_mv, rate_hz, unit="mV").time_s
    fast = len(beats) > 2 and float(np.median(np.diff(beats))) < 60.0 / 190.0
    return beats[::2] if fast else beats


def subjects() -> list[Subject]:
    """Return what is put through the bench, in the order of the table."""
    peers = [ForeignDetector(detect, name) for name, (detect, _) in DETECTORS.items()]
    return [OwnChain(), *peers, ForeignDetector(halving, MADE_WORSE)]


def run(recordings: Path | None) -> dict[str, Any]:
    """Run the rows that need beats only on every subject."""
    trials = [trial for trial in TRIALS if trial.needs != CHAIN]
    benches, seconds = {}, {}
    for subject in subjects():
        begin = time.process_time()
        benches[subject.name] = run_bench(subject, trials=trials, recordings=recordings)
        seconds[subject.name] = round(time.process_time() - begin, 2)
        print(subject.name, benches[subject.name].counts, flush=True)
    packages = ("infantmon", "numpy", "scipy", *(package for _, package in DETECTORS.values()))
    return {
        "run": run_facts(packages),
        "population": "invented ECGs of an infant's shapes and rates; adults' in the EC13 records",
        "label_origin": "the drawing's own truth; for the EC13 records the rates of the standard",
        "tuned_on": "infantmon: the limits were known while it was built; the others: no",
        "notes": [*NOTES, NO_DELAY],
        "processor_s": seconds,
        "counts": {name: bench.counts for name, bench in benches.items()},
        "rows": {name: [asdict(row) for row in bench.rows] for name, bench in benches.items()},
    }


def as_markdown(result: dict[str, Any]) -> str:
    """Return the result for people: one row a trial, one column a detector."""
    facts = result["run"]
    versions = ", ".join(f"{name} {number}" for name, number in facts["versions"].items())
    names = list(result["rows"])
    lines = ["# The self-test on several detectors of heart beats", "", facts["caution"], ""]
    lines += [f"{note}" for note in result["notes"]]
    lines += ["", f"Population: {result['population']}. Labels: {result['label_origin']}."]
    lines += [f"Tuned on: {result['tuned_on']}.", ""]
    lines += [f"Made {facts['made_at']} at commit {str(facts['commit'])[:12]}; {versions}.", ""]
    lines += [f"| | {' | '.join(names)} |", f"|---|{'---|' * len(names)}"]
    for verdict in (PASS, FALLS_SHORT, NOT_RUN):
        counts = (str(result["counts"][name][verdict]) for name in names)
        lines.append(f"| {verdict} | {' | '.join(counts)} |")
    lines += ["", f"| trial | limit | {' | '.join(names)} |", f"|---|---|{'---|' * len(names)}"]
    for rows in zip(*(result["rows"][name] for name in names), strict=True):
        first = rows[0]
        cells = (f"{SIGNS[row['verdict']]}<br>{_told(row)}" for row in rows)
        lines.append(
            f"| {first['group']}: {first['name']}<br>{first['source']} | {first['limit']} | "
            f"{' | '.join(cells)} |"
        )
    return "\n".join(lines) + "\n"


def _told(row: dict[str, Any]) -> str:
    said = row["measured"] + (f"; {row['reason']}" if row["reason"] else "")
    return str(said).replace("|", "/")


def main(arguments: list[str] | None = None) -> int:
    """Run the command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, required=True, help="where the JSON is written")
    parser.add_argument("--recordings", type=Path, help="folder that holds aami-ec13")
    options = parser.parse_args(arguments)
    result = run(options.recordings)
    write_result(options.out, result, as_markdown(result))
    return 0


if __name__ == "__main__":
    sys.exit(main())
