"""Swings as short as a heart beat, between slow breaths: whether the heart makes them.

In come swings that last no longer than a beat or so, each with the heart's beats up to then; out
comes whether it is taken for the heart's. One alone is. A few close to each other are only if they
come at one place of the beat: otherwise breathing has become quick.
"""

from __future__ import annotations

import math
from collections import deque
from typing import ClassVar

from infantmon.dsp.beat_places import kept_to
from infantmon.model.carried import Carried

# All values are the project's choice, on the recordings and simulated seeds that the results page
# names.
FEW = 4  # swings that tell,
CLOSE = 14.0  # if they come within so many beats:
LOCKED = 0.7  # the heart's come at one place of the beat; 1: exactly


class ShortSwings(Carried):
    """Tells whether short swings are the heart's."""

    carried: ClassVar[tuple[str, ...]] = ("_cycles",)

    def __init__(self) -> None:
        self._cycles: deque[float] = deque(maxlen=FEW)

    def is_heart(self, cycle: float) -> bool:
        """Take up one more swing, at so many beats; tell whether it is the heart's.

        Where beats are not known (NaN), each is.
        """
        if math.isnan(cycle):
            return True
        self._cycles.append(cycle)
        if len(self._cycles) < FEW or cycle - self._cycles[0] > CLOSE:
            return True
        return kept_to(self._cycles) >= LOCKED
