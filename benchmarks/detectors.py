"""Scores the R-peak and the breath detector over the shared recordings.

    python -m benchmarks.detectors --out benchmarks/results/detectors.json

Marks are compared one to one (see `infantmon.scoring`). The headline counts everything from the
first sample; for mitdb and nstdb the figures after the 5 min in which EC57 lets a detector learn
stand beside it, and where stretches are known to hold wrong marks, the figures without them.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchmarks.results import run_facts, write_result
from infantmon.effort import detect_breaths
from infantmon.errors import InfantmonError
from infantmon.labelled.database import Database, Labelled, SetApart
from infantmon.labelled.known import databases
from infantmon.model.arrays import Floats
from infantmon.model.channel import Channel
from infantmon.model.marks import RPeaks
from infantmon.scoring.marks import MarkScore, score_marks
from infantmon.scoring.tallies import Tally, average, gross, percent
from infantmon.stages.r_peaks import detect_r_peaks

LEARNING_S = 300.0
TUNED_ON = "yes: looked at while the detector was built"

Marks = tuple[Floats, tuple[Floats, ...]]
"""Test marks, and the reference marks of each annotator."""


@dataclass(frozen=True)
class Run:
    """One detector over one database, scored with one or more windows."""

    title: str
    database: str
    windows_s: tuple[float, ...]
    detect: Callable[[Labelled], Marks]
    learning: bool = False  # also without the first 5 min


def _r_peaks(labelled: Labelled) -> Marks:
    if labelled.beats_s is None:
        raise InfantmonError(f"{labelled.recording.name} has no reference beats.")
    return _beats(labelled).time_s, (labelled.beats_s,)


def _breaths_led(labelled: Labelled) -> Marks:
    return _breaths(labelled, _beats(labelled)), labelled.breaths_s


def _breaths_alone(labelled: Labelled) -> Marks:
    return _breaths(labelled, None), labelled.breaths_s


def _beats(labelled: Labelled) -> RPeaks:
    ecg = _channel(labelled.recording.ecg)
    return detect_r_peaks(ecg.segments[0].values, ecg.rate_hz, unit=ecg.unit)


def _breaths(labelled: Labelled, beats: RPeaks | None) -> Floats:
    impedance = _channel(labelled.recording.impedance)
    return detect_breaths(impedance.segments[0].values, impedance.rate_hz, r_peaks=beats).time_s


def _channel(channel: Channel | None) -> Channel:
    if channel is None or len(channel.segments) != 1:
        raise InfantmonError("a channel of one piece is expected here; the database has another.")
    return channel


RUNS = (
    Run("R peaks", "mitdb", (0.150, 0.050), _r_peaks, learning=True),
    Run("R peaks", "nstdb", (0.150,), _r_peaks, learning=True),
    Run("R peaks", "adfecgdb", (0.150, 0.050), _r_peaks),
    Run("R peaks", "picsdb", (0.100, 0.050), _r_peaks),
    Run("breaths, led by R peaks", "bidmc", (1.0, 0.5), _breaths_led),
    Run("breaths, impedance alone", "bidmc", (1.0, 0.5), _breaths_alone),
    Run("breaths, led by R peaks", "picsdb", (0.5,), _breaths_led),
    Run("breaths, impedance alone", "picsdb", (0.5,), _breaths_alone),
)


def score(run: Run, shelf: Database) -> list[dict[str, Any]]:
    """Return the tables of one run: one a window, and one without the learning period."""
    cases = [(window, 0.0) for window in run.windows_s]
    cases += [(run.windows_s[0], LEARNING_S)] if run.learning else []
    rows: dict[tuple[float, float], list[dict[str, Any]]] = {case: [] for case in cases}
    spent, recorded = 0.0, 0.0
    for name in shelf.names:
        labelled = shelf.load(name)
        begin = time.process_time()
        test, references = run.detect(labelled)
        spent += time.process_time() - begin
        recorded += labelled.recording.end_s
        for window, start in cases:
            rows[window, start].append(_row(name, test, references, labelled, window, start))
        print(f"  {name:18}", _figures(rows[cases[0]][-1]), flush=True)
    return [
        _table(run, shelf, window, start, found)
        | {"processor_s": round(spent, 2), "recorded_h": round(recorded / 3600.0, 2)}
        for (window, start), found in rows.items()
    ]


def _row(
    name: str,
    test: Floats,
    references: tuple[Floats, ...],
    labelled: Labelled,
    window: float,
    start: float,
) -> dict[str, Any]:
    """Return the counts of one record; those against several annotators are pooled."""
    scores = [score_marks(reference, test, window, start_s=start) for reference in references]
    kept = [
        score_marks(reference, test, window, start_s=low, end_s=high)
        for reference in references
        for low, high in _pieces(start, labelled.set_apart)
    ]
    row = {"record": name, **_counts(gross(found.tally for found in scores)), **_timing(scores)}
    if labelled.set_apart:
        row["without_set_apart"] = _counts(gross(found.tally for found in kept))
        row["set_apart"] = [[s.start_s, s.end_s, s.why] for s in labelled.set_apart]
    return row


def _pieces(start: float, apart: tuple[SetApart, ...]) -> Iterator[tuple[float, float]]:
    """Yield what is left of the scored period once the stretches set apart are left out."""
    for stretch in apart:
        if stretch.start_s > start:
            yield start, stretch.start_s
        start = max(start, stretch.end_s)
    yield start, float("inf")


def _counts(tally: Tally) -> dict[str, Any]:
    return {
        "true_positives": tally.true_positives,
        "false_negatives": tally.false_negatives,
        "false_positives": tally.false_positives,
        "sensitivity": tally.sensitivity,
        "positive_predictivity": tally.positive_predictivity,
    }


def _timing(scores: list[MarkScore]) -> dict[str, Any]:
    """Return bias and spread against the first annotator, in milliseconds."""
    first = scores[0]
    if first.bias_s is None or first.spread_s is None:
        return {"bias_ms": None, "spread_ms": None}
    return {
        "bias_ms": round(1000.0 * first.bias_s, 2),
        "spread_ms": round(1000.0 * first.spread_s, 2),
    }


def _tally(counts: dict[str, Any]) -> Tally:
    return Tally(counts["true_positives"], counts["false_negatives"], counts["false_positives"])


def _table(
    run: Run, shelf: Database, window: float, start: float, rows: list[dict[str, Any]]
) -> dict[str, Any]:
    """Return one table: what was scored, its gross and average figures, and its records."""
    total = gross(_tally(row) for row in rows)
    kept = gross(_tally(row.get("without_set_apart", row)) for row in rows)
    return {
        "title": run.title,
        "database": shelf.name,
        "population": shelf.population,
        "label_origin": shelf.label_origin,
        "tuned_on": TUNED_ON,
        "window_s": window,
        "scored_from_s": start,
        "gross": _counts(total)
        | {
            "f1": total.f1,
            "sensitivity_interval": total.sensitivity_interval(),
            "positive_predictivity_interval": total.positive_predictivity_interval(),
        },
        "gross_without_set_apart": None if kept == total else _counts(kept),
        "average": {
            key: average(row[key] for row in rows)
            for key in ("sensitivity", "positive_predictivity")
        },
        "records": rows,
    }


def _figures(counts: dict[str, Any]) -> str:
    both = (percent(counts[key]) for key in ("sensitivity", "positive_predictivity"))
    return " / ".join(both)


_OVERVIEW = (
    "detector",
    "database",
    "window",
    "scored from",
    "Se (gross)",
    "PPV (gross)",
    "average",
    "without stretches set apart",
)
_DETAILS = ("record", "TP", "FN", "FP", "Se", "PPV", "bias ms", "spread ms")


def as_markdown(result: dict[str, Any]) -> str:
    """Return the result for people: an overview, then each table record by record."""
    run = result["run"]
    versions = ", ".join(f"{name} {number}" for name, number in run["versions"].items())
    commit = str(run["commit"])[:12] + (" with changes" if run["changed_since_commit"] else "")
    made = (
        f"Made {run['made_at']} at commit {commit}; Python {run['python']}, {versions}; "
        f"{run['system']}, {run['processors']} processors. Se / PPV in percent; gross figures with "
        "the Wilson interval (95 %, as if all marks were independent)."
    )
    lines = ["# Detectors on the shared recordings", "", run["caution"], "", made, ""]
    lines += [_line(_OVERVIEW), _line("---" for _ in _OVERVIEW)]
    lines += [_overview(table) for table in result["tables"]]
    for table in result["tables"]:
        lines += _details(table)
    return "\n".join(lines) + "\n"


def _overview(table: dict[str, Any]) -> str:
    whole = table["gross"]
    cells = (
        table["title"],
        table["database"],
        _window(table),
        f"{table['scored_from_s']:g} s",
        _with_interval(whole["sensitivity"], whole["sensitivity_interval"]),
        _with_interval(whole["positive_predictivity"], whole["positive_predictivity_interval"]),
        _figures(table["average"]),
        ""
        if table["gross_without_set_apart"] is None
        else _figures(table["gross_without_set_apart"]),
    )
    return _line(cells)


def _details(table: dict[str, Any]) -> list[str]:
    """Return one table, record by record."""
    heading = f"{table['title']}, {table['database']}, {_window(table)}"
    if table["scored_from_s"]:
        heading += f", from {table['scored_from_s']:g} s"
    origin = (
        f"Population: {table['population']}. Labels: {table['label_origin']}. "
        f"Tuned on: {table['tuned_on']}."
    )
    lines = ["", f"## {heading}", "", origin, "", _line(_DETAILS), _line("---" for _ in _DETAILS)]
    for row in table["records"]:
        counts = (row[k] for k in ("true_positives", "false_negatives", "false_positives"))
        shares = (percent(row[k]) for k in ("sensitivity", "positive_predictivity"))
        timing = ("-" if row[k] is None else f"{row[k]:.1f}" for k in ("bias_ms", "spread_ms"))
        cells = (row["record"], *(str(count) for count in counts), *shares, *timing)
        lines.append(_line(cells))
    return lines


def _line(cells: Iterable[str]) -> str:
    """Return one row of a Markdown table."""
    return f"| {' | '.join(cells)} |"


def _window(table: dict[str, Any]) -> str:
    return f"{1000.0 * table['window_s']:g} ms"


def _with_interval(figure: float | None, interval: tuple[float, float] | None) -> str:
    if interval is None:
        return percent(figure)
    return f"{percent(figure)} ({percent(interval[0])} to {percent(interval[1])})"


def main(arguments: list[str] | None = None) -> int:
    """Run the command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, required=True, help="where the JSON is written")
    parser.add_argument("--database", action="append", help="only this one (may be repeated)")
    options = parser.parse_args(arguments)
    try:
        shelves = databases()
    except InfantmonError as error:
        print(error, file=sys.stderr)
        return 2
    unknown = sorted(set(options.database or ()) - {run.database for run in RUNS})
    if unknown:
        parser.error(f"nothing is scored on {', '.join(unknown)}")
    tables: list[dict[str, Any]] = []
    for run in RUNS:
        if options.database and run.database not in options.database:
            continue
        print(f"{run.title}, {run.database}", flush=True)
        tables += score(run, shelves[run.database])
    result = {"run": run_facts(), "tables": tables}
    write_result(options.out, result, as_markdown(result))
    print(*(_overview(table) for table in tables), sep="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
