"""Samples made safe for filters: bad ones held, and the first level taken off."""

from __future__ import annotations

import math
from typing import ClassVar

import numpy as np

from infantmon.dsp.runs import last_true_index
from infantmon.model.arrays import Bools, Floats
from infantmon.model.carried import Carried


class Anchored(Carried):
    """Replaces samples that are not finite by the last finite one, and subtracts the first.

    So a filter that starts from rest sees no step at the start, whatever the offset, and a NaN
    never enters a carried state. Before the first finite sample the output is 0.
    """

    carried: ClassVar[tuple[str, ...]] = ("_anchor", "_held")

    def __init__(self) -> None:
        self._anchor = math.nan  # first finite sample
        self._held = math.nan  # last finite sample

    def push(self, values: Floats) -> tuple[Floats, Bools]:
        """Return the anchored samples, and which of them were not finite."""
        finite = np.isfinite(values)
        if not len(values):
            return values, ~finite
        if math.isnan(self._anchor) and finite.any():
            self._anchor = self._held = float(values[int(np.argmax(finite))])
        if finite.all():
            self._held = float(values[-1])
            return values - self._anchor, np.zeros(len(values), dtype=np.bool_)
        if math.isnan(self._anchor):
            return np.zeros(len(values)), ~finite
        latest = last_true_index(finite)
        filled = np.where(latest >= 0, values[np.maximum(latest, 0)], self._held)
        self._held = float(filled[-1])
        return filled - self._anchor, ~finite
