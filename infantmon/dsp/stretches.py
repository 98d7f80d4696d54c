"""Stretches joined from what several detectors say begins and ends, on a stream of ticks.

In come edges, each of one reason that begins or ends; out come marks: a stretch is established, or
over. Reasons that overlap, or follow each other at once, make one stretch.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar, NamedTuple

import numpy as np

from infantmon.model.arrays import Bools
from infantmon.model.carried import Carried


class Edge(NamedTuple):
    """One reason begins or ends. Edges sort by when they are known, beginnings first."""

    known: int
    """Tick of the sample that tells it."""
    ends: bool
    reason: int
    tick: int
    """First tick of the stretch, or first tick after it."""


class StretchMark(NamedTuple):
    """A stretch is established, or over (all in ticks)."""

    known: int
    tick: int
    since: int
    reason: int
    over: bool
    bridged: bool


class FlagEdges(Carried):
    """Edges of one reason that is told sample by sample, at once."""

    carried: ClassVar[tuple[str, ...]] = ("_before",)

    def __init__(self, reason: int) -> None:
        self._reason = reason
        self._before = False

    def push(self, flags: Bools, first_tick: int) -> list[Edge]:
        """Return the edges within a run of flags that starts at `first_tick`."""
        if not len(flags) or not (self._before or flags.any()):
            return []
        changed = np.flatnonzero(np.diff(flags, prepend=np.bool_(self._before)))
        self._before = bool(flags[-1])
        ticks = (changed + first_tick).tolist()
        ends = (~flags[changed]).tolist()
        return [Edge(t, e, self._reason, t) for t, e in zip(ticks, ends, strict=True)]


class LongRunEdges(Carried):
    """Edges of a reason that begins once something told push by push has lasted for some ticks."""

    carried: ClassVar[tuple[str, ...]] = ("_lasted", "_told")

    def __init__(self, reason: int, least_ticks: int) -> None:
        self._reason = reason
        self._least_ticks = least_ticks
        self._lasted = 0
        self._told = False

    def push(self, count: int, first_tick: int, *, holds: bool) -> list[Edge]:
        """Return the edges within ticks from `first_tick` on, in all of which it holds or not."""
        if not holds:
            ended, self._lasted, self._told = self._told, 0, False
            return [Edge(first_tick, True, self._reason, first_tick)] if ended else []
        begins_at = first_tick + self._least_ticks - self._lasted
        self._lasted += count
        if self._told or begins_at >= first_tick + count:
            return []
        self._told = True
        return [Edge(begins_at, False, self._reason, begins_at)]


class Stretches(Carried):
    """Joins edges into stretches, and marks each as it is established and as it is over.

    A stretch lasts while any reason holds; one that begins again less than `joined_ticks` after its
    end goes on, with its reasons added up. It is established as soon as it has lasted longer than
    `bridged_ticks`; one that never does is `bridged`.

    Parameters
    ----------
    bridged_ticks : int
        The longest stretch that is bridged, in ticks.
    joined_ticks : int
        The shortest interval that parts two stretches, in ticks.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_since", "_reason", "_holds", "_end", "_ended_at", "_inside", "_opened",
    )  # fmt: skip

    def __init__(self, bridged_ticks: int, joined_ticks: int) -> None:
        self._bridged_ticks = bridged_ticks
        self._joined_ticks = joined_ticks
        self._since = 0
        self._reason = 0  # all reasons of this stretch
        self._holds = 0  # reasons that hold now
        self._end = 0  # first tick after the latest reason
        self._ended_at = 0  # when that was known
        self._inside = False  # from the beginning until the end is sure
        self._opened = False

    def push(self, edges: Sequence[Edge], reached: int, *, last: bool) -> list[StretchMark]:
        """Return the marks that are known once the tick `reached` is in.

        All edges known up to that tick must be given, in order. On the last push a stretch whose
        end has been seen is marked as over, and so is one that was too short to be established: it
        is bridged, but it must not vanish.
        """
        marks: list[StretchMark] = []
        for edge in edges:
            self._go_on(edge.known - 1, marks)
            if edge.ends:
                self._drop(edge)
            else:
                self._take(edge, marks)
        self._go_on(reached, marks)
        if last and self._inside:
            self._finish(reached, marks)
        return marks

    def _finish(self, reached: int, marks: list[StretchMark]) -> None:
        """End what the stream ends in, but for a stretch that is established: that stays open."""
        if self._holds and not self._opened:
            self._holds, self._end = 0, reached + 1
            self._close(reached + 1, marks)
        elif not self._holds and self._end <= reached:
            self._close(reached, marks)

    def _take(self, edge: Edge, marks: list[StretchMark]) -> None:
        """Begin a stretch, or go on with the present one for another reason."""
        if not self._inside:
            self._inside, self._opened = True, False
            self._since, self._reason = edge.tick, 0
        self._since = min(self._since, edge.tick)
        self._reason |= edge.reason
        self._holds |= edge.reason
        if not self._opened and edge.known - self._since >= self._bridged_ticks:
            self._open(edge.known, marks)

    def _drop(self, edge: Edge) -> None:
        """Let go of one reason."""
        self._holds &= ~edge.reason
        self._end, self._ended_at = max(self._end, edge.tick), edge.known

    def _go_on(self, until: int, marks: list[StretchMark]) -> None:
        """Emit what becomes known by tick `until` if no edge comes."""
        if self._holds and not self._opened:
            established = self._since + self._bridged_ticks
            if established <= until:
                self._open(established, marks)
        elif self._inside and not self._holds:
            sure = max(self._end + self._joined_ticks - 1, self._ended_at)
            if sure <= until:
                self._close(sure, marks)

    def _open(self, known: int, marks: list[StretchMark]) -> None:
        self._opened = True
        marks.append(
            StretchMark(known, known, self._since, self._reason, over=False, bridged=False)
        )

    def _close(self, known: int, marks: list[StretchMark]) -> None:
        marks.append(
            StretchMark(
                known, self._end, self._since, self._reason, over=True, bridged=not self._opened
            )
        )
        self._inside = False
        self._end = 0
