"""Band-passes of the two channels, causal, with their delay known and taken off.

In come raw samples; out comes a band in which a QRS complex, or a breath, is seen well. Both run
forward alone, so that they can be streamed. What that costs in delay is known, and the clock of the
output is set back by it: a peak stays at the time at which it was.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import numpy.typing as npt
from scipy import signal

from infantmon.dsp.anchored import Anchored
from infantmon.dsp.bridged import Bridged
from infantmon.dsp.decimate import GroupMean
from infantmon.dsp.fir import SymmetricFir
from infantmon.dsp.sections import Sections, band_pass, delay_ticks
from infantmon.errors import ArgumentError, as_floats, require_number, require_rate
from infantmon.model.arrays import Floats, as_samples
from infantmon.model.carried import record
from infantmon.model.clock import Clock
from infantmon.model.signal import Signal
from infantmon.stages.contract import Stage, settled_before

LOWEST_ECG_HZ = 60.0
LOWEST_IMPEDANCE_HZ = 20.0
WORKING_HZ = 25.0  # impedance is brought down to between this and twice this rate
BRIDGED_GAP_S = 0.1  # after a longer gap the impedance goes on from the level before it
REACH_S = 0.48  # half length of the impedance low-pass
SIDE_LOBE_BETA = 3.0  # Kaiser window: a steeper edge is worth more here than deep side lobes


@record
@dataclass(frozen=True)
class EcgBandPassSettings:
    """Settings of `EcgBandPass`.

    Parameters
    ----------
    rate_hz : float
        Samples a second; at least 60 Hz.
    start_s : float
        Time of the first sample, in seconds from the recording's start.
    low_hz, high_hz : float
        Edges at which the amplitude is down to 0.71 (-3 dB). The defaults are no band of the
        detector: they fit every rate from 60 Hz on, which 35 Hz does not. ``low_hz=10.0,
        high_hz=35.0`` is what `RPeakDetector` looks at, from about 100 Hz on.

    Raises
    ------
    ArgumentError
        If the rate is too low, or the band does not lie between 0 and half the rate.
    """

    rate_hz: float
    start_s: float = 0.0
    low_hz: float = 8.0
    high_hz: float = 25.0

    def __post_init__(self) -> None:
        as_floats(self)
        rate = require_rate(self.rate_hz, lowest_hz=LOWEST_ECG_HZ)
        require_number(self.start_s, name="start_s", unit="s")
        low = require_number(self.low_hz, name="low_hz", unit="Hz")
        high = require_number(self.high_hz, name="high_hz", unit="Hz")
        if not 0.0 < low < high < rate / 2.0:
            raise ArgumentError(
                f"the band is {low:g} to {high:g} Hz; it must rise and lie between 0 and "
                f"{rate / 2.0:g} Hz, half the sampling rate. Choose other edges."
            )


class EcgBandPass(Stage):
    """Band in which a QRS complex stands out, as a causal Butterworth filter of order 2 per edge.

    Parameters
    ----------
    settings : EcgBandPassSettings
        Rate, start and band.

    Notes
    -----
    For use by itself, to show an ECG or to build on: nothing in the chain reads it. `RPeakDetector`
    has a band of its own, 10 to 35 Hz (less where the rate is below 97 Hz) after averaging down to
    100 to 200 Hz. That was chosen for the narrow complexes of infants; the 8 to 25 Hz here are the
    project's choice for a band that every rate allows.

    Output sample k is ready with input sample k. Its times are moved back by the filter's group
    delay in the middle of the band (`delay_s`), so that a QRS is where it was. The first level is
    taken off before the filter; samples that are not finite hold the last finite one. Memory: four
    numbers.
    """

    settings_type: ClassVar = EcgBandPassSettings
    carried: ClassVar[tuple[str, ...]] = ("_anchored", "_sections", "_given")

    def __init__(self, settings: EcgBandPassSettings) -> None:
        super().__init__(settings)
        rate = settings.rate_hz
        sos = band_pass(settings.low_hz, settings.high_hz, order=2, rate_hz=rate)
        middle_hz = math.sqrt(settings.low_hz * settings.high_hz)
        self.delay_s = delay_ticks(sos, middle_hz, rate_hz=rate) / rate
        self._clock = Clock(rate, settings.start_s - self.delay_s)
        self._anchored = Anchored()
        self._sections = Sections(sos)
        self._given = 0

    @property
    def clock(self) -> Clock:
        """The clock of the output; the delay is taken off in it."""
        return self._clock

    @property
    def latency_s(self) -> float:
        """The group delay in the middle of the band, in seconds."""
        return self.delay_s

    @property
    def settled_until_s(self) -> float:
        """Time from which on output samples are still to come, in seconds."""
        reached = self._clock.time_s(self._given)
        return settled_before(reached, 0.0, ended=self._ended)

    def push(self, values: npt.ArrayLike, *, last: bool = False) -> Signal:
        """Take samples, return as many.

        Parameters
        ----------
        values : array_like, shape (n,)
            ECG samples in any unit; none is fine.
        last : bool
            Whether the stream ends here.

        Returns
        -------
        Signal
            Filtered samples, in the same unit.
        """
        samples = as_samples(values, name="ECG samples")
        self.begin_push(last=last)
        steady, _ = self._anchored.push(samples)
        filtered = self._sections.push(steady)
        first, self._given = self._given, self._given + len(filtered)
        return Signal(filtered, first, self._clock, self.settled_until_s)


@record
@dataclass(frozen=True)
class ImpedanceBandPassSettings:
    """Settings of `ImpedanceBandPass`.

    Parameters
    ----------
    rate_hz : float
        Samples a second; at least 20 Hz.
    start_s : float
        Time of the first sample, in seconds from the recording's start.
    cutoff_hz : float
        Where the amplitude is down to a half.
    """

    rate_hz: float
    start_s: float = 0.0
    cutoff_hz: float = 2.5

    def __post_init__(self) -> None:
        as_floats(self)
        require_rate(self.rate_hz, lowest_hz=LOWEST_IMPEDANCE_HZ)
        require_number(self.start_s, name="start_s", unit="s")
        cutoff = require_number(self.cutoff_hz, name="cutoff_hz", unit="Hz")
        if not 0.5 <= cutoff <= 5.0:
            raise ArgumentError(
                f"cutoff_hz is {cutoff:g} Hz; breathing of infants needs 0.5 to 5 Hz. "
                "Choose an edge in that range."
            )


class ImpedanceBandPass(Stage):
    """Band of breathing of infants: everything slow up to 2.5 Hz, in linear phase.

    Groups of samples are averaged down to between 25 and 50 Hz, then a symmetric filter passes what
    lies below `cutoff_hz`. There is no high-pass: one that is steep enough to help makes swings
    of its own after each breath, and breaths are told by their rise and fall, not by their level.
    The first level is taken off.

    Parameters
    ----------
    settings : ImpedanceBandPassSettings
        Rate, start and edge.

    Notes
    -----
    The delay is exact and taken off: output sample k stands for its own time and is ready
    `latency_s` later. Memory: one second of samples at the lower rate.
    """

    settings_type: ClassVar = ImpedanceBandPassSettings
    carried: ClassVar[tuple[str, ...]] = ("_bridged", "_groups", "_fir", "_taken", "_given")

    def __init__(self, settings: ImpedanceBandPassSettings) -> None:
        super().__init__(settings)
        rate = settings.rate_hz
        size = max(1, math.floor(rate / WORKING_HZ))
        self._raw = Clock(rate, settings.start_s)
        self._clock = Clock(rate / size, settings.start_s + (size - 1) / (2.0 * rate))
        self.taps = low_pass_taps(settings.cutoff_hz, self._clock.rate_hz)
        self._bridged = Bridged(math.floor(BRIDGED_GAP_S * rate))
        self._groups = GroupMean(size)
        self._fir = SymmetricFir(self.taps)
        self._taken = 0
        self._given = 0

    @property
    def clock(self) -> Clock:
        """The clock of the output, at the lower rate."""
        return self._clock

    @property
    def latency_s(self) -> float:
        """Seconds of raw input that must follow an output sample's time before it is given."""
        size, rate = self._groups.size, self.settings.rate_hz
        return float(self._fir.delay_ticks * size / rate + (size - 1) / (2.0 * rate))

    @property
    def settled_until_s(self) -> float:
        """All output samples before this time have been given, in seconds."""
        reached = self._raw.time_s(self._taken - 1)
        return settled_before(reached, self.latency_s, ended=self._ended)

    def push(self, values: npt.ArrayLike, *, last: bool = False) -> Signal:
        """Take samples, return the filtered ones that are ready.

        Parameters
        ----------
        values : array_like, shape (n,)
            Impedance samples in any unit; none is fine.
        last : bool
            Whether the stream ends here. Samples of an unfinished last group are dropped.

        Returns
        -------
        Signal
            Filtered samples at the lower rate, in the same unit.
        """
        samples = as_samples(values, name="impedance samples")
        self.begin_push(last=last)
        self._taken += len(samples)
        steady, _ = self._bridged.push(samples)
        filtered = self._fir.push(self._groups.push(steady), last=last)
        first, self._given = self._given, self._given + len(filtered)
        return Signal(filtered, first, self._clock, self.settled_until_s)


def low_pass_taps(cutoff_hz: float, rate_hz: float) -> Floats:
    """Return the symmetric coefficients of the impedance low-pass at a rate; they add up to 1.

    Parameters
    ----------
    cutoff_hz, rate_hz : float
        Where the gain is a half, and samples a second.

    Returns
    -------
    numpy.ndarray, shape (n,)
        An odd number of coefficients.
    """
    reach = math.floor(REACH_S * rate_hz + 1e-9)
    taps = signal.firwin(
        2 * reach + 1, cutoff_hz, window=("kaiser", SIDE_LOBE_BETA), fs=rate_hz, scale=True
    )
    return np.asarray(taps, dtype=np.float64)
