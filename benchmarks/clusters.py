"""Apneas close to each other: what is said of each, where the time before it is mostly apnea, too.

    python -m benchmarks.clusters --out benchmarks/results/clusters.json

Half hours of simulated infants who stop breathing for 13 to 28 s, again and again, with some
seconds of breathing in between; in half of the pauses of 15 s and more the heart falls to 65 a
minute. The pulsation is 0.1 to 0.6 of a breath. They are reviewed with an apnea limit of 12 s and a
low rate of 80 a minute (4 beats, 2 s). Seeds 300 to 311, 400 to 411, 500 to 507 and 700 to 715 were
looked at.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

import infantmon as im
from benchmarks.judged_pauses import NOT_LISTED, SAID, said_of
from benchmarks.results import PROJECT, run_facts, share_of, write_result
from infantmon import simulate as sim
from infantmon.model.event import SUPPORTED

SEEDS = range(600, 612)
LENGTH_S = 1800.0
FIRST_S, LAST_S = 40.0, 1700.0
PAUSES_S = (13.0, 28.0)
BETWEEN_S = {"5 to 16 s": (5.0, 16.0), "2.5 to 6 s": (2.5, 6.0), "1.5 to 4 s": (1.5, 4.0)}
SLOWS_FROM_S, SLOW_BPM = 15.0, 65.0
PULSATIONS = (0.1, 0.2, 0.3, 0.4, 0.6)
LEAST_SHARE = 0.95
PLAN = im.Prescription.model_validate(
    {
        "apnea": {"limit_s": 12.0},
        "low_heart_rate": {"limit_bpm": 80, "hold_off_s": 2, "average_beats": 4},
    }
)
HEAD = (
    "| breathing between | apneas | supported | doubtful | not assessable | not listed | "
    "other apneas listed | slow hearts | supported | slow hearts listed elsewhere |"
)


def pauses_of(seed: int, between_s: tuple[float, float]) -> tuple[sim.Pause, ...]:
    """Return the pauses of one half hour."""
    chance = np.random.default_rng([seed, 1])
    pauses: list[sim.Pause] = []
    at_s = FIRST_S
    while at_s < LAST_S:
        length_s = float(chance.uniform(*PAUSES_S))
        slows = chance.random() < 0.5 and length_s >= SLOWS_FROM_S
        pauses.append(sim.Pause(at_s, length_s, sim.SlowingInPause(SLOW_BPM) if slows else None))
        at_s += length_s + float(chance.uniform(*between_s))
    return tuple(pauses)


def judged(seed: int, between_s: tuple[float, float]) -> Counter[str]:
    """Return what is said of one half hour."""
    pauses = pauses_of(seed, between_s)
    share = float(np.random.default_rng([seed, 2]).choice(PULSATIONS))
    scenario = sim.Scenario(
        LENGTH_S, 250.0, 62.5, pulsation=sim.PulsationByPhase(share), events=pauses
    )
    events = im.review(sim.simulate_night(scenario, seed).recording, PLAN).events
    counts: Counter[str] = Counter(apneas=len(pauses))
    apneas, hearts = events.of_kind("apnea"), events.of_kind("low heart rate")
    for pause in pauses:
        counts[said_of(apneas, pause.onset_s + 0.5 * pause.length_s)] += 1
    counts["other"] = len(apneas) - sum(counts[said] for said in SAID if said != NOT_LISTED)
    slow = [pause for pause in pauses if pause.bradycardia is not None]
    counts["slow"] = len(slow)
    for pause in slow:
        over = [e for e in hearts if pause.onset_s < e.onset_s < pause.onset_s + pause.length_s]
        counts["slow_supported"] += any(e.judgement == SUPPORTED for e in over)
        counts["slow_listed"] += len(over)
    counts["slow_elsewhere"] = len(hearts) - counts["slow_listed"]
    return counts


def table_of(name: str, seeds: Sequence[int]) -> dict[str, Any]:
    """Return what is said with so much breathing between two apneas."""
    counts: Counter[str] = Counter()
    for seed in seeds:
        counts += judged(seed, BETWEEN_S[name])
    supported = share_of(counts[SUPPORTED], counts["apneas"])
    return {
        "between": name,
        "counts": dict(counts),
        "supported": supported,
        "slow_supported": share_of(counts["slow_supported"], counts["slow"]),
        "holds": counts[NOT_LISTED] == 0 and counts[SUPPORTED] >= LEAST_SHARE * counts["apneas"],
    }


def as_markdown(result: dict[str, Any]) -> str:
    """Return the table for people."""
    lines = ["# Apneas close to each other", "", __doc__.split("\n\n")[2], ""]
    lines += [HEAD, "|" + " --- |" * (HEAD.count("|") - 1)]
    for table in result["tables"]:
        counts = Counter(table["counts"])
        cells = (
            table["between"],
            counts["apneas"],
            *(counts[said] for said in SAID),
            counts["other"],
            counts["slow"],
            counts["slow_supported"],
            counts["slow_elsewhere"],
        )
        lines.append("| " + " | ".join(map(str, cells)) + " |")
    held = "yes" if all(table["holds"] for table in result["tables"]) else "**no**"
    bar = f"none without a listed event, {100 * LEAST_SHARE:.0f} % supported: {held}"
    lines += ["", f"Bar (the project's own): {bar}.", ""]
    lines.append(f"Population: {result['population']}. Labels: {result['labels']}.")
    lines.append(
        "Tuned on: faults of judgement, and of movement seen in breaths, that other seeds showed."
    )
    return "\n".join([*lines, result["run"]["caution"], ""])


def main(words: list[str] | None = None) -> int:
    """Measure, print and store; return 1 if the bar is missed."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, default=PROJECT / "benchmarks/results/clusters.json")
    told = parser.parse_args(words)
    tables = [table_of(name, SEEDS) for name in BETWEEN_S]
    result = {
        "run": run_facts(),
        "seeds": list(SEEDS),
        "population": "simulated infants",
        "labels": "the simulator's truth; seeds not used in tuning",
        "tables": tables,
    }
    markdown = as_markdown(result)
    print(markdown)
    write_result(told.out, result, markdown)
    return int(not all(table["holds"] for table in tables))


if __name__ == "__main__":
    sys.exit(main())
