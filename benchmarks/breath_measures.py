"""Breath marks compared with simulated truth: pauses found, breaths kept, false pauses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

import infantmon as im
from benchmarks.breath_scenes import ALONE, BAD_BEATS, BreathScene
from benchmarks.must_apnea import plan
from infantmon import simulate as sim
from infantmon.effort import detect_breaths
from infantmon.model.arrays import Bools, Floats
from infantmon.model.channel import Channel
from infantmon.model.marks import Breaths, RPeaks
from infantmon.scoring.marks import match_marks
from infantmon.stages.r_peaks import detect_r_peaks

WITHIN_S = 1.0  # ends and length of a pause
MATCHED_S = 0.5  # a breath and its mark
FALSE_PAUSE_S = 10.0


@dataclass
class Figures:
    """What came of one scene over all seeds."""

    pauses: int = 0
    found: int = 0
    breaths: int = 0
    kept: int = 0
    extra: int = 0
    marks: int = 0
    false_pauses: int = 0
    unmarked: int = 0  # false pauses of 10 s that are listed as supported apneas
    hours: float = 0.0
    found_alone: int = 0
    faults: list[str] = field(default_factory=list)

    def add(self, other: Figures) -> None:
        """Take up what came of another seed or scene."""
        for name, value in vars(other).items():
            setattr(self, name, getattr(self, name) + value)


def found_pauses(truth: sim.Truth, marks_s: Floats) -> Bools:
    """Tell of each true pause whether it was found, ends and length within 1 s."""
    found = np.zeros(len(truth.pauses.onset_s), bool)
    starts, ends = marks_s[:-1], marks_s[1:]
    for number, (onset_s, end_s) in enumerate(
        zip(truth.pauses.onset_s, truth.pauses.end_s, strict=True)
    ):
        near = (abs(starts - onset_s) <= WITHIN_S) & (abs(ends - end_s) <= WITHIN_S)
        near &= abs(ends - starts - (end_s - onset_s)) <= WITHIN_S
        found[number] = near.any()
    return found


def measure(truth: sim.Truth, breaths: Breaths, outside_s: tuple[float, float]) -> Figures:
    """Compare breath marks with the truth."""
    marks_s = breaths.time_s
    match = match_marks(truth.breath_s, marks_s, MATCHED_S)
    counts = np.ones(len(truth.breath_s), bool)
    for start_s, end_s in zip(truth.movements.start_s, truth.movements.end_s, strict=True):
        from_s, to_s = start_s - outside_s[0], end_s + outside_s[1]
        counts &= ~((truth.breath_s >= from_s) & (truth.breath_s <= to_s))
    found = found_pauses(truth, marks_s)
    long = [
        n
        for n in np.flatnonzero(np.diff(marks_s) >= FALSE_PAUSE_S).tolist()
        if not _overlaps(truth, marks_s[n], marks_s[n + 1])
    ]
    faults = [f"missed {s:.1f} s" for s in truth.pauses.onset_s[~found]]
    faults += [f"pause {marks_s[n]:.1f} to {marks_s[n + 1]:.1f} s" for n in long]
    return Figures(
        pauses=len(found),
        found=int(found.sum()),
        breaths=int(counts.sum()),
        kept=int((match.reference_found & counts).sum()),
        extra=len(match.extra_s),
        marks=len(marks_s),
        false_pauses=len(long),
        hours=truth.duration_s / 3600.0,
        faults=faults,
    )


def _overlaps(truth: sim.Truth, start_s: float, end_s: float) -> bool:
    pauses, moved = truth.pauses, truth.movements
    over = (pauses.onset_s < end_s) & (pauses.end_s > start_s)
    return bool(over.any() or ((moved.start_s < end_s) & (moved.end_s > start_s)).any())


def run_scene(
    scene: BreathScene,
    seeds: Sequence[int],
    outside_s: tuple[float, float] = (0.0, 0.0),
    *,
    beside_alone: bool = False,
    judged: bool = False,
) -> Figures:
    """Simulate, detect and compare one scene over some seeds.

    `beside_alone` looks for the same pauses without R peaks, too; `judged` asks a review with a
    limit of 10 s which false pauses it calls supported.
    """
    total = Figures()
    for seed in seeds:
        night = scene.hour(seed)
        breaths = breaths_of(night, scene.way, seed, upside_down=scene.upside_down)
        figures = measure(night.truth, breaths, outside_s)
        if scene.upside_down:
            figures = only_lengths(figures, night.truth, breaths)
        if beside_alone:
            alone = breaths_of(night, ALONE, seed)
            figures.found_alone = int(found_pauses(night.truth, alone.time_s).sum())
        if judged:
            events = im.review(night.recording, plan(apnea={"limit_s": FALSE_PAUSE_S})).events
            supported = [e for e in events.of_kind("apnea") if e.judgement == "supported"]
            figures.unmarked = len(supported)
            figures.faults += [f"supported {e.onset_s:.1f} to {e.end_s} s" for e in supported]
        figures.faults = [f"seed {seed}: {fault}" for fault in figures.faults]
        total.add(figures)
    return total


def only_lengths(figures: Figures, truth: sim.Truth, breaths: Breaths) -> Figures:
    """Return what can be told where marks are at the other end of each swing: lengths of pauses."""
    found = lengths_found(truth, breaths.time_s)
    faults = [f"missed {s:.1f} s" for s in truth.pauses.onset_s[~found]]
    return replace(figures, found=int(found.sum()), breaths=0, kept=0, extra=0, faults=faults)


def lengths_found(truth: sim.Truth, marks_s: Floats) -> Bools:
    """Tell of each true pause whether two marks with its middle between them are as far apart."""
    middles = 0.5 * (truth.pauses.onset_s + truth.pauses.end_s)
    after = np.searchsorted(marks_s, middles)
    held = np.concatenate(([-np.inf], marks_s, [np.inf]))
    apart = held[after + 1] - held[after]
    return np.abs(apart - (truth.pauses.end_s - truth.pauses.onset_s)) <= WITHIN_S


def breaths_of(
    night: sim.SimulatedNight, way: str, seed: int, *, upside_down: bool = False
) -> Breaths:
    """Return the breaths that are found in one of the three ways."""
    impedance = channel_of(night.recording.impedance)
    beats = None if way == ALONE else beats_of(night)
    if beats is not None and way == BAD_BEATS:
        beats = spoilt(beats, seed)
    values = impedance.segments[0].values
    return detect_breaths(-values if upside_down else values, impedance.rate_hz, beats)


def beats_of(night: sim.SimulatedNight) -> RPeaks:
    """Return the R peaks that are found in the invented ECG."""
    ecg = channel_of(night.recording.ecg)
    return detect_r_peaks(ecg.segments[0].values, ecg.rate_hz, unit=ecg.unit)


def spoilt(beats: RPeaks, seed: int) -> RPeaks:
    """Leave a tenth of the R peaks out and shift the others by 20 ms (standard deviation)."""
    chance = np.random.default_rng([seed, 412])
    kept = beats.where(chance.random(len(beats)) > 0.1)
    shifted = kept.time_s + np.clip(0.02 * chance.standard_normal(len(kept)), -0.06, 0.06)
    return replace(kept, time_s=np.minimum(np.maximum.accumulate(shifted), kept.known_s))


def channel_of(channel: Channel | None) -> Channel:
    if channel is None:
        raise ValueError("the simulated hour lacks a channel.")
    return channel
