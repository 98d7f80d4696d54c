"""An invented infant with known truth. Shares nothing with the filters and stages.

>>> from infantmon import simulate
>>> night = simulate.simulate_night(simulate.demo_scenario(), seed=1)
>>> night.truth.pauses.lasting(20.0).length_s
array([23., 27.])
"""

from infantmon.simulate.breathing import Breathing
from infantmon.simulate.ecg import EcgLead
from infantmon.simulate.faults import (
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
    SlowingInPause,
    Standstill,
    Tachycardia,
)
from infantmon.simulate.night import Chunk, InventedInfant, SimulatedNight, simulate_night
from infantmon.simulate.pauses import Pause, Rebound, ShallowBreathing, Sigh
from infantmon.simulate.presets import demo_scenario, pauses_scenario, periodic_breathing
from infantmon.simulate.pulsation import PulsationByPhase, PulsationInTime
from infantmon.simulate.scenario import EcgChannel, ImpedanceChannel, Scenario
from infantmon.simulate.shown import AtRail, Flat, Held, Noisy, OutOfRange
from infantmon.simulate.truth import Intervals, TruePauses, TrueRateChanges, Truth

__all__ = [
    "AtRail",
    "Bradycardia",
    "Breathing",
    "Chunk",
    "EcgChannel",
    "EcgLead",
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
    "Movement",
    "MuscleNoise",
    "Noisy",
    "OutOfRange",
    "Pause",
    "PulsationByPhase",
    "PulsationInTime",
    "Rebound",
    "Scenario",
    "ShallowBreathing",
    "Sigh",
    "SimulatedNight",
    "SlowingInPause",
    "Standstill",
    "Tachycardia",
    "TruePauses",
    "TrueRateChanges",
    "Truth",
    "demo_scenario",
    "pauses_scenario",
    "periodic_breathing",
    "simulate_night",
]
