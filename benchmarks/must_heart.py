"""The heart from 140 a minute to standstill: how soon it is known. Invented, with known truth.

An ECG without any noise is exactly flat in a standstill, and by definition that is a lost contact;
so it is no scene here (tests/test_must_heart.py holds that it is told as such, and in time).
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import infantmon as im
from infantmon import simulate as sim

RATE_BPM = 140.0
LOW_LIMIT_BPM = 80.0
NO_BEAT_LIMIT_S = 4.0
WITHIN_S = 10.0
"""Known within 10 s of the last beat: a yardstick from memory."""
ONSETS_S = (40.0, 100.0, 160.0, 220.0, 280.0)
STILL_S = 20.0
AVERAGINGS: dict[str, dict[str, float]] = {
    "1 beat": {"average_beats": 1},
    "8 beats": {"average_beats": 8},
    "6 s": {"average_s": 6},
}
HOLD_OFFS_S = (0.0, 5.0)


@dataclass(frozen=True)
class HeartScene:
    """A heart that stands still several times, under one kind of noise.

    Parameters
    ----------
    name : str
        The noise, in words.
    ecg : EcgChannel
        What the amplifier adds.
    lead : EcgLead
        How the ECG looks.
    noise : Disturbance or None
        What disturbs the ECG throughout.
    ecg_hz : float
        Sampling rate of the ECG, in Hz.
    """

    name: str
    ecg: sim.EcgChannel = sim.EcgChannel()
    lead: sim.EcgLead = sim.EcgLead()
    noise: sim.MuscleNoise | sim.Mains | None = None
    ecg_hz: float = 250.0

    def night(self, seed: int) -> sim.SimulatedNight:
        """Simulate five standstills of 20 s."""
        events: list[object] = [sim.Standstill(onset_s, STILL_S) for onset_s in ONSETS_S]
        length_s = ONSETS_S[-1] + 60.0
        if self.noise is not None:
            events.append(dataclasses.replace(self.noise, length_s=length_s))
        scenario = sim.Scenario(
            length_s,
            self.ecg_hz,
            62.5,
            heart=sim.Heart(rate_bpm=RATE_BPM),
            lead=self.lead,
            ecg=self.ecg,
            events=tuple(events),  # type: ignore[arg-type]
        )
        return sim.simulate_night(scenario, seed)


def heart_scenes() -> list[HeartScene]:
    """Return every scene of standstills."""
    return [
        HeartScene("noise 0.008 mV"),
        HeartScene("noise 0.03 mV", ecg=sim.EcgChannel(noise_mv=0.03)),
        HeartScene("noise 0.06 mV", ecg=sim.EcgChannel(noise_mv=0.06)),
        HeartScene("wander 0.3 mV", ecg=sim.EcgChannel(wander_mv=0.3)),
        HeartScene("steps of 0.02 mV", ecg=sim.EcgChannel(step_mv=0.02)),
        HeartScene("mains 0.1 mV", noise=sim.Mains(0.0, 1.0, mv=0.1)),
        HeartScene("muscle 0.03 mV", noise=sim.MuscleNoise(0.0, 1.0, mv=0.03)),
        HeartScene("muscle 0.06 mV", noise=sim.MuscleNoise(0.0, 1.0, mv=0.06)),
        HeartScene("ECG at 125 Hz", ecg_hz=125.0),
        HeartScene("ECG at 500 Hz", ecg_hz=500.0),
    ]


@dataclass
class HeartResult:
    """What came of the standstills of one scene.

    Attributes
    ----------
    asked, in_time : int
        Standstills times limits tried, and how many were known within their stated delay.
    worst_low_s, worst_none_s : float
        The latest known time after the last true beat, of "low heart rate" and "no heart beat".
    invented_beats : int
        Beats reported more than 0.1 s inside a standstill.
    other_events : int
        Heart events that belong to no standstill.
    faults : list of str
        Every miss, in words.
    """

    asked: int = 0
    in_time: int = 0
    worst_low_s: float = 0.0
    worst_none_s: float = 0.0
    invented_beats: int = 0
    other_events: int = 0
    faults: list[str] = field(default_factory=list)

    def add(self, other: HeartResult) -> None:
        """Take up what came of another night."""
        for name in ("asked", "in_time", "invented_beats", "other_events"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.worst_low_s = max(self.worst_low_s, other.worst_low_s)
        self.worst_none_s = max(self.worst_none_s, other.worst_none_s)
        self.faults += other.faults


def heart_plans() -> dict[str, im.Prescription]:
    """Return the limits to try, by name: examples, not recommendations."""
    plans = {}
    for word, averaging in AVERAGINGS.items():
        for hold_off_s in HOLD_OFFS_S:
            low = {"limit_bpm": LOW_LIMIT_BPM, "hold_off_s": hold_off_s, **averaging}
            plans[f"{word}, hold-off {hold_off_s:g} s"] = im.Prescription(
                low_heart_rate=low,
                no_heart_beat={"limit_s": NO_BEAT_LIMIT_S},
                contact_loss={"delay_s": 5},
            )
    return plans


def run_heart_scene(scene: HeartScene, seeds: Sequence[int]) -> HeartResult:
    """Simulate, review under each of the limits, and compare, over some seeds."""
    total = HeartResult()
    plans = heart_plans()
    for seed in seeds:
        night = scene.night(seed)
        still = night.truth.standstills
        reviewed = im.review(night.recording, next(iter(plans.values())))
        beats_s = reviewed.r_peaks.time_s
        for onset_s, end_s in zip(still.onset_s.tolist(), still.end_s.tolist(), strict=True):
            inside = (beats_s > onset_s + 0.1) & (beats_s < end_s - 0.1)
            total.invented_beats += int(inside.sum())
        for name, (plan, events) in zip(
            plans, im.sweep(reviewed.findings, plans.values()), strict=True
        ):
            result = _measure(still, events, plan, reviewed.latencies_s)
            result.faults = [f"seed {seed}, {name}: {fault}" for fault in result.faults]
            total.add(result)
    return total


def _measure(
    still: sim.Intervals,
    events: im.EventLog,
    plan: im.Prescription,
    latencies_s: Mapping[str, float],
) -> HeartResult:
    result = HeartResult()
    hold_off_s = plan.low_heart_rate.hold_off_s if plan.low_heart_rate is not None else 0.0
    low_s = 60.0 / LOW_LIMIT_BPM + hold_off_s + latencies_s["low heart rate"]
    none_s = NO_BEAT_LIMIT_S + latencies_s["no heart beat"]
    for kind, stated_s in (("low heart rate", low_s), ("no heart beat", none_s)):
        left = list(events.of_kind(kind))
        for onset_s, end_s in zip(still.onset_s.tolist(), still.end_s.tolist(), strict=True):
            over = [e for e in left if e.onset_s < end_s + 1.0 and (e.end_s or math.inf) > onset_s]
            left = [e for e in left if e not in over]
            after_s = min((e.known_s - onset_s for e in over), default=math.inf)
            result.asked += 1
            # the simulated beat and the mark may differ by a sample or two
            if after_s <= min(stated_s + 0.02, WITHIN_S):
                result.in_time += 1
            else:
                result.faults.append(f"{kind} at {onset_s:.2f} s known after {after_s:.2f} s")
            if kind == "low heart rate":
                result.worst_low_s = max(result.worst_low_s, after_s)
            else:
                result.worst_none_s = max(result.worst_none_s, after_s)
        result.other_events += len(left)
        result.faults += [f"{kind} {e.onset_s:.2f} to {e.end_s} s has no cause" for e in left]
    return result
