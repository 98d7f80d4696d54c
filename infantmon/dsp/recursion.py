"""A short filter as one recursion instead of a cascade of sections: a quarter faster."""

from __future__ import annotations

from typing import ClassVar

import numpy as np
from scipy import signal

from infantmon.model.arrays import Floats
from infantmon.model.carried import Carried


class Recursion(Carried):
    """The filter of `Sections` multiplied out, from rest, with carried state.

    Only for few sections whose poles lie well inside the unit circle, such as those of a wide band
    in the middle of the frequencies: there it agrees with `Sections` to rounding. Near frequency 0,
    where breathing lies, it would not.

    Parameters
    ----------
    sos : numpy.ndarray, shape (sections, 6)
        Coefficients as scipy designs them.
    """

    carried: ClassVar[tuple[str, ...]] = ("_state",)

    def __init__(self, sos: Floats) -> None:
        forward, back = signal.sos2tf(sos)
        self._forward = np.asarray(forward, dtype=np.float64)
        self._back = np.asarray(back, dtype=np.float64)
        self._state = np.zeros(len(self._back) - 1)

    def push(self, values: Floats) -> Floats:
        """Return as many filtered samples as came in."""
        if not len(values):
            return values
        filtered, self._state = signal.lfilter(self._forward, self._back, values, zi=self._state)
        return np.asarray(filtered, dtype=np.float64)
