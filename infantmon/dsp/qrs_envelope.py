"""From ECG samples to the band that holds the QRS complex, and its envelope, at a low rate.

In come samples; out come, at 100 to 200 a second, their means, the same band-passed, and the mean
height of that over the length of a complex: one hump where a complex is, whatever its shape.
"""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from infantmon.dsp.decimate import GroupMean
from infantmon.dsp.fir import SymmetricFir
from infantmon.dsp.recursion import Recursion
from infantmon.dsp.sections import band_pass, delay_ticks
from infantmon.model.arrays import Floats
from infantmon.model.carried import Carried

BAND_HZ = (10.0, 35.0)  # an infant's narrow complex has little below, the T wave little above
LOWEST_RATE_HZ = 62.5  # the band's upper edge must stay well under half the rate:
_EDGE_SHARE = 0.36  # no higher than this part of it
_SLOWEST_OUT_HZ = 100.0
_ENVELOPE_S = 0.08
_CENTRE_HZ = 18.0  # where most of a QRS complex lies within the band


class QrsEnvelope(Carried):
    """Averages groups of samples down to 100-200 Hz, band-passes, rectifies and averages.

    Tick k of the output is group k of the input. The band-passed signal lags by `delay` ticks; the
    envelope is centred on the band-passed signal.

    Parameters
    ----------
    rate_hz : float
        Rate of the input, in Hz.
    """

    carried: ClassVar[tuple[str, ...]] = ("_groups", "_recursion", "_mean")

    def __init__(self, rate_hz: float) -> None:
        self.size = max(1, int(rate_hz / _SLOWEST_OUT_HZ))
        self.rate_hz = rate_hz / self.size
        upper = min(BAND_HZ[1], _EDGE_SHARE * self.rate_hz)
        sos = band_pass(BAND_HZ[0], upper, order=2, rate_hz=self.rate_hz)
        self.delay = delay_ticks(sos, _CENTRE_HZ, rate_hz=self.rate_hz)
        self.half = max(1, round(0.5 * _ENVELOPE_S * self.rate_hz - 0.5))
        width = 2 * self.half + 1
        self._groups = GroupMean(self.size)
        self._recursion = Recursion(sos)
        self._mean = SymmetricFir(np.full(width, 1.0 / width))

    def push(self, values: Floats, *, last: bool = False) -> tuple[Floats, Floats, Floats]:
        """Return means, band-passed ticks and envelope ticks that are ready now."""
        means = self._groups.push(values)
        band = self._recursion.push(means)
        return means, band, self._mean.push(np.abs(band), last=last)
