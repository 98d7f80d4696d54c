"""The heart's pulsation taken out of the impedance, led by the R peaks."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar, NamedTuple

import numpy as np
import numpy.typing as npt

from infantmon.dsp.beat_fit import BEATS, POINTS, fit, rendered
from infantmon.dsp.beat_train import MISSED, Beat, BeatTrain
from infantmon.dsp.bridged import Bridged
from infantmon.dsp.kept import Kept
from infantmon.dsp.last_pulse import BACK_S, LATE, OVER_S, peak_to_peak, without_last_pulse
from infantmon.dsp.pulse_template import Heard, PulseTemplate, Row
from infantmon.errors import ArgumentError, require_between, require_number, require_rate
from infantmon.model.arrays import NO_FLOATS, Bools, Floats, Ints, as_samples
from infantmon.model.carried import record
from infantmon.model.clock import Clock
from infantmon.model.marks import Pulsations, RPeaks
from infantmon.model.signal import Signal
from infantmon.stages.contract import Stage, settled_before

LOWEST_HZ = 20.0
NEVER = 2**62  # samples: no gap is so long that the level is taken off after it
AHEAD_S = 0.66  # beats are known this far past each output sample
REMEMBERED_S = 12.0  # samples kept for fits
OVERDUE = (1.0, 1.5)  # cycles since the last beat over which the template fades
LONGEST_OVERDUE_S = 1.0  # it has faded at the latest this long after the next beat was due
BLEND_S = 0.2  # a new template comes in over this time
SIZE_WINDOW_S = 3.0
FITTED_S = 8.0  # a fit may begin this long before the output sample it is for
_NOTHING: Row = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


@record
@dataclass(frozen=True)
class CardiacArtifactSettings:
    """Settings of `CardiacArtifactRejector`.

    Parameters
    ----------
    rate_hz : float
        Samples a second of the band-passed impedance; at least 20 Hz.
    start_s : float
        Time of its first sample, in seconds from the recording's start.
    input_lag_s : float
        How much later than its own time each sample is ready, in seconds of the raw input.
    beat_lag_s : float
        Latency of the R peaks: their frontier plus this is how far the ECG has come, in seconds.
    led_by_beats : bool
        False where there is no ECG: then R peaks are neither asked for nor waited for.
    """

    rate_hz: float
    start_s: float = 0.0
    input_lag_s: float = 0.0
    beat_lag_s: float = 1.2
    led_by_beats: bool = True

    def __post_init__(self) -> None:
        require_rate(self.rate_hz, lowest_hz=LOWEST_HZ)
        require_number(self.start_s, name="start_s", unit="s")
        require_between(self.input_lag_s, 0.0, 60.0, name="input_lag_s", unit="s")
        require_between(self.beat_lag_s, 0.0, 60.0, name="beat_lag_s", unit="s")


@dataclass(frozen=True, eq=False)
class Cleaned:
    """Impedance without the heart's pulsation, and what was taken out.

    Attributes
    ----------
    signal : Signal
        The impedance, in its own unit and at its own clock.
    pulsation : Pulsations
        Once a second: how much was taken out and left, and which way it ran.
    """

    signal: Signal
    pulsation: Pulsations


@record
@dataclass(frozen=True)
class _Led:
    """From one output sample on: the beats and the template that lead."""

    place: int  # first output sample
    time_s: float  # of the latest beat
    cycle: int  # its number
    usual_s: float
    harmonics: Row
    before: Row  # harmonics that led until now
    helps: bool
    in_step: bool
    only_heart: bool  # no breath was heard in the beats before


class _Window(NamedTuple):
    """What was heard in the three intervals before a beat, and their mean."""

    heard: Heard
    interval_s: float


class CardiacArtifactRejector(Stage):
    """Takes the pulsation at one, two and three times the heart rate out of the impedance.

    The pulsation is taken for a shape over the phase from beat to beat, with three harmonics. After
    each beat it is fitted over the last three intervals, and the fits are averaged recursively:
    slowly while the infant breathes, quickly in a pause (`PulseTemplate`). Extra and missed
    R peaks are mended first (`BeatTrain`); where the template has not made the signal smoother of
    late (bad R peaks), and where a beat is overdue, nothing is taken out.

    Parameters
    ----------
    settings : CardiacArtifactSettings
        Rate, start and lags.

    Notes
    -----
    Output sample t is given at exactly t + `latency_s`, from beats with ``known_s`` up to then, so
    the result does not depend on how the two inputs are cut or interleaved. A beat that does not
    come is not waited for. Breathing that keeps step with the heart one to one cannot be
    told from pulsation; ``Pulsations.locked`` says where. Memory: 12 s of samples.
    """

    settings_type: ClassVar = CardiacArtifactSettings
    carried: ClassVar[tuple[str, ...]] = (
        "_anchored",
        "_kept",
        "_train",
        "_template",
        "_pending",
        "_beats",
        "_led",
        "_overdue",
        "_ecg_until_s",
        "_given",
        "_removed",
        "_left",
    )

    def __init__(self, settings: CardiacArtifactSettings) -> None:
        super().__init__(settings)
        rate = settings.rate_hz
        self._clock = Clock(rate, settings.start_s)
        wait = max(settings.beat_lag_s + AHEAD_S, settings.input_lag_s)
        self._ahead = math.ceil((wait - settings.input_lag_s) * rate - 1e-9)
        self._second = round(rate)
        self._anchored = Bridged(NEVER)
        self._kept = Kept()
        self._train = BeatTrain()
        self._template = PulseTemplate()
        self._pending: list[tuple[float, float]] = []  # time and known_s of beats to come
        self._beats: list[tuple[float, int]] = []  # time and number of the latest beats
        self._led: list[_Led] = []
        self._overdue = (-math.inf, 0.0)  # latest last beat of a row, and the level after it
        self._ecg_until_s = -math.inf  # stream time that the ECG has reached
        self._given = 0
        self._removed = Kept()
        self._left = Kept()

    @property
    def latency_s(self) -> float:
        """From an output sample's time to when it is given, in seconds of the raw inputs."""
        return float(self._ahead / self.settings.rate_hz + self.settings.input_lag_s)

    @property
    def settled_until_s(self) -> float:
        """All output before this time has been given, in seconds."""
        return settled_before(self._clock.time_s(self._given), 0.0, ended=self._ended)

    def push(
        self, values: npt.ArrayLike, beats: RPeaks | None = None, *, last: bool = False
    ) -> Cleaned:
        """Take samples and beats, return the samples that can be given now.

        Parameters
        ----------
        values : array_like, shape (n,)
            Band-passed impedance in any unit; none is fine.
        beats : RPeaks or None
            New R peaks with their frontier; None only if not led by beats.
        last : bool
            Whether both inputs end here.

        Returns
        -------
        Cleaned
            As many samples as both inputs settle.

        Raises
        ------
        ArgumentError
            If led by beats and none are passed, or the other way round.
        """
        samples = as_samples(values, name="impedance samples")
        self._check_beats(beats)
        self.begin_push(last=last)
        samples, _ = self._anchored.push(samples)
        self._kept.push(samples)
        if beats is not None:
            self._pending.extend(zip(beats.time_s.tolist(), beats.known_s.tolist(), strict=True))
            self._ecg_until_s = beats.settled_until_s + self.settings.beat_lag_s
        until = max(self._until(last=last), self._given)
        self._learn(until)
        return self._output(until)

    def _check_beats(self, beats: RPeaks | None) -> None:
        led = self.settings.led_by_beats
        if led and not isinstance(beats, RPeaks):
            raise ArgumentError(
                f"beats is {beats!r}; R peaks are expected, empty ones with their frontier too. "
                "Without an ECG set led_by_beats=False."
            )
        if not led and beats is not None:
            raise ArgumentError(
                "beats were passed although led_by_beats is False; leave them out, or set it True."
            )

    def _until(self, *, last: bool) -> int:
        """Return the place after the last output sample that both inputs allow."""
        if last:
            return self._kept.end
        until = self._kept.end - self._ahead
        if not self.settings.led_by_beats:
            return until
        reach = (self._ecg_until_s - self.latency_s - self._clock.start_s) * self._clock.rate_hz
        return min(until, math.floor(reach + 1e-6) + 1) if math.isfinite(reach) else until

    def _learn(self, until: int) -> None:
        """Take in the beats that the output before a place may use."""
        if not self._pending:
            return
        places = self._places_from(np.array(self._pending))
        ready = int(np.searchsorted(places, until))
        news: list[tuple[int, Beat]] = []
        for place, (time_s, _) in zip(places[:ready].tolist(), self._pending, strict=False):
            beat = self._train.take(time_s)
            if beat is not None:
                self._beats.append((time_s, beat.cycle))
                news.append((place, beat))
        self._pending = self._pending[ready:]
        if news:
            for (place, beat), window in zip(news, self._fits(news), strict=True):
                self._lead(place, beat, window)

    def _places_from(self, pending: Floats) -> Ints:
        """Return the first output sample that each beat may lead: it is known, and heard of."""
        time_s, known_s = pending.T
        known = (known_s - self.latency_s - self._clock.start_s) * self._clock.rate_hz
        seen = (time_s - self._clock.start_s) * self._clock.rate_hz - self._ahead
        places = np.maximum(np.ceil(known - 1e-6), np.ceil(seen) + 1.0).astype(np.int64)
        places[0] = max(int(places[0]), self._led[-1].place if self._led else 0)
        return np.maximum.accumulate(places)

    def _fits(self, news: list[tuple[int, Beat]]) -> list[_Window | None]:
        """Fit the three intervals before each new beat, all at once; None where they are odd."""
        fits: list[_Window | None] = [None] * len(news)
        stops = np.arange(len(self._beats) - len(news), len(self._beats))
        beats = np.array(self._beats)[np.maximum(stops[:, np.newaxis] + np.arange(-BEATS, 1), 0)]
        windows, cycles = beats[:, :, 0], beats[:, :, 1]
        started_s = self._clock.times_s(np.array([place for place, _ in news])) - FITTED_S
        longest_s = MISSED * np.array([beat.usual_s for _, beat in news])
        usable = (
            np.array([beat.trusted for _, beat in news])
            & (cycles[:, -1] - cycles[:, 0] == BEATS)
            & (windows[:, 0] >= np.maximum(started_s, self._clock.start_s))
            & (np.diff(windows, axis=1).max(axis=1) <= longest_s)
        )
        if usable.any():
            windows = windows[usable]
            harmonics, power, rest = fit(self._resampled(windows))
            intervals = ((windows[:, -1] - windows[:, 0]) / BEATS).tolist()
            rows = zip(map(tuple, harmonics.tolist()), power.tolist(), rest.tolist(), strict=True)
            for index, row, interval_s in zip(np.flatnonzero(usable), rows, intervals, strict=True):
                fits[index] = _Window(Heard(*row), interval_s)
        return fits

    def _resampled(self, windows: Floats) -> Floats:
        """Return samples evenly spaced in phase between the beats of each row."""
        start, length = windows[:, :-1, np.newaxis], np.diff(windows, axis=1)[:, :, np.newaxis]
        times = start + length * ((np.arange(POINTS) + 0.5) / POINTS)
        exact = (times.reshape(len(windows), -1) - self._clock.start_s) * self._clock.rate_hz
        place = np.floor(exact)
        pairs = self._kept.windows(place.astype(np.int64).ravel(), 2).reshape(*exact.shape, 2)
        share = exact - place
        return pairs[..., 0] * (1.0 - share) + pairs[..., 1] * share

    def _lead(self, place: int, beat: Beat, window: _Window | None) -> None:
        """Learn from a beat, and let it lead from a place on."""
        if window is None:
            known = self._template.unheard(beat.usual_s)
        else:
            known = self._template.take(window.heard, window.interval_s)
        before = self._led[-1].harmonics if self._led else _NOTHING
        helps = known.helps and beat.trusted
        shape = known.harmonics if helps else _NOTHING
        self._led.append(
            _Led(
                place,
                beat.time_s,
                beat.cycle,
                beat.usual_s,
                shape,
                before,
                helps,
                known.in_step,
                known.only_heart,
            )
        )

    def _output(self, until: int) -> Cleaned:
        """Take the pulsation out of the samples before a place."""
        first = self._given
        ticks = np.arange(first, until, dtype=np.int64)
        values = self._kept.windows(np.array([first]), len(ticks))[0] if len(ticks) else NO_FLOATS
        removed, led, in_step = self._pulsation(ticks)
        left = self._held_still(ticks, values, values - removed)
        removed = values - left
        self._given = until
        self._removed.push(removed)
        self._left.push(left)
        found = self._sizes(ticks, led, in_step)
        self._forget()
        return Cleaned(Signal(left, first, self._clock, self.settled_until_s), found)

    def _pulsation(self, ticks: Ints) -> tuple[Floats, Bools, Bools]:
        """Return the pulsation at output samples, whether beats led, and whether in step."""
        nothing = np.zeros(len(ticks)), np.zeros(len(ticks), bool), np.zeros(len(ticks), bool)
        if not self._led or not self._beats or not len(ticks):  # all beats long past
            return nothing
        places = np.array([each.place for each in self._led])
        index = np.searchsorted(places, ticks, side="right") - 1
        cycles, fade = self._phase(self._clock.times_s(ticks), np.maximum(index, 0))
        fade[index < 0] = 0.0
        index = np.maximum(index, 0)
        new = np.array([each.harmonics for each in self._led])[index]
        old = np.array([each.before for each in self._led])[index]
        share = np.minimum((ticks - places[index] + 1) / (BLEND_S * self._clock.rate_hz), 1.0)
        removed = fade * rendered(old + share[:, np.newaxis] * (new - old), cycles)
        helps = np.array([each.helps for each in self._led])[index]
        in_step = np.array([each.in_step for each in self._led])[index]
        return removed, helps & (fade > 0.0), in_step & (fade > 0.0)

    def _held_still(self, ticks: Ints, values: Floats, left: Floats) -> Floats:
        """Return what is left, without the last pulse where a beat is overdue in a pause."""
        if not self._led or not len(ticks):
            return left
        stops = [each.place for each in self._led[1:]] + [int(ticks[-1]) + 1]
        for led, stop in zip(self._led, stops, strict=True):
            if not led.only_heart:
                continue
            due_s = led.time_s + max(LATE * led.usual_s - AHEAD_S, 0.0)
            exact = (due_s - self._clock.start_s) * self._clock.rate_hz
            start = max(led.place, math.ceil(exact - 1e-6))
            end_s = led.time_s + OVER_S + BACK_S - self._clock.start_s
            stop = min(stop, math.ceil(end_s * self._clock.rate_hz))
            here = slice(max(start - int(ticks[0]), 0), max(stop - int(ticks[0]), 0))
            if here.start >= min(here.stop, len(ticks)):
                continue
            if self._overdue[0] != led.time_s:
                self._overdue = (led.time_s, float(left[here.start]))
            since_s = self._clock.times_s(ticks[here]) - led.time_s
            size = peak_to_peak(led.harmonics)
            left[here] = without_last_pulse(values[here], since_s, self._overdue[1], size)
        return left

    def _phase(self, times_s: Floats, index: Ints) -> tuple[Floats, Floats]:
        """Return the phase at times in cycles, and how far it can be trusted (0 to 1)."""
        beat_s = np.array([time_s for time_s, _ in self._beats])
        number = np.array([cycle for _, cycle in self._beats])
        usual_s = np.array([each.usual_s for each in self._led])[index]
        latest = np.searchsorted(beat_s, [each.time_s for each in self._led])[index]
        at = np.minimum(np.searchsorted(beat_s, times_s, side="right") - 1, latest)
        none = at < 0
        at = np.maximum(at, 0)
        since_s = times_s - beat_s[at]
        following = np.minimum(at + 1, latest)
        count = np.maximum(number[following] - number[at], 1)
        cycle_s = (beat_s[following] - beat_s[at]) / count
        whole = (following > at) & (cycle_s <= MISSED * usual_s)
        cycle_s = np.where(whole, cycle_s, usual_s)
        over_s = since_s - OVERDUE[0] * usual_s
        longest_s = np.minimum((OVERDUE[1] - OVERDUE[0]) * usual_s, LONGEST_OVERDUE_S)
        fade = np.where(whole, 1.0, np.clip(1.0 - over_s / longest_s, 0.0, 1.0))
        fade = np.where(none | ~np.isfinite(fade), 0.0, fade)
        cycles = since_s / cycle_s
        return np.where(fade > 0.0, cycles, 0.0), fade

    def _sizes(self, ticks: Ints, led: Bools, in_step: Bools) -> Pulsations:
        """Return, once a second, how much was taken out and left over the last three seconds."""
        at = ticks[ticks % self._second == self._second - 1]
        if not len(at):
            return Pulsations.empty(self.settled_until_s)
        width = round(SIZE_WINDOW_S * self._clock.rate_hz)
        removed, left = (
            kept.windows(at - width + 1, width)  # before the first sample, that is held
            for kept in (self._removed, self._left)
        )
        pulsation = removed.max(axis=1) - removed.min(axis=1)
        breath = left.max(axis=1) - left.min(axis=1)
        here = at - ticks[0]
        time_s = self._clock.times_s(at)
        known_s = np.minimum(time_s + self.latency_s, self._end_s())
        return Pulsations(
            time_s,
            known_s,
            pulsation,
            breath,
            led[here],
            in_step[here],
            settled_until_s=self.settled_until_s,
        )

    def _end_s(self) -> float:
        """Return the end of the raw stream once it is known.

        The band-pass makes up as many samples at the end as its filter delays; what is left of its
        lag is what a group of raw samples reaches beyond the middle of the group.
        """
        if not self._ended:
            return math.inf
        lag, rate = self.settings.input_lag_s, self._clock.rate_hz
        half_group_s = lag - math.floor(lag * rate + 1e-9) / rate
        return float(self._clock.time_s(self._kept.end - 1) + half_group_s)

    def _forget(self) -> None:
        """Let go of what nothing can need any more."""
        past = [n for n, each in enumerate(self._led) if each.place <= self._given]
        self._led = self._led[past[-1] if past else 0 :]
        oldest_s = self._clock.time_s(self._given) - REMEMBERED_S
        self._beats = [each for each in self._beats if each[0] >= oldest_s]
        self._kept.forget_before(self._given - round(REMEMBERED_S * self._clock.rate_hz))
        for kept in (self._removed, self._left):
            kept.forget_before(self._given - 2 * round(SIZE_WINDOW_S * self._clock.rate_hz))
