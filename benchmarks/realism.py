"""How like the preterm segments the invented infant is: the same measures on both.

    python -m benchmarks.realism --out benchmarks/results/realism.json

All measures rest on marks, not on our detectors: on the simulator's truth, and on the marks that
came with the segments (an automatic detector's, right on clean stretches).
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from scipy.signal import welch

from benchmarks.results import run_facts, write_result
from infantmon.errors import InfantmonError
from infantmon.labelled.known import databases
from infantmon.model.arrays import Floats
from infantmon.model.channel import Channel
from infantmon.simulate import Breathing, Heart, Scenario, simulate_night

LENGTH_S = 150.0
SEEDS = range(10)
ECG_BANDS_HZ = ((0.5, 5.0), (5.0, 15.0), (15.0, 45.0), (45.0, 100.0))
CHEST_BANDS_HZ = ((0.1, 0.4), (0.4, 1.5), (1.5, 4.0), (4.0, 10.0))


@dataclass(frozen=True)
class Measure:
    """One measure of a recording."""

    name: str
    unit: str
    published: str = ""


MEASURES = (
    Measure(
        "heart rate, median",
        "a minute",
        "preterm means 130 to 166 (PICS, Gee et al. 2017); 0 to 3 months 1st, 50th, 99th centile "
        "107, 143, 181 (Fleming et al. 2011)",
    ),
    Measure("RR interval, standard deviation", "ms"),
    Measure("RR interval, successive differences (RMS)", "ms"),
    Measure(
        "breathing rate, median",
        "a minute",
        "infants 43 to 46 (PLoS One 2020;15:e0238402); 0 to 3 months 1st, 50th, 99th centile 25, "
        "43, 66 (Fleming et al. 2011)",
    ),
    Measure("breath to breath, variation of the time", "of the mean"),
    Measure("breath to breath, variation of the size", "of the mean"),
    Measure("breath to breath, correlation of times", ""),
    Measure(
        "pulsation, locked to the beats, over the median breath",
        "ratio",
        "0.05 to 0.5 ohm beside breaths of 0.1 to 3 ohm (from memory)",
    ),
    *(Measure(f"ECG power in {a:g} to {b:g} Hz", "share") for a, b in ECG_BANDS_HZ),
    *(Measure(f"impedance power in {a:g} to {b:g} Hz", "share") for a, b in CHEST_BANDS_HZ),
)


@dataclass(frozen=True, eq=False)
class Marked:
    """Both channels with their marks."""

    ecg: Channel
    chest: Channel
    beat_s: Floats
    breath_s: Floats


def measured(marked: Marked) -> dict[str, float]:
    """Return every measure of one recording."""
    rr = np.diff(marked.beat_s)
    rr = rr[(rr > 0.2) & (rr < 1.0)]  # a missed or extra mark is no variability
    times = np.diff(marked.breath_s)
    values, rate = marked.chest.segments[0].values, marked.chest.rate_hz
    sizes = _sizes(values, rate, marked.breath_s)
    pulse = _locked(values, rate, marked.beat_s)
    found = [
        60.0 / float(np.median(rr)),
        1000.0 * float(np.std(rr)),
        1000.0 * float(np.sqrt(np.mean(np.diff(rr) ** 2))),
        60.0 / float(np.median(times)),
        float(np.std(times) / np.mean(times)),
        float(np.std(sizes) / np.mean(sizes)),
        float(np.corrcoef(times[1:], times[:-1])[0, 1]),
        pulse / float(np.median(sizes)),
        *_shares(marked.ecg.segments[0].values, marked.ecg.rate_hz, ECG_BANDS_HZ),
        *_shares(values, rate, CHEST_BANDS_HZ),
    ]
    return dict(zip((measure.name for measure in MEASURES), found, strict=True))


def _sizes(values: Floats, rate_hz: float, breath_s: Floats) -> Floats:
    """Return for each breath its top over the lowest value before it, back to the last breath."""
    ticks = np.rint(breath_s * rate_hz).astype(int)
    pairs = zip(ticks[:-1].tolist(), ticks[1:].tolist(), strict=True)
    return np.array([values[top] - np.min(values[last : top + 1]) for last, top in pairs])


def _locked(values: Floats, rate_hz: float, beat_s: Floats) -> float:
    """Return the peak-to-peak size of the mean impedance after a beat: breathing averages out."""
    usual = float(np.median(np.diff(beat_s)))
    slow = np.convolve(values, np.ones(round(1.5 * rate_hz)) / round(1.5 * rate_hz), "same")
    since = np.arange(0.0, usual, 1.0 / rate_hz)
    inside = beat_s[(beat_s > 3.0) & (beat_s < len(values) / rate_hz - 4.0)]
    clock = np.arange(len(values)) / rate_hz
    turns = np.interp(inside[:, None] + since, clock, values - slow)
    mean = np.mean(turns, axis=0)
    # what is left of breathing is a slope from end to end
    return float(np.ptp(mean - np.linspace(mean[0], mean[-1], len(mean))))


def _shares(
    values: Floats, rate_hz: float, bands_hz: tuple[tuple[float, float], ...]
) -> list[float]:
    """Return the share of power in each band, of all bands together."""
    finite = np.nan_to_num(values - np.nanmedian(values))
    frequency, power = welch(finite, rate_hz, nperseg=round(20.0 * rate_hz))
    each = [float(np.sum(power[(frequency >= a) & (frequency < b)])) for a, b in bands_hz]
    return [one / sum(each) for one in each]


def recorded() -> Iterator[Marked]:
    """Yield the preterm segments."""
    shelf = databases()["picsdb"]
    for name in shelf.names:
        labelled = shelf.load(name)
        ecg, chest = labelled.recording.ecg, labelled.recording.impedance
        if ecg is None or chest is None or labelled.beats_s is None:
            raise InfantmonError(f"{name} has not both channels and marks.")
        yield Marked(ecg, chest, labelled.beats_s, labelled.breaths_s[0])


def invented() -> Iterator[Marked]:
    """Yield invented preterm infants: the heart of infant 1 and 2 in turn, breathing as theirs."""
    for seed in SEEDS:
        heart, breathing = ((150.0, 60.0), (117.0, 55.0))[seed % 2]
        scenario = Scenario(
            LENGTH_S,
            250.0,
            62.5,
            heart=Heart(rate_bpm=heart),
            breathing=Breathing(rate_per_min=breathing),
        )
        night = simulate_night(scenario, seed)
        channels = night.recording.channels
        truth = night.truth
        yield Marked(channels["ecg"], channels["impedance"], truth.beat_s, truth.breath_s)


def run() -> dict[str, Any]:
    """Measure both."""
    both = {
        "recorded": [measured(marked) for marked in recorded()],
        "invented": [measured(marked) for marked in invented()],
    }
    rows = []
    for measure in MEASURES:
        row: dict[str, Any] = {
            "measure": measure.name,
            "unit": measure.unit,
            "published": measure.published,
        }
        for name, found in both.items():
            values = [one[measure.name] for one in found]
            row[name] = {
                "lowest": min(values),
                "median": float(np.median(values)),
                "highest": max(values),
            }
        rows.append(row)
    return {
        "run": run_facts(),
        "population": "recorded: 10 segments of 2 preterm infants (picsdb); invented: 10 seeds",
        "label_origin": "recorded: an automatic detector's marks; invented: the simulator's truth",
        "tuned_on": "yes: the simulator's variability and shapes were set on these segments",
        "rows": rows,
    }


def as_markdown(result: dict[str, Any]) -> str:
    """Return the table for people."""
    facts = result["run"]
    lines = ["# The invented infant beside preterm infants", "", facts["caution"], ""]
    lines += [f"Population: {result['population']}. Marks: {result['label_origin']}."]
    lines += [f"Tuned on: {result['tuned_on']}.", ""]
    lines += [f"Made {facts['made_at']} at commit {str(facts['commit'])[:12]}.", ""]
    lines += ["Lowest, **median**, highest.", "", *table(result)]
    return "\n".join(lines) + "\n"


def table(result: dict[str, Any]) -> list[str]:
    """Return the lines of the table."""
    lines = [
        "| measure | unit | preterm segments | invented | published |",
        "|---|---|---|---|---|",
    ]
    for row in result["rows"]:
        cells = [
            f"{row[name]['lowest']:.3g}, **{row[name]['median']:.3g}**, {row[name]['highest']:.3g}"
            for name in ("recorded", "invented")
        ]
        lines.append(
            f"| {row['measure']} | {row['unit']} | {' | '.join(cells)} | {row['published']} |"
        )
    return lines


def main(arguments: list[str] | None = None) -> int:
    """Run the command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, required=True, help="where the JSON is written")
    options = parser.parse_args(arguments)
    result = run()
    write_result(options.out, result, as_markdown(result))
    print(*table(result), sep="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
