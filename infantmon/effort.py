"""From impedance to breaths: band-pass, pulsation taken out, breaths; the three stages in a row.

In come raw impedance and, where there is an ECG, R peaks; out come the impedance as breathing alone
would have made it, and the breaths in it. Each stage has to know how late the one before it is:
that is told here, for a stream and for a whole array alike.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import ClassVar

import numpy.typing as npt

from infantmon.errors import require_rate
from infantmon.model.arrays import Floats, as_samples
from infantmon.model.carried import Carried
from infantmon.model.marks import Breaths, RPeaks, require_r_peaks
from infantmon.stages.bandpass import ImpedanceBandPass, ImpedanceBandPassSettings
from infantmon.stages.breaths import BreathDetector, BreathSettings
from infantmon.stages.cardiac_artifact import (
    CardiacArtifactRejector,
    CardiacArtifactSettings,
    Cleaned,
)

BLOCK_S = 600.0  # replay goes on in blocks of this length
BEAT_LAG_S = 1.2  # R peaks are known this long after their time at the latest
UNLED_LAG_S = (
    1.04  # without an ECG: so much later than its time a sample can be followed well enough
)


class EffortStages(Carried):
    """Band-pass, artefact rejection and breaths of one impedance channel.

    Parameters
    ----------
    rate_hz : float
        Samples a second of the raw impedance; at least 20 Hz.
    beat_lag_s : float or None
        Latency of the R peaks that lead, in seconds; None where there is no ECG.
    """

    carried: ClassVar[tuple[str, ...]] = ("bandpass", "rejector", "breaths")

    def __init__(self, rate_hz: float, beat_lag_s: float | None) -> None:
        led = beat_lag_s is not None
        self.bandpass = ImpedanceBandPass(ImpedanceBandPassSettings(rate_hz))
        clock = self.bandpass.clock
        self.rejector = CardiacArtifactRejector(
            CardiacArtifactSettings(
                clock.rate_hz,
                start_s=clock.start_s,
                input_lag_s=self.bandpass.latency_s,
                beat_lag_s=UNLED_LAG_S if beat_lag_s is None else beat_lag_s,
                led_by_beats=led,
            )
        )
        self.breaths = BreathDetector(
            BreathSettings(
                clock.rate_hz,
                start_s=clock.start_s,
                input_lag_s=self.rejector.latency_s,
                raw_rate_hz=rate_hz,
                led_by_beats=led,
            )
        )

    def push(self, values: Floats, beats: RPeaks | None, *, last: bool) -> tuple[Cleaned, Breaths]:
        """Take raw samples and new beats; return what was left of the samples, and the breaths."""
        passed = self.bandpass.push(values, last=last)
        cleaned = self.rejector.push(passed.values, beats, last=last)
        breaths = self.breaths.push(
            cleaned.signal.values,
            cleaned.cycles.values,
            cleaned.followed.values,
            cleaned.pulse.values,
            last=last,
        )
        return cleaned, breaths


def detect_breaths(
    impedance: npt.ArrayLike, rate_hz: float, r_peaks: RPeaks | None = None
) -> Breaths:
    """Find the breaths in a chest impedance.

    Parameters
    ----------
    impedance : array_like, shape (n,)
        Chest impedance in any unit, with any offset. NaN where a sample is missing.
    rate_hz : float
        Samples a second; at least 20 Hz.
    r_peaks : RPeaks, optional
        R peaks of an ECG recorded at the same time, its time 0 that of the impedance. Without them
        the heart is followed in the impedance, if its pulsation can be told from breathing there;
        else that is left in.

    Returns
    -------
    Breaths
        One mark a breath, at its inspiratory peak.

    Raises
    ------
    ArgumentError
        If the rate is too low or no rate, the samples are not one row of numbers, or the R peaks
        are bare times.

    Notes
    -----
    Latency (``known_s`` less ``time_s``) is at most 3.4 s. Memory: a block of ten minutes.

    Examples
    --------
    >>> import numpy as np
    >>> time_s = np.arange(1500) / 50.0
    >>> breaths = detect_breaths(np.sin(2 * np.pi * 0.7 * time_s), rate_hz=50.0)
    >>> len(breaths)
    21
    """
    samples = as_samples(impedance, name="impedance")
    led = r_peaks is not None
    if led:
        require_r_peaks(r_peaks, name="r_peaks")
    rate_hz = require_rate(rate_hz)
    stages = EffortStages(rate_hz, BEAT_LAG_S if led else None)
    parts: list[Breaths] = []
    step = max(1, round(BLOCK_S * rate_hz))
    for first in range(0, max(len(samples), 1), step):
        last = first + step >= len(samples)
        beats = _beats_until(r_peaks, (first + step) / rate_hz, first / rate_hz, last=last)
        parts.append(stages.push(samples[first : first + step], beats, last=last)[1])
    return Breaths.joined(parts)


def _beats_until(
    r_peaks: RPeaks | None, until_s: float, from_s: float, *, last: bool
) -> RPeaks | None:
    """Return the beats that a block of the ECG brings."""
    if r_peaks is None:
        return None
    late = r_peaks.known_s >= from_s if from_s > 0.0 else r_peaks.known_s < until_s
    block = r_peaks.where(late & ((r_peaks.known_s < until_s) | last))
    return replace(block, settled_until_s=math.inf if last else until_s - BEAT_LAG_S)
