"""Harmonics of the heart beat in a signal, fitted over a few beats, and made into samples again."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from infantmon.model.arrays import Floats

BEATS = 3  # intervals in one fit
POINTS = 12  # of each interval
HARMONICS = 3

_PHASE = (np.arange(BEATS * POINTS) + 0.5) / POINTS
_WINDOW = 1.0 - np.cos(2.0 * np.pi * _PHASE / BEATS)
_ANGLE = 2.0 * np.pi * np.outer(np.arange(1, HARMONICS + 1), _PHASE)
_SHAPES = [shape for a in _ANGLE for shape in (np.cos(a), np.sin(a))]
_COS = np.cos(_ANGLE) * _WINDOW * (2.0 / (BEATS * POINTS))
_SIN = np.sin(_ANGLE) * _WINDOW * (2.0 / (BEATS * POINTS))


class Fit(NamedTuple):
    """Windows of three beats, seen as harmonics of the beat; one row a window."""

    harmonics: Floats
    power: Floats
    rest: Floats


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
    power : numpy.ndarray, shape (n,)
        Mean square in the window, without the mean.
    rest : numpy.ndarray, shape (n,)
        The same of what the harmonics leave.

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
    power, left = (np.sum(x * x * _WINDOW, axis=1) / (BEATS * POINTS) for x in (centred, rest))
    return Fit(np.stack(parts, axis=1), power, left)


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
