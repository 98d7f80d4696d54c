"""Recorded events judged against known truth: two invented weeks, over many seeds.

    python -m benchmarks.recorded --out benchmarks/results/recorded.json

Each seed is one invented infant with 60 recorded events in the published mix (see
`infantmon.simulate.downloads`). Seed 1 was looked at while building; 101 to 120 were not.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import infantmon as im
from benchmarks.results import run_facts, share_of, write_result
from infantmon.recorded.event import recorded_events
from infantmon.recorded.judging import JUDGEMENTS, NOT_FOUND
from infantmon.simulate.downloads import ARTEFACT, MISDETECTED, REAL, two_weeks
from infantmon.simulate.night import simulate_night

BUILT_ON, UNSEEN = (1,), tuple(range(101, 121))
PLAN = im.Prescription(
    apnea={"limit_s": 20},
    low_heart_rate={"limit_bpm": 80, "hold_off_s": 5, "average_beats": 8},
    contact_loss={"delay_s": 5},
)


@dataclass(frozen=True)
class Row:
    """One recorded event: what is true of it and what was said."""

    seed: int
    name: str
    truth: str
    cause: str
    kind: str
    clear: bool
    judgement: str
    reason: str


def rows_of(seed: int) -> list[Row]:
    """Return all recorded events of one seed, judged."""
    rows = []
    for number, one in enumerate(two_weeks(seed)):
        night = simulate_night(one.scenario, seed * 1000 + number)
        listed = recorded_events([(one.onset_s, one.end_s, one.kind, "", False)])
        judged = im.review(night.recording, PLAN, recorded=listed).recorded
        (told,) = judged.judged if judged is not None else ()
        against = [str(r) for r in told.reasons if r.side not in ("for", "beside")]
        reason = "; ".join(against or [str(told.reasons[0])])
        rows.append(
            Row(seed, one.name, one.truth, one.cause, one.kind, one.clear, told.judgement, reason)
        )
    return rows


def figures_of(rows: Iterable[Row]) -> dict[str, Any]:
    """Return the figures that have a bar, the table, and shares by kind."""
    rows = list(rows)
    real = [row for row in rows if row.truth == REAL]
    clear = [row for row in real if row.clear]
    artefact = [row for row in rows if row.truth == ARTEFACT]
    by_kind = {}
    for truth in (REAL, MISDETECTED, ARTEFACT):
        for kind in sorted({row.kind for row in rows}):
            some = [row for row in rows if (row.truth, row.kind) == (truth, kind)]
            by_kind[f"{truth}, {kind}"] = {
                j: share_of(sum(row.judgement == j for row in some), len(some)) for j in JUDGEMENTS
            }
    return {
        "real_not_found": sum(row.judgement == NOT_FOUND for row in real),
        "real": len(real),
        "clear_real_supported": share_of(
            sum(row.judgement == "supported" for row in clear), len(clear)
        ),
        "artefact_not_supported": share_of(
            sum(row.judgement != "supported" for row in artefact), len(artefact)
        ),
        "by_kind": by_kind,
        "by_cause": {
            cause: dict(Counter(row.judgement for row in rows if row.cause == cause))
            for cause in sorted({row.cause for row in rows})
        },
    }


def holds(figures: dict[str, Any]) -> dict[str, bool]:
    """Tell which bars are reached."""
    clear, artefact = figures["clear_real_supported"], figures["artefact_not_supported"]
    return {
        "no real event not found": figures["real_not_found"] == 0,
        "95 % of clear real events supported": clear["count"] >= 0.95 * clear["of"],
        "85 % of artefacts not supported": artefact["count"] >= 0.85 * artefact["of"],
    }


def as_markdown(result: dict[str, Any]) -> str:
    """Return the tables for people."""
    lines = ["# Recorded events (two invented weeks a seed)", ""]
    lines += ["Population: invented infants. Labels: known from the simulation.", ""]
    for name, figures in result["figures"].items():
        lines += [f"## {name}", ""]
        lines += [
            f"- {bar}: {'reached' if ok else 'NOT reached'}" for bar, ok in holds(figures).items()
        ]
        lines += ["", "| truth, recorded as | " + " | ".join(JUDGEMENTS) + " |"]
        lines += ["|" + " --- |" * (1 + len(JUDGEMENTS))]
        for label, shares in figures["by_kind"].items():
            lines.append(f"| {label} | " + " | ".join(_told(shares[j]) for j in JUDGEMENTS) + " |")
        lines.append("")
    return "\n".join([*lines, result["run"]["caution"], ""])


def _told(share: dict[str, Any]) -> str:
    if not share["interval_95"]:
        return "-"
    low, high = share["interval_95"]
    return f"{share['count']} of {share['of']} ({100 * low:.0f} to {100 * high:.0f} %)"


def main(words: list[str] | None = None) -> int:
    """Run it; return 0 if every bar is reached."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, help="JSON file to write, with Markdown beside it")
    parser.add_argument("--seeds", type=int, nargs="*", default=UNSEEN)
    told = parser.parse_args(words)
    built = [row for seed in BUILT_ON for row in rows_of(seed)]
    unseen = [row for seed in told.seeds for row in rows_of(seed)]
    figures = {"seed looked at while building: 1": figures_of(built)}
    if unseen:
        seeds = ", ".join(map(str, told.seeds))
        figures[f"seeds not looked at: {seeds}"] = figures_of(unseen)
    missed = [vars(r) for r in built + unseen if (r.truth == REAL) != (r.judgement == "supported")]
    result = {"run": run_facts(), "figures": figures, "not_as_true": missed}
    markdown = as_markdown(result)
    print(markdown)
    if told.out is not None:
        write_result(told.out, result, markdown)
    return 0 if all(all(holds(one).values()) for one in figures.values()) else 1


if __name__ == "__main__":
    sys.exit(main())
