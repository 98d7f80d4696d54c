"""Our detectors on signals of another simulator: neurokit2's `ecg_simulate` and `rsp_simulate`.

    python -m benchmarks.second_source --out benchmarks/results/second_source.json

A second source shows whether our own simulator flatters our own detectors. That simulator gives no
marks, so the truth is read off its noise-free twin (same seed): the R waves and the tops of the
breaths stand out there and need no detector, only a height.
"""

from __future__ import annotations

import argparse
import sys
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from scipy.signal import find_peaks

from benchmarks.results import run_facts, write_result
from infantmon.effort import detect_breaths
from infantmon.model.arrays import Floats
from infantmon.scoring.marks import score_marks
from infantmon.scoring.tallies import percent
from infantmon.stages.r_peaks import detect_r_peaks

ECG_HZ, IMPEDANCE_HZ = 250, 50
LENGTH_S = 120
START_S = 10.0
BEAT_WINDOW_S, BREATH_WINDOW_S = 0.05, 0.5
HEART_RATES_BPM = (60, 100, 140, 180, 220)
ECG_NOISE = (0.0, 0.05, 0.2)
BREATHING_RATES = (20, 30, 45, 60, 80)
BREATHING_METHODS = ("sinusoidal", "breathmetrics")
BREATHING_NOISE = (0.0, 0.1)
OHM = 500.0  # a base, so that the signal lies where an impedance does


@dataclass(frozen=True)
class Made:
    """A signal of the other simulator and what is true of it."""

    values: Floats
    rate_hz: float
    marks_s: Floats


def made_ecg(rate_bpm: float, noise: float, seed: int) -> Made:
    """Return an ECG in mV with its R waves."""
    import neurokit2

    def simulated(level: float) -> Floats:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            wave = neurokit2.ecg_simulate(
                duration=LENGTH_S,
                sampling_rate=ECG_HZ,
                heart_rate=rate_bpm,
                noise=level,
                method="ecgsyn",
                random_state=seed,
            )
        return np.asarray(wave, dtype=np.float64)

    twin = simulated(0.0)
    tops, _ = find_peaks(twin, height=0.6 * np.max(twin), distance=int(0.15 * ECG_HZ))
    return Made(simulated(noise) if noise else twin, ECG_HZ, tops / ECG_HZ)


def made_breathing(rate_per_min: float, method: str, noise: float, seed: int) -> Made:
    """Return breathing in ohm around a base, with the tops of its breaths."""
    import neurokit2

    def simulated(level: float) -> Floats:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            wave = neurokit2.rsp_simulate(
                duration=LENGTH_S,
                sampling_rate=IMPEDANCE_HZ,
                respiratory_rate=rate_per_min,
                noise=level,
                method=method,
                random_state=seed,
            )
        return np.asarray(wave, dtype=np.float64)

    twin = simulated(0.0)
    tops, _ = find_peaks(twin, prominence=0.05 * np.ptp(twin))
    return Made(OHM + (simulated(noise) if noise else twin), IMPEDANCE_HZ, tops / IMPEDANCE_HZ)


def score_beats(made: Made) -> dict[str, Any]:
    """Score our R peaks on one signal."""
    found = detect_r_peaks(made.values, made.rate_hz, unit="mV").time_s
    return _score(made.marks_s, found, BEAT_WINDOW_S)


def score_breaths(made: Made) -> dict[str, Any]:
    """Score our breaths on one signal."""
    found = detect_breaths(made.values, made.rate_hz).time_s
    return _score(made.marks_s, found, BREATH_WINDOW_S)


def _score(true_s: Floats, found_s: Floats, window_s: float) -> dict[str, Any]:
    score = score_marks(true_s, found_s, window_s, start_s=START_S)
    tally = score.tally
    return {
        "true_positives": tally.true_positives,
        "false_negatives": tally.false_negatives,
        "false_positives": tally.false_positives,
        "sensitivity": tally.sensitivity,
        "positive_predictivity": tally.positive_predictivity,
        "bias_ms": None if score.bias_s is None else round(1000.0 * score.bias_s, 1),
    }


def run() -> dict[str, Any]:
    """Score every signal."""
    beats = [
        {"signal": f"{rate} a minute, noise {noise:g}", **score_beats(made_ecg(rate, noise, 1))}
        for rate in HEART_RATES_BPM
        for noise in ECG_NOISE
    ]
    breaths = [
        {
            "signal": f"{rate} a minute, {method}, noise {noise:g}",
            **score_breaths(made_breathing(rate, method, noise, 1)),
        }
        for rate in BREATHING_RATES
        for method in BREATHING_METHODS
        for noise in BREATHING_NOISE
    ]
    return {
        "run": run_facts(("infantmon", "numpy", "scipy", "neurokit2")),
        "population": "none: signals of neurokit2's simulators",
        "label_origin": "tops of the noise-free twin of each signal",
        "tuned_on": "no",
        "window_s": {"beats": BEAT_WINDOW_S, "breaths": BREATH_WINDOW_S},
        "scored_from_s": START_S,
        "beats": beats,
        "breaths": breaths,
    }


def as_markdown(result: dict[str, Any]) -> str:
    """Return the result for people."""
    facts = result["run"]
    versions = ", ".join(f"{name} {number}" for name, number in facts["versions"].items())
    lines = ["# Our detectors on signals of a second simulator", "", facts["caution"], ""]
    lines += [f"Population: {result['population']}. Labels: {result['label_origin']}."]
    lines += [f"Tuned on: {result['tuned_on']}. Scored from {result['scored_from_s']:g} s on.", ""]
    lines += [f"Made {facts['made_at']} at commit {str(facts['commit'])[:12]}; {versions}."]
    for what in ("beats", "breaths"):
        window_ms = 1000.0 * result["window_s"][what]
        lines += ["", f"## {what.capitalize()}, within {window_ms:g} ms", ""]
        lines += ["| signal | TP | FN | FP | Se | PPV | bias ms |", "|---|---|---|---|---|---|---|"]
        for row in result[what]:
            counts = (row[k] for k in ("true_positives", "false_negatives", "false_positives"))
            shares = (percent(row[k]) for k in ("sensitivity", "positive_predictivity"))
            cells = (row["signal"], *map(str, counts), *shares, str(row["bias_ms"]))
            lines.append(f"| {' | '.join(cells)} |")
    return "\n".join(lines) + "\n"


def main(arguments: list[str] | None = None) -> int:
    """Run the command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, required=True, help="where the JSON is written")
    options = parser.parse_args(arguments)
    result = run()
    write_result(options.out, result, as_markdown(result))
    return 0


if __name__ == "__main__":
    sys.exit(main())
