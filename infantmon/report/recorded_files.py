"""Judged recorded events as text, JSON and CSV."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import math
from typing import Any

from infantmon.recorded.decisions import Decisions
from infantmon.recorded.judging import JudgedList, JudgedRecorded
from infantmon.report.cautions import NOTICE, SHORT_NOTICE
from infantmon.report.export import finite
from infantmon.report.plain_table import plain_table
from infantmon.report.words import first_on_side

HEADS = ("row", "excerpt", "recorded as", "onset s", "end s", "judgement", "main reason")
MEASURES = ("longest_pause_s", "effort_free_s", "lowest_bpm", "highest_bpm", "pulsation_ratio")


def main_reason_of(one: JudgedRecorded) -> str:
    """Return the reason that decided the judgement of a recorded event."""
    return first_on_side(one.reasons, one.judgement) or ""


def recorded_text(judged: JudgedList, width: int) -> str:
    """Return the count, the table and what is wrong with the list, as text.

    Parameters
    ----------
    judged : JudgedList
        Recorded events, judged.
    width : int
        Characters a line.
    """
    rows = [
        [
            str(one.recorded.row),
            one.recorded.recording or "-",
            one.recorded.kind,
            _seconds(one.recorded.onset_s),
            _seconds(one.recorded.end_s),
            one.judgement,
            main_reason_of(one),
        ]
        for one in judged.judged
    ]
    lines = [judged.sentence, plain_table(HEADS, rows, width)] if rows else [judged.sentence]
    lines += [f"found beside them: {len(judged.beside)}"]
    lines += [f"known-input test periods, not counted: {len(judged.tests)}"] if judged.tests else []
    return "\n".join([*lines, *(f"list: {fault}" for fault in judged.faults)])


def _seconds(value: float) -> str:
    """Return a time as listed, or a dash where the list gives none."""
    return f"{value:.1f}" if math.isfinite(value) else "-"


def recorded_json(judged: JudgedList, decisions: Decisions) -> dict[str, Any]:
    """Return judged recorded events and readers' decisions as plain data.

    Parameters
    ----------
    judged : JudgedList
        Recorded events, judged.
    decisions : Decisions
        What readers decided.
    """
    plain: dict[str, Any] = finite(
        {
            "notice": NOTICE,
            "count": judged.sentence,
            "counts": judged.counts,
            "recorded": [
                {
                    **dataclasses.asdict(one.recorded),
                    "judgement": one.judgement,
                    "reasons": [dataclasses.asdict(reason) for reason in one.reasons],
                    "measures": dataclasses.asdict(one.measures) if one.measures else None,
                    "events": [event.number for event in one.events],
                    "decisions": [dataclasses.asdict(d) for d in decisions.of(one.recorded)],
                }
                for one in judged.judged
            ],
            "beside": [
                {"number": e.number, "kind": e.kind, "onset_s": e.onset_s, "end_s": e.end_s}
                for e in judged.beside
            ],
            "tests": [dataclasses.asdict(test) for test in judged.tests],
            "faults": list(judged.faults),
        }
    )
    return plain


def recorded_json_text(judged: JudgedList, decisions: Decisions) -> str:
    """Return the same as JSON text, strict: what is not finite is null."""
    plain = recorded_json(judged, decisions)
    return json.dumps(plain, allow_nan=False, ensure_ascii=False, indent=1) + "\n"


def recorded_csv(judged: JudgedList) -> str:
    """Return judged recorded events as CSV; `notice` is the last column."""
    lines = io.StringIO()
    table = csv.writer(lines, lineterminator="\n")
    table.writerow([*HEADS[:6], *MEASURES, "unusable", "disturbed", "main reason", "notice"])
    for one in judged.judged:
        row = one.recorded
        m = one.measures
        told = [None if m is None else getattr(m, name) for name in MEASURES]
        shares = [None, None] if m is None else [json.dumps(m.unusable), json.dumps(m.disturbed)]
        times = [finite(row.onset_s), finite(row.end_s)]  # not given: an empty cell
        cells = [row.row, row.recording, row.kind, *times, one.judgement]
        table.writerow([*cells, *told, *shares, main_reason_of(one), SHORT_NOTICE])
    return lines.getvalue()
