"""Every bar of the first release, measured: ``python -m benchmarks.musts [--quick]``.

Prints the table and stores it under benchmarks/results as musts.json and musts.md. Research
software, not a medical device; the limits are examples, not recommendations.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from benchmarks.apnea_scenes import apnea_scenes
from benchmarks.must_apnea import KNOWN_AFTER_S, WITHIN_S, ApneaResult
from benchmarks.must_apnea import run_apnea_scene as run_apneas
from benchmarks.must_heart import HeartResult, heart_scenes, run_heart_scene
from benchmarks.must_import import EVERY_NAME, HEAVY, MOST, PACKAGE, loaded_by, measure_import
from benchmarks.must_preterm import LOW_RATE_PLANS, PretermResult, run_segments
from benchmarks.must_quantised import LIMITS_S, quantised_scenes, run_quantised_scene
from benchmarks.results import run_facts
from infantmon.errors import RecordingError
from infantmon.labelled.places import recordings_folder
from infantmon.scoring.tallies import Tally, percent

RESULTS = Path(__file__).parent / "results"
SEEDS = (501, 502, 503)
INVENTED = "invented infants (simulated)"
TRUTH = "the simulator's own truth"
CAUTION = (
    "Made by `python -m benchmarks.musts`. Research software, not a medical device. The limits are "
    "examples, not recommendations."
)
SCENE_HEAD = (
    "| group | scene | found | short reported | invented | onset off s | length off s | "
    "known after limit s |"
)
NOT_TUNED = "these seeds: no; seeds 7, 8, 11, 12, 101-103, 201-203 of the scenes were looked at"


@dataclass(frozen=True)
class Row:
    """One bar.

    Attributes
    ----------
    must, bar, measured : str
        What is asked, how much of it, and what was found.
    met : bool or None
        Whether the bar is met; None where it could not be measured here.
    population, label_origin, tuned_on, seeds : str
        Whom it is about, where the labels come from, whether a detector was tuned on it.
    details : list of str
        Every single fault, or what else is worth knowing.
    """

    must: str
    bar: str
    measured: str
    met: bool | None
    population: str = INVENTED
    label_origin: str = TRUTH
    tuned_on: str = NOT_TUNED
    seeds: str = "-"
    details: list[str] = field(default_factory=list)


def main(argv: Sequence[str] | None = None) -> int:
    """Measure, print and store; return 0 if every bar is met."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.musts", description=__doc__)
    parser.add_argument("--quick", action="store_true", help="one seed, nothing stored")
    parser.add_argument("--out", type=Path, default=RESULTS, help="folder for the results")
    told = parser.parse_args(argv)
    seeds = SEEDS[:1] if told.quick else SEEDS
    rows, scenes = _measured(seeds)
    text = _markdown(rows, scenes)
    print(text)
    if not told.quick:
        told.out.mkdir(parents=True, exist_ok=True)
        (told.out / "musts.md").write_text(text, encoding="utf-8")
        stored: dict[str, Any] = {
            "run": run_facts(),
            "rows": [dataclasses.asdict(row) for row in rows],
        }
        stored["scenes"] = scenes
        (told.out / "musts.json").write_text(
            json.dumps(stored, indent=1, allow_nan=False) + "\n", encoding="utf-8"
        )
    return 0 if all(row.met for row in rows) else 1


def _measured(seeds: Sequence[int]) -> tuple[list[Row], list[dict[str, Any]]]:
    apneas, scenes = _apneas(seeds)
    rows = [*_preterm(), *apneas, _quantised(seeds), *_heart(seeds), *_imports(), _bad_input()]
    return rows, scenes


# Preterm infants ----------------------------------------------------------------------------------


def _preterm() -> list[Row]:
    about: dict[str, Any] = {
        "population": "preterm infants 1 and 2 of the PICS database, 10 segments, 23 min",
        "label_origin": "the exporter's own detectors, not manual",
        "tuned_on": "seen while the detectors were made; not kept apart",
    }
    try:
        segments = run_segments(recordings_folder())
    except RecordingError as fault:
        return [Row("preterm segments", "-", f"not measured: {fault}", None, **about)]
    total = PretermResult()
    for result in segments.values():
        total.add(result)
    standing = next(iter(LOW_RATE_PLANS))
    slow = total.slow[standing]
    tried = [f"{name}: {', '.join(found) or 'none'}" for name, found in total.slow.items()]
    return [
        _marks("R peaks, within 0.1 s", 0.99, total.beats, about, "84-88 s of infant2_segment0"),
        _marks("breaths, within 0.5 s", 0.95, total.breaths, about, "nothing"),
        Row("apnea at 20 s", "none", f"{total.apneas}", total.apneas == 0, **about),
        Row(
            f"low heart rate at {standing}",
            "none",
            f"{len(slow)}",
            not slow,
            details=tried,
            **about,
        ),
    ]


