"""The scenes of a simulated night: apneas and slow hearts, alone or under a fault, faults alone.

Population: simulated. Labels: the simulator's truth. A night of a seed is always the same.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from infantmon import simulate as sim
from infantmon.simulate.shown import Shown

SCENE_S = 80.0
SCENES = 20
ONSET_S = 26.0
"""From the start of a scene to what happens in it, in seconds, at least."""
ALONE = "clear of faults"

Chance = np.random.Generator
Fault = Callable[[Chance, float, float], tuple[Any, ...]]
"""Makes the fault beside something that begins at a time and lasts so long (seconds)."""


# What an electrode shows while it is loose -------------------------------------------------------


def _impedance_shown(chance: Chance) -> Shown:
    kinds = (
        sim.AtRail(),
        sim.AtRail(upper=False),
        sim.Flat(0.0),
        sim.Held(),
        sim.OutOfRange(1900.0, 0.05),
    )
    return kinds[int(chance.integers(len(kinds)))]


def _ecg_shown(chance: Chance) -> Shown:
    kinds = (sim.Noisy(0.05, mains=0.3), sim.Flat(0.0), sim.AtRail(), sim.Noisy(0.2))
    return kinds[int(chance.integers(len(kinds)))]


def _loose(chance: Chance, start_s: float, length_s: float) -> tuple[Any, ...]:
    shown, ecg = _impedance_shown(chance), _ecg_shown(chance)
    return (sim.LooseElectrode(start_s, length_s, impedance=shown, ecg=ecg),)


# Faults beside an apnea or a slow heart ----------------------------------------------------------


def _movement_before(chance: Chance, at_s: float, _length_s: float) -> tuple[Any, ...]:
    return (sim.Movement(at_s - float(chance.uniform(10.0, 15.0)), 5.0),)


def _movement_inside(chance: Chance, at_s: float, length_s: float) -> tuple[Any, ...]:
    start_s = at_s + float(chance.uniform(3.0, max(length_s - 8.0, 4.0)))
    return (sim.Movement(start_s, 3.0),)


def _loose_inside(chance: Chance, at_s: float, length_s: float) -> tuple[Any, ...]:
    start_s = at_s + float(chance.uniform(3.0, max(length_s - 10.0, 4.0)))
    return _loose(chance, start_s, float(chance.uniform(2.0, 6.0)))


def _loose_over_onset(chance: Chance, at_s: float, _length_s: float) -> tuple[Any, ...]:
    return _loose(chance, at_s - 4.0, 10.0)


def _loose_throughout(chance: Chance, at_s: float, length_s: float) -> tuple[Any, ...]:
    return _loose(chance, at_s - 3.0, length_s + 6.0)


def _ecg_lost(chance: Chance, at_s: float, length_s: float) -> tuple[Any, ...]:
    ecg = _ecg_shown(chance)
    return (sim.LooseElectrode(at_s - 4.0, length_s + 8.0, impedance=None, ecg=ecg),)


def _impedance_lost(chance: Chance, at_s: float, length_s: float) -> tuple[Any, ...]:
    shown = _impedance_shown(chance)
    return (sim.LooseElectrode(at_s - 4.0, length_s + 8.0, impedance=shown, ecg=None),)


def _muscle(chance: Chance, at_s: float, length_s: float) -> tuple[Any, ...]:
    mv = float(chance.uniform(0.05, 0.15))
    return (sim.MuscleNoise(at_s - 5.0, length_s + 10.0, mv=mv),)


def _mains(chance: Chance, at_s: float, length_s: float) -> tuple[Any, ...]:
    mv, ohm = float(chance.uniform(0.05, 0.3)), float(chance.uniform(0.02, 0.2))
    return (sim.Mains(at_s - 5.0, length_s + 10.0, mv=mv, ohm=ohm),)


def _level_step(chance: Chance, at_s: float, length_s: float) -> tuple[Any, ...]:
    start_s = at_s + float(chance.uniform(3.0, max(length_s - 3.0, 4.0)))
    return (sim.LevelStep(start_s, 30.0, mv=0.3, ohm=float(chance.choice([-3.0, 3.0]))),)


def _missing_inside(chance: Chance, at_s: float, length_s: float) -> tuple[Any, ...]:
    start_s = at_s + float(chance.uniform(3.0, max(length_s - 8.0, 4.0)))
    return (sim.MissingSamples(start_s, float(chance.uniform(0.5, 5.0))),)


def _shallow_before(_chance: Chance, at_s: float, _length_s: float) -> tuple[Any, ...]:
    return (sim.ShallowBreathing(at_s - 20.0, 19.0, share=0.35),)


BESIDE_APNEA: dict[str, Fault] = {
    "movement before": _movement_before,
    "movement inside": _movement_inside,
    "electrode loose inside": _loose_inside,
    "electrode loose over the onset": _loose_over_onset,
    "electrode loose throughout": _loose_throughout,
    "ECG lost": _ecg_lost,
    "muscle noise on the ECG": _muscle,
    "mains": _mains,
    "level step": _level_step,
    "missing samples inside": _missing_inside,
    "shallow breathing before": _shallow_before,
}
BESIDE_SLOW_HEART: dict[str, Fault] = {
    name: BESIDE_APNEA[name]
    for name in (
        "movement before",
        "movement inside",
        "electrode loose inside",
        "electrode loose over the onset",
        "electrode loose throughout",
        "muscle noise on the ECG",
        "mains",
        "missing samples inside",
    )
} | {"impedance lost": _impedance_lost}


def _short_pause(chance: Chance, at_s: float, _length_s: float) -> tuple[Any, ...]:
    return (sim.Pause(at_s, float(chance.uniform(6.0, 19.0))),)


def _shallow(chance: Chance, at_s: float, _length_s: float) -> tuple[Any, ...]:
    return (sim.ShallowBreathing(at_s, 30.0, share=float(chance.uniform(0.2, 0.4))),)


def _moves(chance: Chance, at_s: float, _length_s: float) -> tuple[Any, ...]:
    return (sim.Movement(at_s, float(chance.uniform(4.0, 30.0))),)


def _comes_off(chance: Chance, at_s: float, _length_s: float) -> tuple[Any, ...]:
    return _loose(chance, at_s, float(chance.uniform(4.0, 30.0)))


FAULT_ALONE: dict[str, Fault] = {
    "short pause": _short_pause,
    "shallow breathing": _shallow,
    "movement": _moves,
    "electrode loose": _comes_off,
    "ECG lost": _ecg_lost,
    "impedance lost": _impedance_lost,
    "muscle noise on the ECG": _muscle,
    "mains": _mains,
    "missing samples inside": _missing_inside,
}


@dataclass(frozen=True)
class Scene:
    """What happens in one stretch of a night, and which fault is there, if any."""

    start_s: float
    fault: str
    events: tuple[Any, ...]

    @property
    def end_s(self) -> float:
        """The first moment of the next scene, in seconds."""
        return self.start_s + SCENE_S


def _apnea(chance: Chance, start_s: float, fault: str) -> Scene:
    at_s, length_s = start_s + ONSET_S + chance.uniform(0.0, 4.0), chance.uniform(20.6, 40.0)
    slowing = sim.SlowingInPause() if chance.random() < 0.5 else None
    pause = sim.Pause(float(at_s), float(length_s), bradycardia=slowing)
    made = BESIDE_APNEA[fault](chance, at_s, length_s) if fault != ALONE else ()
    return Scene(start_s, fault, (pause, *made))


def _slow_heart(chance: Chance, start_s: float, fault: str) -> Scene:
    at_s, hold_s = start_s + ONSET_S, float(chance.uniform(14.0, 22.0))
    rate_bpm = float(chance.uniform(50.0, 68.0))
    slow = sim.Bradycardia(at_s, rate_bpm, ramp_s=3.0, hold_s=hold_s, return_s=4.0)
    made = BESIDE_SLOW_HEART[fault](chance, at_s, hold_s + 7.0) if fault != ALONE else ()
    return Scene(start_s, fault, (slow, *made))


def _fault_alone(chance: Chance, start_s: float, fault: str) -> Scene:
    at_s = start_s + ONSET_S + float(chance.uniform(0.0, 6.0))
    return Scene(start_s, fault, FAULT_ALONE[fault](chance, at_s, 20.0))


def scenes_of(seed: int) -> list[Scene]:
    """Return the scenes of a night, in order of time."""
    chance = np.random.default_rng([seed, 5])

    def drawn(faults: Mapping[str, Fault], count: int) -> list[str]:
        return [str(name) for name in chance.choice(list(faults), count, replace=False)]

    cards: list[tuple[Callable[[Chance, float, str], Scene], str]] = []
    cards += [(_apnea, fault) for fault in (ALONE, ALONE, ALONE, *drawn(BESIDE_APNEA, 6))]
    cards += [(_slow_heart, fault) for fault in (ALONE, ALONE, *drawn(BESIDE_SLOW_HEART, 3))]
    cards += [(_fault_alone, fault) for fault in drawn(FAULT_ALONE, 6)]
    order = chance.permutation(len(cards))
    starts = (20.0 + SCENE_S * place for place in range(len(cards)))
    return [
        cards[card][0](chance, start_s, cards[card][1])
        for start_s, card in zip(starts, order, strict=True)
    ]


def night_of(seed: int) -> tuple[sim.SimulatedNight, list[Scene]]:
    """Return one invented infant's night, and its scenes."""
    chance = np.random.default_rng([seed, 6])
    scenes = scenes_of(seed)
    share = float(chance.uniform(0.0, 0.5))
    by_phase = chance.random() < 0.5
    scenario = sim.Scenario(
        20.0 + SCENES * SCENE_S + 20.0,
        ecg_hz=250.0,
        impedance_hz=float(chance.choice([50.0, 62.5])),
        heart=sim.Heart(rate_bpm=float(chance.uniform(120.0, 165.0))),
        breathing=sim.Breathing(rate_per_min=float(chance.uniform(28.0, 65.0))),
        pulsation=sim.PulsationByPhase(share) if by_phase else sim.PulsationInTime(share),
        ecg=sim.EcgChannel(noise_mv=float(chance.uniform(0.005, 0.03))),
        impedance=sim.ImpedanceChannel(noise_ohm=float(chance.uniform(0.005, 0.03))),
        events=tuple(event for scene in scenes for event in scene.events),
    )
    return sim.simulate_night(scenario, seed), scenes
