"""Recorded events on the page: what was said of each, what was measured, and its strip."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from infantmon.model.recording import ROLE_WORDS
from infantmon.recorded.event import RecordedEvent
from infantmon.recorded.judging import JudgedList, JudgedRecorded
from infantmon.recorded.measures import Measures
from infantmon.report.recorded_files import main_reason_of
from infantmon.report.reviewed import Reviewed
from infantmon.report.signals import Paper
from infantmon.report.strip import LEFT, RIGHT, Named, Reach, Strip, drawn_strip, reach_of
from infantmon.report.window import window_of
from infantmon.report.words import length_text, number_text, time_text

MOST_BARS = 4
"""Of the events found in a recorded one so many are drawn as bars; all are named beside."""
NOT_TOLD, NOT_GIVEN = "cannot be told", "length not given"


@dataclass(frozen=True)
class RecordedRow:
    """A recorded event in the words of the page.

    Attributes
    ----------
    judged : JudgedRecorded
        The event, its judgement, reasons and measures.
    name : str
        Which one it is.
    when, length : str
        Its span and its length as listed.
    reason : str
        The reason that decided.
    measures : tuple of (str, str)
        What was measured, and the values; empty where it has no place in the recording.
    """

    judged: JudgedRecorded
    name: str
    when: str
    length: str
    reason: str
    measures: tuple[tuple[str, str], ...]

    @property
    def row(self) -> int:
        """Its row in the list."""
        return self.judged.recorded.row


@dataclass(frozen=True)
class _Span:
    """The part of a recorded event that lies in the recording."""

    onset_s: float
    end_s: float


def rows_of(judged: JudgedList) -> tuple[RecordedRow, ...]:
    """Return every recorded event in words, in the order listed."""
    return tuple(
        RecordedRow(
            judged=one,
            name=f"recorded event in row {one.recorded.row}",
            when=when_text(one.recorded),
            length=_length_text(one.recorded),
            reason=main_reason_of(one),
            measures=() if one.measures is None else measure_texts(one.measures),
        )
        for one in judged.judged
    )


def recorded_parts(judged: JudgedList, rows: tuple[RecordedRow, ...]) -> dict[str, Any]:
    """Return what the pages' templates need of recorded events, but for their strips."""
    return {
        "recorded_rows": rows,
        "not_given": NOT_GIVEN,
        "named_excerpts": any(one.recorded.recording for one in judged.judged),
    }


def rows_by_number(judged: JudgedList) -> Mapping[int, tuple[int, ...]]:
    """Return for each event that was found, by its number, the rows of the list that it backs."""
    rows: dict[int, tuple[int, ...]] = {}
    for one in judged.judged:
        for event in one.events:
            rows[event.number] = (*rows.get(event.number, ()), one.recorded.row)
    return rows


def when_text(one: RecordedEvent) -> str:
    """Return from when to when an event was listed, as far as it is given."""
    onset = time_text(one.onset_s) if math.isfinite(one.onset_s) else "no onset given"
    return f"{onset} to {time_text(one.end_s) if math.isfinite(one.end_s) else 'no end given'}"


def _length_text(one: RecordedEvent) -> str:
    return length_text(one.length_s) if math.isfinite(one.length_s) else NOT_GIVEN


def measure_texts(measures: Measures) -> tuple[tuple[str, str], ...]:
    """Return what was measured over a recorded event, in words with units.

    Parameters
    ----------
    measures : Measures
        Of one recorded event.
    """
    pause, free = measures.longest_pause_s, measures.effort_free_s
    low, high = measures.lowest_bpm, measures.highest_bpm
    ratio = measures.pulsation_ratio
    return (
        (
            "longest pause",
            f"mark to mark {_or_not(pause, ' s', 1)}, without effort {_or_not(free, ' s', 1)}",
        ),
        ("averaged heart rate", f"lowest {_or_not(low, '/min')}, highest {_or_not(high, '/min')}"),
        ("heart's pulsation", _or_not(ratio, " of a breath of the 30 s before", 2)),
        ("contact: not usable for", _shares(measures.unusable)),
        ("movement and other disturbance for", _shares(measures.disturbed)),
    )


def _or_not(value: float | None, unit: str, digits: int = 0) -> str:
    return NOT_TOLD if value is None else f"{number_text(value, digits=digits)}{unit}"


def _shares(shares: Mapping[str, float]) -> str:
    told = (f"{ROLE_WORDS.get(role, role)} {100 * share:.0f} %" for role, share in shares.items())
    return ", ".join(told) or NOT_TOLD


def recorded_strip_of(
    reviewed: Reviewed, one: JudgedRecorded, *, column: float = 1.0
) -> Strip | None:
    """Return the strip for a recorded event: its listed span, and what was found in it.

    Parameters
    ----------
    reviewed : Reviewed
        Where the signals and marks are.
    one : JudgedRecorded
        The recorded event.
    column : float
        Width of a column of which only the extremes are drawn, in drawing units.

    Returns
    -------
    Strip or None
        None where the event has no place in the recording.
    """
    listed = one.recorded
    if one.measures is None:
        return None
    end_s = listed.end_s if math.isfinite(listed.end_s) else listed.onset_s
    span = _Span(max(listed.onset_s, 0.0), min(end_s, reviewed.recorded_s))
    moments = [Named(listed.onset_s, "recorded onset", "onset")]
    moments += [Named(listed.end_s, "recorded end", "end")] if math.isfinite(listed.end_s) else []
    words = f"recorded as {listed.kind}, {_length_text(listed)}"
    own = Reach(span.onset_s, span.end_s, words, "own")
    found = [
        reach_of(event, reviewed.recorded_s, "found: event") for event in one.events[:MOST_BARS]
    ]
    window = window_of(span, one.events, reviewed.recorded_s, left=LEFT, right=RIGHT)
    paper = Paper(reviewed, listed.kind, window, column)
    name = f"the recorded event in row {listed.row}"
    return drawn_strip(paper, name, own, moments, [own, *found])


def strips_of_rows(
    reviewed: Reviewed, rows: tuple[RecordedRow, ...], column: float
) -> Iterator[tuple[RecordedRow, Strip | None]]:
    """Return each recorded event with its strip, one by one."""
    return ((row, recorded_strip_of(reviewed, row.judged, column=column)) for row in rows)
