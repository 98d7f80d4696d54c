"""A second, independent opinion on apnea: the published probability, in a causal variant.

In come raw impedance and R peaks; out comes, four times a second, the probability that the infant
does not breathe. The idea: take the heart's pulsation out in a way of its own, scale what is left
by how much usually moves, and ask how much still moves. It knows no breaths, and so can speak
against those that the breath detector found or missed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import numpy.typing as npt
from scipy import signal
from scipy.special import expit

from infantmon.dsp.beat_notch import AHEAD_S, BeatNotch
from infantmon.dsp.bridged import Bridged
from infantmon.dsp.decimate import GroupMean
from infantmon.dsp.moving_spread import MovingSpread
from infantmon.dsp.sections import Sections
from infantmon.dsp.slow_envelope import TINY, SlowEnvelope
from infantmon.errors import ArgumentError, as_floats, require_between, require_number, require_rate
from infantmon.model.arrays import Bools, Floats, as_samples
from infantmon.model.carried import record
from infantmon.model.clock import Clock
from infantmon.model.marks import (
    PROBABILITY_EVERY_S,
    PROBABILITY_OVER_S,
    ApneaProbabilities,
    RPeaks,
)
from infantmon.stages.contract import Stage, settled_before

# As published (Lee et al. 2012, see `ApneaProbability`)
HIGH_PASS_HZ = 0.4
ENVELOPE_HZ = 1.0 / 400.0
ORDER = 3  # of both filters
VALID_SHARE = 0.9  # of a window's samples, at least, or it has no probability
SLOPE, MIDDLE = 12.0, 0.44  # of the curve from spread to probability

# Project's choice
LOWEST_HZ = 20.0  # as for the band-pass of the impedance
WORKING_HZ = 30.0  # samples are averaged down to between this and twice this rate
LED_SHARE = 0.5  # of a window, beyond which it is led by beats
BRIDGED_S = 0.1  # after a longer gap the level may have moved
ANEW_S = 60.0
"""After a longer gap the envelope begins anew: what it knew of breathing has died away by then, and
beside it the first breaths, and any pause, would seem to be movement (project's choice)."""


def probability_of(spread: npt.ArrayLike) -> Floats:
    """Return the probability of apnea at a spread of the normalised impedance.

    Parameters
    ----------
    spread : array_like
        Standard deviation over 2 s of the impedance over its slow envelope (no unit).

    Returns
    -------
    numpy.ndarray
        1 / (1 + exp(12 (spread - 0.44))), see `ApneaProbability`.

    Examples
    --------
    >>> [round(float(p), 3) for p in probability_of([0.0, 0.44, 0.823])]
    [0.995, 0.5, 0.01]
    """
    return np.asarray(expit(SLOPE * (MIDDLE - np.asarray(spread, dtype=float))))


@record
@dataclass(frozen=True)
class ApneaProbabilitySettings:
    """Settings of `ApneaProbability`.

    Attributes
    ----------
    rate_hz : float
        Samples a second of the raw impedance; at least 20 Hz.
    beat_lag_s : float
        Latency of the R peaks, in seconds; 0 where they do not lead.
    led_by_beats : bool
        Whether R peaks lead. Without, the heart's pulsation stays in.
    start_s : float
        Time of the first sample, in seconds from the recording's start.
    """

    rate_hz: float
    beat_lag_s: float
    led_by_beats: bool = True
    start_s: float = 0.0

    def __post_init__(self) -> None:
        as_floats(self)
        require_rate(self.rate_hz, lowest_hz=LOWEST_HZ)
        require_between(self.beat_lag_s, 0.0, 60.0, name="beat_lag_s", unit="s")
        require_number(self.start_s, name="start_s", unit="s")


class ApneaProbability(Stage):
    r"""Gives the probability of apnea four times a second, from how much the impedance still moves.

    Parameters
    ----------
    settings : ApneaProbabilitySettings
        Rate, lag of the R peaks, start.

    Notes
    -----
    **Method**, after [1]_; the figures are those published. With x the impedance, averaged down to
    30 to 60 Hz:

    * y = x through a high-pass (Butterworth, order 3, 0.4 Hz);
    * each interval between beats of y becomes 30 points; 1, 2 and 3 cycles a beat are stopped
      (Butterworth, order 1, 0.1 cycle a beat wide); the points go back to time;
    * high-pass once more, and divided by a slow envelope: abs(y) through a low-pass of order 3 at
      1/400 Hz;
    * s = standard deviation over 2 s, and P = 1 / (1 + exp(12 (s - 0.44))), if 90 % of the samples
      are valid.

    **Ours differ**: filters run forward alone, so that it can be streamed (published: forward and
    back, without delay). The envelope's start is mended by dividing by the filter's answer to a
    constant 1. An interval between beats of more than 3 s is left as it is (published: 10 s), since
    a stream cannot wait so long.

    It shares nothing with the breaths but the R peaks, and so may speak against them. It asks how
    much moves, not whether it is a breath: movement and a jolt count as breathing. After a jolt
    many times larger than breaths the slow envelope is too large for minutes, and P with it.

    **Latency**: at most that of the R peaks, or of the averaging, and 3.2 s. `time_s` is the end of
    the two seconds. **Start-up:** the first 2 s, and until the envelope knows usual breathing; so
    too after a gap of more than 60 s.
    **Memory:** some seconds of samples.

    References
    ----------
    .. [1] H. Lee, C. G. Rusin, D. E. Lake et al., Physiol Meas 33:1-17, 2012.
    """

    settings_type: ClassVar = ApneaProbabilitySettings
    carried: ClassVar[tuple[str, ...]] = (
        "_pushed",
        "_bridged",
        "_groups",
        "_valid_groups",
        "_high_pass",
        "_second",
        "_envelope",
        "_notch",
        "_kept",
        "_given",
        "_taken",
        "_beats_until_s",
        "_spread",
    )

    def __init__(self, settings: ApneaProbabilitySettings) -> None:
        super().__init__(settings)
        rate = settings.rate_hz
        size = max(1, math.floor(rate / WORKING_HZ))
        self._raw = Clock(rate, settings.start_s)
        self._clock = Clock(rate / size, settings.start_s + (size - 1) / (2.0 * rate))
        rate_hz = self._clock.rate_hz
        high = signal.butter(ORDER, HIGH_PASS_HZ, "highpass", fs=rate_hz, output="sos")
        low = signal.butter(ORDER, ENVELOPE_HZ, "lowpass", fs=rate_hz, output="sos")
        self._pushed = 0
        self._bridged = Bridged(math.floor(BRIDGED_S * rate))
        self._groups, self._valid_groups = GroupMean(size), GroupMean(size)
        self._high_pass, self._second = Sections(high), Sections(high)
        self._envelope = SlowEnvelope(low, ANEW_S * rate_hz)
        self._notch = BeatNotch()
        # Of the samples that are not done with: time (s), value, envelope, how much is valid.
        self._kept: Floats = np.empty((4, 0))
        self._given = 0  # of them, given to the second high-pass
        self._taken = 0  # samples at the lower rate so far
        self._beats_until_s = -math.inf  # stream time that the ECG has reached
        width = round(PROBABILITY_OVER_S * rate_hz)
        self._spread = MovingSpread(width, PROBABILITY_EVERY_S * rate_hz, VALID_SHARE)

    @property
    def latency_s(self) -> float:
        """The longest that a probability can be known after its time, in seconds."""
        size = self._groups.size
        averaged_s = (size - 1) / (2.0 * self.settings.rate_hz) + 1.0 / self._clock.rate_hz
        return float(max(self.settings.beat_lag_s, averaged_s) + self._ahead_s)

    @property
    def _ahead_s(self) -> float:
        return AHEAD_S if self.settings.led_by_beats else 0.0

    @property
    def settled_until_s(self) -> float:
        """All probabilities before this time have been given; infinity at the end."""
        return settled_before(self._reached_s(), self.latency_s, ended=self._ended)

    def push(
        self, values: npt.ArrayLike, beats: RPeaks | None = None, *, last: bool = False
    ) -> ApneaProbabilities:
        """Take samples and beats, return the probabilities that are settled.

        Parameters
        ----------
        values : array_like, shape (n,)
            Raw impedance in any unit; NaN where a sample is missing.
        beats : RPeaks or None
            New R peaks with their frontier; None only if not led by beats.
        last : bool
            Whether both inputs end here.

        Returns
        -------
        ApneaProbabilities
            One every 0.25 s of stream time.

        Raises
        ------
        ArgumentError
            If led by beats and none are passed, or the other way round.
        """
        samples = as_samples(values, name="impedance samples")
        if self.settings.led_by_beats != isinstance(beats, RPeaks):
            raise ArgumentError(
                f"beats is {type(beats).__name__} although led_by_beats is "
                f"{self.settings.led_by_beats}; pass R peaks, empty ones too, or None."
            )
        self.begin_push(last=last)
        self._pushed += len(samples)
        if beats is not None:
            self._notch.note(beats.time_s)
            self._beats_until_s = beats.settled_until_s + self.settings.beat_lag_s
        self._keep(samples)
        until_s = math.inf if last else self._reached_s() - self.latency_s
        return self._probabilities(self._cleaned(until_s))

    def _reached_s(self) -> float:
        own_s = self._raw.time_s(self._pushed - 1)
        return min(own_s, self._beats_until_s) if self.settings.led_by_beats else own_s

    def _keep(self, samples: Floats) -> None:
        """Filter new samples and keep them until their beats are known."""
        level, lost = self._bridged.push(samples)
        means = self._groups.push(level)
        valid = self._valid_groups.push((~lost).astype(np.float64))
        high = self._high_pass.push(means)
        slow = self._envelope.push(np.abs(high), valid <= 0.0)
        ticks = np.arange(self._taken, self._taken + len(means), dtype=np.int64)
        self._taken += len(means)
        new = np.array((self._clock.times_s(ticks), high, slow, valid))
        self._kept = np.concatenate((self._kept, new), axis=1)

    def _cleaned(self, until_s: float) -> Floats:
        """Return normalised samples up to a time, which are valid, and which are led by beats."""
        kept_s = self._kept[0]
        after = int(np.searchsorted(kept_s, until_s, side="right"))
        here = slice(self._given, max(after, self._given))
        time_s, values, envelope, valid = self._kept[:, here]
        led: Bools = np.zeros(len(time_s), dtype=np.bool_)
        if self.settings.led_by_beats:
            values, led = self._notch.clean(time_s, values, until_s, kept_s, self._kept[1])
        second = self._second.push(values)
        moves = envelope > TINY
        moved = np.divide(second, envelope, out=np.zeros(len(second)), where=moves)
        self._given = here.stop
        # An interval that is not done with may have begun so long ago.
        done_s = (time_s[-1] if len(time_s) else -math.inf) - 2.0 * AHEAD_S
        gone = min(int(np.searchsorted(kept_s, done_s)), self._given)
        self._kept = self._kept[:, gone:].copy()
        self._given -= gone
        return np.array((moved, (valid >= 1.0) & moves, led))

    def _probabilities(self, normalised: Floats) -> ApneaProbabilities:
        """Return the probability at the end of every window that has been filled."""
        found = self._spread.push(normalised)
        time_s = self._clock.times_s(found.end - 1)
        known_s = time_s + self.latency_s
        if self._ended:
            known_s = np.minimum(known_s, self._raw.time_s(self._pushed - 1))
        return ApneaProbabilities(
            time_s,
            np.maximum(known_s, time_s),
            probability_of(found.spread),
            found.spread,
            found.led_share > LED_SHARE,
            settled_until_s=self.settled_until_s,
        )
