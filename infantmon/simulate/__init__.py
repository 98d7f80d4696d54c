"""An invented infant with known truth. Shares nothing with the filters and stages.

>>> from infantmon import simulate
>>> night = simulate.simulate_night(simulate.demo_scenario(), seed=1)
>>> night.truth.pauses.lasting(20.0).length_s
array([23., 27.])
"""

from infantmon.simulate.ages import breathing_at, heart_at, newborn_lead
from infantmon.simulate.breathing import Breathing
from infantmon.simulate.ecg import EcgLead
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
    Heart,
    RateChange,
    SlowingInPause,
    Standstill,
    Tachycardia,
)
from infantmon.simulate.night import Chunk, InventedInfant, SimulatedNight, simulate_night
from infantmon.simulate.obstruction import MixedApnea, ObstructiveApnea
from infantmon.simulate.pauses import BreathingRate, Pause, Rebound, ShallowBreathing, Sigh
from infantmon.simulate.presets import (
    breathing_rate_steps,
    demo_scenario,
    heart_rate_steps,
    pauses_scenario,
    periodic_breathing,
)
from infantmon.simulate.pulsation import PulsationByPhase, PulsationInTime
from infantmon.simulate.scenario import EcgChannel, ImpedanceChannel, Scenario
from infantmon.simulate.shown import AtRail, Flat, Held, Noisy, OutOfRange
from infantmon.simulate.truth import Intervals, TrueObstructions, TruePauses, TrueRateChanges, Truth

__all__ = [
    "AtRail",
    "AxisChange",
    "Bradycardia",
    "Breathing",
    "BreathingRate",
    "Chunk",
    "Clipping",
    "EcgChannel",
    "EcgLead",
    "EctopicBeats",
    "Flat",
    "Heart",
    "Held",
    "ImpedanceChannel",
    "Intervals",
    "InventedInfant",
    "LevelStep",
    "LooseElectrode",
    "Mains",
    "MissingSamples",
    "MixedApnea",
    "Movement",
    "MuscleNoise",
    "Noisy",
    "ObstructiveApnea",
    "OutOfRange",
    "Pause",
    "PulsationByPhase",
    "PulsationInTime",
    "RateChange",
    "Rebound",
    "Scenario",
    "ShallowBreathing",
    "Sigh",
    "SimulatedNight",
    "SlowingInPause",
    "Standstill",
    "Tachycardia",
    "TrueObstructions",
    "TruePauses",
    "TrueRateChanges",
    "Truth",
    "breathing_at",
    "breathing_rate_steps",
    "demo_scenario",
    "heart_at",
    "heart_rate_steps",
    "newborn_lead",
    "pauses_scenario",
    "periodic_breathing",
    "simulate_night",
]
