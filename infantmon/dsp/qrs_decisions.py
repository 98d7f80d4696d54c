"""Which candidates are heart beats: levels that follow the signal, and a loop over candidates."""

from __future__ import annotations

from bisect import bisect_left, insort
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from infantmon.dsp.qrs_candidates import Candidates
from infantmon.model.arrays import Bools, Ints
from infantmon.model.carried import Carried, record

MEMORY = 8  # values behind each level
_COLD = 3  # beats until the levels are trusted


@record
@dataclass(frozen=True)
class DecisionRules:
    """What a candidate must show to be a beat; heights relative to levels, times in seconds.

    Attributes
    ----------
    rise, rise_busy : float
        A beat stands above noise level + (rise + rise_busy * in-between candidates) * (beat level -
        noise level).
    refractory, refractory_low_s, refractory_high_s : float
        No second beat within this part of the usual interval, and its bounds.
    foot, foot_below : float
        A candidate is the foot of a beat if one `foot` times as large follows at once, unless it
        reaches `foot_below` of the beat level itself.
    small, small_gap, small_depth, small_over_noise, small_rank : float
        A small wide beat: height over beat level, time since the last beat over the usual
        interval, depth, height over noise level, height over the largest in sight.
    local_floor, local_rank, local_likeness : float
        A beat after a change of gain: height over the level of clean beats, over the largest in
        sight, and likeness of shape.
    cold_rank, cold_depth, cold_likeness : float
        A beat before any level is known.
    clean_likeness : float
        A beat whose height counts for the level of clean beats.
    forget_s : float
        Without a beat for so long, the levels are learned anew.
    """

    rise: float = 0.33
    rise_busy: float = 0.03
    refractory: float = 0.3
    refractory_low_s: float = 0.14
    refractory_high_s: float = 0.24
    foot: float = 1.8
    foot_below: float = 0.6
    small: float = 0.16
    small_gap: float = 0.55
    small_depth: float = 0.8
    small_over_noise: float = 2.5
    small_rank: float = 0.9
    local_floor: float = 0.2
    local_rank: float = 0.5
    local_likeness: float = 0.9
    cold_rank: float = 0.6
    cold_depth: float = 0.6
    cold_likeness: float = 0.88
    plain_depth: float = 0.85
    plain_likeness: float = 0.7
    clean_likeness: float = 0.85
    clean_irregular: float = 0.25
    forget_s: float = 20.0


