"""The heart's pulsation in the impedance, as harmonics of the beat, followed from beat to beat."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import ClassVar, NamedTuple

import numpy as np

from infantmon.model.arrays import Floats
from infantmon.model.carried import Carried

BEATS = 3  # intervals in one fit
POINTS = 12  # of each interval
HARMONICS = 3
QUIET = 0.6  # of the usual swing: less is a pause, and what moves then is the heart
QUICK = 0.5  # weight of a new fit in a pause
SLOW = 1.0 / 32.0  # and while the infant breathes
HUGE = 3.0  # of the usual swing: more is movement, nothing is learned from it
LONG_QUIET = 60  # beats after which a lasting smaller swing becomes the usual one
SWING_SHARE = 0.05
GATE_SHARE = 0.1

_PHASE = (np.arange(BEATS * POINTS) + 0.5) / POINTS
_WINDOW = 1.0 - np.cos(2.0 * np.pi * _PHASE / BEATS)
_ANGLE = 2.0 * np.pi * np.outer(np.arange(1, HARMONICS + 1), _PHASE)
_COS = np.cos(_ANGLE) * _WINDOW * (2.0 / (BEATS * POINTS))
_SIN = np.sin(_ANGLE) * _WINDOW * (2.0 / (BEATS * POINTS))


def fit(samples: Floats) -> tuple[Floats, Floats]:
    """Return the harmonics of the beat in windows of three beats, and the swing in each window.

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

    Notes
    -----
    The window is a raised cosine: what is slower than the heart by more than two thirds of its
    rate leaves no trace, and no line has to be taken out (that would take most of the heart's own
    part with it).
    """
    level = np.sum(samples * _WINDOW, axis=1, keepdims=True) / (BEATS * POINTS)
    centred = samples - level
    parts = [np.sum(centred * row, axis=1) for pair in zip(_COS, _SIN, strict=True) for row in pair]
    return np.stack(parts, axis=1), samples.max(axis=1) - samples.min(axis=1)


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


class Learned(NamedTuple):
    """What is known of the pulsation after a beat."""

    harmonics: list[float]
    quiet: bool  # the swing is much smaller than usual: a pause
    helps: bool  # taking the pulsation out has made the signal smoother of late


class PulseTemplate(Carried):
    """Follows the harmonics from beat to beat: slowly through breaths, quickly in a pause.

    While the infant breathes, every fit holds some of the breath, so a new fit weighs little. When
    the swing falls under 0.6 of the usual one, nothing but the heart is left, and a new fit weighs
    a half: so the template follows a pulsation that changes as the heart slows. The usual swing
    cannot be locked in place: a smaller one that lasts for 60 beats is taken over.
    """

    carried: ClassVar[tuple[str, ...]] = ("_harmonics", "_fits", "_swing", "_quiet_for", "_gain")

    def __init__(self) -> None:
        self._harmonics = [0.0] * (2 * HARMONICS)
        self._fits = 0
        self._swing = math.nan  # the usual one
        self._quiet_for = 0
        self._gain = 0.0  # smoothness won by taking the pulsation out

    def take(self, harmonics: Sequence[float], swing: float) -> Learned:
        """Learn from one fit."""
        if math.isnan(self._swing):
            self._swing = swing
        quiet = swing < QUIET * self._swing
        self._quiet_for = self._quiet_for + 1 if quiet else 0
        if swing <= HUGE * self._swing:
            self._gain += GATE_SHARE * (self._smoother_by(harmonics) - self._gain)
            weight = QUICK if quiet else max(SLOW, 1.0 / (self._fits + 2))
            self._harmonics = [
                old + weight * (new - old)
                for old, new in zip(self._harmonics, harmonics, strict=True)
            ]
            self._fits += 1
        if not quiet or self._quiet_for > LONG_QUIET:
            share = max(SWING_SHARE, 1.0 / (self._fits + 1))
            self._swing += share * (min(swing, 2.0 * self._swing) - self._swing)
        return self.learned(quiet=quiet)

    def learned(self, *, quiet: bool = False) -> Learned:
        """Return what is known now."""
        return Learned(self._harmonics, quiet, self._gain > 0.0)

    def _smoother_by(self, harmonics: Sequence[float]) -> float:
        """Return how much less the slope varies if the template is taken out of this fit."""
        gain = 0.0
        for index, (known, new) in enumerate(zip(self._harmonics, harmonics, strict=True)):
            order = index // 2 + 1
            gain += order * order * known * (2.0 * new - known)
        return gain
