"""Hours of an invented infant in which breaths and pauses are measured, with known truth.

Labels are the simulator's own truth. Seeds 7001 to 7003 were looked at while detectors were mended;
stored results are of other seeds.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from infantmon import simulate as sim

HOUR_S = 3600.0
APNEAS = 29
APNEA_S = 20.0
MODELS: dict[str, type[sim.PulsationByPhase | sim.PulsationInTime]] = {
    "by phase": sim.PulsationByPhase,
    "in time": sim.PulsationInTime,
}
LED, ALONE, BAD_BEATS = "led by R peaks", "impedance alone", "a tenth missing, 20 ms of jitter"

Events = tuple[Any, ...]
Added = Callable[[list[sim.Pause], np.random.Generator], Events]


def nothing(pauses: list[sim.Pause], chance: np.random.Generator) -> Events:  # noqa: ARG001
    """Nothing else happens."""
    return ()


@dataclass(frozen=True)
class BreathScene:
    """An hour under one condition.

    Parameters
    ----------
    row : str
        The row of the table that it belongs to.
    name : str
        What is the case, in words.
    base : infantmon.simulate.Scenario
        Heart, breathing, pulsation and channels.
    slowing : SlowingInPause or None
        How the heart slows in each pause.
    rebound : Rebound or None
        What the resting level does in each pause.
    added : callable
        What else happens.
    way : str
        How the breaths are looked for.
    pauses : int
        How many pauses of 20 s.
    every_second : float
        Size of every second breath, as a share of what it would be.
    upside_down : bool
        Whether the impedance falls with inspiration.
    """

    row: str
    name: str
    base: sim.Scenario
    slowing: sim.SlowingInPause | None = None
    rebound: sim.Rebound | None = None
    added: Added = nothing
    way: str = LED
    pauses: int = APNEAS
    every_second: float = 1.0
    upside_down: bool = False

    def hour(self, seed: int) -> sim.SimulatedNight:
        """Simulate the hour of one seed."""
        chance = np.random.default_rng([seed, 411])
        apart_s = HOUR_S / (self.pauses + 1)
        at_s = apart_s * np.arange(1, self.pauses + 1) + chance.uniform(-20.0, 20.0, self.pauses)
        pauses = [sim.Pause(float(s), APNEA_S, self.slowing, self.rebound) for s in at_s]
        events = (*self.base.events, *pauses, *self.added(pauses, chance))
        scenario = dataclasses.replace(self.base, duration_s=HOUR_S, events=events)
        night = sim.simulate_night(scenario, seed)
        if self.every_second == 1.0:
            return night
        smaller = tuple(sim.Sigh(float(s), self.every_second) for s in night.truth.breath_s[::2])
        scenario = dataclasses.replace(scenario, events=(*events, *smaller))
        return sim.simulate_night(scenario, seed)


def scenario(
    share: float = 0.3,
    model: str = "by phase",
    growth: float = 0.0,
    *,
    heart: sim.Heart | float = 140.0,
    breathing: sim.Breathing | float = 45.0,
) -> sim.Scenario:
    """Return a scenario to put pauses into; a heart or breathing rate stands for the usual one."""
    return sim.Scenario(
        HOUR_S,
        250.0,
        62.5,
        heart=heart if isinstance(heart, sim.Heart) else sim.Heart(heart),
        breathing=breathing if isinstance(breathing, sim.Breathing) else sim.Breathing(breathing),
        pulsation=MODELS[model](share, growth),
    )


STEADY = "pulsation 0.1 to 0.8 of a breath, heart 100 to 180"
PART = "breathing at a half or a third of the heart rate"
SLOWING = "heart falling to 65, pulsation 0.5"
DOUBLING = "heart falling to 65, pulsation from 0.3 to 0.6"
BEYOND = "heart falling to 65, pulsation 0.5 or 0.8, growing or not: beyond what is asked"
EARLY = "one beat in 23 comes early, pulsation 0.2 to 0.6: beyond what is asked"
NEAR = "breathing within 10 % of the heart rate, drifting"
UNLED = "no R peaks, pulsation up to 0.3, heart 140"
UNLED_LARGE = "no R peaks, pulsation from 0.5: beyond what is asked"
BAD = "a tenth of the R peaks missing, 20 ms of jitter"
CALM = "no pause at all"
UPSIDE_DOWN = "impedance upside down, pulsation up to 0.8"
COUNT = "breathing at 20 to 120 a minute"
ALTERNATING = "breaths of 1.0 and 0.35 in turn"
SHALLOW = "30 s at a quarter of the size"
MOVING = "movement of 5 s"
SIGHS = "sighs, and steps of the level"
STEP_IN_PAUSE = "a step of the level inside the pause"
REBOUND = "rebound of half a breath after the last one"
CRYING = "crying-like for 30 s"
FROM_START = "movement in the first 30 s"


def _pulsating() -> Iterator[BreathScene]:
    for model in MODELS:
        for heart in (100.0, 140.0, 180.0):
            for share in (0.1, 0.3, 0.5, 0.8):
                name = f"pulsation {share:g} {model}, heart {heart:g}"
                yield BreathScene(STEADY, name, scenario(share, model, heart=heart))
        for part in (2, 3):
            for spread in (0.01, 0.2):
                even = sim.Breathing(140.0 / part, period_variability=spread)
                name = f"1/{part}, spread {spread:g}, pulsation 0.5 {model}"
                yield BreathScene(PART, name, scenario(0.5, model, breathing=even))
        for breaths, heart in ((90.0, 98.0), (95.0, 90.0), (110.0, 100.0)):
            name = f"{breaths:g} breaths, heart {heart:g}, pulsation 0.4 {model}"
            even = sim.Breathing(breaths, period_variability=0.05)
            yield BreathScene(NEAR, name, scenario(0.4, model, heart=heart, breathing=even))


def _slowing() -> Iterator[BreathScene]:
    ways = {"early": sim.SlowingInPause(delay_s=4.0), "late": sim.SlowingInPause()}
    asked = {(0.5, 0.0): SLOWING, (0.3, 0.9): DOUBLING}
    for model in MODELS:
        for share, growth in ((0.5, 0.0), (0.3, 0.9), (0.8, 0.0), (0.5, 0.9), (0.8, 0.9)):
            for word, way in ways.items():
                name = f"pulsation {share:g} {model}, growth {growth:g}, {word}"
                base = scenario(share, model, growth)
                yield BreathScene(asked.get((share, growth), BEYOND), name, base, slowing=way)


def _early() -> Iterator[BreathScene]:
    """Every 23rd beat: about two in each pause, anywhere in it."""
    for model in MODELS:
        for early in (0.25, 0.35, 0.45):
            for share in (0.2, 0.4, 0.6):
                name = f"by {early:g} of the interval, pulsation {share:g} {model}"
                beats = sim.EctopicBeats(
                    0.0, HOUR_S, every=23, early_share=early, wide=False, times=1.0
                )
                base = dataclasses.replace(scenario(share, model), events=(beats,))
                yield BreathScene(EARLY, name, base)


def _unled() -> Iterator[BreathScene]:
    for model in MODELS:
        for share in (0.1, 0.2, 0.3):
            name = f"pulsation {share:g} {model}"
            yield BreathScene(UNLED, name, scenario(share, model), way=ALONE)
            yield BreathScene(BAD, name, scenario(share, model), way=BAD_BEATS)
        for share in (0.5, 0.8):
            name = f"pulsation {share:g} {model}"
            yield BreathScene(UNLED_LARGE, name, scenario(share, model), way=ALONE)
            yield BreathScene(BAD, name, scenario(share, model), way=BAD_BEATS)


def _upside_down() -> Iterator[BreathScene]:
    for model in MODELS:
        for share in (0.1, 0.3, 0.5, 0.8):
            name = f"pulsation {share:g} {model}"
            yield BreathScene(UPSIDE_DOWN, name, scenario(share, model), upside_down=True)
        for rate in (25.0, 80.0):
            name = f"{rate:g} a minute, pulsation 0.3 {model}"
            base = scenario(0.3, model, breathing=rate)
            yield BreathScene(UPSIDE_DOWN, name, base, upside_down=True)


def _rhythms() -> Iterator[BreathScene]:
    for share in (0.0, 0.3, 0.5):
        for way in (LED, ALONE):
            if way == LED or share <= 0.3:
                name = f"pulsation {share:g}, {way}"
                yield BreathScene(CALM, name, scenario(share), way=way, pauses=0)
    for rate in (20.0, 30.0, 45.0, 60.0, 80.0, 100.0, 120.0):
        for spread in (0.05, 0.2):
            name = f"{rate:g} a minute, spread {spread:g}"
            breathing = sim.Breathing(rate, period_variability=spread)
            yield BreathScene(COUNT, name, scenario(0.2, breathing=breathing), pauses=0)
    for share in (0.0, 0.2):
        name = f"pulsation {share:g}"
        yield BreathScene(ALTERNATING, name, scenario(share), pauses=0, every_second=0.35)
        yield BreathScene(SHALLOW, name, scenario(share), added=_shallow, pauses=0)


def _disturbed() -> Iterator[BreathScene]:
    for share in (0.0, 0.3):
        name = f"pulsation {share:g}"
        yield BreathScene(MOVING, name, scenario(share), added=_moving(5.0), pauses=0)
        yield BreathScene(SIGHS, name, scenario(share), added=_sighs_and_steps)
        yield BreathScene(CRYING, name, scenario(share), added=_moving(30.0), pauses=0)
        yield BreathScene(FROM_START, name, scenario(share), added=_at_start, pauses=0)
        for size in (-2.0, -0.5, 0.5, 2.0):
            yield BreathScene(
                STEP_IN_PAUSE, f"{size:+g} ohm, {name}", scenario(share), added=_step_in(size)
            )
        for to_peak_s in (1.0, 1.5, 2.5):
            yield BreathScene(
                REBOUND,
                f"in {to_peak_s:g} s, {name}",
                scenario(share),
                rebound=sim.Rebound(0.5, to_peak_s),
            )


def _apart(apart_s: float, chance: np.random.Generator) -> list[float]:
    starts = np.arange(60.0, HOUR_S - 60.0, apart_s)
    return [float(s) for s in starts + chance.uniform(0.0, 10.0, len(starts))]


def _shallow(_pauses: list[sim.Pause], chance: np.random.Generator) -> Events:
    return tuple(sim.ShallowBreathing(s, 30.0, 0.25) for s in _apart(120.0, chance))


def _moving(length_s: float) -> Added:
    return lambda _pauses, chance: tuple(
        sim.Movement(s, length_s) for s in _apart(60.0 + 3.0 * length_s, chance)
    )


def _at_start(_pauses: list[sim.Pause], _chance: np.random.Generator) -> Events:
    return (sim.Movement(0.0, 30.0),)


def _sighs_and_steps(pauses: list[sim.Pause], chance: np.random.Generator) -> Events:
    """Each pause has a sigh 10 s before it, and a step of the level in the breathing after it."""
    sizes = chance.choice([-5.0, -1.0, 1.0, 5.0], len(pauses))
    sighs = [sim.Sigh(p.onset_s - 10.0, 3.0) for p in pauses]
    steps = [
        sim.LevelStep(p.end_s + 30.0, HOUR_S, ohm=float(size))
        for p, size in zip(pauses, sizes, strict=True)
    ]
    return (*sighs, *steps)


def _step_in(ohm: float) -> Added:
    return lambda pauses, chance: tuple(
        sim.LevelStep(p.onset_s + float(chance.uniform(5.0, 15.0)), HOUR_S, ohm=ohm) for p in pauses
    )


def breath_scenes() -> list[BreathScene]:
    """Return every scene."""
    makers = (_pulsating, _slowing, _early, _unled, _upside_down, _rhythms, _disturbed)
    return [scene for make in makers for scene in make()]
