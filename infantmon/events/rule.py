"""What the rules of all physiological conditions share: timers on known time, and unusable signals.

A rule reads findings of one channel (beats or breaths) and that channel's contact marks. Most
findings change nothing; `interesting` picks, vectorised, those that can, and only these are looped
over. What happens because *nothing* was found (a pause, a stopped heart) happens at the time it is
about plus the constant latency of the stage: then it is certain.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Mapping
from typing import ClassVar

import numpy as np

from infantmon.events.batch import Batch, Mark, blocking_marks, pieces
from infantmon.events.condition import Condition, Transition
from infantmon.model.arrays import Floats, Ints
from infantmon.model.carried import Carried
from infantmon.model.event import PENDING
from infantmon.model.findings import Findings
from infantmon.model.usability import Usability


class Rule(Carried, ABC):
    """Base of all rules: findings in, transitions of one alarm condition out.

    Attributes
    ----------
    kind : str
        Kind of alarm condition.
    limits : mapping
        The rule in words, its limit with unit, averaging and delay, for every event.
    """

    kind: ClassVar[str]

    def __init__(self, condition: Condition, limits: Mapping[str, float | int | str]) -> None:
        self.condition = condition
        self.limits = dict(limits)

    @abstractmethod
    def push(self, batch: Batch) -> list[Transition]:
        """Return the transitions that follow from a batch, in the order of known time."""


class ClockedRule(Rule):
    """A rule with a clock that runs from the last beat or breath of one channel.

    Parameters
    ----------
    role : str
        The channel whose contact marks stop the clock.
    lag_s : float
        Latency of the findings, in seconds.
    """

    role: ClassVar[str]
    carried: ClassVar[tuple[str, ...]] = (
        "condition",
        "usability",
        "last_s",
        "_cut_s",
        "_cut_due_s",
    )

    def __init__(
        self, condition: Condition, limits: Mapping[str, float | int | str], lag_s: float
    ) -> None:
        super().__init__(condition, limits)
        self.lag_s = lag_s
        self.usability = Usability()
        self.last_s = 0.0  # last finding that counts; at first the first sample
        self._cut_s = math.inf  # start of a stretch that may cut an excursion short
        self._cut_due_s = math.inf

    # What a rule has to say for itself -----------------------------------------------------

    @abstractmethod
    def findings(self, batch: Batch) -> Findings:
        """Return the findings that the rule reads."""

    @abstractmethod
    def interesting(self, findings: Findings) -> Ints:
        """Return the rows (first and last included) that can change anything."""

    @abstractmethod
    def take(self, time_s: float, known_s: float, row: int) -> list[Transition]:
        """Take one finding that counts."""

    @abstractmethod
    def next_at_s(self) -> float:
        """Return the time at which, nothing being found, something happens; or infinity."""

    @abstractmethod
    def nothing_found(self, at_s: float, known_s: float) -> list[Transition]:
        """Let that happen."""

    # The common course -----------------------------------------------------------------------

    def clock_start_s(self, length_s: float) -> float:
        """Return where the clock that reaches a length next, nothing being found, runs from.

        From the last finding; an unusable stretch that came before the length was reached starts
        the clock anew at its end.
        """
        stretch = self.usability
        if stretch.last_end_s > self.last_s and self.last_s + length_s > stretch.last_start_s:
            return stretch.last_end_s
        return self.last_s

    def reaches_s(self, length_s: float) -> float:
        """Return when the clock reaches a length, nothing being found; infinity while it stands."""
        at_s = self.clock_start_s(length_s) + length_s
        return at_s if at_s < self.usability.open_since_s else math.inf

    def push(self, batch: Batch) -> list[Transition]:
        """Return the transitions that follow from a batch, in the order of known time."""
        found: list[Transition] = []
        findings = self.findings(batch)
        for first, after, mark in pieces(findings.known_s, blocking_marks(batch, self.role)):
            if after > first:
                found += self._take_piece(findings.rows(first, after))
            if mark is not None:
                found += self._run_timers(mark.known_s, inclusive=False)
                found += self._take_mark(mark)
        found += self._run_timers(batch.reached_s, inclusive=True, last=batch.last)
        return found

    def _take_piece(self, piece: Findings) -> list[Transition]:
        found: list[Transition] = []
        counting = piece.where(self.usability.counts(piece.time_s))
        if not len(counting):
            return found
        for row in self.interesting(counting):
            if row:  # the rows passed over only moved the clock on
                self.last_s = max(self.last_s, float(counting.time_s[row - 1]))
            time_s, known_s = float(counting.time_s[row]), float(counting.known_s[row])
            found += self._run_timers(known_s, inclusive=False)
            if time_s >= self._cut_s:
                found += self._cut(known_s)
            found += self.take(time_s, known_s, int(row))
            self.last_s = max(self.last_s, time_s)
        return found

    def _take_mark(self, mark: Mark) -> list[Transition]:
        if not mark.opens:
            self.usability.closes(mark.time_s, mark.reason)
            if self.usability.last_missing:
                # nothing is carried over a hole of the recording
                self.last_s = max(self.last_s, mark.time_s)
            return []
        self.usability.opens(mark.since_s, mark.reason)
        self._cut_s = mark.since_s
        self._cut_due_s = max(mark.known_s, mark.since_s + self.lag_s)
        return []

    def _cut(self, known_s: float) -> list[Transition]:
        """Apply an unusable stretch to an excursion under way.

        A pending one is given up: what follows cannot be known. An active one stays active, except
        across a hole of the recording.
        """
        since_s, self._cut_s, self._cut_due_s = self._cut_s, math.inf, math.inf
        if self.usability.last_missing:
            return self.condition.end(since_s, known_s, "recording interrupted")
        if self.condition.state == PENDING:
            return self.condition.end(since_s, known_s, "signal became unusable")
        return []

    def _run_timers(
        self, until_s: float, *, inclusive: bool, last: bool = False
    ) -> list[Transition]:
        """Let everything happen that is due in known time before (or at) a time."""
        found: list[Transition] = []
        while True:
            at_s = self.next_at_s()
            due = ((at_s + self.lag_s, 2), (self.condition.wake_s, 1), (self._cut_due_s, 0))
            due_s, which = min(due)
            if last:  # the end of the stream cuts the wait for certainty short
                ripe = (at_s, self.condition.held_until_s, self._cut_s)[2 - which] <= until_s
            else:
                ripe = due_s <= until_s if inclusive else due_s < until_s
            if not ripe or due_s == math.inf:
                return found
            known_s = min(due_s, until_s)
            if which == 0:
                found += self._cut(known_s)
            elif which == 1:
                found += self.condition.wake(known_s)
            else:
                found += self.nothing_found(at_s, known_s)


def rows_beside_gaps(time_s: Floats, limit_s: float) -> Ints:
    """Return the rows beside an interval of at least `limit_s`, and the first and last row."""
    long = np.flatnonzero(np.diff(time_s) >= limit_s)
    ends = np.array([0, len(time_s) - 1], dtype=np.int64)
    return np.unique(np.concatenate((ends, long, long + 1)))
