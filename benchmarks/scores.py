"""Our detectors over every annotated database, record by record, and against recorded noise.

    python -m benchmarks.scores [--peers]

What `infantmon score` does, for all databases at hand; with `--peers` other open detectors run on
the same records in the same run. Marks are compared one to one. For mitdb and nstdb the first 5 min
are not scored (EC57), nor is ventricular flutter, in which the reference marks no beats.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from pathlib import Path

from benchmarks.results import PROJECT, run_facts, write_result
from infantmon.errors import InfantmonError
from infantmon.labelled.known import known_names
from infantmon.scorecard.card import Card
from infantmon.scorecard.detectors import (
    ALARM_MARKS,
    BEAT_MARKS,
    BREATH_MARKS,
    OURS,
    OURS_ALONE,
    detector_names,
)
from infantmon.scorecard.noise_stress import NOISES, NoiseStress
from infantmon.scorecard.running import Source, Task, run_task
from infantmon.scorecard.tables import as_data, as_markdown, markdown_rows
from infantmon.scoring.tallies import percent

RATIOS_DB = (24.0, 18.0, 12.0, 6.0, 0.0, -6.0)
NOISE_ABOUT = (
    "Population: adults. Labels: manual. Tuned on: mitdb and nstdb were looked at. Noise of nstdb "
    "in every other 2 min from 5 min on, at a ratio to the QRS complexes of each record."
)
SLOW_PEERS_S = 3.0
"""Processor seconds that other detectors take for a record of mitdb, together, at the most."""


def tasks(*, peers: bool) -> list[Task]:
    """Return what is scored."""
    found = []
    for name in known_names():
        source = Source(name)
        for what in source.scored_for():
            ours = [OURS, OURS_ALONE] if what == BREATH_MARKS else [OURS]
            others = [n for n in detector_names(what) if n not in (OURS, OURS_ALONE)]
            named = ours + (others if peers and what != ALARM_MARKS else [])
            found += [Task(source, what, detector) for detector in named]
    return found


def noise_tasks() -> list[Task]:
    """Return mitdb with each recorded noise at each ratio."""
    return [
        Task(Source("mitdb"), BEAT_MARKS, noise=NoiseStress(kind, ratio))
        for kind in NOISES
        for ratio in RATIOS_DB
    ]


def noise_table(cards: Sequence[Card]) -> list[str]:
    """Return one row a noise and ratio: Se, PPV, and how the detector's doubts fit."""
    rows = []
    for card in cards:
        total, trust = card.gross(), card.trusted
        doubts = ("-", "-")
        if trust is not None:
            right = trust.right_trusted + trust.right_doubted
            wrong = trust.wrong_trusted + trust.wrong_doubted
            doubts = (
                percent(trust.right_doubted / right if right else None, 1),
                percent(trust.wrong_doubted / wrong if wrong else None, 1),
            )
        shares = (percent(total.sensitivity), percent(total.positive_predictivity))
        rows.append((card.noise, *shares, *doubts))
    head = ("noise", "Se %", "PPV %", "right marks doubted %", "wrong marks doubted %")
    return markdown_rows(head, rows)


def main(words: list[str] | None = None) -> int:
    """Score, print and store."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--peers", action="store_true", help="other open detectors too")
    parser.add_argument("--out", type=Path, default=PROJECT / "benchmarks/results/scores.json")
    parser.add_argument("--workers", type=int, default=2)
    told = parser.parse_args(words)
    wanted = tasks(peers=told.peers)
    if told.peers:
        minutes = SLOW_PEERS_S * 26 * 5 / 60.0
        print(f"other detectors are slow: about {minutes:.0f} min of processor time", flush=True)
    begin = time.perf_counter()
    try:
        cards = [_told(run_task(task, workers=told.workers)) for task in wanted]
        noisy = [_told(run_task(task, workers=told.workers)) for task in noise_tasks()]
    except InfantmonError as fault:
        print(fault, file=sys.stderr)
        return 2
    spent = time.perf_counter() - begin
    text = as_markdown(cards).replace("# Scores", "# Detectors on the shared recordings", 1)
    lines = [
        text,
        "## Recorded noise added to mitdb, 150 ms",
        "",
        NOISE_ABOUT,
        "",
        *noise_table(noisy),
        "",
    ]
    data = as_data([*cards, *noisy]) | {"run": run_facts(), "seconds": round(spent, 1)}
    for stored in data["cards"][len(cards) :]:
        del stored["records"]  # 18 times 26 rows that nobody reads; the totals stay
    write_result(told.out, data, "\n".join(lines))
    print(f"{spent:.0f} s")
    return 0


def _told(card: Card) -> Card:
    total = card.gross()
    figures = f"{percent(total.sensitivity)} / {percent(total.positive_predictivity)}"
    print(f"{card.title}: {figures}", flush=True)
    return card


if __name__ == "__main__":
    sys.exit(main())
