"""A clock that reaches its limit: what "apnea" and "no heart beat" have in common."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from typing import ClassVar

import numpy as np

from infantmon.events.condition import Condition, Transition
from infantmon.events.rule import FEW, ClockedRule, Edge, rows_beside_gaps
from infantmon.model.arrays import Bools, Ints
from infantmon.model.event import ACTIVE
from infantmon.model.findings import Findings

DOUBTS_SHARE = 0.6
"""Doubtful breaths in a pause may take up this share of the limit (project's choice)."""
QUIET_AFTER_S = 4.0
"""And nothing may follow them for so long, in seconds (project's choice)."""

ROW_GAP_S, ROW_S = 5.0, 4.0
"""A row of breaths begins after a gap of the first length; if one within the second is doubtful, so
are those of the row before it (project's choice), in seconds."""


class PauseRule(ClockedRule):
    """An event when the time since the last finding reaches a limit (at least, inclusive).

    Parameters
    ----------
    limit_s : float
        The limit, in seconds.
    carries_over : bool
        Whether a pause that reaches the limit only by counting an unusable stretch, or by not
        counting doubtful breaths, is listed, as not assessable.
    """

    carried: ClassVar[tuple[str, ...]] = (
        *ClockedRule.carried,
        "_assessed",
        "_by_doubts",
        "_sure_s",
        "_doubts_from_s",
        "_doubts_to_s",
        "_row_from_s",
        "_sure_before_row_s",
        "_doubts_before_row_s",
        "_latest_s",
    )

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
        self._by_doubts = False  # the present pause went active by leaving doubtful ones out
        self._doubtful: Bools = np.zeros(0, dtype=np.bool_)  # of the piece in work
        self._sure_s = 0.0  # last finding beyond doubt; at first the first sample
        self._doubts_from_s = math.inf  # first and last doubtful finding since then
        self._doubts_to_s = -math.inf
        self._after_gap = self._doubtful
        self._latest_s = -math.inf
        self._row_from_s = 0.0  # first finding since the latest gap; what was so before it
        self._sure_before_row_s = 0.0
        self._doubts_before_row_s = math.inf

    def doubtful(self, findings: Findings) -> Bools:
        """Tell which findings may be none."""
        return np.zeros(len(findings), dtype=np.bool_)

    def interesting(self, findings: Findings) -> Ints:
        """Return the rows beside long gaps and doubtful findings, and the first and last."""
        # a hair below the limit, so that rounding never hides a gap from the exact comparison
        rows = rows_beside_gaps(findings.time_s, self._limit_s * (1.0 - 1e-9))
        self._doubtful = self.doubtful(findings)
        if not self._carries_over:
            return rows
        self._after_gap = np.diff(findings.time_s, prepend=self._latest_s) >= ROW_GAP_S
        self._latest_s = float(findings.time_s[-1])
        if len(findings) <= FEW:
            return rows
        rows = np.union1d(rows, np.flatnonzero(self._after_gap))
        if not self._doubtful.any():
            return rows
        doubts = np.flatnonzero(self._doubtful)
        after = np.minimum(doubts + 1, len(findings) - 1)
        return np.unique(np.concatenate((rows, doubts, after)))

    def take(self, time_s: float, known_s: float, row: int) -> list[Transition]:
        """Take a beat or breath: it ends the pause, which may have reached the limit.

        A doubtful one ends a pause that reached the limit without any doubt, but no other.
        """
        found: list[Transition] = []
        while (at_s := self.next_at_s()) <= time_s:
            found += self.nothing_found(at_s, known_s)
        if self._doubtful[row] and not (self.condition.begun and self._assessed):
            return found
        if self.condition.begun:
            self._sure_s = time_s  # that pause is listed: nothing is counted on from before it
        return found + self._stamped(self.condition.end(time_s, known_s, "ended by itself"))

    def _move_on(self, time_s: float, row: int) -> None:
        if self._seen and time_s <= self.last_s:
            return  # it has been taken
        if self._carries_over and self._after_gap[row]:
            self._row_from_s, self._sure_before_row_s = time_s, self._sure_s
            self._doubts_before_row_s = self._doubts_from_s
        super()._move_on(time_s, row)
        if time_s <= self._sure_s:  # a pause ended here
            self._doubts_from_s = math.inf
            self._sure_before_row_s = self._sure_s
        elif not self._doubtful[row]:
            self._sure_s, self._doubts_from_s = time_s, math.inf
        else:
            self._doubts_from_s = min(self._doubts_from_s, time_s)
            self._doubts_to_s = time_s
            if time_s - self._row_from_s <= ROW_S and self._row_from_s > self._sure_before_row_s:
                self._sure_s = self._sure_before_row_s  # the whole short row is doubtful
                earliest_s = min(self._row_from_s, self._doubts_before_row_s)
                self._doubts_from_s = min(self._doubts_from_s, earliest_s)

    def _begin_anew(self, time_s: float) -> None:
        super()._begin_anew(time_s)
        if time_s > self._sure_before_row_s:
            self._sure_before_row_s, self._doubts_before_row_s = time_s, math.inf
        if time_s > self._sure_s:
            self._sure_s, self._doubts_from_s = time_s, math.inf

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
            if self._by_doubts:  # beyond doubt it is a pause from the last breath on
                self.condition.onset_s = self.clock_s
                cause = "limit reached counting every breath too"
            return [Transition(known_s, ACTIVE, cause, self.condition.onset_s)]
        self._assessed, self._by_doubts = plain, False
        if plain:
            return self.condition.begin(self.clock_s, known_s, "limit reached")
        cause = "limit reached counting unusable time"
        if self._doubts_from_s < math.inf:
            self._by_doubts = True
            cause = "limit reached not counting doubtful breaths"
        return self._stamped(self.condition.begin(self._sure_s, known_s, cause))

    def _stamped(self, steps: list[Transition]) -> list[Transition]:
        return [dataclasses.replace(step, assessable=self._assessed) for step in steps]

    def _carried_at_s(self) -> float:
        """Return when pause before + stretch or doubtful breaths + pause after reach the limit.

        Doubtful breaths are passed over only where they take up no more than 0.6 of the limit and
        nothing has followed them for a while: a movement is no pause, nor is a sigh that ends one.
        """
        if not self._carries_over or self.clock_s <= self._sure_s:
            return math.inf
        at_s = max(self._sure_s + self._limit_s, self.reaches_s(0.0))
        if self._doubts_from_s == math.inf:
            return at_s
        if self._doubts_to_s - self._doubts_from_s > DOUBTS_SHARE * self._limit_s:
            return math.inf
        return max(at_s, self._doubts_to_s + QUIET_AFTER_S)
