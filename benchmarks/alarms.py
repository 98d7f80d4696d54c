"""True and false alarms of adult intensive care: which are kept, which rejected, which not listed.

    python -m benchmarks.alarms --out benchmarks/results/alarms.json

Each excerpt (challenge2015, 90 s) ends at the moment of an alarm that people have judged. It is
reviewed with its ECG leads, and with its respiration where there is one. Looked at are events of
the alarm's kind that reach into the last 16 s. An alarm is kept if one of them is supported or not
assessable, rejected but listed if all are doubtful, and without an event if there is none.

Two sets of limits. "Fitted" was chosen on these excerpts: some end 3.5 s into the pause, and the
labels of the low rates part at about 42 a minute. "Literal" is what the challenge says (from
memory): no beat for 4 s, under 40 over 5 beats, over 140 over 17 beats. No figure of the literal
set gates anything.

Clifford GD et al., Computing in Cardiology 42:273-276, 2015.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import infantmon as im
from benchmarks.results import run_facts, share_of, write_result
from infantmon.labelled.database import Database
from infantmon.labelled.known import database
from infantmon.model.event import DOUBTFUL, NOT_ASSESSABLE, SUPPORTED, Event
from infantmon.scorecard.alarm_excerpts import (
    KEPT,
    KIND_OF,
    LIMITS,
    LOOKED_AT_S,
    NO_EVENT,
    VERDICTS,
    at_the_alarm,
    plan_for,
    verdict_of,
)

ENDS_S = 90.0
HEAD = (
    "| alarm | true kept | 95 % | false rejected | 95 % | true without event | "
    "true kept / false rejected, not assessable as silent |"
)


@dataclass(frozen=True)
class Bar:
    """What the fitted limits have to reach: true alarms kept, false ones rejected, unlisted."""

    kept: int
    rejected: int | None
    unlisted: int


BARS = {"Asystole": Bar(9, 38, 1), "Bradycardia": Bar(18, 18, 1), "Tachycardia": Bar(61, None, 2)}


@dataclass(frozen=True)
class Judged:
    """One excerpt and what was said of its alarm.

    Attributes
    ----------
    name, alarm : str
        The excerpt, and the kind of its alarm.
    true : bool
        Whether people judged it a true one.
    verdict : str
        The best judgement of its events, or "no event".
    events : tuple of Event
        The events looked at.
    """

    name: str
    alarm: str
    true: bool
    verdict: str
    events: tuple[Event, ...] = ()


def judge_all(shelf: Database, names: Iterable[str] | None = None) -> dict[str, list[Judged]]:
    """Return what was said of every excerpt, under each set of limits."""
    judged: dict[str, list[Judged]] = {limits: [] for limits in LIMITS}
    for name in shelf.names if names is None else names:
        labelled = shelf.load(name)
        if labelled.alarm is None:
            continue
        alarm, true = labelled.alarm
        plans = {limits: plan_for(alarm, limits) for limits in LIMITS}
        review = im.review(labelled.recording, plans["fitted"])
        swept = im.sweep(review.findings, plans.values())
        for limits, (_, events) in zip(plans, swept, strict=True):
            near = at_the_alarm(events, KIND_OF[alarm], ENDS_S)
            judged[limits].append(Judged(name, alarm, true, verdict_of(near), near))
    return judged


def table_of(judged: Iterable[Judged]) -> dict[str, Any]:
    """Return for each alarm how many true ones were kept and how many false ones rejected."""
    rows = list(judged)
    table: dict[str, Any] = {}
    for alarm in KIND_OF:
        true = Counter(row.verdict for row in rows if row.alarm == alarm and row.true)
        false = Counter(row.verdict for row in rows if row.alarm == alarm and not row.true)
        kept = sum(true[verdict] for verdict in KEPT)
        rejected = false[DOUBTFUL] + false[NO_EVENT]
        table[alarm] = {
            "true": {verdict: true[verdict] for verdict in VERDICTS},
            "false": {verdict: false[verdict] for verdict in VERDICTS},
            "true_kept": share_of(kept, true.total()),
            "false_rejected": share_of(rejected, false.total()),
            "true_kept_if_not_assessable_were_silent": share_of(true[SUPPORTED], true.total()),
            "false_rejected_if_not_assessable_were_silent": share_of(
                rejected + false[NOT_ASSESSABLE], false.total()
            ),
            "true_without_event": true[NO_EVENT],
        }
    return table


def holds(table: Mapping[str, Any]) -> dict[str, bool]:
    """Tell for each alarm whether its bars are reached."""
    told = {}
    for alarm, bar in BARS.items():
        row = table[alarm]
        enough = row["true_kept"]["count"] >= bar.kept
        few = row["true_without_event"] <= bar.unlisted
        quiet = bar.rejected is None or row["false_rejected"]["count"] >= bar.rejected
        told[alarm] = enough and few and quiet
    return told


def result_of(judged: Mapping[str, list[Judged]], shelf: Database) -> dict[str, Any]:
    """Return all that is stored of a run."""
    tables = {limits: table_of(rows) for limits, rows in judged.items()}
    return {
        "run": run_facts(),
        "database": shelf.name,
        "population": shelf.population,
        "labels": shelf.label_origin,
        "used_while_building": "the fitted limits and the evidence's thresholds",
        "looked_at_s": LOOKED_AT_S,
        "limits": LIMITS,
        "bars": {alarm: vars(bar) for alarm, bar in BARS.items()},
        "holds": holds(tables["fitted"]),
        "tables": tables,
        "excerpts": {
            limits: [
                {
                    "name": row.name,
                    "alarm": row.alarm,
                    "true": row.true,
                    "verdict": row.verdict,
                    "against": [
                        str(reason)
                        for event in row.events
                        for reason in event.reasons
                        if reason.side not in ("for", "beside")
                    ],
                }
                for row in rows
            ]
            for limits, rows in judged.items()
        },
    }


def as_markdown(result: Mapping[str, Any]) -> str:
    """Return the tables for people."""
    lines = ["# True and false alarms (challenge2015 excerpts)", ""]
    lines += [f"Population: {result['population']}. Labels: {result['labels']}."]
    lines += [f"Tuned on these excerpts: {result['used_while_building']}.", ""]
    for limits, table in result["tables"].items():
        gated = "bars apply" if limits == "fitted" else "no bar applies"
        lines += [f"## {limits} limits ({gated})", ""]
        lines += [HEAD, "|" + " --- |" * (HEAD.count("|") - 1)]
        for alarm, row in table.items():
            silent = [
                _of(row[f"{name}_if_not_assessable_were_silent"])
                for name in ("true_kept", "false_rejected")
            ]
            lines.append(
                f"| {alarm.lower()} | {_of(row['true_kept'])} | {_ends(row['true_kept'])} | "
                f"{_of(row['false_rejected'])} | {_ends(row['false_rejected'])} | "
                f"{row['true_without_event']} | {' / '.join(silent)} |"
            )
        lines.append("")
    return "\n".join([*lines, result["run"]["caution"], ""])


def _of(told: Mapping[str, Any]) -> str:
    return f"{told['count']} of {told['of']}"


def _ends(told: Mapping[str, Any]) -> str:
    if told["interval_95"] is None:
        return "-"
    low, high = told["interval_95"]
    return f"{100 * low:.0f} to {100 * high:.0f}"


def main(words: list[str] | None = None) -> int:
    """Run it; return 0 if every bar is reached."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, help="JSON file to write, with Markdown beside it")
    told = parser.parse_args(words)
    shelf = database("challenge2015")
    result = result_of(judge_all(shelf), shelf)
    markdown = as_markdown(result)
    print(markdown)
    for alarm, reached in result["holds"].items():
        print(f"{alarm}: {'reached' if reached else 'NOT reached'}")
    if told.out is not None:
        write_result(told.out, result, markdown)
    return 0 if all(result["holds"].values()) else 1


if __name__ == "__main__":
    sys.exit(main())
