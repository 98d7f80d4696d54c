"""Rows of pauses, and what looks like them: what is said of periodic breathing.

    python -m benchmarks.pause_rows --out benchmarks/results/pause_rows.json

Simulated infants at a limit of three pauses of 3 s within 20 s: true rows (3 to 11 pauses of 4.5 to
10 s, 7 to 15 s apart), breathing that is shallow for a minute or two, or for 6 to 9 s again and
again, movement, crying-like bursts, apneas of 20 to 40 s, and breathing in which nothing happens;
12 stretches each in a recording, with a pulsation of 0.15 or 0.5 of a breath. A stretch counts with
the best that is said of it. And real impedance as it is, and with breathing taken out wholly for 5
to 12 s again and again (as in `made_pauses`), at a limit of three pauses of 5 s: there it is the
events that are counted. The real recordings have no labels of periodic breathing.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable
from typing import Any

import numpy as np

import infantmon as im
from benchmarks.judged_pauses import NOT_LISTED, SAID, heard
from benchmarks.made import heart_hz_of, with_pauses
from benchmarks.made_pauses import is_clipped
from benchmarks.results import make_result
from infantmon import simulate as sim
from infantmon.labelled.database import Database, Labelled
from infantmon.labelled.known import databases
from infantmon.model.recording import Recording

KIND = "periodic breathing"
SEEDS = (10, 11, 12)  # 0 to 2 were looked at
MADE_SEEDS = (11, 12, 13)  # 1 to 3 were looked at
PULSATIONS = (0.15, 0.5)
STRETCHES, BETWEEN_S, FIRST_S = 12, 70.0, 60.0
OVERLAP_S = 5.0
LENGTHS_S, APART_S = (5.0, 12.0), 9.0
INVENTED = im.Prescription(periodic_breathing={"pause_s": 3, "count": 3, "gap_s": 20})
REAL = im.Prescription(periodic_breathing={"pause_s": 5, "count": 3, "gap_s": 20})
HEAD = (
    "| what happens | R peaks | of | supported | doubtful | not assessable | not listed | "
    "population | labels |"
)
Events = list[Any]


def true_row(draw: np.random.Generator, at_s: float) -> tuple[Events, float]:
    """Return pauses in a row, and where it ends."""
    pauses: Events = []
    for _ in range(int(draw.integers(3, 12))):
        length_s = draw.uniform(4.5, 10.0)
        pauses.append(sim.Pause(at_s, length_s))
        at_s += length_s + draw.uniform(7.0, 15.0)
    return pauses, at_s


def shallow(share: float) -> Callable[[np.random.Generator, float], tuple[Events, float]]:
    """Return a maker of breathing that is shallow for a minute or two."""

    def make(draw: np.random.Generator, at_s: float) -> tuple[Events, float]:
        length_s = draw.uniform(60.0, 120.0)
        return [sim.ShallowBreathing(at_s, length_s, share=share)], at_s + length_s

    return make


def shallow_again(draw: np.random.Generator, at_s: float) -> tuple[Events, float]:
    """Return breathing that is shallow again and again."""
    found: Events = []
    for _ in range(8):
        length_s = draw.uniform(6.0, 9.0)
        found.append(sim.ShallowBreathing(at_s, length_s, share=0.25))
        at_s += length_s + draw.uniform(8.0, 12.0)
    return found, at_s


def movement(draw: np.random.Generator, at_s: float) -> tuple[Events, float]:
    """Return one movement."""
    length_s = draw.uniform(20.0, 60.0)
    return [sim.Movement(at_s, length_s)], at_s + length_s


def crying(draw: np.random.Generator, at_s: float) -> tuple[Events, float]:
    """Return movements of 4 s again and again."""
    found: Events = []
    for _ in range(6):
        found.append(sim.Movement(at_s, 4.0))
        at_s += 4.0 + draw.uniform(4.0, 9.0)
    return found, at_s


def apnea(draw: np.random.Generator, at_s: float) -> tuple[Events, float]:
    """Return one long pause."""
    length_s = draw.uniform(20.0, 40.0)
    return [sim.Pause(at_s, length_s)], at_s + length_s


def nothing(_draw: np.random.Generator, at_s: float) -> tuple[Events, float]:
    """Return a minute of breathing."""
    return [], at_s + 60.0


MAKERS = {
    "pauses in a row": true_row,
    "shallow at 0.3": shallow(0.3),
    "shallow at 0.2": shallow(0.2),
    "shallow at 0.12": shallow(0.12),
    "shallow for 6 to 9 s again and again": shallow_again,
    "movement": movement,
    "crying-like": crying,
    "one apnea": apnea,
    "nothing": nothing,
}


def said_of_scene(name: str, seed: int, pulsation: float, *, ecg: bool) -> Counter[str]:
    """Return what is said of the stretches of one simulated recording."""
    draw = np.random.default_rng(seed)
    happen: Events = []
    stretches: list[tuple[float, float]] = []
    at_s = FIRST_S
    for _ in range(STRETCHES):
        found, end_s = MAKERS[name](draw, at_s)
        happen += found
        stretches.append((at_s, end_s))
        at_s = end_s + BETWEEN_S
    scenario = sim.Scenario(
        at_s + 30.0,
        250.0,
        62.5,
        pulsation=sim.PulsationByPhase(pulsation),
        events=tuple(happen),
    )
    listed = rows_in(sim.simulate_night(scenario, seed).recording, INVENTED, ecg=ecg)
    return Counter(_best(listed, *stretch) for stretch in stretches)


def rows_in(recording: Recording, plan: im.Prescription, *, ecg: bool) -> list[im.Event]:
    """Return the rows of pauses that are listed, with the ECG or without it."""
    return list(im.review(heard(recording, ecg=ecg), plan).events.of_kind(KIND))


def _best(listed: list[im.Event], start_s: float, end_s: float) -> str:
    """Return the best that is said of a stretch."""
    said = {
        event.judgement
        for event in listed
        if min(np.inf if event.end_s is None else event.end_s, end_s) - max(event.onset_s, start_s)
        > OVERLAP_S
    }
    return next((each for each in SAID if each in said), NOT_LISTED)


def simulated_rows() -> list[dict[str, Any]]:
    """Return one row a kind of scene and way."""
    found = []
    for name in MAKERS:
        for ecg in (True, False):
            said: Counter[str] = Counter()
            for seed in SEEDS:
                for pulsation in PULSATIONS:
                    said += said_of_scene(name, seed, pulsation, ecg=ecg)
            found.append(_row(name, said, "invented infants (simulated)", "the simulator", ecg=ecg))
    return found


def real_rows(shelf: Database) -> list[dict[str, Any]]:
    """Return what is listed in real recordings as they are, and with pauses made in them."""
    found = []
    shelved = (shelf.load(name) for name in shelf.names)
    loaded = [labelled for labelled in shelved if not is_clipped(labelled)]
    for made in (False, True):
        for ecg in (True, False):
            said: Counter[str] = Counter()
            for labelled in loaded:
                for recording in _made(labelled) if made else [labelled.recording]:
                    said += Counter(event.judgement for event in rows_in(recording, REAL, ecg=ecg))
            name = f"{shelf.name}, {'pauses made in rows' if made else 'as it is'} (events)"
            labels = "pauses are made" if made else "none"
            found.append(_row(name, said, shelf.population, labels, ecg=ecg))
    return found


def _made(labelled: Labelled) -> list[Recording]:
    heart_hz = heart_hz_of(labelled)
    return [
        with_pauses(
            labelled, heart_hz, seed=seed, wholly=True, lengths_s=LENGTHS_S, apart_s=APART_S
        ).labelled.recording
        for seed in MADE_SEEDS
    ]


def _row(
    name: str, said: Counter[str], population: str, labels: str, *, ecg: bool
) -> dict[str, Any]:
    return {
        "what_happens": name,
        "ecg": ecg,
        "of": said.total(),
        "said": {each: said[each] for each in SAID},
        "population": population,
        "labels": labels,
        "tuned_on": "no: the rules were chosen on other seeds of the same kinds",
    }


def rows() -> list[dict[str, Any]]:
    """Return all rows."""
    real = [row for name in ("picsdb", "bidmc") for row in real_rows(databases()[name])]
    return simulated_rows() + real


def as_markdown(run: dict[str, Any], rows: list[dict[str, Any]]) -> str:
    """Return the table for people."""
    lines = ["# Rows of pauses", "", __doc__.split("\n\n")[2], ""]
    lines += [HEAD, "|" + " --- |" * (HEAD.count("|") - 1)]
    for row in rows:
        cells = (
            row["what_happens"],
            "lead" if row["ecg"] else "none",
            row["of"],
            *row["said"].values(),
            row["population"],
            row["labels"],
        )
        lines.append("| " + " | ".join(map(str, cells)) + " |")
    seeds = f"Seeds {SEEDS[0]} to {SEEDS[-1]}; made pauses {MADE_SEEDS[0]} to {MADE_SEEDS[-1]}."
    return "\n".join(
        [*lines, "", f"Tuned on: no; other seeds were looked at. {seeds}", run["caution"], ""]
    )


def main(words: list[str] | None = None) -> int:
    """Measure, print and store."""
    return make_result("pause_rows", __doc__, words, rows, as_markdown)


if __name__ == "__main__":
    sys.exit(main())
