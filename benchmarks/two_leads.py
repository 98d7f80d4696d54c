"""One ECG lead, the other, and both fused into one train of beats.

    python -m benchmarks.two_leads

Writes benchmarks/results/two_leads.json and two_leads.md. Recordings: both channels of mitdb (26
records) and nstdb (118 with electrode motion in both channels); the even-numbered records of mitdb
and nstdb were used while building, the odd-numbered ones were not. Simulated infants: 10 min a
scene and seed, seeds 9850 to 9852, not used while building (9800 to 9803 were).
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

import infantmon.simulate as sim
from benchmarks.results import CAUTION, make_result
from infantmon.labelled.known import LEARNING_S, databases
from infantmon.labelled.places import recordings_folder
from infantmon.model.arrays import Floats
from infantmon.model.marks import RPeaks
from infantmon.model.recording import Recording
from infantmon.scoring.marks import match_marks, score_marks
from infantmon.stages.lead_fusion import fuse_r_peaks
from infantmon.stages.r_peaks import detect_r_peaks

SEEDS = (9850, 9851, 9852)
WINDOW_S = 0.15
LENGTH_S = 600.0
TRAINS = ("first lead", "second lead", "both fused")
Alter = Callable[[Floats, Floats, float, np.random.Generator], None]


@dataclass
class Tally:
    """Counts of one train of beats, added up."""

    right: int = 0
    missed: int = 0
    extra: int = 0
    right_doubted: int = 0
    extra_doubted: int = 0

    def add(self, beats_s: Floats, found: RPeaks, from_s: float, until_s: float) -> None:
        """Count the beats of one record from a time on."""
        some = found.where((found.time_s >= from_s) & (found.time_s <= until_s))
        tally = score_marks(beats_s, found.time_s, WINDOW_S, start_s=from_s, end_s=until_s).tally
        right = match_marks(beats_s, some.time_s, WINDOW_S).test_right
        self.right += tally.true_positives
        self.missed += tally.false_negatives
        self.extra += tally.false_positives
        self.right_doubted += int(np.sum(~some.reliable[right]))
        self.extra_doubted += int(np.sum(~some.reliable[~right]))

    def told(self) -> dict[str, Any]:
        """Return the counts and the shares made of them, in percent."""
        return {
            "right": self.right,
            "missed": self.missed,
            "extra": self.extra,
            "se": _percent(self.right, self.right + self.missed),
            "ppv": _percent(self.right, self.right + self.extra),
            "right_doubted": _percent(self.right_doubted, self.right),
            "extra_doubted": _percent(self.extra_doubted, self.extra),
        }


def _percent(part: int, of: int) -> float | None:
    return round(100.0 * part / of, 2) if of else None


def trains_of(recording: Recording) -> dict[str, RPeaks]:
    """Return the beats of either lead and of both."""
    first, second = recording.ecg, recording.ecg2
    if first is None or second is None:
        raise ValueError("two leads are needed")
    beats = [
        detect_r_peaks(lead.segments[0].values, lead.rate_hz, unit=lead.unit)
        for lead in (first, second)
    ]
    fused = fuse_r_peaks(beats[0], beats[1], first.rate_hz, end_s=recording.end_s)
    return dict(zip(TRAINS, (*beats, fused), strict=True))


def recorded() -> Iterator[tuple[str, dict[str, Tally]]]:
    """Yield the counts on annotated recordings."""
    shelves = databases(recordings_folder())
    groups: dict[str, tuple[str, Callable[[int], bool]]] = {
        "mitdb, even-numbered records (used while building)": ("mitdb", lambda n: n % 2 == 0),
        "mitdb, odd-numbered records (not used)": ("mitdb", lambda n: n % 2 == 1),
        "nstdb 118, electrode motion 24 to -6 dB (used)": ("nstdb", lambda _n: True),
    }
    for name, (database, wanted) in groups.items():
        shelf = shelves[database]
        counts = {train: Tally() for train in TRAINS}
        for record in shelf.names:
            if not wanted(int(record[:3])):
                continue
            labelled = shelf.load(record)
            if labelled.recording.ecg2 is None or labelled.beats_s is None:
                continue
            end_s = float(labelled.beats_s[-1]) + WINDOW_S
            for train, found in trains_of(labelled.recording).items():
                for stretch in labelled.set_apart:
                    if stretch.unmarked:  # ventricular flutter: EC57 compares no beats there
                        outside = (found.time_s < stretch.start_s) | (found.time_s > stretch.end_s)
                        found = found.where(outside)
                counts[train].add(labelled.beats_s, found, LEARNING_S, end_s)
        yield name, counts


def _burst(lead: Floats, rate_hz: float, start_s: float, draw: np.random.Generator) -> None:
    """Add 10 s of movement, 1.5 mV rms below 8 Hz and 0.3 mV rms of muscle."""
    here = slice(round(start_s * rate_hz), round((start_s + 10.0) * rate_hz))
    count = len(lead[here])
    spectrum = np.fft.rfft(draw.standard_normal(count))
    spectrum[np.fft.rfftfreq(count, 1.0 / rate_hz) > 8.0] = 0.0
    slow = np.fft.irfft(spectrum, count)
    lead[here] += 1.5 * slow / np.std(slow) + 0.3 * draw.standard_normal(count)


def _in_first(first: Floats, _second: Floats, rate_hz: float, draw: np.random.Generator) -> None:
    for start_s in np.arange(30.0, LENGTH_S - 20.0, 40.0):
        _burst(first, rate_hz, start_s, draw)


def _in_turn(first: Floats, second: Floats, rate_hz: float, draw: np.random.Generator) -> None:
    for n, start_s in enumerate(np.arange(30.0, LENGTH_S - 20.0, 20.0)):
        _burst((first, second)[n % 2], rate_hz, start_s, draw)


def _in_both(first: Floats, second: Floats, rate_hz: float, draw: np.random.Generator) -> None:
    for start_s in np.arange(30.0, LENGTH_S - 20.0, 40.0):
        _burst(first, rate_hz, start_s, draw)
        _burst(second, rate_hz, start_s, draw)


def _lost(first: Floats, _second: Floats, rate_hz: float, _draw: np.random.Generator) -> None:
    for start_s in np.arange(30.0, LENGTH_S - 40.0, 90.0):
        first[round(start_s * rate_hz) : round((start_s + 30.0) * rate_hz)] = 0.0


def _clean(_first: Floats, _second: Floats, _rate: float, _draw: np.random.Generator) -> None:
    """Leave both leads as they are."""


SCENES: dict[str, Alter] = {
    "clean": _clean,
    "a burst of 10 s every 40 s in the first lead": _in_first,
    "bursts of 10 s in either lead in turn": _in_turn,
    "a burst of 10 s every 40 s in both leads": _in_both,
    "first lead lost for 30 s every 90 s": _lost,
}


def simulated(seeds: tuple[int, ...] = SEEDS) -> Iterator[tuple[str, dict[str, Tally]]]:
    """Yield the counts on simulated infants."""
    for name, alter in SCENES.items():
        counts = {train: Tally() for train in TRAINS}
        for seed in seeds:
            lead2 = sim.EcgLead(r_mv=0.5, inverted=True, t_share=0.3)
            scenario = sim.Scenario(LENGTH_S, 250.0, 62.5, lead2=lead2)
            night = sim.simulate_night(scenario, seed)
            first, second = night.recording.ecg, night.recording.ecg2
            if first is None or second is None:
                raise ValueError("the scenario has two leads")
            values = [lead.segments[0].values.copy() for lead in (first, second)]
            alter(values[0], values[1], first.rate_hz, np.random.default_rng([seed, 1]))
            one, other = (detect_r_peaks(v, first.rate_hz, unit="mV") for v in values)
            fused = fuse_r_peaks(one, other, first.rate_hz, end_s=LENGTH_S)
            for train, found in zip(TRAINS, (one, other, fused), strict=True):
                counts[train].add(night.truth.beat_s, found, 1.0, LENGTH_S - 1.0)
        yield name, counts


def _markdown(run: dict[str, Any], rows: list[dict[str, Any]]) -> str:
    about = (
        f"Marks match within {1000 * WINDOW_S:g} ms, one to one. Recordings: adults, labels by "
        f"experts, from {LEARNING_S / 60:g} min on; what was used while building is said in each "
        "row. Simulated: invented infants, labels are the simulator's truth, seeds "
        f"{', '.join(map(str, SEEDS))}, not tuned on. Doubted: marks given as unreliable."
    )
    lines = [
        "# Two ECG leads, fused",
        "",
        f"Made by `python -m benchmarks.two_leads`, commit {run['commit']}. {CAUTION}",
        "",
        about,
        "",
        "| what | beats of | Se % | PPV % | missed | extra | right doubted % | extra doubted % |",
        "| --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for row in rows:
        doubted = "-" if row["extra_doubted"] is None else f"{row['extra_doubted']:.0f}"
        lines.append(
            f"| {row['what']} | {row['train']} | {row['se']:.2f} | {row['ppv']:.2f} | "
            f"{row['missed']} | {row['extra']} | {row['right_doubted']:.2f} | {doubted} |"
        )
    return "\n".join(lines) + "\n"


def rows() -> list[dict[str, Any]]:
    """Measure everything."""
    return [
        {"what": what, "train": train, **tally.told()}
        for source in (recorded(), simulated())
        for what, counts in source
        for train, tally in counts.items()
    ]


def main(arguments: list[str] | None = None) -> int:
    """Measure, print and store."""
    return make_result("two_leads", __doc__, arguments, rows, _markdown)


if __name__ == "__main__":
    sys.exit(main())
