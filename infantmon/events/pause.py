"""A clock that reaches its limit: what "apnea" and "no heart beat" have in common.

In come breaths or beats; out come the steps of an alarm condition. The clock runs from the last
finding, or from the end of an unusable stretch after it. Two more are looked at: one that runs on
through unusable time and doubtful breaths, from the last finding beyond doubt; and for an apnea one
that runs on through a short row of breaths. Whichever reaches the limit first begins the event, but
only what the first clock tells can be assessed.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from typing import ClassVar

import numpy as np

from infantmon.events.condition import Condition, Transition
from infantmon.events.passed_over import QUIET_AFTER_ROW_S, Doubts, PassedOver
from infantmon.events.rule import FEW, ClockedRule, Edge, rows_beside_gaps
from infantmon.model.arrays import Ints
from infantmon.model.event import ACTIVE
from infantmon.model.findings import Findings


class PauseRule(ClockedRule):
    """An event when the time since the last finding reaches a limit (at least, inclusive).

    A pause that reaches it only by counting an unusable stretch, or by not counting doubtful
    findings, is listed, as not assessable.

    Parameters
    ----------
    limit_s : float
        The limit, in seconds.
    """

    carried: ClassVar[tuple[str, ...]] = (
        *ClockedRule.carried,
        "_assessed",
        "_by_doubts",
        "_passed_over",
    )

    def __init__(
        self, limit_s: float, limits: Mapping[str, float | int | str], lag_s: float
    ) -> None:
        super().__init__(Condition(0.0, lag_s), limits, lag_s)
        self._limit_s = limit_s
        self._assessed = True
        self._by_doubts = False  # the present pause went active by leaving doubtful ones out
        self._doubts = Doubts.none(0)  # of the piece in work
        self._passed_over = PassedOver()

    def doubts(self, findings: Findings) -> Doubts:
        """Tell which findings may be none."""
        return Doubts.none(len(findings))

    def interesting(self, findings: Findings) -> Ints:
        """Return the rows beside long gaps and doubtful findings, and the first and last."""
        shortest_s = min(self._limit_s, QUIET_AFTER_ROW_S)
        # a hair below it, so that rounding never hides a gap from the exact comparison
        rows = rows_beside_gaps(findings.time_s, shortest_s * (1.0 - 1e-9))
        self._doubts = self.doubts(findings)
        if len(findings) <= FEW:
            return rows
        doubtful = self._doubts.any_kind
        rows = np.union1d(rows, np.flatnonzero(doubtful | self._doubts.after_silence))
        after = np.minimum(np.flatnonzero(doubtful) + 1, len(findings) - 1)
        return np.union1d(rows, after)

    def take(self, time_s: float, known_s: float, row: int) -> list[Transition]:
        """Take a beat or breath: it ends the pause, which may have reached the limit.

        A doubtful one ends a pause that reached the limit without any doubt, but no other.
        """
        found: list[Transition] = []
        while (at_s := self.next_at_s()) <= time_s:
            found += self.nothing_found(at_s, known_s)
        if self._is_doubtful(row) and not (self.condition.begun and self._assessed):
            return found
        if self.condition.begun:
            self._passed_over.settle(time_s)
        return found + self._stamped(self.condition.end(time_s, known_s, "ended by itself"))

    def _is_doubtful(self, row: int) -> bool:
        return bool(self._doubts.passing[row] or self._doubts.lasting[row])

    def _move_on(self, time_s: float, row: int) -> None:
        if self._seen and time_s <= self.last_s:
            return  # it has been taken
        super()._move_on(time_s, row)
        self._passed_over.take(time_s, self._doubts, row)

    def _begin_anew(self, time_s: float) -> None:
        super()._begin_anew(time_s)
        self._passed_over.begin_anew(time_s)

    def stretch_opens(self, edge: Edge, known_s: float) -> list[Transition]:
        """Apply the start of an unusable stretch."""
        return self._stamped(super().stretch_opens(edge, known_s))

    def stretch_closes(self, edge: Edge, known_s: float) -> list[Transition]:
        """Apply the end of an unusable stretch."""
        return self._stamped(super().stretch_closes(edge, known_s))

    def next_at_s(self) -> float:
        """Return when the limit is reached next, with or without counting unusable time."""
        if self.condition.begun:
            return math.inf if self._assessed else self.reaches_s(self._limit_s)
        return min(self.reaches_s(self._limit_s), self._carried_at_s(), self._past_row_at_s())

    def _carried_at_s(self) -> float:
        """Return when pause before + stretch or doubtful breaths + pause after reach the limit."""
        passed = self._passed_over
        if self.clock_s <= passed.sure_s:
            return math.inf
        return max(passed.reaches_s(self._limit_s), self.reaches_s(0.0))

    def _past_row_at_s(self) -> float:
        """Return when the pause around a short row of breaths reaches the limit."""
        return max(self._passed_over.reaches_past_row_s(self._limit_s), self.reaches_s(0.0))

    def nothing_found(self, at_s: float, known_s: float) -> list[Transition]:
        """Go active, or note that an active pause has now been assessed in full."""
        plain = at_s >= self.reaches_s(self._limit_s)
        if self.condition.begun:
            self._assessed = True
            cause = "limit reached after the unusable stretch too"
            if self._by_doubts:  # beyond doubt it is a pause from the last breath on
                self.condition.onset_s = self.clock_s
                cause = "limit reached counting every breath too"
            return [Transition(known_s, ACTIVE, cause, self.condition.onset_s)]
        self._assessed, self._by_doubts = plain, False
        if plain:
            return self.condition.begin(self.clock_s, known_s, "limit reached")
        passed, past_row = self._passed_over, at_s < self._carried_at_s()
        self._by_doubts = past_row or passed.any_doubts
        onset_s, cause = passed.sure_s, "limit reached counting unusable time"
        if past_row:
            onset_s = passed.before_row_s
            cause = "limit reached not counting a short row of breaths"
        elif self._by_doubts:
            cause = "limit reached not counting doubtful breaths"
        return self._stamped(self.condition.begin(onset_s, known_s, cause))

    def _stamped(self, steps: list[Transition]) -> list[Transition]:
        return [dataclasses.replace(step, assessable=self._assessed) for step in steps]
