"""A clock that reaches its limit: what "apnea" and "no heart beat" have in common."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from typing import ClassVar

from infantmon.events.condition import Condition, Transition
from infantmon.events.rule import ClockedRule, Edge, rows_beside_gaps
from infantmon.model.arrays import Ints
from infantmon.model.event import ACTIVE
from infantmon.model.findings import Findings


class PauseRule(ClockedRule):
    """An event when the time since the last finding reaches a limit (at least, inclusive).

    Parameters
    ----------
    limit_s : float
        The limit, in seconds.
    carries_over : bool
        Whether a pause that reaches the limit only by counting an unusable stretch is listed, as
        not assessable.
    """

    carried: ClassVar[tuple[str, ...]] = (*ClockedRule.carried, "_assessed")

    def __init__(
        self,
        limit_s: float,
        limits: Mapping[str, float | int | str],
        lag_s: float,
        *,
        carries_over: bool,
    ) -> None:
        super().__init__(Condition(0.0, lag_s), limits, lag_s)
        self._limit_s = limit_s
        self._carries_over = carries_over
        self._assessed = True

    def interesting(self, findings: Findings) -> Ints:
        """Return the rows beside long gaps, and the first and last."""
        # a hair below the limit, so that rounding never hides a gap from the exact comparison
        return rows_beside_gaps(findings.time_s, self._limit_s * (1.0 - 1e-9))

    def take(self, time_s: float, known_s: float, row: int) -> list[Transition]:  # noqa: ARG002
        """Take a beat or breath: it ends the pause, which may have reached the limit."""
        found: list[Transition] = []
        while (at_s := self.next_at_s()) <= time_s:
            found += self.nothing_found(at_s, known_s)
        return found + self._stamped(self.condition.end(time_s, known_s, "ended by itself"))

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
        return min(self.reaches_s(self._limit_s), self._carried_at_s())

    def nothing_found(self, at_s: float, known_s: float) -> list[Transition]:
        """Go active, or note that an active pause has now been assessed in full."""
        plain = at_s >= self.reaches_s(self._limit_s)
        if self.condition.begun:
            self._assessed = True
            cause = "limit reached after the unusable stretch too"
            return [Transition(known_s, ACTIVE, cause, self.condition.onset_s)]
        self._assessed = plain
        if plain:
            return self.condition.begin(self.clock_s, known_s, "limit reached")
        cause = "limit reached counting unusable time"
        return self._stamped(self.condition.begin(self.last_s, known_s, cause))

    def _stamped(self, steps: list[Transition]) -> list[Transition]:
        return [dataclasses.replace(step, assessable=self._assessed) for step in steps]

    def _carried_at_s(self) -> float:
        """Return when pause before + stretch + pause after reach the limit."""
        if not self._carries_over or self.clock_s <= self.last_s:
            return math.inf
        return max(self.last_s + self._limit_s, self.reaches_s(0.0))