def _marks(what: str, bar: float, tally: Tally, about: dict[str, Any], left_out: str) -> Row:
    figures = tally.sensitivity, tally.positive_predictivity
    met = all(figure is not None and figure >= bar for figure in figures)
    told = f"Se {percent(figures[0])}, PPV {percent(figures[1])}"
    told += f" ({tally.true_positives} hit, {tally.false_negatives} missed, "
    told += f"{tally.false_positives} extra)"
    return Row(
        what, f"Se, PPV >= {percent(bar, 1)}", told, met, details=[f"left out: {left_out}"], **about
    )


# Pauses ------------------------------------------------------------------------------------------


def _apneas(seeds: Sequence[int]) -> tuple[list[Row], list[dict[str, Any]]]:
    groups: dict[str, ApneaResult] = {}
    scenes: list[dict[str, Any]] = []
    for scene in apnea_scenes():
        result = run_apneas(scene, seeds)
        told = dataclasses.asdict(result)
        if not result.found:  # a figure without a case is none
            told |= {"worst_onset_s": None, "worst_length_s": None, "worst_delay_s": None}
        if not result.not_assessable:
            told |= {"worst_doubted_delay_s": None}
        scenes.append({"group": scene.group, "scene": scene.name, **told})
        named = dataclasses.replace(result, faults=[f"{scene.name}: {f}" for f in result.faults])
        groups.setdefault(scene.group, ApneaResult()).add(named)
    return [_apnea_row(group, result, seeds) for group, result in groups.items()], scenes


def _apnea_row(group: str, result: ApneaResult, seeds: Sequence[int]) -> Row:
    told = f"{result.found} of {result.long} found"
    if result.not_assessable:
        told += f", {result.not_assessable} more as not assessable"
        told += f" (known {result.worst_doubted_delay_s:.2f} s after limit at worst)"
    told += f"; {result.reported} of {result.short} short ones reported, {result.invented} invented"
    if result.found:
        told += f"; worst: onset {result.worst_onset_s:.2f} s, length {result.worst_length_s:.2f} s"
        told += f", known {result.worst_delay_s:.2f} s after limit"
    return Row(
        f"pauses at 20 s, {group}",
        f"all of >= 20.5 s, none of <= 19.5 s; onset, length within {WITHIN_S:g} s; known "
        f"within {KNOWN_AFTER_S:g} s of the limit",
        told,
        not result.faults,
        seeds=_told(seeds),
        details=result.faults,
    )


def _quantised(seeds: Sequence[int]) -> Row:
    details, asked, found, faults, invented = [], 0, 0, 0, 0
    for scene in quantised_scenes():
        result = run_quantised_scene(scene, seeds)
        asked, found = asked + result.asked, found + result.found[LIMITS_S[0]]
        faults, invented = faults + result.contact_faults, invented + result.invented
        by_limit = ", ".join(f"{n} at {limit:g} s" for limit, n in result.found.items())
        details.append(
            f"{scene.name}: of {result.asked}: {result.seen} seen as one pause within 1 s, "
            f"reported {by_limit}, {result.contact_faults} contact faults"
        )
    return Row(
        "20 s apnea in coarse steps (a breath is 10 steps, noise half a step), no pulsation",
        "29 of 29 an apnea (limit 19 s: a true 20.0 s may measure a hair less), no contact fault",
        f"{found} of {asked}; {faults} contact faults, {invented} invented",
        found == asked and not faults and not invented,
        seeds=_told(seeds),
        details=details,
    )


# Heart -------------------------------------------------------------------------------------------


