"""Runs of exactly equal samples: each run with its place, its length and what led into it.

In come samples; out comes a table of runs that have lasted long enough to matter. Whether a run is
a flat signal, or one at the end of its range, is told elsewhere (`held_edges`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from infantmon.model.arrays import Bools, Floats, Ints
from infantmon.model.carried import Carried

_NO_TICKS: Ints = np.empty(0, dtype=np.int64)
_NO_FLAGS: Bools = np.empty(0, dtype=np.bool_)
_GOES_ON: Ints = np.array([-1], dtype=np.int64)  # in place of the end of the last run
_SHARP_STEPS = 4.0
"""A run is entered sharply by at least this many steps of the signal's resolution. The top of a
smooth wave that is quantised to rest for four samples is entered by less than three."""


@dataclass(frozen=True)
class HeldTable:
    """Runs of equal samples, one row a run; the last one may go on in the next push.

    Attributes
    ----------
    start, last : numpy.ndarray of int64
        Ticks of the first and the latest sample of each run.
    at_rail : numpy.ndarray of bool
        Held at the largest or smallest value seen so far, and entered sharply.
    sharp : numpy.ndarray of bool
        Entered by a step of several times the signal's resolution.
    end : numpy.ndarray of int64
        Tick of the finite sample that ended the run; -1 while it goes on.
    ticks : numpy.ndarray of int64
        Ticks of all finite samples of this push.
    """

    start: Ints
    last: Ints
    end: Ints
    at_rail: Bools
    sharp: Bools
    ticks: Ints

    def reached(self, tick: int) -> int:
        """Return the tick of the first finite sample of this push at or after a tick."""
        return int(self.ticks[np.searchsorted(self.ticks, tick)])


class HeldRuns(Carried):
    """Finds runs of exactly equal samples, looking through gaps of up to `gap_ticks`.

    Samples that are not finite neither go on with a run nor break it, unless more than
    `gap_ticks` of them follow each other.

    Parameters
    ----------
    least_ticks : int
        Runs that last shorter are left out of the tables.
    gap_ticks : int
        The longest gap that does not break a run.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_value", "_start", "_last", "_entry", "_high", "_low", "_finest",
    )  # fmt: skip

    def __init__(self, least_ticks: int, gap_ticks: int) -> None:
        self._least_ticks = least_ticks
        self._gap_ticks = gap_ticks
        self._value = math.nan  # of the latest finite sample
        self._start = 0  # of the present run
        self._last = 0  # tick of the latest finite sample
        self._entry = math.nan  # step by which the present run was entered
        self._high = -math.inf  # the extremes so far
        self._low = math.inf
        self._finest = math.inf  # smallest step between unequal neighbours so far: the resolution

    def push(self, values: Floats, finite: Bools, first_tick: int) -> HeldTable:
        """Return the runs that go on or begin in these samples, and have lasted long enough."""
        ticks = np.arange(first_tick, first_tick + len(values), dtype=np.int64)
        if not finite.all():
            values, ticks = values[finite], ticks[finite]
        if not len(values):
            return HeldTable(_NO_TICKS, _NO_TICKS, _NO_TICKS, _NO_FLAGS, _NO_FLAGS, ticks)
        firsts = self._first_of_runs(values, ticks)
        start, value, entry = self._with_present_run(values, ticks, firsts)
        last = np.concatenate((ticks[firsts - 1], ticks[-1:]))
        if len(firsts) and firsts[0] == 0:
            last[0] = self._last
        if math.isnan(self._value):
            last = last[1:]
        end = np.concatenate((start[1:], _GOES_ON))
        kept = (last - start >= self._least_ticks - 1).nonzero()[0]
        at_rail, sharp = self._at_rail(value, entry, kept)
        self._value, self._last = float(values[-1]), int(ticks[-1])
        self._start, self._entry = int(start[-1]), float(entry[-1])
        return HeldTable(start[kept], last[kept], end[kept], at_rail, sharp, ticks)

    def _first_of_runs(self, values: Floats, ticks: Ints) -> Ints:
        """Return the places at which a new run begins."""
        begins = np.empty(len(values), dtype=np.bool_)
        begins[0] = values[0] != self._value or ticks[0] - self._last - 1 > self._gap_ticks
        np.not_equal(values[1:], values[:-1], out=begins[1:])
        if ticks[-1] - ticks[0] >= len(ticks):  # samples are missing in between
            begins[1:] |= np.diff(ticks) - 1 > self._gap_ticks
        return begins.nonzero()[0].astype(np.int64, copy=False)

    def _with_present_run(
        self, values: Floats, ticks: Ints, firsts: Ints
    ) -> tuple[Ints, Floats, Floats]:
        """Return start, value and entering step of all runs, that of the last push first."""
        before = values[firsts - 1]
        if len(firsts) and firsts[0] == 0:
            before[0] = self._value
        value = values[firsts]
        start, entry = ticks[firsts], np.abs(value - before)
        if math.isnan(self._value):
            return start, value, entry
        return (
            np.concatenate(([self._start], start)),
            np.concatenate(([self._value], value)),
            np.concatenate(([self._entry], entry)),
        )

    def _at_rail(self, value: Floats, entry: Floats, kept: Ints) -> tuple[Bools, Bools]:
        """Tell which kept runs are held at an extreme and were entered sharply, and which sharp."""
        steps = np.where(entry > 0.0, entry, math.inf)
        if not len(kept):  # the usual case by far: only the last values are needed
            self._high = max(self._high, float(value.max()))
            self._low = min(self._low, float(value.min()))
            self._finest = min(self._finest, float(steps.min()))
            return _NO_FLAGS, _NO_FLAGS
        high = np.maximum.accumulate(np.maximum(value, self._high))
        low = np.minimum.accumulate(np.minimum(value, self._low))
        finest = np.minimum.accumulate(np.minimum(steps, self._finest))
        self._high, self._low, self._finest = float(high[-1]), float(low[-1]), float(finest[-1])
        value, entry, high, low = value[kept], entry[kept], high[kept], low[kept]
        extreme = ((value == high) | (value == low)) & (high > low)
        sharp = np.asarray(entry >= _SHARP_STEPS * finest[kept], dtype=np.bool_)
        return extreme & sharp, sharp
