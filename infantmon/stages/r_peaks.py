"""R peaks: heart beats found in an ECG as it arrives, 30 to 300 a minute, of either polarity.

In comes raw ECG; out come heart beats, each with its height and whether it can be trusted. The idea
in four steps, each with a file of its own in `infantmon.dsp`: an envelope that is high where a QRS
complex is (`qrs_envelope`); its maxima, with what is seen around each (`qrs_candidates`); the
decision which of them are beats (`qrs_decisions`, `qrs_rules`); and the sample at which each beat's
dominant extreme lies (`qrs_locator`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import numpy.typing as npt

from infantmon.dsp.beat_reliability import BeatReliability
from infantmon.dsp.beat_sizes import BeatSizes
from infantmon.dsp.bridged import Bridged
from infantmon.dsp.kept import Kept
from infantmon.dsp.median3 import Median3
from infantmon.dsp.narrow_tops import heights_before_median
from infantmon.dsp.neighbours import steps
from infantmon.dsp.qrs_candidates import CandidateFinder
from infantmon.dsp.qrs_decisions import BeatDecider
from infantmon.dsp.qrs_envelope import LOWEST_RATE_HZ, QrsEnvelope
from infantmon.dsp.qrs_locator import QrsLocator
from infantmon.errors import as_floats, require_number, require_rate, require_text
from infantmon.model.arrays import Bools, Floats, Ints, as_samples
from infantmon.model.carried import record
from infantmon.model.clock import Clock
from infantmon.model.marks import RPeaks
from infantmon.model.units import plain_unit
from infantmon.stages.contract import Stage, settled_before

_BRIDGED_GAP_S = 0.04  # after a longer gap the level may have moved
_MEDIAN_FROM_HZ = 200.0  # below, three samples are as long as an infant's R wave
_APART_S = 0.12  # two marks closer than this are one beat
_LAG_S = 0.017  # by which the envelope of a QRS complex trails the filter's delay
_FLOOR = {"V": 0.15e-3, "mV": 0.15}  # complexes up to this size are not counted,
_BESIDE = 0.3  # but make the beat after them unreliable if they have such a share of its height
_AROUND_S = 0.07  # of a complex looked at for what is taken off its top
_PIECE = 50_000  # samples filtered at a time: what stays in the processor's cache is fast
_BLOCK = 400_000  # samples of a replay pushed at a time


@record
@dataclass(frozen=True)
class RPeakSettings:
    """Settings of `RPeakDetector`.

    Attributes
    ----------
    rate_hz : float
        Sampling rate of the ECG, in Hz; at least 62.5.
    start_s : float
        Time of the first sample, in seconds from the recording's start.
    unit : str or None
        Unit of the samples, if known: with "V" or "mV" complexes of 0.15 mV and less do not count.
    """

    rate_hz: float
    start_s: float = 0.0
    unit: str | None = None

    def __post_init__(self) -> None:
        as_floats(self)
        require_rate(self.rate_hz, lowest_hz=LOWEST_RATE_HZ)
        require_number(self.start_s, name="start_s", unit="s")
        if self.unit is not None:
            require_text(self.unit, name="unit")


class RPeakDetector(Stage):
    r"""Finds heart beats, each at the dominant extreme of its QRS complex.

    Parameters
    ----------
    settings : RPeakSettings
        Rate, start and unit of the ECG.

    Notes
    -----
    **Method.** Samples x are freed of gaps and, from 200 Hz on, of spikes of one sample (median of
    three), averaged in groups down to 100-200 Hz, and band-passed to y, 10 to 35 Hz (Butterworth,
    order 2 per edge, causal; below 97 Hz up to 0.36 of the rate only). The envelope is e[k] = mean
    of abs(y) over 0.08 s around k. A candidate is a maximum of e that is the largest within 0.08 s;
    about two a beat.

    Around each candidate of height h everything within s = 0.75 s on either side is looked at: the
    largest height L; how many candidates lie between 0.3 L and 0.7 L (noise has many, a QRS complex
    few); how deep e falls beside it; and how alike its shape is to those before and after it, as
    the highest of the correlations of y within 0.1 s over shifts of 2 ticks (where the shapes agree
    to 0.95 as they are, no shift is tried), the noise between slow beats left out.

    With B, N and C the medians of the last eight heights of beats, of rejected candidates and of
    clean beats, and R the median of the last eight intervals, a candidate is a beat if

    * h > N + a (min(B, C) - N), where a is 0.33 and rises with the number of in-between candidates,
      for an early candidate, and for one set between two large ones that are R apart; or
    * it is small (h > 0.2 B) but deep, clear of noise (h > 2.3 N), and later after the last beat
      than 0.38 s times the square root of R in seconds, when the T wave is over (the QT interval
      grows with that root); or
    * it fits locally: alike in shape (> 0.9), deep, at least half of L and 0.2 C. This finds the
      beats again after a change of gain or a burst of movement; the last condition keeps noise in
      a standstill from being taken for beats.

    A candidate within 0.28 s of a beat whose steepest step between neighbouring averages is under a
    third of that of the larger candidate before it is a T wave, unless h reaches 0.85 C (a T wave
    as tall as R does not: its envelope is lower), or h > 2.3 N once the T wave is over. After four
    times R without a beat a candidate must be 0.75 B high, or 0.5 B and 8 N, or alike (> 0.92), or
    fairly alike (> 0.8), deep and 2 N high: muscle noise in a standstill is no beat. But the
    largest in sight that is fairly alike, deep, and 0.3 B and 1.6 N high tells B anew, so that
    beats that have become smaller in noise are found again.

    Nothing is a beat within the refractory time, 0.38 R between 0.14 and 0.24 s, and a candidate
    followed at once by a larger one is its foot. Before three beats are known, and after 20 s
    without one, only a candidate that stands alone, or whose like is in sight, is taken: a start in
    pure noise stays without marks. The same after five such candidates where fewer than eight beats
    are known: these may have been a jolt as the electrodes were put on. There is no search back.

    The mark is the largest deflection from the local baseline (mean over 0.18 s) within 0.07 s of
    the centre of the complex, of the polarity that is usual in this signal unless the other is 1.3
    times as large.

    A beat is reliable if the third best score of the last eight beats exceeds 0.78; the score is
    the likeness less 0.04 per in-between candidate. It is not after a complex of 0.3 of its height
    that is too small to be counted (see **Unit**): that may have been a beat. Nor is it after an
    interval of more than 1.8 R in which candidates of 0.35 B and more were passed over, at least
    half as many as beats would be missing (`unseen_beats`). Nor is one of less than 0.45 of the
    sixth largest of 24 beats before it, or one that follows such a beat, where three of the latest
    eight are so small: P waves that are counted look so (`beat_sizes`).

    **Parameters.** Band and decision values were chosen on mitdb (26 records), adfecgdb r01, r04,
    r07, nstdb 118 and simulated signals, and on mitdb replayed up to twice as fast (adfecgdb 1.25
    times): an adult's QRS complex of 90 ms is then one of 45 ms. The band lies higher than is usual
    for adults, as the energy of newborn QRS complexes of 40-50 ms does [1]_. The general scheme,
    levels of signal and noise with a threshold in between and a refractory time, is that of [2]_
    (from memory).

    **Latency** is at most `latency_s`, about 1 s. **Start-up:** none with two beats in the
    first 0.75 s or a beat standing alone; beats are otherwise marked from the first one that has
    its like in sight. **Memory:** about 2 s of samples, plus one push.

    **Unit.** With the unit V or mV, complexes of 0.15 mV and less are not counted (IEC 60601-2-27,
    from memory). What the median of three took off the top of a narrow one is given back for that
    comparison, less three times what it takes off the samples beside it, and at the most twice
    what is left (`narrow_tops`); the amplitude of a mark is that after the median. Under about 150
    Hz the top of a narrow complex may lie between two samples, and is then too small. With any
    other unit, or none, that floor is off: channels in microvolts are as a rule scalp or fetal
    leads with smaller complexes.

    References
    ----------
    .. [1] H. T. Mason et al., Signals 5:118-146, 2024.
    .. [2] J. Pan, W. J. Tompkins, A real-time QRS detection algorithm, IEEE Trans Biomed Eng
       32:230-236, 1985.
    """

    settings_type = RPeakSettings
    carried: ClassVar[tuple[str, ...]] = (
        "_pushed",
        "_bridged",
        "_median",
        "_front",
        "_finder",
        "_decider",
        "_reliability",
        "_locator",
        "_lost",
        "_spiky",
        "_latest",
        "_sizes",
        "_small",
    )

    def __init__(self, settings: RPeakSettings) -> None:
        super().__init__(settings)
        rate = settings.rate_hz
        self._clock = Clock(rate, settings.start_s)
        self._pushed = 0  # samples of input so far
        self._bridged = Bridged(round(_BRIDGED_GAP_S * rate))
        self._median = Median3()
        self._despikes = rate >= _MEDIAN_FROM_HZ
        self._front = QrsEnvelope(rate)
        self._delay = self._front.delay + _LAG_S * self._front.rate_hz
        self._finder = CandidateFinder(self._front.rate_hz, round(self._delay))
        self._decider = BeatDecider(self._front.rate_hz)
        self._reliability = BeatReliability()
        self._locator = QrsLocator(rate, self._front.size)
        self._lost = Kept(np.bool_)
        self._floor = _FLOOR.get(plain_unit(settings.unit or "") or "", 0.0)
        self._lowered = self._despikes and self._floor > 0.0  # a height may matter, and is too low
        self._spiky = Kept()  # the samples before the median, if so
        self._around = round(_AROUND_S * rate)
        self._sizes = BeatSizes()
        self._small = 0.0  # height of the latest complex if it is too small to be counted
        self._latest = -(2**40)  # sample of the latest mark

    @property
    def latency_s(self) -> float:
        """The longest that a beat can be known after its time, in seconds."""
        ticks = self._finder.ahead + self._front.half + 1 + self._delay
        samples = math.ceil(ticks * self._front.size) + self._locator.reach + 2
        return samples / self._clock.rate_hz

    @property
    def settled_until_s(self) -> float:
        """All beats before this time have been given; infinity once the stream has ended."""
        reached = self._clock.time_s(self._pushed - 1)
        return settled_before(reached, self.latency_s, ended=self._ended)

    def push(self, values: npt.ArrayLike, *, last: bool = False) -> RPeaks:
        """Take up samples of the ECG and return the beats that are settled now.

        Parameters
        ----------
        values : array_like, shape (n,)
            The next samples, in any unit. NaN where a sample is missing.
        last : bool
            The stream ends here: everything left is settled.

        Raises
        ------
        StateError
            If the stream has ended already.
        ArgumentError
            If the samples are not real numbers in one dimension.
        """
        samples = as_samples(values, name="ecg")
        self.begin_push(last=last)
        self._pushed += len(samples)
        for at in range(0, max(1, len(samples)), _PIECE):
            piece = samples[at : at + _PIECE]
            self._take(piece, last=last and at + _PIECE >= len(samples))
        places, reliable = self._beats(last=last)
        found = self._marks(places, reliable)
        self._forget()
        return found

    def _take(self, samples: Floats, *, last: bool) -> None:
        """Filter some samples and keep what decisions and marks will need."""
        level, lost = self._bridged.push(samples)
        if self._lowered:
            self._spiky.push(level)
        if self._despikes:
            level = self._median.push(level, last=last)
        self._lost.push(lost)
        held = level
        if last and self._pushed:
            # The end is held long enough for a complex in the last samples to pass the filter.
            final = level[-1] if len(level) else self._locator.final()
            ticks = math.ceil(self._delay) + 2 * self._front.half + 2
            held = np.concatenate((level, np.full(ticks * self._front.size, final)))
        means, band, envelope = self._front.push(held, last=last)
        self._locator.push(level, means)
        self._finder.push(means, band, envelope, last=last)

    def _beats(self, *, last: bool) -> tuple[Ints, Bools]:
        """Return the envelope's ticks at which beats are, and which of them are reliable."""
        found = self._finder.settled(last=last)
        taken, unseen = self._decider.push(found)
        reliable = self._reliability.push(found.likeness[taken], found.between[taken]) & ~unseen
        return found.place[taken], reliable

    def _marks(self, places: Ints, reliable: Bools) -> RPeaks:
        """Return the beats at envelope ticks as marks at samples."""
        if not len(places):
            return RPeaks.empty(self.settled_until_s)
        sample, amplitude = self._locator.locate(np.asarray(places - self._delay, dtype=np.float64))
        known = (places + self._finder.ahead + self._front.half + 1) * self._front.size - 1
        known = np.minimum(known + int(self._despikes), self._pushed - 1)
        # The last sample of a stream may be high, but is not known to be an extreme.
        keep = ~self._lost.windows(sample, 1)[:, 0] & ~(self._ended & (sample == self._pushed - 1))
        height = self._heights(sample, amplitude)
        small = np.where(height <= self._floor, height, 0.0)
        before = np.concatenate(([self._small], small[:-1]))
        reliable &= before < _BESIDE * height  # else the complex before may have been a beat
        self._small = float(small[-1])
        keep &= height > self._floor
        keep[keep] = self._apart(sample[keep])
        reliable[keep] &= ~self._sizes.push(height[keep], reliable[keep])
        sample, known = sample[keep], known[keep]
        return RPeaks(
            self._clock.times_s(sample),
            self._clock.times_s(known),
            sample,
            amplitude[keep],
            reliable[keep],
            settled_until_s=self.settled_until_s,
        )

    def _heights(self, sample: Ints, amplitude: Floats) -> Floats:
        """Return the heights that the floor is for: those of the ECG as it came."""
        height = np.abs(amplitude)
        low = np.flatnonzero(height <= self._floor) if self._lowered else ()
        if len(low):  # seldom; the samples are not joined for nothing
            starts = sample[low] - self._around
            around = self._spiky.columns(starts, 2 * self._around + 1)
            height[low] = heights_before_median(around, amplitude[low])
        return height

    def _apart(self, samples: Ints) -> Bools:
        """Tell which marks are not a second mark on the beat before."""
        least = _APART_S * self.settings.rate_hz
        apart = steps(np.concatenate(([self._latest], samples))) >= least
        for index in np.flatnonzero(~apart).tolist():  # rare; each depends on the one kept before
            kept = samples[:index][apart[:index]]
            latest = int(kept[-1]) if len(kept) else self._latest
            apart[index] = samples[index] - latest >= least
        if apart.any():
            self._latest = int(samples[apart][-1])
        return np.asarray(apart)

    def _forget(self) -> None:
        oldest = self._finder.pending_from - self._delay - 1.0
        self._locator.forget_before(oldest)
        first = math.floor(oldest * self._front.size) - self._locator.reach
        self._lost.forget_before(first)
        self._spiky.forget_before(first - self._around)