def _heart(seeds: Sequence[int]) -> list[Row]:
    total, details = HeartResult(), []
    for scene in heart_scenes():
        result = run_heart_scene(scene, seeds)
        total.add(result)
        details.append(
            f"{scene.name}: {result.in_time} of {result.asked} in time; worst "
            f"{result.worst_low_s:.2f} and {result.worst_none_s:.2f} s; "
            f"{result.invented_beats} beats invented, {result.other_events} other events"
        )
        details += [f"{scene.name}: {fault}" for fault in result.faults]
    told = f"{total.in_time} of {total.asked} in time; low heart rate at most "
    told += f"{total.worst_low_s:.2f} s after the last beat, no heart beat {total.worst_none_s:.2f}"
    told += f" s; {total.invented_beats} beats invented, {total.other_events} other events"
    return [
        Row(
            "the heart from 140 to standstill",
            "low heart rate (80 a minute; 1 beat, 8 beats, 6 s; hold-off 0 and 5 s) and no heart "
            "beat (4 s) known within their stated delay and 10 s (yardstick from memory)",
            told,
            total.in_time == total.asked and not total.faults and not total.invented_beats,
            seeds=_told(seeds),
            details=details,
        )
    ]


# Package and command line ------------------------------------------------------------------------


def _imports() -> list[Row]:
    about: dict[str, Any] = {"population": "-", "label_origin": "-", "tuned_on": "-"}
    loaded, cost = loaded_by(PACKAGE), measure_import()
    every = f"with every public name used: {cost.ratio_of_every_name:.2f} times, "
    every += f"loads {', '.join(loaded_by(EVERY_NAME)) or 'none of them'}"
    return [
        Row(
            f"import infantmon loads none of {', '.join(HEAVY)}",
            "none",
            ", ".join(loaded) or "none",
            not loaded,
            **about,
        ),
        Row(
            "time of import infantmon beside numpy, scipy.signal",
            f"<= {MOST:g} times",
            f"{cost.ratio:.2f} times",
            cost.ratio <= MOST,
            details=[every],
            **about,
        ),
    ]


def _bad_input() -> Row:
    tests = Path(__file__).parents[1] / "tests" / "test_must_bad_input.py"
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:randomly", str(tests)]
    run = subprocess.run(command, capture_output=True, text=True, cwd=tests.parents[1], check=False)  # noqa: S603
    last = run.stdout.strip().splitlines()[-1] if run.stdout.strip() else "no answer"
    return Row(
        "bad input: one clear error, exit code 2, no traceback, nothing written",
        "every case of tests/test_must_bad_input.py",
        last.strip("= ").split(" in ")[0],
        run.returncode == 0,
        population="-",
        label_origin="-",
        tuned_on="-",
    )


# The table ---------------------------------------------------------------------------------------


def _seconds(value: float | None) -> str:
    return "-" if value is None else f"{value:.2f}"


def _told(seeds: Sequence[int]) -> str:
    return ", ".join(map(str, seeds))


def _markdown(rows: Sequence[Row], scenes: Sequence[dict[str, Any]]) -> str:
    word = {True: "yes", False: "NO", None: "not measured"}
    lines = [
        "# The bars of the first release",
        "",
        CAUTION,
        "",
        "| bar | asked | measured | met | population | labels | tuned on | seeds |",
        "|---|---|---|---|---|---|---|---|",
    ]
    lines += [
        f"| {r.must} | {r.bar} | {r.measured} | {word[r.met]} | {r.population} | "
        f"{r.label_origin} | {r.tuned_on} | {r.seeds} |"
        for r in rows
    ]
    lines += ["", "## Pauses, scene by scene", ""]
    lines += [SCENE_HEAD, "|---|---|---|---|---|---|---|---|"]
    lines += [
        f"| {s['group']} | {s['scene']} | {s['found']} of {s['long']} | "
        f"{s['reported']} of {s['short']} | {s['invented']} | {_seconds(s['worst_onset_s'])} | "
        f"{_seconds(s['worst_length_s'])} | {_seconds(s['worst_delay_s'])} |"
        for s in scenes
    ]
    lines += ["", "## What stands behind the rows", ""]
    for row in rows:
        if row.details:
            lines += [f"**{row.must}**", "", *(f"- {detail}" for detail in row.details), ""]
    return "\n".join(lines).rstrip() + "\n"


if __name__ == "__main__":
    sys.exit(main())
