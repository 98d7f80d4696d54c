"""When and how deep the invented infant breathes, and where it pauses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from infantmon.errors import as_floats, require_between
from infantmon.model.arrays import Floats
from infantmon.simulate.noise import Source, generator
from infantmon.simulate.obstruction import Obstruction
from infantmon.simulate.pauses import BreathingRate, Pause, ShallowBreathing, Sigh

Resizing = ShallowBreathing | Sigh | Obstruction

LONGEST_CYCLE = 1.25  # a breath takes at most this many mean cycles; what is left is a rest
LONGEST_PERIOD = 2.2  # no period is longer than this many mean cycles unless a pause is asked for
DRAWS = 20  # how often breaths are drawn anew if scaling made one too long


@dataclass(frozen=True)
class Breathing:
    """How the infant breathes when nothing happens.

    Parameters
    ----------
    rate_per_min : float
        Median rate, in breaths a minute.
    period_variability : float
        Standard deviation of the logarithm of the time from breath to breath; most of its variance
        is shared with the neighbouring breaths.
    size_ohm : float
        Median size of a breath: the rise of the impedance in an inspiration, in ohm.
    size_variability : float
        Standard deviation of the logarithm of the size, shared likewise.
    inspired_share : float
        Share of a breath's cycle that is inspiration.

    Notes
    -----
    Rates by age: median 43 a minute at 0 to 3 months, 1st to 99th centile 25 to 66 (Fleming et al.,
    Lancet 2011;377:1011-1018). Log-normal periods with memory: Indic et al., IEEE Trans Biomed Eng
    2013. Change by breathing about 0.1 to 3 ohm: from memory.
    """

    rate_per_min: float = 45.0
    period_variability: float = 0.2
    size_ohm: float = 1.0
    size_variability: float = 0.24
    inspired_share: float = 0.4

    def __post_init__(self) -> None:
        as_floats(self)
        require_between(self.rate_per_min, 5.0, 180.0, name="rate_per_min", unit="a minute")
        require_between(self.size_ohm, 0.0, 100.0, name="size_ohm", unit="ohm")
        require_between(self.inspired_share, 0.1, 0.9, name="inspired_share", unit="of a cycle")
        for name in ("period_variability", "size_variability"):
            require_between(getattr(self, name), 0.0, 1.0, name=name, unit="(log)")

    @property
    def cycle_s(self) -> float:
        """The median time from breath to breath, in seconds."""
        return 60.0 / self.rate_per_min


@dataclass(frozen=True, eq=False)
class BreathTrain:
    """The breaths of a night; no two overlap, so each peak is exactly where it is marked.

    Attributes
    ----------
    start_s, peak_s, end_s : numpy.ndarray, shape (n,)
        Begin of inspiration, inspiratory peak, end of expiration, in seconds.
    size_ohm : numpy.ndarray, shape (n,)
        The rise in inspiration, in ohm.
    usual_ohm : float
        The median size.
    """

    start_s: Floats
    peak_s: Floats
    end_s: Floats
    size_ohm: Floats
    usual_ohm: float

    def effort_ohm(self, time_s: Floats) -> Floats:
        """Return the impedance change by breathing alone, in ohm: 0 at rest, a peak each breath."""
        which = np.clip(np.searchsorted(self.start_s, time_s, side="right") - 1, 0, None)
        start, peak, end = self.start_s[which], self.peak_s[which], self.end_s[which]
        rise = np.clip((time_s - start) / (peak - start), 0.0, 1.0)
        fall = np.clip((time_s - peak) / (end - peak), 0.0, 1.0)
        # expiration is steep first and tails off, as in the preterm recordings
        angle = np.where(time_s < peak, 1.0 - rise, 1.0 - (1.0 - fall) ** 1.4)
        return np.asarray(self.size_ohm[which] * 0.5 * (1.0 + np.cos(np.pi * angle)))

    def rest_after(self, peak_s: float) -> tuple[float, float]:
        """Return the effort-free stretch (seconds) after the breath with a given peak."""
        which = int(np.searchsorted(self.peak_s, peak_s - 1e-6))
        return float(self.end_s[which]), float(self.start_s[which + 1])

    def inspired(self, time_s: Floats) -> Floats:
        """Return the effort as a share of the usual breath."""
        return self.effort_ohm(time_s) / self.usual_ohm if self.usual_ohm else 0.0 * time_s


def place_breaths(
    breathing: Breathing,
    pauses: Sequence[Pause],
    resized: Sequence[Resizing],
    span_s: tuple[float, float],
    seed: int,
    rates: Sequence[BreathingRate] = (),
) -> BreathTrain:
    """Return the breaths of a night, with every pause exactly as long as it was asked for.

    Parameters
    ----------
    breathing : Breathing
        The usual breathing.
    pauses : sequence of Pause
        In order of time, not overlapping.
    resized : sequence
        Shallow breathing, sighs, obstructed efforts.
    span_s : tuple of float
        First and last time, in seconds.
    seed : int
        Of the night.
    rates : sequence of BreathingRate
        Where the rate is another one; in order of time, not overlapping.

    Notes
    -----
    Between two pauses (or changes of rate) breaths are drawn until the gap is nearly filled; then
    their periods are scaled, by at most half a period over the whole gap, so that the last peak is
    the next onset.
    """
    laid = _Laying(breathing, rates, span_s[0], generator(seed, Source.BREATH_PERIOD))
    for pause in pauses:
        laid.breathe_until(pause.onset_s)
        laid.pause_until(pause.end_s)
    laid.breathe_until(max(span_s[1], laid.at_s + laid.cycle_s), exactly=False)
    peak, cycle = np.concatenate(laid.peaks), np.concatenate(laid.cycles)
    rise = breathing.inspired_share * np.append(breathing.cycle_s, cycle)
    fall = (1.0 - breathing.inspired_share) * np.append(cycle, breathing.cycle_s)
    size = _sizes(breathing, peak, resized, generator(seed, Source.BREATH_SIZE))
    return BreathTrain(peak - rise, peak, peak + fall, size, breathing.size_ohm)


class _Laying:
    """Lays breaths out one stretch after the other."""

    def __init__(
        self,
        breathing: Breathing,
        rates: Sequence[BreathingRate],
        start_s: float,
        random: np.random.Generator,
    ) -> None:
        self.draw = _Periods(breathing, random)
        self.usual_s = breathing.cycle_s
        self.rates = rates
        self.at_s = start_s
        self.peaks: list[Floats] = [np.array([start_s])]
        self.cycles: list[Floats] = []

    @property
    def cycle_s(self) -> float:
        """The median time from breath to breath now, in seconds."""
        return self._cycle_at(self.at_s)

    def _cycle_at(self, time_s: float) -> float:
        inside = [r.cycle_s for r in self.rates if r.start_s - 1e-9 <= time_s < r.end_s - 1e-9]
        return inside[0] if inside else self.usual_s

    def breathe_until(self, end_s: float, *, exactly: bool = True) -> None:
        """Lay breaths; one peaks at the end of each stretch of one rate, and at the last end."""
        edges = sorted({edge for rate in self.rates for edge in (rate.start_s, rate.end_s)})
        for edge in [edge for edge in edges if self.at_s < edge < end_s]:
            # no stretch shorter than half a cycle: its breath would be squeezed
            if min(edge - self.at_s, end_s - edge) >= 0.5 * self.cycle_s:
                self._fill(edge, exactly=True)
        self._fill(end_s, exactly=exactly)

    def _fill(self, end_s: float, *, exactly: bool) -> None:
        cycle_s = self._cycle_at(min(self.at_s + 0.5 * self.cycle_s, end_s))
        gap = self.draw.filling(end_s - self.at_s, cycle_s)
        if not len(gap):
            return
        between = self.at_s + np.cumsum(gap)
        if exactly:
            between[-1] = end_s
        self.peaks.append(between)
        self.cycles.append(np.minimum(gap, LONGEST_CYCLE * cycle_s))
        self.at_s = end_s

    def pause_until(self, end_s: float) -> None:
        """Lay one long time from breath to breath."""
        self.peaks.append(np.array([end_s]))
        self.cycles.append(np.array([min(end_s - self.at_s, self.cycle_s)]))
        self.at_s = end_s


class _Periods:
    """Times from breath to breath: log-normal, with memory."""

    def __init__(self, breathing: Breathing, random: np.random.Generator) -> None:
        self.breathing = breathing
        self.random = random

    def filling(self, length_s: float, usual: float) -> Floats:
        """Return periods around a usual one (s) that fill a length; none for one of nothing."""
        if length_s < 1e-9:
            return np.empty(0)
        for _ in range(DRAWS):
            periods = self._drawn(length_s, usual)
            if np.max(periods) <= LONGEST_PERIOD * usual:
                return periods
        count = max(round(length_s / usual), 1)
        return np.full(count, length_s / count)

    def _drawn(self, length_s: float, usual: float) -> Floats:
        most = int(2.0 * length_s / usual) + 8
        spread = self.breathing.period_variability * _with_memory(self.random, most)
        drawn = usual * np.clip(np.exp(spread), 0.5, 2.0)
        reached = np.cumsum(drawn)
        count = int(np.argmin(np.abs(reached - length_s))) + 1
        return np.asarray(drawn[:count] * (length_s / reached[count - 1]), dtype=np.float64)


def _with_memory(random: np.random.Generator, count: int) -> Floats:
    """Return unit-variance numbers, most of whose variance is shared with their neighbours.

    The shares were set by eye on the preterm segments, where the correlation from breath to breath
    is 0.5 to 0.7 for the period.
    """
    total = 0.6 * random.standard_normal(count)
    for breaths, weight in ((6.0, 0.7), (40.0, 0.65)):
        knots = random.standard_normal(int(count / breaths) + 3)
        total += weight * np.interp(np.arange(count) / breaths, np.arange(len(knots)), knots)
    return total


def _sizes(
    breathing: Breathing,
    peak_s: Floats,
    resized: Sequence[Resizing],
    random: np.random.Generator,
) -> Floats:
    spread = breathing.size_variability * _with_memory(random, len(peak_s))
    size = breathing.size_ohm * np.exp(np.clip(spread, -1.0, 1.0))
    for change in resized:
        if isinstance(change, Sigh):
            size[np.argmin(np.abs(peak_s - change.at_s))] *= change.times
        elif isinstance(change, Obstruction):
            inside = change.covers(peak_s)
            size[inside] *= change.times(peak_s[inside])
        else:
            inside = (peak_s >= change.start_s) & (peak_s < change.start_s + change.length_s)
            size[inside] *= change.share
    return size
