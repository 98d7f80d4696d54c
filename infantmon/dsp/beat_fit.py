"""Harmonics of the heart beat in a signal, fitted over a few beats, and made into samples again.

In come windows of three beats, each beat resampled to as many points; out come the cosine and sine
parts of one, two and three times the heart rate, and how much of the window they explain.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from infantmon.dsp.columns import total
from infantmon.model.arrays import Floats

BEATS = 3  # intervals in one fit
POINTS = 12  # of each interval
HARMONICS = 3

_PHASE = (np.arange(BEATS * POINTS) + 0.5) / POINTS
_WINDOW = (1.0 - np.cos(2.0 * np.pi * _PHASE / BEATS))[:, np.newaxis]
_MEAN = _WINDOW / (BEATS * POINTS)
_ANGLE = 2.0 * np.pi * np.outer(np.arange(1, HARMONICS + 1), _PHASE)
_SHAPES = [shape[:, np.newaxis] for a in _ANGLE for shape in (np.cos(a), np.sin(a))]
_WEIGHTS = np.stack([shape * _MEAN * 2.0 for shape in _SHAPES], axis=1)


class Fit(NamedTuple):
    """Windows of three beats, seen as harmonics of the beat; one column a window."""

    harmonics: Floats
    power: Floats
    rest: Floats


def fit(samples: Floats) -> Fit:
    """Return the harmonics of the beat in windows of three beats.

    Parameters
    ----------
    samples : numpy.ndarray, shape (36, n)
        Twelve samples of each of three consecutive intervals, evenly spaced in phase: one column a
        window, which is summed far faster than one row.

    Returns
    -------
    harmonics : numpy.ndarray, shape (6, n)
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
    points, count = samples.shape
    centred = samples - total(samples * _MEAN)
    weighed = centred[:, np.newaxis] * _WEIGHTS  # all side by side: one sum instead of six
    parts = total(weighed.reshape(points, -1)).reshape(-1, count)
    rest = centred.copy()
    for part, shape in zip(parts, _SHAPES, strict=True):
        rest -= part * shape
    both = np.concatenate((centred, rest), axis=1)
    power = total(both * both * _MEAN)
    return Fit(parts, power[:count], power[count:])


CYCLES = _PHASE
"""Where in a window of three beats each sample is taken, in beats."""
_TAPER = _MEAN[:, 0]
_EACH = 2.0 * _TAPER * np.stack([shape[:, 0] for shape in _SHAPES])


def first_harmonic(samples: Floats) -> tuple[complex, float, float]:
    """Return the first harmonic of one window, its power, and the share that all three explain.

    The same as `fit` of one column, at a sixth of its time: under this window the harmonics are
    orthogonal.

    Parameters
    ----------
    samples : numpy.ndarray, shape (36,)
        Samples at `CYCLES`.

    Returns
    -------
    complex, float, float
        Cosine part less i times the sine part; mean square; share from 0 to 1.
    """
    centred = samples - _TAPER @ samples
    power = float(_TAPER @ (centred * centred))
    parts = _EACH @ centred
    explained = 0.5 * float(parts @ parts)
    share = min(explained / power, 1.0) if power > 0.0 else 0.0
    return complex(parts[0], -parts[1]), power, share


def rendered(harmonics: Floats, cycles: Floats) -> Floats:
    """Return the pulsation at phases (in cycles of the beat), one column of harmonics a phase."""
    angle = 2.0 * np.pi * (cycles - np.floor(cycles))
    cosine, sine = np.cos(angle), np.sin(angle)
    c, s = cosine, sine
    pulse: Floats = harmonics[0] * c + harmonics[1] * s
    for first in range(2, 2 * HARMONICS, 2):
        c, s = c * cosine - s * sine, s * cosine + c * sine
        pulse += harmonics[first] * c
        pulse += harmonics[first + 1] * s
    return pulse
