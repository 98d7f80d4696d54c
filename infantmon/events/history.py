"""The latest findings, kept for as long as an open or unsettled event may need them.

In come the batches; out come, when the evidence asks, the findings of a stretch of time as far as
they were known at a given moment. Old ones are dropped, so that memory stays bounded.
"""

from __future__ import annotations

from typing import Any, ClassVar, TypeVar

import numpy as np

from infantmon.events.batch import TABLES, Batch
from infantmon.model.carried import Carried, record
from infantmon.model.findings import Findings
from infantmon.model.marks import ApneaProbabilities, Breaths, Pulsations, RPeaks
from infantmon.model.spans import (
    BLOCKING,
    DISTURBING,
    INTERFERING,
    SHIFTED,
    ContactMarks,
    Reason,
    Spans,
)

KEPT_S = 240.0
"""How far back findings are kept when no event needs more, in seconds."""
LONGEST_KEPT_S = 1800.0
"""No event, however long, keeps findings from further back than this, in seconds."""

_Found = TypeVar("_Found", bound=Findings)

for _kind in (*TABLES.values(), ContactMarks):
    record(_kind)


class History(Carried):
    """Findings of the last minutes, asked by the evidence of an event.

    Every question names the stream time up to which findings may be known, so that the answer does
    not depend on how far the input has run ahead.
    """

    carried: ClassVar[tuple[str, ...]] = ("_found", "_contact")

    def __init__(self) -> None:
        self._found: dict[str, list[Any]] = {name: [] for name in TABLES}  # as in a batch
        self._contact: dict[str, list[ContactMarks]] = {}
        self._spans: dict[tuple[str, Reason, int], Spans] = {}  # answers given before

    def add(self, batch: Batch) -> None:
        """Take up the findings of a batch."""
        for name, parts in self._found.items():
            _append(parts, getattr(batch, name))
        for role, marks in batch.contact.items():
            _append(self._contact.setdefault(role, []), marks)
        self._spans.clear()

    def forget(self, reached_s: float, needed_from_s: float) -> None:
        """Drop what no event needs any more."""
        before_s = max(min(reached_s - KEPT_S, needed_from_s), reached_s - LONGEST_KEPT_S)
        for parts in self._found.values():
            _drop(parts, before_s)
        for marks in self._contact.values():
            _forget_marks(marks, before_s)
        self._spans.clear()

    def beats(self, start_s: float, end_s: float, known_s: float) -> RPeaks:
        """Return the heart beats in [start, end), as far as they are known by then."""
        return self._asked("r_peaks", RPeaks, start_s, end_s, known_s)

    def second_beats(self, start_s: float, end_s: float, known_s: float) -> RPeaks:
        """Return the heart beats of the second lead in [start, end), as far as known by then."""
        return self._asked("second_beats", RPeaks, start_s, end_s, known_s)

    def breaths(self, start_s: float, end_s: float, known_s: float) -> Breaths:
        """Return the breaths in [start, end), as far as they are known by then."""
        return self._asked("breaths", Breaths, start_s, end_s, known_s)

    def pulsation(self, start_s: float, end_s: float, known_s: float) -> Pulsations:
        """Return how much pulsation was taken out in [start, end), as far as known by then."""
        return self._asked("pulsation", Pulsations, start_s, end_s, known_s)

    def apnea_probability(self, start_s: float, end_s: float, known_s: float) -> ApneaProbabilities:
        """Return the telling probabilities in [start, end), as far as they are known by then."""
        return self._asked("apnea_probability", ApneaProbabilities, start_s, end_s, known_s)

    def _asked(
        self, name: str, kind: type[_Found], start_s: float, end_s: float, known_s: float
    ) -> _Found:
        parts: list[_Found] = self._found[name]
        return _within(_joined(parts, kind), start_s, end_s, known_s)

    def spans(self, role: str, known_s: float, group: Reason) -> Spans:
        """Return the stretches of one group of reasons in a channel, as far as known by then."""
        marks = _joined(self._contact.get(role, []), ContactMarks)
        known = int(np.searchsorted(marks.known_s, known_s, side="right"))
        spans = self._spans.get((role, group, known))
        if spans is None:
            marks = marks.rows(0, known).of_group(group)
            spans = marks.spans(known_s)
            if not len(marks) or marks.usable[-1]:  # none is open: the answer stays
                self._spans[role, group, known] = spans
        return spans.where(spans.end_s >= known_s - LONGEST_KEPT_S)


def _append(parts: list[_Found], part: _Found) -> None:
    if len(part):
        parts.append(part)


def _joined(parts: list[_Found], kind: type[_Found]) -> _Found:
    """Join the parts once, in place: questions come seldom, but several at a time."""
    if len(parts) > 1:
        parts[:] = [kind.joined(parts)]
    return parts[0] if parts else kind.empty()


def _within(found: _Found, start_s: float, end_s: float, known_s: float) -> _Found:
    start_s = max(start_s, known_s - LONGEST_KEPT_S)
    first, after = np.searchsorted(found.time_s, (start_s, end_s))
    known = int(np.searchsorted(found.known_s, known_s, side="right"))
    return found.rows(int(first), min(int(after), known))


def _drop(parts: list[_Found], before_s: float) -> None:
    while parts and parts[0].time_s[-1] < before_s:
        del parts[0]
    if parts and len(parts[0]) > 4096 and parts[0].time_s[2048] < before_s:
        first = int(np.searchsorted(parts[0].time_s, before_s))
        parts[0] = parts[0].rows(first, len(parts[0]))


def _forget_marks(parts: list[ContactMarks], before_s: float) -> None:
    """Drop old marks, but never the latest of a group: it may have opened a stretch still open."""
    marks = _joined(parts, ContactMarks)
    keep = marks.time_s >= before_s
    for group in (BLOCKING, DISTURBING, INTERFERING, SHIFTED):
        keep[np.flatnonzero((marks.reason & int(group)) != 0)[-1:]] = True
    parts[:] = [marks.where(keep)]
