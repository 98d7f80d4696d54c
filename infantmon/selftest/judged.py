"""Simulated nights put through the whole chain, and what of them the trials ask for."""

from __future__ import annotations

from dataclasses import replace

from infantmon.model.event import ACTIVE, Change
from infantmon.model.prescription import Prescription
from infantmon.reviewing import Review, review
from infantmon.simulate import (
    Breathing,
    EcgChannel,
    Heart,
    Pause,
    PulsationByPhase,
    Scenario,
    SlowingInPause,
    simulate_night,
)
from infantmon.simulate.night import SimulatedNight
from infantmon.simulate.scenario import Event

ECG_HZ, IMPEDANCE_HZ = 250.0, 62.5
LIMITS = "limits of the bench; an example, not a recommendation"
FIRST_S = 40.0
BETWEEN_S = 25.0
STEADY_HEART = Heart(rate_bpm=140.0)


def plan(**tables: object) -> Prescription:
    """Return limits for a trial; an example, not a recommendation."""
    return Prescription.model_validate({**tables, "prescriber": {"note": LIMITS}})


def usual_plan(apnea_s: float = 20.0) -> Prescription:
    """Return limits for breathing, heart and contact; an example, not a recommendation."""
    return plan(
        apnea={"limit_s": apnea_s},
        low_heart_rate={"limit_bpm": 80, "hold_off_s": 5, "average_beats": 8},
        high_heart_rate={"limit_bpm": 230, "hold_off_s": 10, "average_beats": 8},
        no_heart_beat={"limit_s": 4},
        contact_loss={"delay_s": 5},
    )


def night(
    events: tuple[Event, ...],
    duration_s: float,
    *,
    pulsation: PulsationByPhase | None = None,
    breathing: Breathing | None = None,
    heart: Heart = STEADY_HEART,
    seed: int = 1,
) -> SimulatedNight:
    """Return a simulated night with the bench's rates and noise."""
    scenario = Scenario(
        duration_s,
        ECG_HZ,
        IMPEDANCE_HZ,
        heart=heart,
        breathing=Breathing() if breathing is None else breathing,
        pulsation=PulsationByPhase(0.2) if pulsation is None else pulsation,
        ecg=EcgChannel(),
        events=events,
    )
    return simulate_night(scenario, seed)


def pauses(
    lengths_s: tuple[float, ...], bradycardia: SlowingInPause | None = None
) -> tuple[tuple[Pause, ...], float]:
    """Return pauses with breathing between them, and how long a night they need (s)."""
    found, at_s = [], FIRST_S
    for number, length_s in enumerate(lengths_s):
        at_s += 0.37 * (number % 5)  # no two at the same place in the breathing
        found.append(Pause(at_s, length_s, bradycardia))
        at_s += length_s + BETWEEN_S
    return tuple(found), at_s


def reviewed(made: SimulatedNight, limits: Prescription, *, ecg: bool = True) -> Review:
    """Return the review of a simulated night, without its ECG if so asked."""
    recording = made.recording
    if not ecg:
        recording = replace(recording, channels={"impedance": recording.channels["impedance"]})
    return review(recording, limits)


def first_active(changes: tuple[Change, ...], kind: str, after_s: float) -> float | None:
    """Return when a condition first went active after a time, in seconds; None if it did not."""
    for change in changes:
        if change.kind == kind and change.state == ACTIVE and change.known_s > after_s:
            return change.known_s
    return None
