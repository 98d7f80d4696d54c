"""A quiet apnea in coarse steps: a pause, never a contact fault. Invented, with known truth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

import infantmon as im
from infantmon import simulate as sim

COUNT = 29
LENGTH_S = 20.0
WITHIN_S = 1.0
STEPS_A_BREATH = 10
NOISE_STEPS = 0.5
LIMITS_S = (19.0, 20.0)
"""At 20 s a pause of exactly 20 s may measure a hair less; at 19 s every one has to be there."""


@dataclass(frozen=True)
class QuantisedScene:
    """29 apneas of 20 s without pulsation; a breath is 10 steps, the noise half a step.

    Parameters
    ----------
    name : str
        What is special.
    size_variability : float
        Of the breaths (standard deviation of the logarithm).
    drift_ohm : float
        Standard deviation of the slow drift, in ohm; a usual breath is 1 ohm.
    impedance_hz : float
        Sampling rate of the impedance, in Hz.
    """

    name: str
    size_variability: float = 0.24
    drift_ohm: float = 0.15
    impedance_hz: float = 62.5

    def night(self, seed: int) -> sim.SimulatedNight:
        """Simulate one night of 29 apneas."""
        step_ohm = 1.0 / STEPS_A_BREATH
        base = sim.Scenario(
            60.0,
            250.0,
            self.impedance_hz,
            breathing=sim.Breathing(size_variability=self.size_variability),
            pulsation=sim.PulsationByPhase(0.0),
            impedance=sim.ImpedanceChannel(
                step_ohm=step_ohm, noise_ohm=NOISE_STEPS * step_ohm, drift_ohm=self.drift_ohm
            ),
        )
        scenario = sim.pauses_scenario(
            LENGTH_S,
            ecg_hz=250.0,
            impedance_hz=self.impedance_hz,
            count=COUNT,
            every_s=60.0,
            base=base,
            seed=seed,
        )
        return sim.simulate_night(scenario, seed)


def quantised_scenes() -> list[QuantisedScene]:
    """Return every scene of coarse steps."""
    return [
        QuantisedScene("usual breaths"),
        QuantisedScene("breaths of one size, no drift", size_variability=0.0, drift_ohm=0.0),
        QuantisedScene("25 Hz", impedance_hz=25.0),
        QuantisedScene("250 Hz", impedance_hz=250.0),
    ]


@dataclass
class QuantisedResult:
    """What came of the apneas of one scene.

    Attributes
    ----------
    asked : int
        Apneas there were.
    found : dict of float to int
        How many were reported as an assessable apnea, by limit in seconds.
    seen : int
        How many show as one gap between breaths, onset and length within 1 s.
    contact_faults : int
        Technical events, and stretches of the impedance called unusable.
    invented : int
        Apneas, at any limit, where there is none.
    """

    asked: int = 0
    found: dict[float, int] = field(default_factory=lambda: dict.fromkeys(LIMITS_S, 0))
    seen: int = 0
    contact_faults: int = 0
    invented: int = 0

    def add(self, other: QuantisedResult) -> None:
        """Take up what came of another night."""
        for name in ("asked", "seen", "contact_faults", "invented"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        for limit_s in LIMITS_S:
            self.found[limit_s] += other.found[limit_s]


def run_quantised_scene(scene: QuantisedScene, seeds: Sequence[int]) -> QuantisedResult:
    """Simulate, review at both limits, and compare, over some seeds."""
    total = QuantisedResult()
    for seed in seeds:
        total.add(_one_night(scene.night(seed)))
    return total


def _one_night(night: sim.SimulatedNight) -> QuantisedResult:
    # no delay: the shortest contact fault would show
    plans = [
        im.Prescription(apnea={"limit_s": limit_s}, contact_loss={"delay_s": 0})
        for limit_s in LIMITS_S
    ]
    reviewed = im.review(night.recording, plans[0])
    technical = [e for e in reviewed.events if e.kind in ("contact loss", "signal unusable")]
    result = QuantisedResult(contact_faults=len(technical) + len(reviewed.blocked("impedance")))
    pauses = night.truth.pauses
    breath_s = reviewed.breaths.time_s
    for onset_s, end_s in zip(pauses.onset_s.tolist(), pauses.end_s.tolist(), strict=True):
        result.asked += 1
        after = int(np.searchsorted(breath_s, 0.5 * (onset_s + end_s)))
        first_s, last_s = breath_s[after - 1], breath_s[after]
        right = abs(first_s - onset_s) <= WITHIN_S and abs(last_s - first_s - LENGTH_S) <= WITHIN_S
        result.seen += bool(right)
    for limit_s, (_, events) in zip(LIMITS_S, im.sweep(reviewed.findings, plans), strict=True):
        apneas = [e for e in events.of_kind("apnea") if e.assessable and e.end_s is not None]
        true = [e for e in apneas if _is_one_of(e, pauses)]
        result.found[limit_s] += len(true)
        result.invented += len(events.of_kind("apnea")) - len(true)
    return result


def _is_one_of(event: im.Event, pauses: sim.TruePauses) -> bool:
    """Tell whether onset and end of an apnea are those of a true pause, to 1 s each."""
    end_s = np.inf if event.end_s is None else event.end_s
    near = np.abs(pauses.onset_s - event.onset_s) <= WITHIN_S
    return bool(np.any(near & (np.abs(pauses.end_s - end_s) <= WITHIN_S)))
