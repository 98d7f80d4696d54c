"""Filters as second-order sections with carried state: equal however the stream is cut.

In come samples; out come as many filtered ones. How such a filter is made for a band, and by how
much it delays a frequency, is here too.
"""

from __future__ import annotations

from typing import ClassVar

import numpy as np
from scipy import signal

from infantmon.model.arrays import Floats
from infantmon.model.carried import Carried


class Sections(Carried):
    """A cascade of second-order sections that starts from rest (give it `Anchored` samples).

    Parameters
    ----------
    sos : numpy.ndarray, shape (sections, 6)
        Coefficients as scipy designs them.
    lanes : tuple of int
        Empty for one signal; (m,) for m signals side by side, which take one call together.
    """

    carried: ClassVar[tuple[str, ...]] = ("_state",)

    def __init__(self, sos: Floats, *, lanes: tuple[int, ...] = ()) -> None:
        self._sos = np.ascontiguousarray(sos, dtype=np.float64)
        self._state = np.zeros((len(self._sos), *lanes, 2))

    def push(self, values: Floats) -> Floats:
        """Return as many filtered samples as came in, shape (n,) or (m, n)."""
        if not values.size:
            return values
        filtered, self._state = signal.sosfilt(self._sos, values, zi=self._state)
        return np.asarray(filtered, dtype=np.float64)


def band_pass(low_hz: float, high_hz: float, *, order: int, rate_hz: float) -> Floats:
    """Return the sections of a Butterworth band-pass of `order` per edge."""
    edges = (low_hz, high_hz)
    sos = signal.butter(order, edges, btype="bandpass", fs=rate_hz, output="sos")
    return np.asarray(sos, dtype=np.float64)


def delay_ticks(sos: Floats, at_hz: float, *, rate_hz: float) -> float:
    """Return the group delay of the sections at one frequency, in samples."""
    step = 1e-4 * at_hz
    _, response = signal.sosfreqz(sos, worN=[at_hz - step, at_hz + step], fs=rate_hz)
    phase = np.unwrap(np.angle(response))
    return float(-(phase[1] - phase[0]) / (4.0 * np.pi * step) * rate_hz)
