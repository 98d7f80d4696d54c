"""Real impedance with known pauses: which of them are found, and what else is called a pause.

    python -m benchmarks.made_pauses

Breathing is taken out in windows of 10 to 30 s that begin and end midway between two breaths;
pulsation and noise are left. "Band": what lies below 0.85 of the heart's rate, down to the mean
level; that leaves what a steep breath has above it, and makes a step of about half a breath at
both edges, which looks like a breath that is held. "Band, at rest": the same, but the level rests
where it is at the edges of the window, as the chest does after a breath. "Wholly": also what lies
between the heart's harmonics, and at rest. A window begins and ends between two breaths that all
annotators mark, so that its ends are known. Records that are clipped for more than 2 % of their
samples are left out, and windows in which anything is clipped: taking a band out of a clipped
breath leaves the rest of its shape, which is breathing still. So are windows in which more than a
tenth of the breaths come as fast as the heart: the band does not reach them. A pause is found if
both ends lie within 1.5 s of the breaths before and after the window; one of 20 s and more is kept
if 20 s of it are free of breaths, wherever the ends lie: then it is an apnea at a limit of 20 s.
Other pauses of 10 s and more are told apart where breathing (annotators) is slower than 15 a
minute, the slowest the detector is made for: one missed breath is such a pause there. Where
breathing is taken out wholly, the same is reviewed with a limit of 10 s: what is said of the pauses
of 10.5 s and more. Seeds 100, 2100, 3100, 5400, 5500, 5600, 9400, 9500, 9600, 20000 to 20900, 50000
to 50200, 61000 to 61200 and 95000 to 95900 and on, one a record, were looked at; those stored only
after they were measured.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.judged_pauses import SAID, said_in_review
from benchmarks.made import MadePauses, at_ends, usual_hz, with_pauses
from benchmarks.results import PROJECT, run_facts, share_of, write_result
from infantmon.effort import detect_breaths
from infantmon.labelled.database import Database, Labelled
from infantmon.labelled.known import databases
from infantmon.model.arrays import Floats
from infantmon.scorecard.detectors import one_piece
from infantmon.stages.r_peaks import detect_r_peaks

DATABASES = ("picsdb", "bidmc")
BAND, AT_REST, WHOLLY = WAYS = ("band", "band, at rest", "wholly")
SEEDS = tuple(range(140000, 141000, 100))
CLIPPED = 0.02
ENDS_S = 1.5
LONG_S = 20.0
PAUSE_S = 10.0
SLOW_S = 4.0  # usual interval of the annotator's breaths, within AROUND_S on either side
AROUND_S = 30.0
HEAD = (
    "| database | breathing taken out | records | windows found | 95 % | left out | "
    "of 20 s and more | kept 20 s | other pauses of 10 s | where under 15 a minute | h | "
    "supported | doubtful | not assessable | not listed | population | labels |"
)


def is_clipped(labelled: Labelled) -> bool:
    """Tell whether too many samples of the impedance lie at the ends of its range."""
    values = one_piece(labelled.recording, "impedance").segments[0].values
    return float(np.mean(at_ends(values))) > CLIPPED


def measure(labelled: Labelled, seed: int, way: str) -> dict[str, float]:
    """Return what was found of the windows of one recording and seed."""
    ecg = one_piece(labelled.recording, "ecg")
    beats = detect_r_peaks(ecg.segments[0].values, ecg.rate_hz, unit=ecg.unit)
    wholly = way == WHOLLY
    made = with_pauses(labelled, usual_hz(beats), seed=seed, wholly=wholly, at_rest=way != BAND)
    impedance = one_piece(made.labelled.recording, "impedance")
    values = impedance.segments[0].values
    breaths = detect_breaths(values, impedance.rate_hz, r_peaks=beats).time_s
    compared = compare(made, np.column_stack((breaths[:-1], breaths[1:])))
    if wholly:
        said = said_in_review(made.labelled.recording, made.pauses_s, PAUSE_S)
        compared |= {judgement: said[judgement] for judgement in SAID}
    return compared | {"left_out": made.left_out, "s": impedance.end_s}


def compare(made: MadePauses, gaps: Floats) -> dict[str, float]:
    """Compare times between breaths, shape (n, 2), with the windows."""
    long = made.windows_s[:, 1] - made.windows_s[:, 0] >= LONG_S
    off = np.abs(gaps[:, np.newaxis] - made.pauses_s).max(axis=2)
    found = (off <= ENDS_S).any(axis=0)
    meanwhile = np.minimum(gaps[:, 1:], made.windows_s[:, 1])
    meanwhile -= np.maximum(gaps[:, :1], made.windows_s[:, 0])
    kept = (meanwhile >= LONG_S).any(axis=0)
    apart = (gaps[:, 1:] <= made.pauses_s[:, 0]) | (gaps[:, :1] >= made.pauses_s[:, 1])
    other = gaps[(gaps[:, 1] - gaps[:, 0] >= PAUSE_S) & apart.all(axis=1)]
    slow = [_is_slow(made.labelled.breaths_s[0], *gap) for gap in other]
    return {
        "windows": len(found),
        "found": int(found.sum()),
        "long": int(long.sum()),
        "long_found": int((found & long).sum()),
        "long_kept": int((kept & long).sum()),
        "other": len(other) - sum(slow),
        "other_slow": sum(slow),
    }


def _is_slow(breaths: Floats, start: float, end: float) -> bool:
    """Tell whether breaths around a gap come more slowly than the detector is made for."""
    near = breaths[(breaths > start - AROUND_S) & (breaths < end + AROUND_S)]
    return float(np.median(np.diff(near))) > SLOW_S


def table_of(shelf: Database, seeds: Sequence[int], way: str) -> dict[str, Any]:
    """Return what was found over all records of a database that are not clipped."""
    total: dict[str, float] = {}
    rows: dict[str, dict[str, float]] = {}
    for place, name in enumerate(shelf.names):
        labelled = shelf.load(name)
        if is_clipped(labelled):
            continue
        sums: dict[str, float] = {}
        for seed in seeds:
            for key, value in measure(labelled, seed + place, way).items():
                sums[key] = sums.get(key, 0) + value
        rows[name] = sums
        for key, value in sums.items():
            total[key] = total.get(key, 0) + value
    return {
        "database": shelf.name,
        "taken_out": way,
        "population": shelf.population,
        "labels": shelf.label_origin,
        "tuned_on": shelf.tuned_on,
        "records": rows,
        "found": share_of(int(total["found"]), int(total["windows"])),
        "long_found": share_of(int(total["long_found"]), int(total["long"])),
        "long_kept": int(total["long_kept"]),
        "left_out": int(total["left_out"]),
        "other_pauses": int(total["other"]),
        "other_slow": int(total["other_slow"]),
        "hours": round(total["s"] / 3600.0, 2),
        "said": {judgement: int(total[judgement]) for judgement in SAID} if way == WHOLLY else {},
    }


def as_markdown(result: dict[str, Any]) -> str:
    """Return the tables for people."""
    lines = ["# Real impedance with made pauses", "", __doc__.split("\n\n")[2], ""]
    lines += [HEAD, "|" + " --- |" * (HEAD.count("|") - 1)]
    for table in result["tables"]:
        found, long = table["found"], table["long_found"]
        low, high = found["interval_95"]
        cells = (
            table["database"],
            table["taken_out"],
            len(table["records"]),
            f"{found['count']} of {found['of']}",
            f"{100 * low:.0f} to {100 * high:.0f}",
            table["left_out"],
            f"{long['count']} of {long['of']}",
            f"{table['long_kept']} of {long['of']}",
            table["other_pauses"],
            table["other_slow"],
            table["hours"],
            *(table["said"].get(judgement, "") for judgement in SAID),
            table["population"],
            table["labels"],
        )
        lines.append("| " + " | ".join(map(str, cells)) + " |")
    lines += ["", "Record by record (found of windows):", ""]
    for table in result["tables"]:
        told = (
            f"{name} {row['found']:g}/{row['windows']:g}" for name, row in table["records"].items()
        )
        lines.append(f"- {table['database']}, {table['taken_out']}: {', '.join(told)}")
    seeds = ", ".join(map(str, result["seeds"]))
    return "\n".join([*lines, "", f"Seeds {seeds}. {result['run']['caution']}", ""])


def main(words: list[str] | None = None) -> int:
    """Measure, print and store."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, default=PROJECT / "benchmarks/results/made_pauses.json")
    told = parser.parse_args(words)
    shelves = databases()
    tables = [table_of(shelves[name], SEEDS, way) for name in DATABASES for way in WAYS]
    result = {"run": run_facts(), "seeds": SEEDS, "tables": tables}
    markdown = as_markdown(result)
    print(markdown)
    write_result(told.out, result, markdown)
    return 0


if __name__ == "__main__":
    sys.exit(main())
