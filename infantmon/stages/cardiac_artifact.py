"""The heart's pulsation taken out of the impedance, led by the R peaks.

In come band-passed impedance and R peaks; out comes the impedance as breathing alone would have
made it, and how much was taken out. The idea: seen in beats instead of seconds, the pulsation is
one shape that comes again and again, and breathing is not. That shape is learned and subtracted.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import numpy.typing as npt

from infantmon.dsp.beat_source import BeatSource, Placed
from infantmon.dsp.bridged import Bridged
from infantmon.dsp.kept import Kept
from infantmon.dsp.pulse_fits import fits_before
from infantmon.dsp.pulse_template import PulseTemplate
from infantmon.dsp.pulse_track import AHEAD_S, Pulse, PulseTrack
from infantmon.errors import ArgumentError, as_floats, require_between, require_number, require_rate
from infantmon.model.arrays import NO_FLOATS, Floats, Ints, as_samples
from infantmon.model.carried import record
from infantmon.model.clock import Clock
from infantmon.model.marks import PULSATION_OVER_S, Pulsations, RPeaks
from infantmon.model.signal import Signal
from infantmon.stages.contract import Stage, settled_before

LOWEST_HZ = 20.0
REMEMBERED_S = 16.0  # samples kept for fits


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
        False where there is no ECG: R peaks are neither asked for nor waited for then, and the
        heart is followed in the impedance itself.
    """

    rate_hz: float
    start_s: float = 0.0
    input_lag_s: float = 0.0
    beat_lag_s: float = 1.2
    led_by_beats: bool = True

    def __post_init__(self) -> None:
        as_floats(self)
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
    cycles : Signal
        Heart beats since the first one, with the share of the one that goes on, at each sample of
        `signal`; NaN where no beats are at hand to be trusted.
    followed : Signal
        At each sample 1 where pulsation was taken out by beats that were followed in the impedance,
        else 0.
    pulse : Signal
        At each sample, how large the pulsation is that was taken out, in the impedance's unit; 0
        where none was.
    """

    signal: Signal
    pulsation: Pulsations
    cycles: Signal
    followed: Signal
    pulse: Signal


class CardiacArtifactRejector(Stage):
    """Takes the pulsation at one, two and three times the heart rate out of the impedance.

    The pulsation is taken for a shape over the phase from beat to beat, with three harmonics. After
    each beat it is fitted over the last three intervals, and the fits are averaged recursively:
    slowly while the infant breathes, quickly in a pause (`PulseTemplate`). Extra and missed
    R peaks are mended first (`BeatTrain`). Where none comes for 3 s, or they come too unevenly to
    be at the beats, or there is no ECG, the heart is followed in the impedance itself, as far as
    its pulsation shows as a line apart from breathing (`PulseFollower`). Where the template has
    made the signal rougher of late nothing is taken out; where a beat is overdue it fades, and in a
    pause what the last pulse may still add is held back for some seconds. So are swings of the
    pulsation's size where a beat comes early in a pause, or is missed (`UnevenBeats`).

    Parameters
    ----------
    settings : CardiacArtifactSettings
        Rate, start and lags.

    Notes
    -----
    Output sample t is given at exactly t + `latency_s`, from beats with ``known_s`` up to then, so
    the result does not depend on how the two inputs are cut or interleaved. A beat that does not
    come is not waited for. Breathing that keeps step with the heart one to one cannot be
    told from pulsation; ``Pulsations.locked`` says where. Memory: 16 s of samples.
    """

    settings_type: ClassVar = CardiacArtifactSettings
    carried: ClassVar[tuple[str, ...]] = (
        "_bridged",
        "_kept",
        "_source",
        "_template",
        "_pending",
        "_track",
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
        self._bridged = Bridged(longest=None)
        self._kept = Kept()
        self._source = BeatSource(self._clock, self._ahead, led=settings.led_by_beats)
        self._template = PulseTemplate()
        self._pending: list[tuple[float, float]] = []  # time and known_s of beats to come
        self._track = PulseTrack(self._clock)
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
        samples, _ = self._bridged.push(samples)
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
        news: list[Placed] = []
        if self._pending:
            places = self._places_from(np.array(self._pending))
            ready = int(np.searchsorted(places, until))
            for place, (time_s, _) in zip(places[:ready].tolist(), self._pending, strict=False):
                self._source.take(place, time_s, self._kept, news)
            self._pending = self._pending[ready:]
        self._source.follow(until - 1, self._kept, news)
        if news:
            self._lead(news)

    def _lead(self, news: list[Placed]) -> None:
        """Learn from the intervals before new beats, and let them lead."""
        for _, beat in news:
            self._track.note(beat)
        fits, unevens = fits_before(news, self._track, self._kept, self._clock)
        for (place, beat), heard, uneven in zip(news, fits, unevens, strict=True):
            known = self._template.take(heard, beat.usual_s, uneven=uneven)
            self._track.lead(place, beat, known)

    def _places_from(self, pending: Floats) -> Ints:
        """Return the first output sample that each beat may lead: it is known, and heard of."""
        time_s, known_s = pending.T
        known = (known_s - self.latency_s - self._clock.start_s) * self._clock.rate_hz
        seen = (time_s - self._clock.start_s) * self._clock.rate_hz - self._ahead
        places = np.maximum(np.ceil(known - 1e-6), np.ceil(seen) + 1.0).astype(np.int64)
        places[0] = max(int(places[0]), self._track.last_place)
        return np.maximum.accumulate(places)

    def _output(self, until: int) -> Cleaned:
        """Take the pulsation out of the samples before a place."""
        first = self._given
        ticks = np.arange(first, until, dtype=np.int64)
        values = self._kept.windows(np.array([first]), len(ticks))[0] if len(ticks) else NO_FLOATS
        pulse = self._track.pulse(ticks)
        left = self._track.held_still(ticks, values, values - pulse.removed)
        self._track.held_even(ticks, left, self._left)
        removed = values - left
        self._given = until
        self._removed.push(removed)
        self._left.push(left)
        found = self._sizes(ticks, pulse)
        self._forget()
        until_s = self.settled_until_s
        signal = Signal(left, first, self._clock, until_s)
        cycles = Signal(pulse.cycles, first, self._clock, until_s)
        followed = Signal(pulse.followed.astype(np.float64), first, self._clock, until_s)
        return Cleaned(
            signal, found, cycles, followed, Signal(pulse.size, first, self._clock, until_s)
        )

    def _sizes(self, ticks: Ints, pulse: Pulse) -> Pulsations:
        """Return, once a second, how much was taken out and left over the last three seconds."""
        at = ticks[ticks % self._second == self._second - 1]
        if not len(at):
            return Pulsations.empty(self.settled_until_s)
        width = round(PULSATION_OVER_S * self._clock.rate_hz)
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
            pulse.led[here],
            pulse.followed[here],
            pulse.in_step[here],
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
        self._track.forget(self._given, self._clock.time_s(self._given) - REMEMBERED_S)
        self._kept.forget_before(self._given - round(REMEMBERED_S * self._clock.rate_hz))
        for kept in (self._removed, self._left):
            kept.forget_before(self._given - 2 * round(PULSATION_OVER_S * self._clock.rate_hz))
