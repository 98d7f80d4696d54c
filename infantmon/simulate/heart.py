"""When the invented heart beats: rate, its variability, slowing, racing and standing still.

`time_s` are the times of samples, in seconds, of shape (n,); so is what is returned.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from infantmon.errors import ArgumentError, as_floats, require_between, require_number
from infantmon.model.arrays import Bools, Floats
from infantmon.simulate.noise import Source, generator, knot_count, smooth_curve, smoothstep

GRID_S = 0.05  # the rate is followed at this spacing
BLOCK_S = 3600.0  # and summed up an hour at a time, to bound memory
SLOW_KNOTS_S = 30.0
FAST_KNOTS_S = 4.0
SLOWEST_BPM = 5.0


@dataclass(frozen=True)
class Heart:
    """How the heart beats when nothing happens.

    Parameters
    ----------
    rate_bpm : float
        Mean rate, in beats a minute.
    slow_variability : float
        Standard deviation of the rate's wandering over seconds to minutes, as a share of the rate.
    breathing_coupling : float
        How much faster the heart beats at the height of inspiration than at the end of expiration,
        as a share of the rate.
    jitter : float
        Standard deviation of what is left from beat to beat, as a share of an interval.

    Notes
    -----
    Rates by age: median 143 a minute at 0 to 3 months, 1st to 99th centile 107 to 181 (Fleming et
    al., Lancet 2011;377:1011-1018).
    """

    rate_bpm: float = 142.0
    slow_variability: float = 0.022
    breathing_coupling: float = 0.02
    jitter: float = 0.006

    def __post_init__(self) -> None:
        as_floats(self)
        require_between(self.rate_bpm, SLOWEST_BPM, 320.0, name="rate_bpm", unit="a minute")
        require_between(self.slow_variability, 0, 0.2, name="slow_variability", unit="of the rate")
        require_between(self.breathing_coupling, 0, 0.5, name="breathing_coupling", unit="of rate")
        require_between(self.jitter, 0, 0.1, name="jitter", unit="of an interval")


@dataclass(frozen=True)
class RateChange:
    """The rate goes to another one, stays, and comes back.

    Parameters
    ----------
    start_s : float
        When the change begins, in seconds.
    rate_bpm : float
        The rate it goes to, in beats a minute.
    ramp_s, hold_s, return_s : float
        How long it takes to get there, how long it stays, how long it takes to come back, in
        seconds.
    """

    start_s: float
    rate_bpm: float
    ramp_s: float = 4.0
    hold_s: float = 10.0
    return_s: float = 5.0

    def __post_init__(self) -> None:
        as_floats(self)
        require_number(self.start_s, name="start_s", unit="s")
        require_between(self.rate_bpm, SLOWEST_BPM, 320.0, name="rate_bpm", unit="a minute")
        for name in ("ramp_s", "hold_s", "return_s"):
            require_between(getattr(self, name), 0.0, 1e6, name=name, unit="s")

    @property
    def reached_s(self) -> float:
        """When the new rate is reached, in seconds."""
        return self.start_s + self.ramp_s

    @property
    def left_s(self) -> float:
        """When the rate begins to come back, in seconds."""
        return self.reached_s + self.hold_s

    @property
    def end_s(self) -> float:
        """When the usual rate is back, in seconds."""
        return self.left_s + self.return_s

    def weight(self, time_s: Floats) -> Floats:
        """Return how far the change has gone at each time: 0 not at all, 1 fully."""
        rise = _ramp(time_s - self.start_s, self.ramp_s)
        return rise * (1.0 - _ramp(time_s - self.left_s, self.return_s))


class Bradycardia(RateChange):
    """The heart slows for a while."""


class Tachycardia(RateChange):
    """The heart races for a while."""


@dataclass(frozen=True)
class SlowingInPause:
    """The heart slows while a pause in breathing lasts, and recovers after it.

    Parameters
    ----------
    rate_bpm : float
        The rate it falls to, in beats a minute.
    delay_s : float
        From the pause's onset to the beginning of the fall, in seconds. Published: mean 9.3 s
        (Henderson-Smart et al., Arch Dis Child 1986;61:227-232); to the bradycardia itself, median
        4.8 s, range -4.0 to +14.0 s (Poets et al., Pediatr Res 1993;34:144).
    fall_s, return_s : float
        How long the fall takes, and the recovery after the pause, in seconds (project choice).
    """

    rate_bpm: float = 65.0
    delay_s: float = 9.3
    fall_s: float = 4.0
    return_s: float = 5.0

    def __post_init__(self) -> None:
        as_floats(self)
        require_between(self.rate_bpm, SLOWEST_BPM, 320.0, name="rate_bpm", unit="a minute")
        for name in ("delay_s", "fall_s", "return_s"):
            require_between(getattr(self, name), 0.0, 1e6, name=name, unit="s")

    def change(self, onset_s: float, length_s: float) -> Bradycardia:
        """Return the change of rate that goes with a pause (onset and length in seconds).

        Parameters
        ----------
        onset_s, length_s : float
            Of the pause, in seconds.

        Raises
        ------
        ArgumentError
            If the pause is too short for the heart to fall in it.
        """
        hold = length_s - self.delay_s - self.fall_s
        if hold < 0.0:
            raise ArgumentError(
                f"a pause of {length_s:g} s ends before the heart has slowed "
                f"({self.delay_s:g} s + {self.fall_s:g} s); lengthen it or shorten those."
            )
        return Bradycardia(onset_s + self.delay_s, self.rate_bpm, self.fall_s, hold, self.return_s)


@dataclass(frozen=True)
class Standstill:
    """No beat falls into a stretch of time.

    Parameters
    ----------
    start_s, length_s : float
        The stretch, in seconds. The interval between the beats around it is longer than this.
    """

    start_s: float
    length_s: float

    def __post_init__(self) -> None:
        as_floats(self)
        require_number(self.start_s, name="start_s", unit="s")
        require_between(self.length_s, 0.0, 1e6, name="length_s", unit="s")

    def covers(self, time_s: Floats) -> Bools:
        """Tell which times lie inside."""
        return (time_s >= self.start_s) & (time_s < self.start_s + self.length_s)


@dataclass(frozen=True, eq=False)
class Beats:
    """The beats of a night, with some before its start and after its end.

    Attributes
    ----------
    time_s : numpy.ndarray, shape (n,)
        R peaks, in seconds.
    before_s, after_s : numpy.ndarray, shape (n,)
        The interval to the beat before and to the one after, in seconds.
    """

    time_s: Floats
    before_s: Floats
    after_s: Floats

    def near(self, start_s: float, end_s: float) -> Beats:
        """Return the beats of a stretch (seconds), with one more on each side."""
        first, last = np.searchsorted(self.time_s, [start_s, end_s])
        part = slice(max(int(first) - 1, 0), int(last) + 1)
        return Beats(self.time_s[part], self.before_s[part], self.after_s[part])

    @classmethod
    def at(cls, time_s: Floats, usual_s: float) -> Beats:
        """Return beats at given times; the usual interval stands at both ends."""
        rr = np.diff(time_s)
        ends = [usual_s][: len(time_s)]
        return cls(time_s, np.concatenate([ends, rr]), np.concatenate([rr, ends]))


def place_beats(
    heart: Heart,
    changes: Iterable[RateChange],
    standstills: Iterable[Standstill],
    inspired: Callable[[Floats], Floats],
    span_s: tuple[float, float],
    seed: int,
) -> Beats:
    """Return the beats of a night: a rate is summed up, and each whole turn is a beat.

    Parameters
    ----------
    heart : Heart
        The usual rate and its variability.
    changes, standstills : iterable
        What departs from it.
    inspired : callable
        Tells how far a breath has gone at each time, 0 to about 1 (for the coupling).
    span_s : tuple of float
        First and last time, in seconds.
    seed : int
        Of the night.

    References
    ----------
    Integral pulse frequency modulation as a model of beat times: common practice.
    """
    start, end = span_s
    wander = _Wandering(heart, start, end - start, generator(seed, Source.HEART_RATE))
    listed = tuple(changes)
    most = int((end - start) * 330.0 / 60.0) + 10
    shifts = heart.jitter * generator(seed, Source.BEAT_JITTER).standard_normal(most)
    thresholds = np.arange(1, most + 1) + np.clip(shifts, -0.2, 0.2)
    parts: list[Floats] = []
    turned, given = 0.0, 0
    for first in np.arange(start, end, BLOCK_S):
        count = round((min(first + BLOCK_S, end) - first) / GRID_S)
        grid = first + GRID_S * np.arange(count + 1)
        rate = wander.rate_bpm(grid, listed, inspired) / 60.0
        turns = turned + np.concatenate([[0.0], np.cumsum(0.5 * GRID_S * (rate[1:] + rate[:-1]))])
        until = int(np.searchsorted(thresholds, turns[-1], side="right"))
        parts.append(np.interp(thresholds[given:until], turns, grid))
        turned, given = float(turns[-1]), until
    times = np.sort(np.concatenate(parts)) if parts else np.empty(0)
    for standstill in standstills:
        times = times[~standstill.covers(times)]
    return Beats.at(times, 60.0 / heart.rate_bpm)


class _Wandering:
    """The rate with its slow wandering and the coupling to breathing."""

    def __init__(
        self, heart: Heart, start_s: float, length_s: float, random: np.random.Generator
    ) -> None:
        self.heart = heart
        self.start_s = start_s
        self.slow = random.standard_normal(knot_count(length_s, SLOW_KNOTS_S))
        self.fast = random.standard_normal(knot_count(length_s, FAST_KNOTS_S))

    def rate_bpm(
        self,
        time_s: Floats,
        changes: tuple[RateChange, ...],
        inspired: Callable[[Floats], Floats],
    ) -> Floats:
        slow = smooth_curve(self.slow, SLOW_KNOTS_S, self.start_s - SLOW_KNOTS_S, time_s)
        fast = smooth_curve(self.fast, FAST_KNOTS_S, self.start_s - FAST_KNOTS_S, time_s)
        heart = self.heart
        varied = 1.0 + heart.slow_variability * (0.85 * slow + 0.5 * fast)
        varied += heart.breathing_coupling * (np.clip(inspired(time_s), 0.0, 1.5) - 0.4)
        rate = heart.rate_bpm * varied
        for change in changes:
            near = slice(*np.searchsorted(time_s, [change.start_s, change.end_s]))
            weight = change.weight(time_s[near])
            # a heart driven to another rate varies less
            target = change.rate_bpm * (1.0 + 0.3 * (varied[near] - 1.0))
            rate[near] = (1.0 - weight) * rate[near] + weight * target
        return np.maximum(rate, SLOWEST_BPM)


def _ramp(since_s: Floats, length_s: float) -> Floats:
    if length_s <= 0.0 or math.isinf(length_s):
        return (since_s >= 0.0).astype(np.float64)
    return smoothstep(since_s / length_s)
