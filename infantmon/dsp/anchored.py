"""Samples made safe for filters: lost ones held, and the first level taken off.

In come samples; out come as many, all finite and starting from 0, and which of them were lost.
"""

from __future__ import annotations

import math
from typing import ClassVar

import numpy as np

from infantmon.dsp.runs import last_true_index
from infantmon.model.arrays import Bools, Floats
from infantmon.model.carried import Carried

LARGEST = 1e100  # a sample beyond this is no measurement, and its square would overflow


class Anchored(Carried):
    """Replaces lost samples (NaN, or absurdly large) by the last good one, and subtracts the first.

    So a filter that starts from rest sees no step at the start, whatever the offset, and neither a
    NaN nor an overflow enters a carried state. Before the first good sample the output is 0.
    """

    carried: ClassVar[tuple[str, ...]] = ("_anchor", "_held")

    def __init__(self) -> None:
        self._anchor = math.nan  # first good sample
        self._held = math.nan  # last good sample

    def push(self, values: Floats) -> tuple[Floats, Bools]:
        """Return the anchored samples, and which of them were lost."""
        none_lost = np.zeros(len(values), dtype=np.bool_)
        if not len(values):
            return values, none_lost
        if values.min() >= -LARGEST and values.max() <= LARGEST:  # not so with a NaN
            if math.isnan(self._anchor):
                self._anchor = float(values[0])
            self._held = float(values[-1])
            return values - self._anchor, none_lost
        good = np.abs(values) <= LARGEST
        if math.isnan(self._anchor) and good.any():
            self._anchor = self._held = float(values[int(np.argmax(good))])
        if math.isnan(self._anchor):
            return np.zeros(len(values)), ~good
        if not good.any():
            return np.full(len(values), self._held - self._anchor), ~good
        latest = last_true_index(good)
        filled = np.where(latest >= 0, values[np.maximum(latest, 0)], self._held)
        self._held = float(filled[-1])
        return filled - self._anchor, ~good
