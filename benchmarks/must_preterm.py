"""The preterm segments against their stored marks. Real infants; marks made by a program."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import infantmon as im
from infantmon.labelled.database import Labelled
from infantmon.labelled.known import database
from infantmon.model.arrays import NO_FLOATS, Floats
from infantmon.scoring.marks import match_marks
from infantmon.scoring.tallies import Tally

BEAT_WINDOW_S = 0.1
BREATH_WINDOW_S = 0.5
LOW_RATE_PLANS: dict[str, dict[str, float]] = {
    "80 a minute, 8 beats, 5 s": {"limit_bpm": 80, "hold_off_s": 5, "average_beats": 8},
    "80 a minute, 8 beats, 0 s": {"limit_bpm": 80, "hold_off_s": 0, "average_beats": 8},
    "80 a minute, 1 beat, 5 s": {"limit_bpm": 80, "hold_off_s": 5, "average_beats": 1},
    "80 a minute, 1 beat, 0 s": {"limit_bpm": 80, "hold_off_s": 0, "average_beats": 1},
    "100 a minute, 1 beat, 5 s": {"limit_bpm": 100, "hold_off_s": 5, "average_beats": 1},
    "100 a minute, 1 beat, 0 s": {"limit_bpm": 100, "hold_off_s": 0, "average_beats": 1},
}
"""Limits to try; the first is the one that the bar is about. Examples, not recommendations."""


@dataclass
class PretermResult:
    """What came of some segments.

    Attributes
    ----------
    beats, breaths : Tally
        Against the stored marks, within 0.1 s and 0.5 s.
    apneas : int
        Apneas reported at a 20 s limit.
    slow : dict of str to list of str
        Low-rate events reported under each of the limits, in words.
    """

    beats: Tally = Tally(0, 0, 0)
    breaths: Tally = Tally(0, 0, 0)
    apneas: int = 0
    slow: dict[str, list[str]] = field(default_factory=lambda: {n: [] for n in LOW_RATE_PLANS})

    def add(self, other: PretermResult) -> None:
        """Take up what came of another segment."""
        self.beats += other.beats
        self.breaths += other.breaths
        self.apneas += other.apneas
        for name, events in other.slow.items():
            self.slow[name] += events


def run_segments(folder: Path | None = None) -> dict[str, PretermResult]:
    """Review every segment and compare it with its marks."""
    shelf = database("picsdb", folder)
    return {name: _one_segment(shelf.load(name)) for name in shelf.names}


def _one_segment(labelled: Labelled) -> PretermResult:
    plans = [
        im.Prescription(apnea={"limit_s": 20}, low_heart_rate=low)
        for low in LOW_RATE_PLANS.values()
    ]
    reviewed = im.review(labelled.recording, plans[0])
    beats = match_marks(
        _scored(labelled, NO_FLOATS if labelled.beats_s is None else labelled.beats_s),
        _scored(labelled, reviewed.r_peaks.time_s),
        BEAT_WINDOW_S,
    )
    breaths = match_marks(labelled.breaths_s[0], reviewed.breaths.time_s, BREATH_WINDOW_S)
    result = PretermResult(beats.tally, breaths.tally, len(reviewed.events.of_kind("apnea")))
    swept = im.sweep(reviewed.findings, plans)
    for name, (_, events) in zip(LOW_RATE_PLANS, swept, strict=True):
        for event in events.of_kind("low heart rate"):
            told = f"{labelled.recording.name} {event.onset_s:.1f} s, {event.lowest_bpm:.0f}/min"
            result.slow[name].append(f"{told}, {event.judgement}")
    return result


def _scored(labelled: Labelled, times_s: Floats) -> Floats:
    """Return the marks outside the stretches whose stored marks are known to be wrong."""
    for stretch in labelled.set_apart:
        times_s = times_s[(times_s < stretch.start_s) | (times_s >= stretch.end_s)]
    return times_s
