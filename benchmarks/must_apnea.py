"""Pauses reported at a limit of 20 s: which were found, how well, how late.

Labels are the simulator's own truth.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import infantmon as im
from benchmarks.apnea_scenes import ApneaScene
from infantmon import simulate as sim

LIMIT_S = 20.0
"""The apnea limit in force, in seconds: an example, not a recommendation."""
KNOWN_AFTER_S = 3.5
"""An apnea has to be known this long after its limit was reached, at the latest."""
WORST = ("worst_onset_s", "worst_length_s", "worst_delay_s", "worst_doubted_delay_s")
WITHIN_S = 1.0
"""Onset and length have to be right to this."""


def plan(**tables: object) -> im.Prescription:
    """Limits of the measurements; an example, not a recommendation."""
    usual: dict[str, object] = {
        "apnea": {"limit_s": LIMIT_S},
        "low_heart_rate": {"limit_bpm": 80, "hold_off_s": 5, "average_beats": 8},
        "no_heart_beat": {"limit_s": 4},
        "contact_loss": {"delay_s": 5},
    }
    return im.Prescription(**{**usual, **tables})


@dataclass
class ApneaResult:
    """What came of the pauses of one scene.

    Attributes
    ----------
    long, found : int
        Pauses of 20.5 s and more, and how many of them were reported as one assessable apnea.
    not_assessable : int
        How many of the others were reported as one apnea that is not assessable.
    short, reported : int
        Pauses of 19.5 s and less, and how many were reported all the same.
    invented : int
        Apneas reported where there is no pause; those listed as not assessable in a stretch without
        impedance are as they should be.
    worst_onset_s, worst_length_s : float
        The largest error of the reported ones, in seconds.
    worst_delay_s : float
        The latest known time after true onset + limit, in seconds.
    worst_doubted_delay_s : float
        The same of those that are not assessable.
    faults : list of str
        Every miss, in words.
    """

    long: int = 0
    found: int = 0
    not_assessable: int = 0
    short: int = 0
    reported: int = 0
    invented: int = 0
    worst_onset_s: float = 0.0
    worst_length_s: float = 0.0
    worst_delay_s: float = -math.inf
    worst_doubted_delay_s: float = -math.inf
    faults: list[str] = field(default_factory=list)

    def add(self, other: ApneaResult) -> None:
        """Take up what came of another night."""
        for name in ("long", "found", "not_assessable", "short", "reported", "invented"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        for name in WORST:
            setattr(self, name, max(getattr(self, name), getattr(other, name)))
        self.faults += other.faults


def measure_apneas(
    truth: sim.TruePauses, events: im.EventLog, limit_s: float = LIMIT_S
) -> ApneaResult:
    """Compare reported apneas with the true pauses: which were found, how well, how late."""
    result = ApneaResult()
    left = [e for e in events.of_kind("apnea") if e.assessable or not e.unusable]
    for onset_s, end_s in zip(truth.onset_s.tolist(), truth.end_s.tolist(), strict=True):
        over = [e for e in left if e.onset_s < end_s and (e.end_s or math.inf) > onset_s]
        left = [e for e in left if e not in over]
        if end_s - onset_s < limit_s:
            result.short += 1
            result.reported += bool(over)
            result.faults += [_told(onset_s, end_s, e, "reported although short") for e in over]
        else:
            result.long += 1
            _measure_one(result, onset_s, end_s, over, limit_s)
    result.invented = len(left)
    result.faults += [f"invented apnea {e.onset_s:.2f} to {e.end_s} s" for e in left]
    return result


def _measure_one(
    result: ApneaResult, onset_s: float, end_s: float, over: list[im.Event], limit_s: float
) -> None:
    if len(over) != 1 or not over[0].assessable:
        what = "; ".join(f"{e.onset_s:.2f}-{e.end_s} {e.judgement}" for e in over) or "nothing"
        result.faults.append(f"pause {onset_s:.2f} to {end_s:.2f} s: reported {what}")
        if len(over) == 1:
            result.not_assessable += 1
            delay_s = over[0].known_s - onset_s - limit_s
            result.worst_doubted_delay_s = max(result.worst_doubted_delay_s, delay_s)
        return
    event = over[0]
    if event.length_s is None:
        result.faults.append(_told(onset_s, end_s, event, "never ended"))
        return
    result.found += 1
    onset_off, length_off = abs(event.onset_s - onset_s), abs(event.length_s - (end_s - onset_s))
    delay_s = event.known_s - onset_s - limit_s
    result.worst_onset_s = max(result.worst_onset_s, onset_off)
    result.worst_length_s = max(result.worst_length_s, length_off)
    result.worst_delay_s = max(result.worst_delay_s, delay_s)
    if onset_off > WITHIN_S or length_off > WITHIN_S:
        result.faults.append(_told(onset_s, end_s, event, "onset or length off"))
    if delay_s > KNOWN_AFTER_S:
        result.faults.append(_told(onset_s, end_s, event, f"known {delay_s:.2f} s after limit"))


def _told(onset_s: float, end_s: float, event: im.Event, what: str) -> str:
    found = f"{event.onset_s:.2f} to {event.end_s} s, known {event.known_s:.2f} s"
    return f"pause {onset_s:.2f} to {end_s:.2f} s: {found}: {what}"


def run_apnea_scene(scene: ApneaScene, seeds: Sequence[int]) -> ApneaResult:
    """Simulate, review and compare one scene over some seeds."""
    total = ApneaResult()
    for seed in seeds:
        night = scene.night(seed)
        reviewed = im.review(scene.recording(night), plan())
        result = measure_apneas(night.truth.pauses, reviewed.events)
        result.faults = [f"seed {seed}: {fault}" for fault in result.faults]
        total.add(result)
    return total
