"""challenge2015 excerpts as a folder of recorded events: the confusion table of the scoring suite.

    python -m benchmarks.recorded_alarms --out benchmarks/results/recorded_alarms.json

Each excerpt is one recorded event: its last 16 s, listed under the kind of its alarm. The table is
made from the judged list and from `benchmarks.alarms`, and the two are compared, count by count.
A recorded event without an event of its kind is "no event" there, and "not found" or, where the
signal could not be used, "not assessable" in the list.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import infantmon as im
from benchmarks.alarms import ENDS_S, Judged, judge_all, table_of
from benchmarks.results import run_facts, write_result
from infantmon.labelled.database import Database
from infantmon.labelled.known import database
from infantmon.recorded.event import RecordedEvents, recorded_events
from infantmon.recorded.excerpts import judge_excerpts
from infantmon.recorded.judging import JudgedList
from infantmon.scorecard.alarm_excerpts import (
    KIND_OF,
    LOOKED_AT_S,
    NO_EVENT,
    VERDICTS,
    plan_for,
)


def judged_as_recorded(shelf: Database, names: Iterable[str]) -> list[Judged]:
    """Return what the list of recorded events says of every excerpt, under the fitted limits."""
    loaded = {name: shelf.load(name) for name in names}
    alarms = {name: one.alarm for name, one in loaded.items() if one.alarm is not None}
    listed = recorded_events(
        (ENDS_S - LOOKED_AT_S, ENDS_S, KIND_OF[alarm], name, False)
        for name, (alarm, _) in alarms.items()
    )

    def judge(recording: im.Recording, rows: RecordedEvents) -> JudgedList:
        plan = plan_for(alarms[rows[0].recording][0], "fitted")
        return im.review(recording, plan, recorded=rows, margin_s=0.0).recorded or JudgedList(())

    load = {name: lambda name=name: loaded[name].recording for name in alarms}
    judged, _ = judge_excerpts(load, listed, judge)
    return [
        Judged(
            one.recorded.recording,
            *alarms[one.recorded.recording],
            one.judgement if one.events else NO_EVENT,
            one.events,
        )
        for one in judged.judged
    ]


def excerpt_rows(suite: Iterable[Judged], listed: Iterable[Judged]) -> list[dict[str, Any]]:
    """Return each excerpt with what both ways say of it."""
    as_recorded = {row.name: row.verdict for row in listed}
    return [
        {
            "name": row.name,
            "alarm": row.alarm,
            "true": row.true,
            "scoring_suite": row.verdict,
            "as_recorded": as_recorded.get(row.name),
        }
        for row in suite
    ]


def result_of(shelf: Database, names: Iterable[str]) -> dict[str, Any]:
    """Return all that is stored of a run."""
    names = list(names)
    suite = judge_all(shelf, names)["fitted"]
    listed = judged_as_recorded(shelf, names)
    tables = {"scoring_suite": table_of(suite), "as_recorded": table_of(listed)}
    return {
        "run": run_facts(),
        "database": shelf.name,
        "population": shelf.population,
        "labels": shelf.label_origin,
        "used_while_building": "the fitted limits and the evidence's thresholds",
        "looked_at_s": LOOKED_AT_S,
        "tables": tables,
        "equal": {a: row == tables["as_recorded"][a] for a, row in tables["scoring_suite"].items()},
        "excerpts": excerpt_rows(suite, listed),
    }


def as_markdown(result: Mapping[str, Any]) -> str:
    """Return the tables for people."""
    lines = ["# Alarms as a folder of recorded events (challenge2015 excerpts)", ""]
    lines += [f"Population: {result['population']}. Labels: {result['labels']}."]
    lines += [f"Tuned on these excerpts: {result['used_while_building']}.", ""]
    lines += ["The scoring suite's count, and in brackets that of the judged list.", ""]
    lines += ["| alarm, label | " + " | ".join(VERDICTS) + " | equal |"]
    lines += ["|" + " --- |" * (2 + len(VERDICTS))]
    suite, listed = result["tables"]["scoring_suite"], result["tables"]["as_recorded"]
    for alarm, row in suite.items():
        for label in ("true", "false"):
            other = listed[alarm][label]
            cells = " | ".join(f"{row[label][v]} ({other[v]})" for v in VERDICTS)
            same = "yes" if row[label] == other else "NO"
            lines.append(f"| {alarm.lower()}, {label} | {cells} | {same} |")
    return "\n".join([*lines, "", result["run"]["caution"], ""])


def main(words: list[str] | None = None) -> int:
    """Compare the two tables; return 0 if they are equal."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, help="JSON file to write, with Markdown beside it")
    told = parser.parse_args(words)
    shelf = database("challenge2015")
    result = result_of(shelf, shelf.names)
    markdown = as_markdown(result)
    print(markdown)
    if told.out is not None:
        write_result(told.out, result, markdown)
    return 0 if all(result["equal"].values()) else 1


if __name__ == "__main__":
    sys.exit(main())