def detect_r_peaks(ecg: npt.ArrayLike, rate_hz: float, unit: str | None = None) -> RPeaks:
    """Find the heart beats of a whole ECG, by replaying it through `RPeakDetector`.

    Parameters
    ----------
    ecg : array_like, shape (n,)
        Samples of one lead, in any unit and of either polarity. NaN where a sample is missing.
    rate_hz : float
        Sampling rate, in Hz; at least 62.5.
    unit : str or None
        Unit of the samples, if known: with "V" or "mV" complexes of 0.15 mV and less do not count.

    Returns
    -------
    RPeaks
        Beats with `time_s` in seconds from the first sample.

    Raises
    ------
    ArgumentError
        If the rate cannot be used, or the samples are not real numbers in one dimension.

    See Also
    --------
    RPeakDetector : The stage that is replayed here: method, latency, memory.

    Examples
    --------
    >>> import numpy as np
    >>> len(detect_r_peaks(np.zeros(1000), rate_hz=250.0))
    0
    """
    samples = as_samples(ecg, name="ecg")
    stage = RPeakDetector(RPeakSettings(rate_hz, unit=unit))
    parts = [stage.push(samples[at : at + _BLOCK]) for at in range(0, len(samples), _BLOCK)]
    return RPeaks.joined([*parts, stage.push(samples[:0], last=True)])
