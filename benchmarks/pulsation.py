"""Breaths and pauses beside the heart's pulsation: every bar on simulated truth.

    python -m benchmarks.pulsation --out benchmarks/results/pulsation.json

Each scene is an hour of an invented infant; R peaks come from the library's own detector on the
invented ECG. A pause counts as found if two neighbouring breath marks stand within 1 s of its two
ends and their distance within 1 s of its length; upside down marks are at the other end of each
swing, and only the length is compared. The lower end of the 95 % Wilson interval stands
beside each share; the bar is compared with the share.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from itertools import repeat
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks import breath_scenes as rows
from benchmarks.breath_measures import Figures, channel_of, run_scene
from benchmarks.breath_scenes import breath_scenes
from benchmarks.results import run_facts, share_of, write_result
from infantmon import simulate as sim
from infantmon.effort import detect_breaths
from infantmon.stages.r_peaks import detect_r_peaks

SEEDS = (7321, 7322, 7323)
LOOKED_AT = (
    *range(7001, 7004),
    *range(7011, 7017),
    *range(7301, 7304),
    *range(7311, 7314),
    *(7411, 7412),
    *range(8501, 8504),
    *range(8601, 8605),
)


@dataclass(frozen=True)
class Bar:
    """What is asked of a row: shares of all, over all its scenes together; None asks nothing."""

    pauses: float | None = None
    kept: float | None = None
    count_within: float | None = None
    false_pauses_in_10_h: float | None = None
    unmarked: int | None = None
    outside_s: tuple[float, float] = (0.0, 0.0)  # around a movement, breaths are not asked for
    no_worse_than_alone: bool = False


BARS = {
    rows.STEADY: Bar(pauses=0.99),
    rows.PART: Bar(pauses=0.99),
    rows.SLOWING: Bar(pauses=0.97),
    rows.DOUBLING: Bar(pauses=0.92),
    rows.BEYOND: Bar(),
    rows.EARLY: Bar(),
    rows.NEAR: Bar(pauses=0.85, kept=0.98),
    rows.UNLED: Bar(pauses=1.0),
    rows.UNLED_LARGE: Bar(),
    rows.BAD: Bar(no_worse_than_alone=True),
    rows.UPSIDE_DOWN: Bar(),
    rows.CALM: Bar(false_pauses_in_10_h=1.0, kept=0.98),
    rows.COUNT: Bar(count_within=0.03),
    rows.ALTERNATING: Bar(kept=0.98),
    rows.SHALLOW: Bar(unmarked=0),
    rows.MOVING: Bar(kept=0.995),
    rows.SIGHS: Bar(pauses=1.0, kept=0.995),
    rows.STEP_IN_PAUSE: Bar(pauses=1.0),
    rows.REBOUND: Bar(pauses=0.90),
    rows.CRYING: Bar(kept=0.95, outside_s=(0.0, 2.0)),
    rows.FROM_START: Bar(kept=0.98, outside_s=(0.0, 10.0)),
}


# Speed --------------------------------------------------------------------------------------------


def speed(hours: float = 24.0, repeats: int = 3) -> dict[str, float]:
    """Return processor time of breaths and artefact rejection beside that of the R peaks."""
    seconds = hours * 3600.0
    scene = next(s for s in breath_scenes() if s.row == rows.CALM)
    night = sim.simulate_night(replace(scene.base, duration_s=seconds), 1)
    ecg, impedance = channel_of(night.recording.ecg), channel_of(night.recording.impedance)
    beats_s, breaths_s = [], []
    for _ in range(repeats):
        begin = time.process_time()
        beats = detect_r_peaks(ecg.segments[0].values, ecg.rate_hz, unit=ecg.unit)
        between = time.process_time()
        detect_breaths(impedance.segments[0].values, impedance.rate_hz, beats)
        beats_s.append(between - begin)
        breaths_s.append(time.process_time() - between)
    beats_median, breaths_median = float(np.median(beats_s)), float(np.median(breaths_s))
    return {
        "recorded_h": hours,
        "r_peaks_s": round(beats_median, 3),
        "breaths_s": round(breaths_median, 3),
        "ratio": round(breaths_median / beats_median, 2),
    }


# The table ----------------------------------------------------------------------------------------


def run(seeds: Sequence[int], wanted: str = "", workers: int = 1) -> dict[str, Any]:
    """Measure all scenes whose row holds some words."""
    scenes = [scene for scene in breath_scenes() if wanted in scene.row]
    told: dict[str, list[dict[str, Any]]] = {}
    totals: dict[str, Figures] = {}
    names = [(scene.row, scene.name) for scene in scenes]
    with ProcessPoolExecutor(workers) as pool:
        measured = pool.map(_run_named, names, repeat(tuple(seeds)))
        for scene, figures in zip(scenes, measured, strict=True):
            totals.setdefault(scene.row, Figures()).add(replace(figures, faults=[]))
            told.setdefault(scene.row, []).append({"scene": scene.name, **vars(figures)})
    return {
        "title": "Breaths and pauses beside the heart's pulsation",
        "population": "invented infants (simulated)",
        "label_origin": "the simulator's own truth",
        "tuned_on": f"these seeds: no; seeds {', '.join(map(str, LOOKED_AT))} were looked at",
        "seeds": list(seeds),
        "rows": [_row(row, totals[row], told[row]) for row in totals],
    }


def _run_named(name: tuple[str, str], seeds: Sequence[int]) -> Figures:
    """Run the scene of a name: a scene itself cannot be sent to another process."""
    scene = next(s for s in breath_scenes() if (s.row, s.name) == name)
    bar = BARS[scene.row]
    judged, beside_alone = bar.unmarked is not None, bar.no_worse_than_alone
    return run_scene(scene, seeds, bar.outside_s, beside_alone=beside_alone, judged=judged)


def _row(row: str, total: Figures, scenes: list[dict[str, Any]]) -> dict[str, Any]:
    bar = BARS[row]
    off = max(abs(s["marks"] / max(s["breaths"], 1) - 1.0) for s in scenes)
    asked = [
        (bar.pauses, total.found >= (bar.pauses or 0.0) * total.pauses),
        (bar.kept, total.kept >= (bar.kept or 0.0) * total.breaths),
        (bar.count_within, off <= (bar.count_within or 0.0)),
        (
            bar.false_pauses_in_10_h,
            10.0 * total.false_pauses <= (bar.false_pauses_in_10_h or 0.0) * total.hours,
        ),
        (bar.unmarked, total.unmarked <= (bar.unmarked or 0)),
        (bar.no_worse_than_alone or None, total.found >= total.found_alone),
    ]
    held = [met for wanted, met in asked if wanted is not None]
    return {
        "row": row,
        "bar": {k: v for k, v in vars(bar).items() if v != vars(Bar())[k]},
        "met": all(held) if held else None,
        "pauses": share_of(total.found, total.pauses),
        "kept": share_of(total.kept, total.breaths),
        "extra": total.extra,
        "worst_count_off": round(off, 4),
        "false_pauses": total.false_pauses,
        "unmarked": total.unmarked,
        "hours": round(total.hours, 2),
        "found_alone": total.found_alone if bar.no_worse_than_alone else None,
        "scenes": scenes,
    }


def as_markdown(result: dict[str, Any]) -> str:
    """Return the table, and each scene under it."""
    told_of = (
        f"Population: {result['population']}. Labels: {result['label_origin']}. Tuned on: "
        f"{result['tuned_on']}. Seeds: {', '.join(map(str, result['seeds']))}; one hour a scene and"
        " seed, pauses of 20 s. In brackets the lower end of the 95 % Wilson interval."
    )
    lines = [
        f"# {result['title']}",
        "",
        "Made by `python -m benchmarks.pulsation`. Research software, not a medical device.",
        "",
        told_of,
        "",
        "| what | asked | pauses found | breaths kept | extra | false pauses of 10 s | met |",
        "|---|---|---|---|---|---|---|",
    ]
    lines += [_line(row) for row in result["rows"]]
    if "speed" in result:
        told = result["speed"]
        speeds = (
            f"Speed: {told['recorded_h']:g} h at 250 and 62.5 Hz: R peaks {told['r_peaks_s']} s, "
            f"breaths and artefact rejection {told['breaths_s']} s of processor time: "
            f"{told['ratio']} times (asked: at most 6)."
        )
        lines += ["", speeds]
    for row in result["rows"]:
        lines += ["", f"## {row['row'][0].upper() + row['row'][1:]}", ""]
        lines += ["| scene | pauses found | breaths kept | extra | false pauses |"]
        lines += ["|---|---|---|---|---|"]
        lines += [
            f"| {s['scene']} | {s['found']} of {s['pauses']} | {s['kept']} of {s['breaths']} | "
            f"{s['extra']} | {s['false_pauses']} |"
            for s in row["scenes"]
        ]
    return "\n".join(lines) + "\n"


def _line(row: dict[str, Any]) -> str:
    met = {True: "yes", False: "NO", None: "-"}[row["met"]]
    bar = ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in row["bar"].items())
    cells = [row["row"], bar or "nothing", *(_share(row[name]) for name in ("pauses", "kept"))]
    if row["found_alone"] is not None:
        cells[2] += f"; without R peaks {row['found_alone']}"
    if "count_within" in row["bar"]:
        cells[3] += f"; count off by {100 * row['worst_count_off']:.1f} % at worst"
    false = f"{row['false_pauses']} in {row['hours']:g} h"
    if "unmarked" in row["bar"]:
        false += f", {row['unmarked']} listed as supported apneas"
    return f"| {' | '.join([*cells, str(row['extra']), false, met])} |"


def _share(told: dict[str, Any]) -> str:
    if not told["of"]:
        return "-"
    low = 100.0 * told["interval_95"][0]
    return f"{100.0 * told['count'] / told['of']:.2f} % of {told['of']} [{low:.2f}]"


def main(words: Iterable[str] | None = None) -> int:
    """Measure, print and store."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.pulsation", description=__doc__)
    parser.add_argument("--out", type=Path, help="JSON file; Markdown goes beside it")
    parser.add_argument("--seeds", type=int, nargs="+", default=list(SEEDS))
    parser.add_argument("--row", default="", help="only rows that hold these words")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--no-speed", action="store_true")
    told = parser.parse_args(None if words is None else list(words))
    result = run_facts() | run(told.seeds, told.row, told.workers)
    if not told.no_speed:
        result["speed"] = speed()
    print(as_markdown(result))
    if told.out:
        write_result(told.out, result, as_markdown(result))
    return 0 if all(row["met"] is not False for row in result["rows"]) else 1


if __name__ == "__main__":
    sys.exit(main())
