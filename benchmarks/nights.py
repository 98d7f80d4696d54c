"""Simulated nights with known truth, judged: what is listed, what supported, what of that is real.

    python -m benchmarks.nights --out benchmarks/results/nights.json

Each night (27 min) is one invented infant, drawn from its seed: twenty scenes, some of them apneas
and slow hearts, alone or under a fault, some of them faults alone. The seeds of the stored result,
14000 to 14099, were not used while building (1000 to 1099, 2000 to 2059, 3000 to 3099, 4000 to
4099, 5000 to 5099, 6000 to 6299, 7000 to 7299, 8000 to 8099, 9000 to 9099, 10000 to 10099, 11000 to
12099, 13000 to 13099, 20000 to 20399, 31000 to 31299 and 42000 to 42099 were looked at).
Population: simulated. Labels: the simulator's truth.

Of true apneas of 20.5 s and more at a limit of 20 s, and of hearts below 80 a minute for 13 s and
more (8 beats averaged, hold-off 5 s), is told: was an event listed, what was its judgement, and
how many of the supported events are real. The limits are examples, not recommendations.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

import infantmon as im
from benchmarks.night_scenes import (
    ALONE,
    SCENE_S,
    Scene,
    night_of,
)
from benchmarks.results import run_facts, share_of, write_result
from infantmon import simulate as sim
from infantmon.model.arrays import Floats
from infantmon.model.event import DOUBTFUL, NOT_ASSESSABLE, SUPPORTED, Event

STORED_SEEDS = range(14000, 14100)
APNEA_LIMIT_S, LOW_BPM, HOLD_OFF_S, AVERAGE_BEATS = 20.0, 80.0, 5.0, 8
LONG_APNEA_S, LEAST_REAL_APNEA_S = 20.5, 19.5
LONG_SLOW_S = 13.0
"""A heart below the limit for so long has filled the average and outlasted the hold-off."""
ONLY_TECHNICAL, NOTHING = "only technical", "nothing"
OUTCOMES = (SUPPORTED, DOUBTFUL, NOT_ASSESSABLE, ONLY_TECHNICAL, NOTHING)
TECHNICAL = ("contact loss", "signal unusable")
LEAST_SHARE = 0.98


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
    met = {one.fault for one in true} | {one.fault for one in listed}
    faults = sorted(met, key=lambda name: (name != ALONE, name))
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
        return bool(told["of"] > 0 and told["count"] >= LEAST_SHARE * told["of"])

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
