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

import sys
from typing import Any

import numpy as np

from benchmarks.results import make_result, share_of
from infantmon.effort import detect_breaths
from infantmon.labelled.database import Database, Labelled
from infantmon.labelled.known import databases
from infantmon.model.arrays import Floats
from infantmon.scorecard.detectors import one_piece
from infantmon.scoring.marks import score_marks
from infantmon.scoring.tallies import Tally
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


def tally_of(labelled: Labelled, looked_for: str, speed: float, learning_s: float) -> Tally:
    """Compare one recording, read as if it had been sampled `speed` times as fast."""
    ecg = one_piece(labelled.recording, "ecg")
    beats = detect_r_peaks(ecg.segments[0].values, speed * ecg.rate_hz, unit=ecg.unit)
    if looked_for == BEATS:
        own_s = speed * beats.time_s
        reference_s = np.asarray(labelled.beats_s, dtype=np.float64)
        reference_s = _scored(labelled, reference_s, learning_s)
        return score_marks(reference_s, _scored(labelled, own_s, learning_s), BEATS_S).tally
    impedance = one_piece(labelled.recording, "impedance")
    led = beats if looked_for == LED else None
    found = detect_breaths(impedance.segments[0].values, speed * impedance.rate_hz, r_peaks=led)
    own_s = speed * found.time_s
    scores = (score_marks(reference_s, own_s, BREATHS_S) for reference_s in labelled.breaths_s)
    return sum((score.tally for score in scores), Tally())


def _scored(labelled: Labelled, time_s: Floats, learning_s: float) -> Floats:
    """Return the times after the first minutes and where the reference marks anything."""
    scored = time_s >= learning_s
    for apart in labelled.set_apart:
        if apart.unmarked:
            scored &= (time_s <= apart.start_s) | (time_s >= apart.end_s)
    return time_s[scored]


def row_of(shelf: Database, looked_for: str, speed: float) -> dict[str, Any]:
    """Return the gross figures over all recordings of a database."""
    loaded = (shelf.load(name) for name in shelf.names)
    tallies = (tally_of(one, looked_for, speed, shelf.learning_s) for one in loaded)
    total = sum(tallies, Tally())
    return {
        "database": shelf.name,
        "looked_for": looked_for,
        "speed": speed,
        "sensitivity": share_of(total.true_positives, total.reference_count),
        "predictivity": share_of(total.true_positives, total.test_count),
        "missed": total.false_negatives,
        "extra": total.false_positives,
        "population": shelf.population,
        "labels": shelf.label_origin,
        "tuned_on": "yes: looked at at all these speeds while the detectors were built",
    }


def as_markdown(run: dict[str, Any], rows: list[dict[str, Any]]) -> str:
    """Return the table for people."""
    lines = ["# Recordings replayed faster", "", __doc__.split("\n\n")[2], ""]
    lines += [HEAD, "|" + " --- |" * (HEAD.count("|") - 1)]
    for row in rows:
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
    return "\n".join([*lines, run["caution"], ""])


def rows() -> list[dict[str, Any]]:
    """Return one row a database, kind of mark and speed."""
    shelves = databases()
    return [row_of(shelves[name], what, speed) for name, what, speeds in TASKS for speed in speeds]


def main(words: list[str] | None = None) -> int:
    """Measure, print and store."""
    return make_result("replayed_faster", __doc__, words, rows, as_markdown)


if __name__ == "__main__":
    sys.exit(main())
