"""Periodic breathing: several pauses, each soon after the one before.

In come breaths and the contact marks of the impedance; out come the steps of an alarm condition.
Pauses are collected into a row; the condition begins when the row holds as many as are asked for,
and ends when no further pause comes in time.
"""

from __future__ import annotations

import math
from typing import ClassVar

from infantmon.events.batch import Batch, Latencies
from infantmon.events.condition import Condition, Transition
from infantmon.events.rule import ClockedRule, Edge, rows_beside_gaps
from infantmon.model.arrays import Ints
from infantmon.model.findings import Findings
from infantmon.model.marks import Breaths
from infantmon.model.prescription import PeriodicBreathingLimit


class PeriodicBreathingRule(ClockedRule):
    """At least `count` pauses of at least `pause_s`, each beginning within `gap_s` of the last one.

    A pause is measured from breath mark to breath mark; the gap from the end of one pause to the
    start of the next. It begins with the first pause of the row, goes active when the last pause
    that is needed has reached its length, and is over `gap_s` after the last pause. An unusable
    stretch takes back a row that is not complete; where the row is complete the condition stays
    active, and the gap counts anew from the end of the stretch. Published rules differ in length,
    count and gap (AASM and NIH wording), so all three are parameters.
    """

    kind = "periodic breathing"
    role = "impedance"
    carried: ClassVar[tuple[str, ...]] = (
        *ClockedRule.carried,
        "_starts",
        "_end_s",
        "_gap_from_s",
        "_in_pause",
    )

    def __init__(self, limit: PeriodicBreathingLimit, latencies: Latencies) -> None:
        limits: dict[str, float | int | str] = {
            "rule": "a row of pauses, each soon after the one before",
            "pause_s": limit.pause_s,
            "count": limit.count,
            "gap_s": limit.gap_s,
            "latency_s": latencies.breaths_s,
        }
        super().__init__(Condition(0.0, latencies.breaths_s), limits, latencies.breaths_s)
        self._limit = limit
        self._starts: list[float] = []  # onsets of the pauses in the row, no more than are needed
        self._end_s = -math.inf  # end of the latest pause
        self._gap_from_s = -math.inf  # that, or the end of an unusable stretch after it
        self._in_pause = False

    @property
    def begun_s(self) -> float:
        """Onset of the row under way."""
        return self._starts[0] if self._starts else math.inf

    def findings(self, batch: Batch) -> Breaths:
        """Return the breaths."""
        return batch.breaths

    def interesting(self, findings: Findings) -> Ints:
        """Return the breaths beside pauses, and the first and last."""
        return rows_beside_gaps(findings.time_s, self._limit.pause_s * (1.0 - 1e-9))

    def take(self, time_s: float, known_s: float, row: int) -> list[Transition]:  # noqa: ARG002
        """Take a breath: a pause that it ends belongs to the row."""
        found: list[Transition] = []
        at_s = self.reaches_s(self._limit.pause_s)
        if not self._in_pause and at_s <= time_s:
            found += self.nothing_found(at_s, known_s)
        if self._in_pause:
            self._pause_over(time_s)
        return found

    def stretch_opens(self, edge: Edge, known_s: float) -> list[Transition]:
        """Close the pause under way, and drop a row that is not complete."""
        if self._in_pause:
            self._pause_over(edge.time_s)
        if edge.missing or not self.condition.begun:
            self._starts.clear()
        return super().stretch_opens(edge, known_s)

    def stretch_closes(self, edge: Edge, known_s: float) -> list[Transition]:
        """Let the gap after a complete row count anew."""
        if edge.missing:
            self._starts.clear()
        self._gap_from_s = edge.time_s
        return super().stretch_closes(edge, known_s)

    def _pause_over(self, end_s: float) -> None:
        self._in_pause = False
        self._end_s = self._gap_from_s = end_s

    def next_at_s(self) -> float:
        """Return when the next pause reaches its length, or the row ends for want of one."""
        pause_at_s = math.inf if self._in_pause else self.reaches_s(self._limit.pause_s)
        over_at_s = math.inf
        if self._starts and not self._in_pause and not self._stopped:
            # a pause may still begin until then, and is known as one a pause length later
            over_at_s = self._gap_from_s + self._limit.gap_s + self._limit.pause_s
        return min(pause_at_s, over_at_s)

    def nothing_found(self, at_s: float, known_s: float) -> list[Transition]:
        """Add a pause to the row, or end the row."""
        if self._in_pause or at_s != self.reaches_s(self._limit.pause_s):
            return self._end_row(known_s)
        start_s = self.clock_s
        found: list[Transition] = []
        if self._starts and start_s - self._gap_from_s > self._limit.gap_s:
            found += self._end_row(known_s)
        self._in_pause = True
        self._starts.append(start_s)
        if len(self._starts) >= self._limit.count and not self.condition.begun:
            found += self.condition.begin(self._starts[0], known_s, "row of pauses complete")
        del self._starts[self._limit.count :]
        return found

    def _end_row(self, known_s: float) -> list[Transition]:
        self._starts.clear()
        return self.condition.end(self._end_s, known_s, "no further pause")
