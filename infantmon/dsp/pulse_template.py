"""The heart's pulsation in the impedance, as harmonics of the beat, followed from beat to beat."""

from __future__ import annotations

import math
from typing import ClassVar, NamedTuple

import numpy as np

from infantmon.model.arrays import Floats
from infantmon.model.carried import Carried

BEATS = 3  # intervals in one fit
POINTS = 12  # of each interval
HARMONICS = 3
QUIET = 0.6  # of the usual swing: less is a pause, and what moves then is the heart
STILL_QUIET = 1.5  # in a pause, of the usual swing: so much may still be the heart
EXPLAINED = 0.7  # if its harmonics explain this share of the power
QUICK = 0.9  # weight of a new fit in a pause
SLOW = 1.0 / 32.0  # and while the infant breathes
HUGE = 3.0  # of the usual swing: more is movement, nothing is learned from it
SAME_INTERVAL = 0.12  # intervals whose logarithms differ by less are one heart rate
LONG_QUIET = 60  # beats after which a lasting smaller swing becomes the usual one
SWING_SHARE = 0.05
GATE_SHARE = 0.1

_PHASE = (np.arange(BEATS * POINTS) + 0.5) / POINTS
_WINDOW = 1.0 - np.cos(2.0 * np.pi * _PHASE / BEATS)
_ANGLE = 2.0 * np.pi * np.outer(np.arange(1, HARMONICS + 1), _PHASE)
_SHAPES = [shape for a in _ANGLE for shape in (np.cos(a), np.sin(a))]
_COS = np.cos(_ANGLE) * _WINDOW * (2.0 / (BEATS * POINTS))
_SIN = np.sin(_ANGLE) * _WINDOW * (2.0 / (BEATS * POINTS))


class Fit(NamedTuple):
    """Windows of three beats, seen as harmonics of the beat."""

    harmonics: Floats
    swing: Floats
    explained: Floats


def fit(samples: Floats) -> Fit:
    """Return the harmonics of the beat in windows of three beats.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n, 36)
        Twelve samples of each of three consecutive intervals, evenly spaced in phase.

    Returns
    -------
    harmonics : numpy.ndarray, shape (n, 6)
        Cosine and sine parts of one, two and three times the heart rate.
    swing : numpy.ndarray, shape (n,)
        Largest less smallest sample.
    explained : numpy.ndarray, shape (n,)
        Share of the power in the window that the harmonics explain.

    Notes
    -----
    The window is a raised cosine: what is slower than the heart by more than two thirds of its
    rate leaves no trace, and no line has to be taken out (that would take most of the heart's own
    part with it).
    """
    level = np.sum(samples * _WINDOW, axis=1, keepdims=True) / (BEATS * POINTS)
    centred = samples - level
    parts = [np.sum(centred * row, axis=1) for pair in zip(_COS, _SIN, strict=True) for row in pair]
    rest = centred
    for part, row in zip(parts, _SHAPES, strict=True):
        rest = rest - part[:, np.newaxis] * row
    power = np.sum(centred * centred * _WINDOW, axis=1)
    left = np.sum(rest * rest * _WINDOW, axis=1)
    explained = 1.0 - left / np.where(power > 0.0, power, 1.0)
    return Fit(np.stack(parts, axis=1), samples.max(axis=1) - samples.min(axis=1), explained)


def rendered(harmonics: Floats, cycles: Floats) -> Floats:
    """Return the pulsation at phases (in cycles of the beat), one row of harmonics a phase."""
    angle = 2.0 * np.pi * (cycles - np.floor(cycles))
    cosine, sine = np.cos(angle), np.sin(angle)
    c, s = cosine, sine
    total = harmonics[:, 0] * c + harmonics[:, 1] * s
    for first in range(2, 2 * HARMONICS, 2):
        c, s = c * cosine - s * sine, s * cosine + c * sine
        total = total + harmonics[:, first] * c + harmonics[:, first + 1] * s
    return total


class Heard(NamedTuple):
    """One fit: see `Fit`."""

    harmonics: list[float]
    swing: float
    explained: float


class Learned(NamedTuple):
    """What is known of the pulsation after a beat."""

    harmonics: list[float]
    quiet: bool  # the swing is much smaller than usual: a pause
    helps: bool  # taking the pulsation out has made the signal smoother of late


