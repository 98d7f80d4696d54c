"""The words by which a scenario file names what can happen, and what class stands behind each."""

from __future__ import annotations

from typing import Any

from infantmon.simulate.ectopic import AxisChange, EctopicBeats
from infantmon.simulate.faults import (
    Clipping,
    LevelStep,
    LooseElectrode,
    Mains,
    MissingSamples,
    Movement,
    MuscleNoise,
)
from infantmon.simulate.heart import (
    Bradycardia,
    RateChange,
    SlowingInPause,
    Standstill,
    Tachycardia,
)
from infantmon.simulate.obstruction import MixedApnea, ObstructiveApnea
from infantmon.simulate.pauses import BreathingRate, Pause, Rebound, ShallowBreathing, Sigh
from infantmon.simulate.pulsation import PulsationByPhase, PulsationInTime
from infantmon.simulate.shown import AtRail, Flat, Held, Noisy, OutOfRange

EVENTS: dict[str, type[Any]] = {
    "pause": Pause,
    "obstructive apnea": ObstructiveApnea,
    "mixed apnea": MixedApnea,
    "shallow breathing": ShallowBreathing,
    "breathing rate": BreathingRate,
    "sigh": Sigh,
    "rate change": RateChange,
    "bradycardia": Bradycardia,
    "tachycardia": Tachycardia,
    "standstill": Standstill,
    "ectopic beats": EctopicBeats,
    "axis change": AxisChange,
    "movement": Movement,
    "muscle noise": MuscleNoise,
    "mains": Mains,
    "level step": LevelStep,
    "loose electrode": LooseElectrode,
    "clipping": Clipping,
    "missing samples": MissingSamples,
}
PULSATIONS: dict[str, type[Any]] = {"by phase": PulsationByPhase, "in time": PulsationInTime}
SHOWN: dict[str, type[Any]] = {
    "at rail": AtRail,
    "flat": Flat,
    "held": Held,
    "noisy": Noisy,
    "out of range": OutOfRange,
}
AS_BEFORE = "as before"
"""Written where a channel goes on as before, since TOML has no word for nothing."""

PARTS: dict[str, type[Any]] = {
    "SlowingInPause | None": SlowingInPause,
    "Rebound | None": Rebound,
}
"""What a table within an event is, by the type of the field."""

PLAUSIBLE: dict[str, float] = {
    "onset_s": 0.0,
    "start_s": 0.0,
    "at_s": 0.0,
    "length_s": 60.0,
    "central_s": 60.0,
    "obstructed_s": 60.0,
    "rate_bpm": 100.0,
    "rate_per_min": 40.0,
    "deviation": 0.1,
    "level": 0.0,
    "age_months": 1.0,
    "duration_s": 600.0,
    "ecg_hz": 250.0,
    "impedance_hz": 50.0,
}
"""Values for required fields, with which the other fields of a table can be checked one by one."""


def word_of(value: object, words: dict[str, type[Any]]) -> str:
    """Return the word for an object."""
    return next(word for word, kind in words.items() if type(value) is kind)
