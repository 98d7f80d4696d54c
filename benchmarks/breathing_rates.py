"""Rate of breathing in windows of 32 s, against both annotators and between them.

    python -m benchmarks.breathing_rates --out benchmarks/results/breathing_rates.json

The rate of a window is 60 over the mean interval between the marks inside it; with fewer than two
marks it is their count over the length of the window, so that no window is left out. Bar: the mean
absolute error against the
annotators is no larger than theirs against each other plus 0.3 a minute.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.results import PROJECT, run_facts, write_result
from infantmon.effort import detect_breaths
from infantmon.labelled.database import Database, Labelled
from infantmon.labelled.known import databases
from infantmon.model.arrays import Floats
from infantmon.scorecard.detectors import one_piece
from infantmon.stages.r_peaks import detect_r_peaks

WINDOW_S = 32.0
ALLOWED = 0.3


def rates_in_windows(marks_s: Floats, duration_s: float) -> Floats:
    """Return breaths a minute in each full window."""
    edges_s = np.arange(int(duration_s // WINDOW_S) + 1) * WINDOW_S
    first = np.searchsorted(marks_s, edges_s[:-1])
    count = np.searchsorted(marks_s, edges_s[1:]) - first
    rates = 60.0 * count / WINDOW_S
    for row in np.flatnonzero(count >= 2).tolist():
        inside = marks_s[first[row] : first[row] + count[row]]
        rates[row] = 60.0 * (len(inside) - 1) / (inside[-1] - inside[0])
    return np.asarray(rates, dtype=np.float64)


def errors_of(labelled: Labelled) -> Floats:
    """Return, one row a window: ours off the first and the second annotator, they off each other.

    Shape (windows, 3), in breaths a minute.
    """
    ecg = one_piece(labelled.recording, "ecg")
    beats = detect_r_peaks(ecg.segments[0].values, ecg.rate_hz, unit=ecg.unit)
    impedance = one_piece(labelled.recording, "impedance")
    found = detect_breaths(impedance.segments[0].values, impedance.rate_hz, r_peaks=beats)
    marks = (found.time_s, *labelled.breaths_s)
    ours, one, other = (rates_in_windows(each, impedance.end_s) for each in marks)
    errors = np.abs(np.column_stack((ours - one, ours - other, one - other)))
    return np.asarray(errors, dtype=np.float64)


def table_of(shelf: Database) -> dict[str, Any]:
    """Return the mean absolute errors over all records of a database with two annotators."""
    by_record = {name: errors_of(shelf.load(name)) for name in shelf.names}
    errors = np.concatenate(list(by_record.values()))
    ours, theirs = float(errors[:, :2].mean()), float(errors[:, 2].mean())
    return {
        "run": run_facts(),
        "database": shelf.name,
        "population": shelf.population,
        "labels": shelf.label_origin,
        "tuned_on": shelf.tuned_on,
        "window_s": WINDOW_S,
        "windows": len(errors),
        "ours_per_min": round(ours, 3),
        "annotators_per_min": round(theirs, 3),
        "allowed_per_min": round(theirs + ALLOWED, 3),
        "reached": ours <= theirs + ALLOWED,
        "records": {name: np.round(e.mean(axis=0), 3).tolist() for name, e in by_record.items()},
    }


def as_markdown(result: dict[str, Any]) -> str:
    """Return the table for people."""
    lines = [
        "# Rate of breathing in windows of 32 s",
        "",
        (
            f"{result['database']}: {result['windows']} windows. "
            f"Population: {result['population']}. "
            f"Labels: {result['labels']}. Tuned on: {result['tuned_on']}."
        ),
        "",
        "| mean absolute error, breaths a minute | |",
        "| --- | --- |",
        f"| ours against the two annotators | {result['ours_per_min']:.2f} |",
        f"| the annotators against each other | {result['annotators_per_min']:.2f} |",
        (
            f"| bar: theirs plus {ALLOWED} | {result['allowed_per_min']:.2f}, "
            f"{'reached' if result['reached'] else 'NOT reached'} |"
        ),
        "",
        "| record | ours, first annotator | ours, second | annotators |",
        "| --- | --- | --- | --- |",
    ]
    for name, errors in result["records"].items():
        lines.append(f"| {name} | {' | '.join(f'{error:.2f}' for error in errors)} |")
    return "\n".join([*lines, "", result["run"]["caution"], ""])


def main(words: list[str] | None = None) -> int:
    """Measure, print and store; return 0 if the bar is reached."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument(
        "--out", type=Path, default=PROJECT / "benchmarks/results/breathing_rates.json"
    )
    told = parser.parse_args(words)
    result = table_of(databases()["bidmc"])
    markdown = as_markdown(result)
    print(markdown)
    write_result(told.out, result, markdown)
    return 0 if result["reached"] else 1


if __name__ == "__main__":
    sys.exit(main())