class PulseTemplate(Carried):
    """Follows the harmonics from beat to beat: slowly through breaths, quickly in a pause.

    While the infant breathes, every fit holds some of the breath, so a new fit weighs little. When
    the swing falls under 0.6 of the usual one, nothing but the heart is left, and a new fit weighs
    nearly all: so the template follows a pulsation that changes as the heart slows. As breathing
    comes back, the template of the pause goes over to the one before it as the heart rate does. The
    usual swing cannot be locked in place, nor can the template of a pause: what lasts for 60 beats
    becomes usual.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_usual",
        "_usual_s",
        "_paused",
        "_paused_s",
        "_fits",
        "_swing",
        "_quiet_for",
        "_away_for",
        "_gain",
    )

    def __init__(self) -> None:
        self._usual = [0.0] * (2 * HARMONICS)  # through breaths
        self._usual_s = math.nan  # at this interval
        self._paused = [0.0] * (2 * HARMONICS)  # in the pause, or the latest one
        self._paused_s = math.nan  # at this interval; NaN: no other than the usual one
        self._fits = 0
        self._swing = math.nan  # the usual one
        self._quiet_for = 0
        self._away_for = 0  # beats at the interval of a pause that is over
        self._gain = 0.0  # smoothness won by taking the pulsation out

    def take(self, heard: Heard, interval_s: float) -> Learned:
        """Learn from one fit, made at a mean interval."""
        if self._fits == 0:
            self._swing, self._usual_s = heard.swing, interval_s
        quiet = self._is_quiet(heard)
        self._quiet_for = self._quiet_for + 1 if quiet else 0
        share = self._share_of_pause(interval_s)
        if heard.swing <= HUGE * self._swing:
            known = _mixed(self._usual, self._paused, share)
            self._gain += GATE_SHARE * (_smoother_by(known, heard.harmonics) - self._gain)
            self._fits += 1
            if quiet:
                self._learn_in_pause(heard.harmonics, interval_s)
                share = 1.0
            else:
                self._learn_in_breaths(heard.harmonics, interval_s, share)
        if not quiet or self._quiet_for > LONG_QUIET:
            weight = max(SWING_SHARE, 1.0 / (self._fits + 1))
            self._swing += weight * (min(heard.swing, 2.0 * self._swing) - self._swing)
        return Learned(_mixed(self._usual, self._paused, share), quiet, self._gain > 0.0)

    def unheard(self, interval_s: float) -> Learned:
        """Return what is known at an interval when there is no new fit."""
        share = self._share_of_pause(interval_s)
        return Learned(_mixed(self._usual, self._paused, share), False, self._gain > 0.0)

    def _is_quiet(self, heard: Heard) -> bool:
        """Tell whether there is no breath in a fit."""
        if heard.swing < QUIET * self._swing:
            return True
        still = self._quiet_for > 0 and heard.explained > EXPLAINED
        return still and heard.swing < STILL_QUIET * self._swing

    def _share_of_pause(self, interval_s: float) -> float:
        """Return how near an interval is to that of the pause, from 0 (the usual one) to 1."""
        if math.isnan(self._paused_s) or interval_s <= 0.0:
            return 0.0
        between = math.log(self._paused_s / self._usual_s)
        if abs(between) < SAME_INTERVAL:
            return 1.0
        return min(max(math.log(interval_s / self._usual_s) / between, 0.0), 1.0)

    def _learn_in_pause(self, harmonics: list[float], interval_s: float) -> None:
        if self._quiet_for == 1 or math.isnan(self._paused_s):
            self._paused, self._paused_s = list(harmonics), interval_s
        self._paused = _mixed(self._paused, harmonics, QUICK)
        self._paused_s += QUICK * (interval_s - self._paused_s)
        self._away_for = 0
        if abs(math.log(interval_s / self._usual_s)) < SAME_INTERVAL:
            self._usual = _mixed(self._usual, harmonics, QUICK)

    def _learn_in_breaths(self, harmonics: list[float], interval_s: float, share: float) -> None:
        weight = max(SLOW, 1.0 / (self._fits + 1))
        if share > 0.5:
            self._paused = _mixed(self._paused, harmonics, weight)
            self._away_for += 1
            if self._away_for > LONG_QUIET or self._is_same():
                self._usual, self._usual_s = self._paused, self._paused_s
                self._paused_s = math.nan
            return
        self._away_for = 0
        self._usual = _mixed(self._usual, harmonics, weight)
        self._usual_s += weight * (interval_s - self._usual_s)
        if share < 0.1:
            self._paused_s = math.nan

    def _is_same(self) -> bool:
        """Tell whether the pause was at the usual interval."""
        return abs(math.log(self._paused_s / self._usual_s)) < SAME_INTERVAL


def _mixed(one: list[float], other: list[float], share: float) -> list[float]:
    """Return a mean of two rows, `share` of it from the other."""
    return [a + share * (b - a) for a, b in zip(one, other, strict=True)]


def _smoother_by(known: list[float], harmonics: list[float]) -> float:
    """Return how much less the slope varies if what is known is taken out of a fit."""
    gain = 0.0
    for index, (old, new) in enumerate(zip(known, harmonics, strict=True)):
        order = index // 2 + 1
        gain += order * order * old * (2.0 * new - old)
    return gain
