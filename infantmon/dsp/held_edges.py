"""From runs of equal samples to edges: a flat signal, and one at the end of its range.

In comes the table of runs of a push (`HeldTable`); out come the edges that are known with it.
"""

from __future__ import annotations

from typing import ClassVar

from infantmon.dsp.held import HeldTable
from infantmon.dsp.stretches import Edge
from infantmon.model.carried import Carried

_RETURNS = 3
"""Visits to the end of the range that are looked at together."""


class FlatEdges(Carried):
    """A signal is flat once exactly equal samples have lasted `least_ticks`, back to the first.

    Parameters
    ----------
    reason : int
        What to call it.
    least_ticks : int
        From the first equal sample to the one that tells.
    smoothly : int
        What to call it as well where it was not entered sharply.
    """

    carried: ClassVar[tuple[str, ...]] = ("_told",)

    def __init__(self, reason: int, least_ticks: int, *, smoothly: int = 0) -> None:
        self._reason = reason
        self._smoothly = smoothly
        self._least_ticks = least_ticks
        self._told = False  # the present run has been told

    def push(self, table: HeldTable) -> list[Edge]:
        """Return the edges in the order in which they are known."""
        edges: list[Edge] = []
        if not len(table.start):
            return edges
        long = (table.last - table.start >= self._least_ticks).nonzero()[0].tolist()
        told_before, self._told = self._told, False
        for row in long:
            start, end = int(table.start[row]), int(table.end[row])
            if not (row == 0 and told_before):
                known = table.reached(start + self._least_ticks)
                reason = self._reason | (0 if table.sharp[row] else self._smoothly)
                edges.append(Edge(known, ends=False, reason=reason, tick=start))
            if end >= 0:
                reason = self._reason | self._smoothly
                edges.append(Edge(end, ends=True, reason=reason, tick=end))
            else:
                self._told = True
        return edges


class RailEdges(Carried):
    """A signal is saturated where it is held at the end of its range, or is hardly ever elsewhere.

    Held: one visit to the rail of `held_ticks`. Hardly elsewhere: at the end of a visit the last
    three lie within `within_ticks`, and the signal was at the rail for `share` of that time. This
    goes on until a visit ends with a smaller share, or `settle_ticks` after the last visit.

    Parameters
    ----------
    reason : int
        What to call it.
    run_ticks : int
        Equal samples that make a visit.
    held_ticks, within_ticks, settle_ticks, share
        See above.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_on", "_returning", "_visits", "_counted", "_staying", "_left",
    )  # fmt: skip

    def __init__(
        self,
        reason: int,
        *,
        run_ticks: int,
        held_ticks: int,
        within_ticks: int,
        settle_ticks: int,
        share: float,
    ) -> None:
        self._reason = reason
        self._run_ticks = run_ticks
        self._held_ticks = held_ticks
        self._within_ticks = within_ticks
        self._settle_ticks = settle_ticks
        self._share = share
        self._on = False
        self._returning = False  # on because of returns, not of one long hold
        self._visits: list[tuple[int, int]] = []  # start and end of the latest visits
        self._counted = False  # the present run is a visit
        self._staying = False  # at the rail now
        self._left = 0  # tick at which it left the rail

    def push(self, table: HeldTable, reached: int) -> list[Edge]:
        """Return the edges that are known up to the tick `reached`."""
        edges: list[Edge] = []
        if len(table.start):
            at_rail = table.at_rail & (table.last - table.start >= self._run_ticks - 1)
            counted_before, self._counted = self._counted, False
            for row in at_rail.nonzero()[0].tolist():
                self._visit(table, row, edges, counted=row == 0 and counted_before)
        self._settle(reached, edges)
        return edges

    def _visit(self, table: HeldTable, row: int, edges: list[Edge], *, counted: bool) -> None:
        """Take one visit to the rail, from the sample that makes it one to its end."""
        start, last, end = int(table.start[row]), int(table.last[row]), int(table.end[row])
        if not counted:
            self._settle(table.reached(start + self._run_ticks - 1) - 1, edges)
        self._staying = True
        if not self._on and last - start >= self._held_ticks:
            self._begin(table.reached(start + self._held_ticks), start, edges)
        if end < 0:
            self._counted = True
        else:
            self._leave(start, end, edges)

    def _leave(self, start: int, end: int, edges: list[Edge]) -> None:
        """Note the end of a visit, and whether the signal was hardly ever elsewhere."""
        self._staying, self._left = False, end
        self._visits = [*self._visits[1 - _RETURNS :], (start, end)]
        since = self._visits[0][0]
        at_rail = sum(last - first for first, last in self._visits)
        close = len(self._visits) == _RETURNS and end - since <= self._within_ticks
        self._returning = close and at_rail >= self._share * (end - since)
        if self._returning:
            self._begin(end, since, edges)
        elif self._on:
            self._end(end, edges)

    def _begin(self, known: int, since: int, edges: list[Edge]) -> None:
        if not self._on:
            self._on = True
            edges.append(Edge(known, ends=False, reason=self._reason, tick=since))

    def _settle(self, reached: int, edges: list[Edge]) -> None:
        """End a stretch of returns once none has come for long enough."""
        over = self._left + self._settle_ticks
        if self._returning and not self._staying and over <= reached:
            self._end(over, edges)

    def _end(self, tick: int, edges: list[Edge]) -> None:
        self._on = self._returning = False
        edges.append(Edge(tick, ends=True, reason=self._reason, tick=tick))
