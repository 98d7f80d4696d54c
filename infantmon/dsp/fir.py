"""Filters with a finite, symmetric response: their delay is exact and can be taken off.

In come samples; out come as many filtered ones, later by half the length of the response.
"""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from infantmon.model.arrays import Floats
from infantmon.model.carried import Carried


class SymmetricFir(Carried):
    """A linear-phase filter over a kept tail, its delay taken off.

    Output sample k stands for the time of input sample k; it is ready `delay_ticks` samples later.
    The level before the first sample is 0, so give it `Anchored` samples. On the last push
    the level of the last sample is held, so that as many samples come out as went in.

    Parameters
    ----------
    taps : numpy.ndarray, shape (2 * delay_ticks + 1,)
        Symmetric coefficients, odd in number.
    """

    carried: ClassVar[tuple[str, ...]] = ("_tail", "_skip")

    def __init__(self, taps: Floats) -> None:
        self._taps = np.asarray(taps, dtype=np.float64)
        self._tail = np.zeros(len(self._taps) - 1)
        self._skip = self.delay_ticks  # outputs for times before the first sample

    @property
    def delay_ticks(self) -> int:
        """Samples between an input and the output that stands for its time."""
        return (len(self._taps) - 1) // 2

    def push(self, values: Floats, *, last: bool = False) -> Floats:
        """Return the filtered samples that are ready now."""
        if last:
            level = values[-1] if len(values) else self._tail[-1] if len(self._tail) else 0.0
            values = np.concatenate((values, np.full(self.delay_ticks, level)))
        if not len(values):
            return values
        joined = np.concatenate((self._tail, values))
        filtered = np.convolve(joined, self._taps, mode="valid")
        self._tail = joined[len(joined) - len(self._tail) :]
        skipped = min(self._skip, len(filtered))
        self._skip -= skipped
        return filtered[skipped:]
