"""Apneas found by breath marks, and by the published probability of apnea, on the same scenes.

    python -m benchmarks.apnea_opinions

Writes benchmarks/results/apnea_opinions.json and apnea_opinions.md. One simulated hour a scene and
seed with 29 apneas of 20 s; seeds 7401 to 7403, not used while building either. Labels: the
simulator's truth. By breath marks: a pause of 19 to 21 s from mark to mark that overlaps. By the
published probability (causal variant): a stretch of weighted duration 8 s or more (our choice; the
published rule lists from 2 s) that covers half of the apnea. False: such stretches, and pauses of
10 s and more, that overlap no apnea.
"""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from itertools import pairwise, product
from typing import Any

import numpy as np

from benchmarks.breath_scenes import scenario
from benchmarks.results import CAUTION, make_result, share_of
from infantmon import detect_breaths, detect_r_peaks
from infantmon import simulate as sim
from infantmon.events.probable_apneas import probable_apneas
from infantmon.stages.apnea_probability import ApneaProbability, ApneaProbabilitySettings

SEEDS = (7401, 7402, 7403)
SHARES, HEARTS = (0.1, 0.3, 0.5, 0.8), (100.0, 140.0, 180.0)
COUNT, LENGTH_S, LEAST_WEIGHTED_S, FALSE_S = 29, 20.0, 8.0, 10.0
BEAT_LAG_S = 1.2
Scene = tuple[float, float, bool, bool]  # pulsation, heart rate, slowing, led by beats


def scenes() -> list[Scene]:
    """Return pulsation (share of a breath), heart rate, whether it slows, whether beats lead."""
    steady = [(share, heart, False, True) for share, heart in product(SHARES, HEARTS)]
    slowing = [(share, 140.0, True, True) for share in (0.3, 0.5)]
    return [*steady, *slowing, (0.3, 140.0, False, False), (0.5, 140.0, False, False)]


def measured(task: tuple[Scene, int]) -> dict[str, int]:
    """Return what both find in one simulated hour."""
    (share, heart, slowing, led), seed = task
    chance = np.random.default_rng([seed, 1])
    onsets = 60.0 + 120.0 * np.arange(COUNT) + chance.uniform(0.0, 60.0, COUNT)
    slows = sim.SlowingInPause() if slowing else None
    pauses = tuple(sim.Pause(float(at), LENGTH_S, slows) for at in onsets)
    night = sim.simulate_night(replace(scenario(share, heart=heart), events=pauses), seed)
    ecg, impedance = night.recording.ecg, night.recording.impedance
    if ecg is None or impedance is None:
        raise ValueError("the scenario has both channels")
    beats = detect_r_peaks(ecg.segments[0].values, ecg.rate_hz, unit="mV") if led else None
    samples = impedance.segments[0].values
    marks = detect_breaths(samples, impedance.rate_hz, beats).time_s
    settings = ApneaProbabilitySettings(
        impedance.rate_hz, beat_lag_s=BEAT_LAG_S if led else 0.0, led_by_beats=led
    )
    probability = ApneaProbability(settings).push(samples, beats, last=True)
    true = [(float(at), float(at) + LENGTH_S) for at in onsets]
    gaps = [(a, b) for a, b in pairwise(marks) if b - a >= FALSE_S]
    stretches = [
        (one.start_s, one.end_s)
        for one in probable_apneas(probability)
        if one.weighted_s >= LEAST_WEIGHTED_S
    ]
    by_marks = sum(
        any(abs(b - a - LENGTH_S) <= 1.0 and _shared(t, (a, b)) > 0.0 for a, b in gaps)
        for t in true
    )
    by_probability = sum(any(_shared(t, one) >= 0.5 * LENGTH_S for one in stretches) for t in true)
    return {
        "apneas": len(true),
        "by_marks": by_marks,
        "by_probability": by_probability,
        "false_by_marks": sum(not any(_shared(t, gap) for t in true) for gap in gaps),
        "false_by_probability": sum(not any(_shared(t, s) for t in true) for s in stretches),
    }


def _shared(one: tuple[float, float], other: tuple[float, float]) -> float:
    return max(0.0, min(one[1], other[1]) - max(one[0], other[0]))


def _row(scene: Scene, parts: list[dict[str, int]]) -> dict[str, Any]:
    share, heart, slowing, led = scene
    total = {name: sum(part[name] for part in parts) for name in parts[0]}
    words = f"pulsation {share:g}, heart {heart:g}"
    words += ", falling to 65 in the pause" if slowing else ""
    words += "" if led else ", without R peaks"
    return {
        "scene": words,
        "by_marks": share_of(total["by_marks"], total["apneas"]),
        "by_probability": share_of(total["by_probability"], total["apneas"]),
        "false_by_marks": total["false_by_marks"],
        "false_by_probability": total["false_by_probability"],
        "hours": len(parts),
    }


def _markdown(run: dict[str, Any], rows: list[dict[str, Any]]) -> str:
    about = (
        "Population: invented infants (simulated). Labels: the simulator's truth. Tuned on: no "
        f"(seeds {', '.join(map(str, SEEDS))}, one hour each). {CAUTION}"
    )
    head = "| scene | by breath marks | by the probability | false, marks | false, probability |"
    lines = [
        "# Two opinions on apnea",
        "",
        f"Made by `python -m benchmarks.apnea_opinions`, commit {run['commit']}.",
        "",
        about,
        "",
        head,
        "| --- | --- | --- | --- | --- |",
    ]
    for row in rows:
        marks, other = row["by_marks"], row["by_probability"]
        lines.append(
            f"| {row['scene']} | {marks['count']} of {marks['of']} | {other['count']} of "
            f"{other['of']} | {row['false_by_marks']} | {row['false_by_probability']} |"
        )
    return "\n".join(lines) + "\n"


def rows() -> list[dict[str, Any]]:
    """Measure every scene."""
    with ProcessPoolExecutor(2) as pool:
        found = list(pool.map(measured, list(product(scenes(), SEEDS))))
    return [
        _row(scene, found[place * len(SEEDS) : (place + 1) * len(SEEDS)])
        for place, scene in enumerate(scenes())
    ]


def main(arguments: list[str] | None = None) -> int:
    """Measure, print and store."""
    return make_result("apnea_opinions", __doc__, arguments, rows, _markdown)


if __name__ == "__main__":
    sys.exit(main())
