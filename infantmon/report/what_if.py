"""What-if: the events that other limits would have given, beside those of the limits in force."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from infantmon.model.event import SUPPORTED, Event
from infantmon.model.prescription import KINDS, Prescription
from infantmon.report.words import named_value_text

Tried = Sequence[tuple[Prescription, Sequence[Event]]]
"""Prescriptions and the events that each gives on the same findings."""


@dataclass(frozen=True)
class WhatIfRow:
    """One prescription: what it changes, and how many events of each kind it gives.

    Attributes
    ----------
    changed : str
        The limits that differ from those in force, in words.
    counts : tuple of (int, int) or None
        For each kind shown: all events and the supported ones; None where it is not watched.
    """

    changed: str
    counts: tuple[tuple[int, int] | None, ...]


@dataclass(frozen=True)
class WhatIf:
    """The table: the kinds shown, and a row for each prescription."""

    kinds: tuple[str, ...]
    rows: tuple[WhatIfRow, ...]


def what_if_of(plan: Prescription, events: Sequence[Event], tried: Tried) -> WhatIf | None:
    """Return the table, the limits in force first; nothing where no other limits were tried."""
    if not tried:
        return None
    plans = [plan, *(other for other, _ in tried)]
    kinds = tuple(kind for kind in KINDS if any(kind not in p.not_watched for p in plans))
    rows = [WhatIfRow("limits in force", _counts(plan, events, kinds))]
    rows += [
        WhatIfRow(changes_text(plan, other), _counts(other, found, kinds)) for other, found in tried
    ]
    return WhatIf(kinds, tuple(rows))


def _counts(
    plan: Prescription, events: Sequence[Event], kinds: Sequence[str]
) -> tuple[tuple[int, int] | None, ...]:
    counts: list[tuple[int, int] | None] = []
    for kind in kinds:
        found = [event for event in events if event.kind == kind]
        supported = sum(event.judgement == SUPPORTED for event in found)
        counts.append(None if kind in plan.not_watched else (len(found), supported))
    return tuple(counts)


def changes_text(plan: Prescription, other: Prescription) -> str:
    """Say in words which limits of another prescription differ.

    Examples
    --------
    >>> plan = Prescription(apnea={"limit_s": 20}, no_heart_beat={"limit_s": 4})
    >>> changes_text(plan, Prescription(apnea={"limit_s": 15}))
    'apnea: limit 15 s; no heart beat: not watched'
    """
    before, after = _limits(plan), _limits(other)
    parts = []
    for table in dict.fromkeys([*after, *before]):
        if before.get(table) == after.get(table):
            continue
        if table not in after:
            parts.append(f"{table.replace('_', ' ')}: not watched")
            continue
        old = before.get(table, {})
        said = [named_value_text(n, v) for n, v in after[table].items() if old.get(n) != v]
        parts.append(f"{table.replace('_', ' ')}: {', '.join(said)}")
    return "; ".join(parts) or "the same limits"


def _limits(plan: Prescription) -> dict[str, dict[str, float]]:
    left_out = {"infant", "prescriber"}
    tables = plan.model_dump(exclude_none=True, exclude=left_out)
    return {name: dict(values) for name, values in tables.items()}
