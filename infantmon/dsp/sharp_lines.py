"""Sharp lines in the spectrum of the impedance beside the breathing: one may be the heart's.

In comes a window of samples; out come the frequencies of the breathing and of the sharp lines. A
heart beats far more evenly than an infant breathes, so its pulsation stands out as a narrow line
where breathing makes broad ones, however small it is.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from infantmon.model.arrays import Floats

# All values are the project's choice, on simulated seeds.
BREATHING_HZ = (0.2, 2.2)  # the largest line between these is the breathing's
HEART_HZ = (1.0, 3.8)  # a heart beats so often
ABOVE = 1.3  # and so many times as often as the breathing, at least
LEAST = 0.06  # of the breathing's: a smaller line is noise
SHARP = 3.0  # times what is usual around it, at least
AROUND_HZ = 0.7  # on either side
BLURRED = 2.2  # widths of one line of the spectrum that belong to the line itself
OVERTONES = 4  # of the breathing that are looked at:
NEAR = 0.05  # a line within this share of one of them may be the breathing's own


class Lines(NamedTuple):
    """Lines in the spectrum of one window.

    Attributes
    ----------
    breathing_hz : float
        Frequency of the largest.
    sharp : list of (float, float)
        Frequency of each sharp line that may be a heart's, and how large and sharp it is.
    """

    breathing_hz: float
    sharp: list[tuple[float, float]]


def lines_in(samples: Floats, rate_hz: float) -> Lines:
    """Return the lines in a window.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n,)
        Band-passed impedance, about 14 s of it.
    rate_hz : float
        Samples a second.
    """
    count = len(samples)
    padded = 2 ** (math.ceil(math.log2(count)) + 2)
    size = np.abs(np.fft.rfft((samples - samples.mean()) * np.hanning(count), padded))
    hertz = np.fft.rfftfreq(padded, 1.0 / rate_hz)
    low, high = np.searchsorted(hertz, BREATHING_HZ)
    breathing = low + int(np.argmax(size[low:high]))
    first = int(np.searchsorted(hertz, max(HEART_HZ[0], ABOVE * hertz[breathing])))
    stop = int(np.searchsorted(hertz, HEART_HZ[1]))
    inner = size[first + 1 : stop - 1]
    peaks = (
        first
        + 1
        + np.flatnonzero(
            (inner > size[first : stop - 2])
            & (inner >= size[first + 2 : stop])
            & (inner >= LEAST * size[breathing])
        )
    )
    sharp: list[tuple[float, float]] = []
    for peak in peaks.tolist():
        times = float(hertz[peak] / hertz[breathing])
        if round(times) <= OVERTONES and abs(times / round(times) - 1.0) < NEAR:
            continue
        apart = np.abs(hertz - hertz[peak])
        around = size[(apart < AROUND_HZ) & (apart > BLURRED * rate_hz / count)]
        above = float(size[peak] / max(np.median(around), 1e-300))
        if above > SHARP:
            sharp.append((float(hertz[peak]), above * float(size[peak])))
    return Lines(float(hertz[breathing]), sharp)
