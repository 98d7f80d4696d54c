"""Marks: heart beats, breaths, their rates, and how much pulsation was taken out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

import numpy as np

from infantmon.errors import ArgumentError
from infantmon.model.arrays import Bools, Floats, Ints
from infantmon.model.findings import Findings, column


@dataclass(frozen=True, eq=False)
class RPeaks(Findings):
    """Heart beats, each at the dominant extreme of its QRS complex.

    Attributes
    ----------
    sample : numpy.ndarray of int64, shape (n,)
        Sample number on the ECG's own clock.
    amplitude : numpy.ndarray, shape (n,)
        Signed height of the extreme over its surroundings, in the ECG's unit.
    reliable : numpy.ndarray of bool, shape (n,)
        False where the beat does not look like the beats around it.
    """

    sample: Ints = column(np.int64)
    amplitude: Floats = column(np.float64)
    reliable: Bools = column(np.bool_)


@dataclass(frozen=True, eq=False)
class FusedRPeaks(RPeaks):
    """Heart beats of two ECG leads in one train.

    `time_s` is that of the leading lead's mark, on the first lead's clock; `sample` is the nearest
    sample there; `amplitude` is in the unit of the lead that gave the mark.

    Attributes
    ----------
    seen_in : numpy.ndarray of int64, shape (n,)
        1 or 2 if only that lead shows the beat, 3 if both do.
    """

    seen_in: Ints = column(np.int64)


@dataclass(frozen=True, eq=False)
class Breaths(Findings):
    """Breaths, each at its inspiratory peak: the middle of its top.

    Attributes
    ----------
    sample : numpy.ndarray of int64, shape (n,)
        Sample number on the impedance's own clock, nearest to the mark.
    size : numpy.ndarray, shape (n,)
        Rise of the inspiration, in the impedance's unit.
    rise_start_s, fall_end_s : numpy.ndarray, shape (n,)
        Where the effort of this breath begins and ends, in seconds: the edges for the effort-free
        part of a pause. NaN where it is not known yet.
    shallow : numpy.ndarray of bool, shape (n,)
        True for a breath much smaller than the breaths before it.
    """

    sample: Ints = column(np.int64)
    size: Floats = column(np.float64)
    rise_start_s: Floats = column(np.float64)
    fall_end_s: Floats = column(np.float64)
    shallow: Bools = column(np.bool_)

    def effort_free_s(self, before: int, after: int) -> float | None:
        """Return the time from the end of one breath's effort to the start of another's.

        Parameters
        ----------
        before, after : int
            Rows of the two breaths.

        Returns
        -------
        float or None
            In seconds; None where an edge is not known, or the edges overlap.
        """
        free_s = float(self.rise_start_s[after] - self.fall_end_s[before])
        return free_s if math.isfinite(free_s) and free_s >= 0 else None


@dataclass(frozen=True, eq=False)
class HeartRates(Findings):
    """Heart rate at each beat, over the averaging of the stage that made it.

    Attributes
    ----------
    heart_rate_bpm : numpy.ndarray, shape (n,)
        60 / mean of the averaged RR intervals, in beats a minute.
    interval_s : numpy.ndarray, shape (n,)
        The mean interval behind it, in seconds.
    """

    heart_rate_bpm: Floats = column(np.float64)
    interval_s: Floats = column(np.float64)


@dataclass(frozen=True, eq=False)
class BreathingRates(Findings):
    """Rate of breathing at each breath, over the averaging of the stage that made it.

    Attributes
    ----------
    breathing_rate_per_min : numpy.ndarray, shape (n,)
        60 / mean of the averaged intervals from breath to breath, in breaths a minute.
    interval_s : numpy.ndarray, shape (n,)
        The mean interval behind it, in seconds.
    """

    breathing_rate_per_min: Floats = column(np.float64)
    interval_s: Floats = column(np.float64)


PULSATION_OVER_S = 3.0
"""Sizes of pulsation and breath are those of so long before their time, in seconds."""


@dataclass(frozen=True, eq=False)
class Pulsations(Findings):
    """How much heart pulsation was taken out of the impedance, once a second.

    Attributes
    ----------
    pulsation : numpy.ndarray, shape (n,)
        Peak-to-peak size of what was removed in the 3 s before `time_s`, in the impedance's unit.
    breath : numpy.ndarray, shape (n,)
        Peak-to-peak size of what was left in them, in the impedance's unit.
    led_by_beats : numpy.ndarray of bool, shape (n,)
        True where it was taken out as R peaks told; not where none could be trusted, or where no
        pulsation was seen that it would help to take out.
    followed : numpy.ndarray of bool, shape (n,)
        True where it was taken out by beats that were followed in the impedance itself. Where both
        are false nothing was.
    locked : numpy.ndarray of bool, shape (n,)
        True where breathing and heart beat keep step one to one and cannot be told apart.
    """

    pulsation: Floats = column(np.float64)
    breath: Floats = column(np.float64)
    led_by_beats: Bools = column(np.bool_)
    followed: Bools = column(np.bool_)
    locked: Bools = column(np.bool_)

    def holding(self, marks_s: Floats) -> Self:
        """Return the rows whose 3 s hold a mark: without a breath what is left is no breath's size.

        Parameters
        ----------
        marks_s : numpy.ndarray, shape (n,)
            Times of breaths, or of beats, ascending, in seconds.
        """
        until = np.searchsorted(marks_s, self.time_s, side="right")
        since = np.searchsorted(marks_s, self.time_s - PULSATION_OVER_S, side="right")
        return self.where(until > since)

    def mostly_without(self, beats: RPeaks) -> bool:
        """Tell whether any pulsation was left in for the most part.

        It was where nothing was followed, and no reliable beat is held.

        Parameters
        ----------
        beats : RPeaks
            From 3 s before the first row on.
        """
        left_in = self.where(~self.followed)
        with_beats = len(left_in.holding(beats.time_s[beats.reliable]))
        return 2 * (with_beats + len(self) - len(left_in)) < len(self)


PROBABILITY_OVER_S, PROBABILITY_EVERY_S = 2.0, 0.25
"""A probability of apnea counts over so long before its time, and is given so often, in seconds."""


@dataclass(frozen=True, eq=False)
class ApneaProbabilities(Findings):
    """Probability of apnea over the two seconds before `time_s`, every quarter of a second.

    Attributes
    ----------
    probability : numpy.ndarray, shape (n,)
        From 0 to 1; NaN where fewer than 90 % of the samples are valid.
    spread : numpy.ndarray, shape (n,)
        Standard deviation of the impedance over its slow envelope; no unit.
    led_by_beats : numpy.ndarray of bool, shape (n,)
        False where the heart's pulsation was left in, for want of R peaks.
    """

    probability: Floats = column(np.float64)
    spread: Floats = column(np.float64)
    led_by_beats: Bools = column(np.bool_)


def require_r_peaks(value: object, *, name: str) -> None:
    """Refuse what is no `RPeaks`: bare times do not tell when each beat became known."""
    if not isinstance(value, RPeaks):
        raise ArgumentError(
            f"{name} is a {type(value).__name__}; pass the RPeaks that detect_r_peaks returns, or "
            "make them of your own beats: RPeaks(time_s, known_s, sample, amplitude, reliable)."
        )
