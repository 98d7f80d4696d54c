"""How far what happens keeps to one place of the heart beat, or to a few evenly spread ones.

In come the heart's beats up to each of some moments, with shares; out comes a number from 0 to 1.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Collection


def kept_to(cycles: Collection[float], places: int = 1) -> float:
    """Return 1 where all come at one of so many places that part the beat evenly, 0 at any.

    Parameters
    ----------
    cycles : collection of float
        Beats up to each moment, with shares; at least one, all known.
    places : int
        How many: 2 are one place and the one that lies opposite.
    """
    turns = (cmath.exp(2j * math.pi * places * cycle) for cycle in cycles)
    return abs(sum(turns)) / len(cycles)
