"""Simulated nights with known truth, judged: what is listed, what supported, what of that is real.

    python -m benchmarks.nights --out benchmarks/results/nights.json

Each night (27 min) is one invented infant, drawn from its seed: twenty scenes, some of them apneas
and slow hearts, alone or under a fault, some of them faults alone. The seeds of the stored result,
1000 to 1099, were not used while building. Population: simulated. Labels: the simulator's truth.

Of true apneas of 20.5 s and more at a limit of 20 s, and of hearts below 80 a minute for 13 s and
more (8 beats averaged, hold-off 5 s), is told: was an event listed, what was its judgement, and
how many of the supported events are real. The limits are examples, not recommendations.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

import infantmon as im
from benchmarks.results import run_facts, share_of, write_result
from infantmon import simulate as sim
from infantmon.model.arrays import Floats
from infantmon.model.event import DOUBTFUL, NOT_ASSESSABLE, SUPPORTED, Event

STORED_SEEDS = range(1000, 1100)
SCENE_S = 80.0
SCENES = 20
ONSET_S = 26.0
"""From the start of a scene to what happens in it, in seconds, at least."""
APNEA_LIMIT_S, LOW_BPM, HOLD_OFF_S, AVERAGE_BEATS = 20.0, 80.0, 5.0, 8
LONG_APNEA_S, LEAST_REAL_APNEA_S = 20.5, 19.5
LONG_SLOW_S = 13.0
"""A heart below the limit for so long has filled the average and outlasted the hold-off."""
ALONE, ONLY_TECHNICAL, NOTHING = "clear of faults", "only technical", "nothing"
OUTCOMES = (SUPPORTED, DOUBTFUL, NOT_ASSESSABLE, ONLY_TECHNICAL, NOTHING)
TECHNICAL = ("contact loss", "signal unusable")
LEAST_SHARE = 0.98

Chance = np.random.Generator
Fault = Callable[[Chance, float, float], tuple[Any, ...]]
"""Makes the fault beside something that begins at a time and lasts so long (seconds)."""


def plan() -> im.Prescription:
    """Limits of the measurement; an example, not a recommendation."""
    return im.Prescription(
        apnea={"limit_s": APNEA_LIMIT_S},
        low_heart_rate={
            "limit_bpm": LOW_BPM,
            "hold_off_s": HOLD_OFF_S,
            "average_beats": AVERAGE_BEATS,
        },
        no_heart_beat={"limit_s": 4},
        contact_loss={"delay_s": 5},
    )


# What an electrode shows while it is loose -------------------------------------------------------


def _impedance_shown(chance: Chance) -> sim.Shown:
    kinds = (
        sim.AtRail(),
        sim.AtRail(upper=False),
        sim.Flat(0.0),
        sim.Held(),
        sim.OutOfRange(1900.0, 0.05),
    )
    return kinds[int(chance.integers(len(kinds)))]


def _ecg_shown(chance: Chance) -> sim.Shown:
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


# What came of it ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class Outcome:
    """A true apnea or slow heart, the fault of its scene, and what was listed for it."""

    kind: str
    fault: str
    start_s: float
    end_s: float
    outcome: str


@dataclass(frozen=True)
class Listed:
    """A listed event, the fault of its scene, and whether it is real."""

    kind: str
    fault: str
    onset_s: float
    judgement: str
    real: bool


@dataclass(frozen=True)
class JudgedNight:
    """All that came of one night."""

    seed: int
    hours: float
    true: tuple[Outcome, ...]
    listed: tuple[Listed, ...]


def judge_night(seed: int) -> JudgedNight:
    """Simulate and review one night, and compare the events with the truth."""
    night, scenes = night_of(seed)
    events = im.review(night.recording, plan()).events
    apneas, slow = long_apneas(night.truth), slow_hearts(night.truth)
    true = [
        Outcome(kind, _fault_at(scenes, start), start, end, _outcome(events, kind, start, end))
        for kind, spans in (("apnea", apneas), ("low heart rate", slow))
        for start, end in spans
    ]
    real = {"apnea": _real_apnea, "low heart rate": _real_slow_heart}
    listed = [
        Listed(
            event.kind,
            _fault_at(scenes, event.onset_s),
            event.onset_s,
            event.judgement,
            real[event.kind](event, night.truth),
        )
        for event in events
        if event.kind in real
    ]
    return JudgedNight(seed, night.truth.duration_s / 3600.0, tuple(true), tuple(listed))


def long_apneas(truth: sim.Truth) -> list[tuple[float, float]]:
    """Return the true pauses of 20.5 s and more, mark to mark."""
    pauses = truth.pauses.lasting(LONG_APNEA_S)
    return list(zip(pauses.onset_s.tolist(), pauses.end_s.tolist(), strict=True))


def slow_hearts(truth: sim.Truth) -> list[tuple[float, float]]:
    """Return the stretches in which every true interval is below the limit, for 13 s and more."""
    found = truth.beats_slower_than(LOW_BPM, beats=AVERAGE_BEATS)
    spans = zip(found.onset_s.tolist(), found.end_s.tolist(), strict=True)
    return [(start, end) for start, end in spans if end - start >= LONG_SLOW_S]


def _outcome(events: Iterable[Event], kind: str, start_s: float, end_s: float) -> str:
    """Return the best that was listed for something true."""
    over = [e for e in events if e.onset_s < end_s and (e.end_s is None or e.end_s > start_s)]
    judgements = {event.judgement for event in over if event.kind == kind}
    if not judgements:
        technical = any(event.kind in TECHNICAL for event in over)
        return ONLY_TECHNICAL if technical else NOTHING
    return next(outcome for outcome in OUTCOMES if outcome in judgements)


def _real_apnea(event: Event, truth: sim.Truth) -> bool:
    """Tell whether half of an apnea lies in a true pause of 19.5 s and more."""
    pauses = truth.pauses.lasting(LEAST_REAL_APNEA_S)
    end_s = truth.duration_s if event.end_s is None else event.end_s
    shared = np.minimum(pauses.end_s, end_s) - np.maximum(pauses.onset_s, event.onset_s)
    return bool(np.any(shared >= 0.5 * (end_s - event.onset_s)))


def _real_slow_heart(event: Event, truth: sim.Truth) -> bool:
    """Tell whether the averaged rate of the true beats goes below the limit, within 2 %."""
    end_s = truth.duration_s if event.end_s is None else event.end_s
    beats = truth.beat_s
    first = max(int(np.searchsorted(beats, event.onset_s - 2.0)) - AVERAGE_BEATS, 0)
    after = int(np.searchsorted(beats, end_s + 2.0))
    means = _averaged_bpm(beats[first:after])
    return bool(len(means) and means.min() < 1.02 * LOW_BPM)


def _averaged_bpm(beats_s: Floats) -> Floats:
    spans = beats_s[AVERAGE_BEATS:] - beats_s[:-AVERAGE_BEATS]
    return np.asarray(60.0 * AVERAGE_BEATS / spans, dtype=np.float64)


def _fault_at(scenes: Sequence[Scene], time_s: float) -> str:
    """Return the fault of the scene that a time lies in; of the nearest before and after them."""
    place = int(np.clip((time_s - scenes[0].start_s) // SCENE_S, 0, len(scenes) - 1))
    return scenes[place].fault


# Results -----------------------------------------------------------------------------------------


def judge_nights(seeds: Iterable[int], processes: int = 2) -> list[JudgedNight]:
    """Judge many nights; at low priority where there are several processes."""
    if processes <= 1:
        return [judge_night(seed) for seed in seeds]
    with ProcessPoolExecutor(processes, initializer=os.nice, initargs=(10,)) as pool:
        return list(pool.map(judge_night, seeds))


def table_of(nights: Sequence[JudgedNight], kind: str) -> dict[str, Any]:
    """Return what came of one kind: in all, and by class of fault."""
    true = [one for night in nights for one in night.true if one.kind == kind]
    listed = [one for night in nights for one in night.listed if one.kind == kind]
    clear = [one for one in true if one.fault == ALONE]
    supported = [one for one in listed if one.judgement == SUPPORTED]
    faults = sorted({one.fault for one in (*true, *listed)}, key=lambda name: (name != ALONE, name))
    return {
        "true": len(true),
        "without_listed_event": sum(one.outcome == NOTHING for one in true),
        "with_event_of_the_kind": share_of(
            sum(one.outcome not in (NOTHING, ONLY_TECHNICAL) for one in true), len(true)
        ),
        "clear_supported": share_of(sum(o.outcome == SUPPORTED for o in clear), len(clear)),
        "supported_real": share_of(sum(one.real for one in supported), len(supported)),
        "by_fault": {fault: _by_fault(true, listed, fault) for fault in faults},
    }


def _by_fault(true: Sequence[Outcome], listed: Sequence[Listed], fault: str) -> dict[str, Any]:
    mine = [one for one in true if one.fault == fault]
    outcomes = Counter(one.outcome for one in mine)
    supported = [one for one in listed if one.fault == fault and one.judgement == SUPPORTED]
    unreal = [one for one in listed if one.fault == fault and not one.real]
    return {
        "true": len(mine),
        "outcomes": {outcome: outcomes[outcome] for outcome in OUTCOMES},
        "supported": share_of(outcomes[SUPPORTED], len(mine)),
        "supported_real": share_of(sum(one.real for one in supported), len(supported)),
        "listed_but_not_real": len(unreal),
    }


def holds(table: Mapping[str, Any]) -> dict[str, bool]:
    """Tell which bars one kind reaches."""

    def enough(told: Mapping[str, Any]) -> bool:
        return told["of"] > 0 and told["count"] >= LEAST_SHARE * told["of"]

    return {
        "none without a listed event": table["without_listed_event"] == 0,
        "98 % of those clear of faults supported": enough(table["clear_supported"]),
        "98 % of the supported real": enough(table["supported_real"]),
    }


def result_of(nights: Sequence[JudgedNight]) -> dict[str, Any]:
    """Return all that is stored of a run."""
    kinds = {kind: table_of(nights, kind) for kind in ("apnea", "low heart rate")}
    return {
        "run": run_facts(),
        "population": "simulated",
        "labels": "the simulator's truth",
        "used_while_building": "none of these seeds",
        "seeds": [nights[0].seed, nights[-1].seed],
        "nights": len(nights),
        "hours": round(sum(night.hours for night in nights), 3),
        "limits": plan().model_dump(exclude_none=True),
        "kinds": kinds,
        "holds": {kind: holds(table) for kind, table in kinds.items()},
        "missed": _faults_of(nights),
    }


def _faults_of(nights: Sequence[JudgedNight]) -> list[dict[str, Any]]:
    """Return every true event without one listed, clear one not supported, and unreal supported."""
    found: list[dict[str, Any]] = []
    for night in nights:
        for one in night.true:
            clear = one.fault == ALONE and one.outcome != SUPPORTED
            if clear or one.outcome == NOTHING:
                found.append({"seed": night.seed, "what": "true", **_plain(one)})
        found += [
            {"seed": night.seed, "what": "not real", **_plain(one)}
            for one in night.listed
            if one.judgement == SUPPORTED and not one.real
        ]
    return found


def _plain(one: Outcome | Listed) -> dict[str, Any]:
    return {name: round(v, 2) if isinstance(v, float) else v for name, v in vars(one).items()}


def as_markdown(result: Mapping[str, Any]) -> str:
    """Return the tables for people."""
    first, last = result["seeds"]
    lines = ["# Judged nights (simulated)", ""]
    lines += [
        (
            f"{result['nights']} nights, {result['hours']:.1f} h, seeds {first} to {last}. "
            f"Population: {result['population']}. Labels: {result['labels']}. "
            f"Used while building: {result['used_while_building']}."
        ),
        "",
    ]
    for kind, table in result["kinds"].items():
        lines += _kind_lines(kind, table, result["holds"][kind])
    return "\n".join([*lines, result["run"]["caution"], ""])


def _kind_lines(kind: str, table: Mapping[str, Any], held: Mapping[str, bool]) -> list[str]:
    lines = [f"## {kind}", ""]
    lines += [
        f"- {bar}: {'reached' if reached else 'NOT reached'}" for bar, reached in held.items()
    ]
    for name in ("clear_supported", "supported_real", "with_event_of_the_kind"):
        lines.append(f"- {name.replace('_', ' ')}: {_words(table[name])}")
    lines += [f"- without any listed event: {table['without_listed_event']} of {table['true']}", ""]
    lines += [
        f"| scene | true | {' | '.join(OUTCOMES)} | supported that are real | not real, listed |",
        "|" + " --- |" * (len(OUTCOMES) + 4),
    ]
    for fault, row in table["by_fault"].items():
        cells = " | ".join(str(row["outcomes"][outcome]) for outcome in OUTCOMES)
        real = _words(row["supported_real"])
        lines.append(
            f"| {fault} | {row['true']} | {cells} | {real} | {row['listed_but_not_real']} |"
        )
    return [*lines, ""]


def _words(told: Mapping[str, Any]) -> str:
    if told["interval_95"] is None:
        return "-"
    low, high = told["interval_95"]
    return f"{told['count']} of {told['of']} ({100 * low:.1f} to {100 * high:.1f} %)"


def main(words: list[str] | None = None) -> int:
    """Run it; return 0 if every bar is reached."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, help="JSON file to write, with Markdown beside it")
    parser.add_argument("--first", type=int, default=STORED_SEEDS.start)
    parser.add_argument("--count", type=int, default=len(STORED_SEEDS))
    parser.add_argument("--processes", type=int, default=2)
    told = parser.parse_args(words)
    nights = judge_nights(range(told.first, told.first + told.count), told.processes)
    result = result_of(nights)
    markdown = as_markdown(result)
    print(markdown)
    if told.out is not None:
        write_result(told.out, result, markdown)
    return 0 if all(all(held.values()) for held in result["holds"].values()) else 1


if __name__ == "__main__":
    sys.exit(main())