class Level(Carried):
    """The median of the latest values."""

    carried: ClassVar[tuple[str, ...]] = ("_latest", "_sorted", "median")

    def __init__(self) -> None:
        self.median = 0.0
        self._latest: list[float] = []
        self._sorted: list[float] = []

    def __len__(self) -> int:
        return len(self._latest)

    def clear(self) -> None:
        """Forget all values."""
        self._latest = []
        self._sorted = []
        self.median = 0.0

    def push(self, value: float) -> None:
        """Take up a value; the oldest goes when `MEMORY` are held."""
        latest, ordered = self._latest, self._sorted
        if len(latest) == MEMORY:
            del ordered[bisect_left(ordered, latest.pop(0))]
        latest.append(value)
        insort(ordered, value)
        count = len(ordered)
        self.median = 0.5 * (ordered[(count - 1) // 2] + ordered[count // 2])


class BeatDecider(Carried):
    """Goes through candidates in order and tells which are beats.

    Parameters
    ----------
    rate_hz : float
        Ticks of the candidates' places a second.
    rules : DecisionRules
        What a beat must show.
    """

    carried: ClassVar[tuple[str, ...]] = ("_beat", "_noise", "_clean", "_interval", "_last")

    def __init__(self, rate_hz: float, rules: DecisionRules | None = None) -> None:
        self._rate_hz = rate_hz
        self._rules = rules or DecisionRules()
        self._beat = Level()
        self._noise = Level()
        self._clean = Level()
        self._interval = Level()
        self._last: int | None = None  # place of the last beat

    def push(self, found: Candidates) -> tuple[Ints, Bools]:
        """Return the indices of the candidates that are beats, and which look like their kind."""
        rules, rate = self._rules, self._rate_hz
        likeness = np.maximum(found.likeness, found.likeness_ahead)
        rows = zip(
            found.place.tolist(),
            found.height.tolist(),
            found.largest.tolist(),
            found.between.tolist(),
            found.equal.tolist(),
            found.depth.tolist(),
            likeness.tolist(),
            self._feet(found).tolist(),
            strict=True,
        )
        beats: list[int] = []
        for index, (place, height, largest, between, equal, depth, like, foot) in enumerate(rows):
            gap = place - self._last if self._last is not None else 2**40
            if gap < self._refractory():
                continue
            if foot and height < rules.foot_below * self._beat.median:
                self._noise.push(height)
                continue
            if gap > rules.forget_s * rate and len(self._beat):
                self._forget()
            if len(self._beat) < _COLD:
                taken = height >= rules.cold_rank * largest and self._plain(
                    between, equal, depth, like
                )
            else:
                taken = (
                    self._stands_out(height, between)
                    or self._small_and_wide(height, gap, depth, between, largest)
                    or self._fits_locally(height, between, largest, like)
                )
            if taken:
                beats.append(index)
                clean = like > rules.clean_likeness and between <= 1 and self._regular(gap)
                self._take(place, height, clean=clean)
            else:
                self._noise.push(height)
        taken_at = np.asarray(beats, dtype=np.int64)
        return taken_at, likeness[taken_at] > rules.clean_likeness

    def _feet(self, found: Candidates) -> Bools:
        """Tell which candidates are followed at once by a much larger one."""
        near = found.next_place - found.place < self._rules.refractory_high_s * self._rate_hz
        return np.asarray(near & (found.next_height > self._rules.foot * found.height))

    def _refractory(self) -> float:
        rules, rate = self._rules, self._rate_hz
        usual = self._interval.median if len(self._interval) else 0.5 * rate
        low, high = rules.refractory_low_s * rate, rules.refractory_high_s * rate
        return min(max(rules.refractory * usual, low), high)

    def _plain(self, between: int, equal: int, depth: float, like: float) -> bool:
        """Tell whether a candidate is a beat by its surroundings alone."""
        rules = self._rules
        if depth <= rules.cold_depth:
            return False
        if between == 0 and depth > rules.plain_depth and like > rules.plain_likeness:
            return True
        alone = equal == 1 and (between == 0 or (between == 1 and depth > rules.plain_depth))
        return alone or like > rules.cold_likeness

    def _stands_out(self, height: float, between: int) -> bool:
        beat, noise = self._beat.median, self._noise.median
        rise = self._rules.rise + self._rules.rise_busy * between
        return height > (noise + rise * (beat - noise) if noise < beat else beat)

    def _small_and_wide(
        self, height: float, gap: int, depth: float, between: int, largest: float
    ) -> bool:
        rules = self._rules
        return (
            height > rules.small * self._beat.median
            and gap > rules.small_gap * self._interval.median
            and depth > rules.small_depth
            and between <= 1
            and height > rules.small_over_noise * self._noise.median
            and height >= rules.small_rank * largest
        )

    def _fits_locally(self, height: float, between: int, largest: float, like: float) -> bool:
        rules = self._rules
        return (
            like > rules.local_likeness
            and height >= rules.local_rank * largest
            and height > rules.local_floor * self._clean.median
            and between <= 2
        )

    def _regular(self, gap: int) -> bool:
        usual = self._interval.median
        return abs(gap - usual) <= self._rules.clean_irregular * usual

    def _take(self, place: int, height: float, *, clean: bool) -> None:
        if self._last is not None:
            self._interval.push(place - self._last)
        self._last = place
        self._beat.push(height)
        if clean:
            self._clean.push(height)

    def _forget(self) -> None:
        self._beat.clear()
        self._clean.clear()
        self._interval.clear()
