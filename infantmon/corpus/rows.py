"""What one recording gave, as columns of the tables of the dataset."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

from infantmon.corpus.dataset import DONE, FAILED, TABLES
from infantmon.corpus.pieces import Found
from infantmon.corpus.task import Settings, Task
from infantmon.model.event import DOUBTFUL, NOT_ASSESSABLE, SUPPORTED
from infantmon.model.findings import Findings
from infantmon.model.prescription import KINDS
from infantmon.model.recording import Recording
from infantmon.model.spans import BLOCKING, Reason, Spans
from infantmon.report.cautions import SHORT_NOTICE
from infantmon.report.event_files import event_columns
from infantmon.report.identity import recording_without_identity
from infantmon.report.what_if import changes_text
from infantmon.reviewing import sweep_whole
from infantmon.version import library_version
from infantmon.what_if import Swept

Columns = Mapping[str, Any]


def tables_of(
    task: Task, settings: Settings, recording: Recording, found: Found, sha256: str
) -> dict[str, Columns]:
    """Return the tables of one recording.

    Parameters
    ----------
    task : Task
        What was asked.
    settings : Settings
        Its own.
    recording : Recording
        What was reviewed.
    found : Found
        All that was found in it.
    sha256 : str
        Hash of its files.
    """
    whole = found.whole
    if whole is None:
        raise ValueError("nothing was found yet")
    swept = sweep_whole(whole, found.chain, (settings.plan, *settings.what_if))
    spans = {role: marks.spans(recording.end_s) for role, marks in whole.contact.items()}
    events = event_columns(swept[0][1])
    tables: dict[str, Columns] = {
        "events": with_key(task, len(events["kind"]), events),
        "quality": _quality(task, spans),
        "what_if": _what_if(task, swept),
        "timing": timing_row(
            task, found.processor_s, found.wall_s, found.peak_mib, pieces=found.pieces
        ),
        "runs": _run(task, recording, spans, sha256),
    }
    if settings.beats:
        tables["beats"] = _marks(task, "beats", whole.r_peaks)
    if settings.breaths:
        tables["breaths"] = _marks(task, "breaths", whole.breaths)
    return tables


def with_key(task: Task, count: int, columns: Columns) -> Columns:
    """Return columns with the key of the recording before them.

    Parameters
    ----------
    task : Task
        What was asked.
    count : int
        Rows.
    columns : mapping
        The others.
    """
    return {"recording": [task.key] * count, **columns}


def _marks(task: Task, table: str, marks: Findings) -> Columns:
    columns = {name: getattr(marks, name) for name in list(TABLES[table])[1:]}
    return with_key(task, len(marks), columns)


def _in_columns(task: Task, table: str, rows: Sequence[tuple[Any, ...]]) -> Columns:
    """Return rows, their cells in the order of a table's columns after the key, as columns."""
    names = list(TABLES[table])[1:]
    return with_key(task, len(rows), {n: [row[k] for row in rows] for k, n in enumerate(names)})


def _quality(task: Task, spans: Mapping[str, Spans]) -> Columns:
    rows = [
        (role, start_s, end_s, Reason(why).words, bool(Reason(why) & BLOCKING))
        for role, some in spans.items()
        for start_s, end_s, why in zip(
            some.start_s.tolist(), some.end_s.tolist(), some.reason.tolist(), strict=True
        )
    ]
    return _in_columns(task, "quality", rows)


def _what_if(task: Task, swept: Swept) -> Columns:
    rows = []
    for place, (plan, events) in enumerate(swept):
        limits = changes_text(swept[0][0], plan) if place else "the limits in force"
        for kind in (kind for kind in KINDS if kind not in plan.not_watched):
            judged = [event.judgement for event in events if event.kind == kind]
            counts = [judged.count(word) for word in (SUPPORTED, DOUBTFUL, NOT_ASSESSABLE)]
            rows.append((place, limits, kind, len(judged), *counts))
    return _in_columns(task, "what_if", rows)


def _run(task: Task, recording: Recording, spans: Mapping[str, Spans], sha256: str) -> Columns:
    def usable_s(role: str) -> float:
        if role not in spans:
            return math.nan
        return max(recording.end_s - spans[role].blocking.total_s, 0.0)

    usable = {f"{role}_usable_s": usable_s(role) for role in ("ecg", "impedance")}
    return done_run(task, recording, sha256, **usable)


def done_run(task: Task, recording: Recording, sha256: str, **more: float) -> Columns:
    """Return the row of `runs` for a recording that is done.

    Parameters
    ----------
    task : Task
        What was asked.
    recording : Recording
        What was looked at.
    sha256 : str
        Hash of its files.
    **more : float
        Further columns that are known.
    """
    notes = json.dumps(recording_without_identity(recording).notes, ensure_ascii=False)
    return _provenance(
        task,
        status=DONE,
        recorded_s=recording.end_s,
        notes=notes,
        input_sha256=sha256,
        **more,
    )


def timing_row(
    task: Task, processor_s: float, wall_s: float, peak_mib: float, *, pieces: int = 1
) -> Columns:
    """Return the row of `timing`: what a recording took, in s and MiB.

    Parameters
    ----------
    task : Task
        What was asked.
    processor_s, wall_s : float
        Time that it took, in seconds.
    peak_mib : float
        Most memory of its worker, in MiB.
    pieces : int
        In how many pieces.
    """
    row = {
        "processor_s": processor_s,
        "wall_s": wall_s,
        "peak_mib": peak_mib,
        "pieces": pieces,
    }
    return with_key(task, 1, {name: [value] for name, value in row.items()})


def failed_run(task: Task, sha256: str | None, reason: str) -> Columns:
    """Return the row of `runs` for a recording that failed.

    Parameters
    ----------
    task : Task
        What was asked.
    sha256 : str or None
        Hash of its files; None where they could not be read.
    reason : str
        Why, without names.
    """
    return _provenance(task, status=FAILED, reason=reason, input_sha256=sha256)


def _provenance(task: Task, **known: Any) -> Columns:
    """Return the row of `runs`: what is not known is NaN, or null."""
    row = {
        **dict.fromkeys(TABLES["runs"]),
        "reason": "",
        "infant": task.infant,
        "age_weeks": math.nan if task.age_weeks is None else task.age_weeks,
        **dict.fromkeys(("recorded_s", "ecg_usable_s", "impedance_usable_s"), math.nan),
        "not_watched": json.dumps(list(task.settings.not_watched)),
        "notes": "[]",
        "input_stamp": task.stamp,
        "settings_sha256": task.settings.sha256,
        "version": library_version(),
        "notice": SHORT_NOTICE,
        **known,
    }
    del row["recording"]
    return with_key(task, 1, {name: [value] for name, value in row.items()})
