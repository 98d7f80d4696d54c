"""Samples of one channel that have arrived but wait for the other channels."""

from __future__ import annotations

import math
from typing import ClassVar

import numpy as np

from infantmon.model.arrays import NO_FLOATS, Floats
from infantmon.model.carried import Carried
from infantmon.model.clock import Clock


class Inbox(Carried):
    """Samples of one channel that have arrived but wait for the other channels."""

    carried: ClassVar[tuple[str, ...]] = ("arrived", "_taken", "_runs")

    def __init__(self, clock: Clock) -> None:
        self.clock = clock
        self.arrived = 0  # samples that have arrived, missing ones included
        self._taken = 0
        self._runs: list[tuple[int, Floats]] = []  # length and samples; no samples: missing

    @property
    def reached_s(self) -> float:
        """Time of the last sample that has arrived; minus infinity before the first."""
        return self.clock.time_s(self.arrived - 1) if self.arrived else -math.inf

    @property
    def ended_s(self) -> float:
        """Time at which the last sample that has arrived ends."""
        return self.clock.time_s(self.arrived)

    def put(self, values: Floats) -> None:
        """Take up samples, copied: the caller may go on using the array."""
        if len(values):
            self._runs.append((len(values), values.copy()))
            self.arrived += len(values)

    def put_missing_until(self, time_s: float) -> None:
        """Take up a hole: nothing was recorded before a time (to the nearest sample)."""
        self.put_missing(self.clock.first_tick_from(time_s - 0.5 / self.clock.rate_hz))

    def put_missing(self, end_tick: int) -> None:
        """Take up a hole up to, not with, a tick."""
        if end_tick > self.arrived:
            self._runs.append((end_tick - self.arrived, NO_FLOATS))
            self.arrived = end_tick

    def take_until(self, time_s: float) -> list[tuple[Floats, bool]]:
        """Hand out the runs of samples up to a time, and whether each is a hole."""
        if time_s == -math.inf:
            return []
        until = math.floor((time_s - self.clock.start_s) * self.clock.rate_hz + 1e-6) + 1
        wanted = min(until, self.arrived)
        taken: list[tuple[Floats, bool]] = []
        while self._taken < wanted:
            length, values = self._runs[0]
            count = min(length, wanted - self._taken)
            if len(values):
                taken.append((values[:count], False))
                rest: tuple[int, Floats] = (length - count, values[count:])
            else:
                taken.append((np.full(count, math.nan), True))
                rest = (length - count, values)
            self._taken += count
            self._runs[:1] = [rest] if rest[0] else []
        return _merged(taken)


def _merged(runs: list[tuple[Floats, bool]]) -> list[tuple[Floats, bool]]:
    """Join neighbouring runs of one sort: what was left over from a push goes with the next."""
    if len(runs) < 2:
        return runs
    joined: list[tuple[list[Floats], bool]] = []
    for values, missing in runs:
        if joined and joined[-1][1] == missing:
            joined[-1][0].append(values)
        else:
            joined.append(([values], missing))
    return [(np.concatenate(parts), missing) for parts, missing in joined]
