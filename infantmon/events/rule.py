"""What the rules of all physiological conditions share: timers on known time, and unusable signals.

A rule reads findings of one channel (beats or breaths) and that channel's contact marks, and gives
the steps of one alarm condition. Most findings change nothing; `interesting` picks, vectorised,
those that can, and only these are looped over. What happens because *nothing* was found (a pause, a
stopped heart) happens at the time it is about plus the constant latency of the stage: then it is
certain.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from infantmon.events.batch import Batch
from infantmon.events.condition import Condition, Transition
from infantmon.events.shared import Shared
from infantmon.model.arrays import Floats, Ints
from infantmon.model.carried import Carried, record
from infantmon.model.event import PENDING
from infantmon.model.findings import Findings
from infantmon.model.spans import Reason
from infantmon.model.usability import BlockingMark, Usability, blocking_marks, pieces

_EDGE, _HOLD_OFF, _NOTHING = range(3)
"""What may be due, in the order in which it happens at one instant: the edge of an unusable stretch
is taken, a hold-off runs out, something happens because nothing was found."""
_AT_REST = int(Reason.FLAT | Reason.NO_JUMP)  # the reasons of such a stretch, all of them
FEW = 4
"""Of so few findings all are looked at, rather than picked from."""


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

    @property
    def begun_s(self) -> float:
        """Onset of what is under way, active or not, in seconds; infinity if nothing is."""
        return self.condition.onset_s if self.condition.begun else math.inf

    def share(self, shared: Shared) -> None:
        """Prepare for findings that other rules of the same kind read too, with other limits."""

    @abstractmethod
    def push(self, batch: Batch) -> list[Transition]:
        """Return the transitions that follow from a batch, in the order of known time."""


@record
@dataclass(frozen=True, slots=True)
class Edge:
    """Where an unusable stretch begins or ends, waiting for all findings before it.

    `time_s` is the edge; `due_s` is when every finding before it is sure to have been given;
    `since_s` is where its stretch began; `missing` tells a hole of the recording, `flat` one of
    equal samples that began without a jump, and nothing else.
    """

    time_s: float
    due_s: float
    since_s: float
    opens: bool
    missing: bool
    flat: bool


class ClockedRule(Rule):
    """A rule with a clock that runs from the last beat or breath of one channel.

    The edges of unusable stretches are taken in the order of their own time, between the findings,
    once no earlier finding can come: either a later finding has come, or the latency has passed.

    Parameters
    ----------
    role : str
        The channel whose contact marks stop the clock.
    lag_s : float
        Latency of the findings, in seconds.
    """

    role: ClassVar[str]
    passes_at_limit: ClassVar[bool] = True
    """Whether exactly the length counts as reached (it does for pauses, not for rates)."""
    carried: ClassVar[tuple[str, ...]] = (
        "condition",
        "usability",
        "last_s",
        "clock_s",
        "_seen",
        "_stopped",
        "_edges",
        "_edge_known_s",
    )

    def __init__(
        self, condition: Condition, limits: Mapping[str, float | int | str], lag_s: float
    ) -> None:
        super().__init__(condition, limits)
        self.lag_s = lag_s
        self.usability = Usability()
        self.last_s = 0.0  # last finding that counts; at first the first sample
        self.clock_s = 0.0  # where the clock runs from: that, or the end of a stretch after it
        self._seen = False  # whether any finding has counted
        self._stopped = False  # inside an unusable stretch
        self._edges: list[Edge] = []  # told, but not taken yet
        self._edge_known_s = -math.inf  # when the latest edge was taken

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

    def stretch_opens(self, edge: Edge, known_s: float) -> list[Transition]:
        """Apply the start of an unusable stretch.

        A pending excursion is given up: what follows cannot be known. An active one stays active,
        except across a hole of the recording.
        """
        if edge.missing:
            return self.condition.end(edge.time_s, known_s, "recording interrupted")
        if self.condition.state == PENDING:
            return self.condition.end(edge.time_s, known_s, "signal became unusable")
        return []

    def stretch_closes(self, edge: Edge, known_s: float) -> list[Transition]:
        """Apply the end of an unusable stretch: nothing is carried over a hole of the recording."""
        if edge.missing:
            return self.condition.end(edge.since_s, known_s, "recording interrupted")
        return []

    # The common course -----------------------------------------------------------------------

    def reaches_s(self, length_s: float) -> float:
        """Return when the clock reaches a length, nothing being found; infinity while it stands."""
        return math.inf if self._stopped else self.clock_s + length_s

    def push(self, batch: Batch) -> list[Transition]:
        """Return the transitions that follow from a batch, in the order of known time."""
        found: list[Transition] = []
        findings = self.findings(batch)
        for first, after, mark in pieces(
            findings.known_s, blocking_marks(batch.contact.get(self.role))
        ):
            if after > first:
                found += self._take_piece(findings.rows(first, after))
            if mark is not None:
                found += self._run_timers(mark.known_s, inclusive=False)
                self._take_mark(mark)
        found += self._run_timers(batch.reached_s, inclusive=True, last=batch.last)
        return found

    def _take_piece(self, piece: Findings) -> list[Transition]:
        found: list[Transition] = []
        counts = self.usability.counts(piece.time_s)
        counting = piece if counts.all() else piece.where(counts)
        if not len(counting):
            return found
        rows = self.interesting(counting)
        if self._edges:  # the first finding after an edge settles it
            after = np.searchsorted(counting.time_s, [edge.time_s for edge in self._edges])
            rows = np.union1d(rows, after[after < len(counting)])
        for row in rows.tolist():
            if row:  # the rows passed over only moved the clock on
                self._move_on(float(counting.time_s[row - 1]), row - 1)
            time_s, known_s = float(counting.time_s[row]), float(counting.known_s[row])
            found += self._run_timers(known_s, inclusive=False)
            while self._edges and self._edges[0].time_s <= time_s:
                found += self._take_edge(known_s)
            found += self.take(time_s, known_s, row)
            self._move_on(time_s, row)
        return found

    def _move_on(self, time_s: float, row: int) -> None:  # noqa: ARG002 - some rules look at it
        """Let the clock run from a finding, a row of those that count."""
        self.last_s = max(self.last_s, time_s)
        self.clock_s = max(self.clock_s, time_s)
        self._seen = True

    def _take_mark(self, mark: BlockingMark) -> None:
        since_s = mark.since_s
        if mark.opens:
            self.usability.opens(since_s, mark.reason)
        else:
            since_s = min(since_s, self.usability.open_since_s)
            self.usability.closes(mark.time_s, mark.reason)
        time_s = since_s if mark.opens else mark.time_s
        due_s = mark.known_s  # sure at once where a later finding has been taken already
        if not self._seen or self.last_s < time_s:
            due_s = max(due_s, time_s + self.lag_s)
        if self._edges:
            due_s = max(due_s, self._edges[-1].due_s)
        missing, flat = self.usability.last_missing, mark.reason == _AT_REST
        self._edges.append(Edge(time_s, due_s, since_s, mark.opens, missing, flat))

    def _take_edge(self, known_s: float) -> list[Transition]:
        """Take the next edge, after all that nothing being found has brought before it."""
        edge = self._edges.pop(0)
        self._edge_known_s = known_s
        found: list[Transition] = []
        while (at_s := self.next_at_s()) < edge.time_s or (
            self.passes_at_limit and at_s == edge.time_s
        ):
            found += self.nothing_found(at_s, known_s)
        if self.condition.held_until_s <= edge.time_s:
            found += self.condition.wake(known_s)
        self._stopped = edge.opens
        if edge.opens:
            return found + self.stretch_opens(edge, known_s)
        nothing_before = not self._seen and edge.since_s <= self.last_s
        found += self.stretch_closes(edge, known_s)
        self.clock_s = max(self.clock_s, edge.time_s)
        if edge.missing or nothing_before:
            self._begin_anew(edge.time_s)
        return found

    def _begin_anew(self, time_s: float) -> None:
        """Forget what was before a time."""
        self.last_s = max(self.last_s, time_s)

    def _run_timers(
        self, until_s: float, *, inclusive: bool, last: bool = False
    ) -> list[Transition]:
        """Let everything happen that is due in known time before (or at) a time.

        The end of the stream cuts the wait for certainty short: then all that lies before it is
        due, in the order of its own time.
        """
        found: list[Transition] = []
        while True:
            at_s = self.next_at_s()
            edge_s, edge_due_s = math.inf, math.inf
            if self._edges:
                edge_s, edge_due_s = self._edges[0].time_s, self._edges[0].due_s
            sure_s = max(at_s + self.lag_s, self._edge_known_s)
            held_s = self.condition.held_until_s if self.condition.wake_s < math.inf else math.inf
            if last:
                due = ((edge_s, _EDGE), (held_s, _HOLD_OFF), (at_s, _NOTHING))
            else:
                wake_s = self.condition.wake_s
                due = ((edge_due_s, _EDGE), (wake_s, _HOLD_OFF), (sure_s, _NOTHING))
            due_s, which = min(due)
            ripe = due_s <= until_s if inclusive else due_s < until_s
            if not ripe:
                return found
            if last:
                due_s = (edge_due_s, self.condition.wake_s, sure_s)[which]
            known_s = min(due_s, until_s)
            if which == _EDGE:
                found += self._take_edge(known_s)
            elif which == _HOLD_OFF:
                found += self.condition.wake(known_s)
            else:
                found += self.nothing_found(at_s, known_s)


def rows_beside_gaps(time_s: Floats, limit_s: float) -> Ints:
    """Return the rows beside an interval of at least `limit_s`, and the first and last row.

    Of a few findings all: looking at more rows changes nothing, and is sooner done.
    """
    if len(time_s) <= FEW:
        return np.arange(len(time_s), dtype=np.int64)
    long = np.flatnonzero(np.diff(time_s) >= limit_s)
    ends = np.array([0, len(time_s) - 1], dtype=np.int64)
    return np.unique(np.concatenate((ends, long, long + 1)))
