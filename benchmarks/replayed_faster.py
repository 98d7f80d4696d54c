"""Recordings replayed faster, so that adults have the rates and the narrow complexes of infants.

    python -m benchmarks.replayed_faster --out benchmarks/results/replayed_faster.json

There are few recordings of infants with marks made by people. The samples of an adult, read as if
they had been taken faster, show a heart and breathing of an infant's rates: at twice the speed 75
beats and 15 breaths a minute become 150 and 30, and a QRS complex of 90 ms one of 45 ms (newborns:
40 to 50 ms; Mason HT et al., Signals 5:118-146, 2024). Everything else is the adult's: the shapes,
the arrhythmias, the changes of rate, which come faster too. The marks are those of the recordings,
the tolerances are shortened as time is. So this says whether a detector is made for one speed, not
how well it does on infants.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.results import PROJECT, run_facts, share_of, write_result
from infantmon.effort import detect_breaths
from infantmon.labelled.database import Database, Labelled
from infantmon.labelled.known import databases
from infantmon.model.arrays import Floats
from infantmon.scorecard.detectors import one_piece
from infantmon.scoring.marks import match_marks
from infantmon.stages.r_peaks import detect_r_peaks

SPEEDS = (1.0, 1.25, 1.5, 1.75, 2.0)
FETAL_SPEEDS = (1.0, 1.25)  # faster, these hearts would beat 200 times a minute and more
BREATHS_S, BEATS_S = 1.0, 0.15  # tolerances at the recordings' own speed
BEATS, LED, ALONE = "beats", "breaths, led by the ECG", "breaths, without the ECG"
TASKS = (
    ("mitdb", BEATS, SPEEDS),
    ("adfecgdb", BEATS, FETAL_SPEEDS),
    ("bidmc", LED, SPEEDS),
    ("bidmc", ALONE, SPEEDS),
)
HEAD = (
    "| database | looked for | speed | Se % | PPV % | missed | extra | of | population | labels |"
)


@dataclass
class Counts:
    """Reference marks, those missed, marks found, those extra."""

    marked: int = 0
    missed: int = 0
    found: int = 0
    extra: int = 0

    def add(self, reference_s: Floats, found_s: Floats, tolerance_s: float) -> None:
        """Take up the comparison of one recording with one reference."""
        pairs = match_marks(reference_s, found_s, tolerance_s)
        self.marked += len(reference_s)
        self.missed += len(pairs.missed_s)
        self.found += len(found_s)
        self.extra += len(pairs.extra_s)


def count(labelled: Labelled, looked_for: str, speed: float, learning_s: float) -> Counts:
    """Compare one recording, read as if it had been sampled `speed` times as fast."""
    counts = Counts()
    ecg = one_piece(labelled.recording, "ecg")
    beats = detect_r_peaks(ecg.segments[0].values, speed * ecg.rate_hz, unit=ecg.unit)
    if looked_for == BEATS:
        own_s = speed * beats.time_s
        reference_s = np.asarray(labelled.beats_s, dtype=np.float64)
        reference_s = _scored(labelled, reference_s, learning_s)
        counts.add(reference_s, _scored(labelled, own_s, learning_s), BEATS_S)
        return counts
    impedance = one_piece(labelled.recording, "impedance")
    led = beats if looked_for == LED else None
    found = detect_breaths(impedance.segments[0].values, speed * impedance.rate_hz, r_peaks=led)
    for reference_s in labelled.breaths_s:
        counts.add(reference_s, speed * found.time_s, BREATHS_S)
    return counts


def _scored(labelled: Labelled, time_s: Floats, learning_s: float) -> Floats:
    """Return the times after the first minutes and where the reference marks anything."""
    scored = time_s >= learning_s
    for apart in labelled.set_apart:
        if apart.unmarked:
            scored &= (time_s <= apart.start_s) | (time_s >= apart.end_s)
    return time_s[scored]


def row_of(shelf: Database, looked_for: str, speed: float) -> dict[str, Any]:
    """Return the gross figures over all recordings of a database."""
    total = Counts()
    for name in shelf.names:
        one = count(shelf.load(name), looked_for, speed, shelf.learning_s)
        for key, value in vars(one).items():
            setattr(total, key, getattr(total, key) + value)
    return {
        "database": shelf.name,
        "looked_for": looked_for,
        "speed": speed,
        "sensitivity": share_of(total.marked - total.missed, total.marked),
        "predictivity": share_of(total.found - total.extra, total.found),
        "missed": total.missed,
        "extra": total.extra,
        "population": shelf.population,
        "labels": shelf.label_origin,
        "tuned_on": "yes: looked at at all these speeds while the detectors were built",
    }


def as_markdown(result: dict[str, Any]) -> str:
    """Return the table for people."""
    lines = ["# Recordings replayed faster", "", __doc__.split("\n\n")[2], ""]
    lines += [HEAD, "|" + " --- |" * (HEAD.count("|") - 1)]
    for row in result["rows"]:
        found, right = row["sensitivity"], row["predictivity"]
        cells = (
            row["database"],
            row["looked_for"],
            f"{row['speed']:g}",
            f"{100 * found['count'] / found['of']:.2f}",
            f"{100 * right['count'] / right['of']:.2f}",
            row["missed"],
            row["extra"],
            found["of"],
            row["population"],
            row["labels"],
        )
        lines.append("| " + " | ".join(map(str, cells)) + " |")
    lines += ["", "Tuned on: yes, all of these were looked at while the detectors were built."]
    return "\n".join([*lines, result["run"]["caution"], ""])


def main(words: list[str] | None = None) -> int:
    """Measure, print and store."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument(
        "--out", type=Path, default=PROJECT / "benchmarks/results/replayed_faster.json"
    )
    told = parser.parse_args(words)
    shelves = databases()
    rows = [row_of(shelves[name], what, speed) for name, what, speeds in TASKS for speed in speeds]
    result = {"run": run_facts(), "rows": rows}
    markdown = as_markdown(result)
    print(markdown)
    write_result(told.out, result, markdown)
    return 0


if __name__ == "__main__":
    sys.exit(main())
