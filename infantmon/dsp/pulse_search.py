"""The heart's line looked for in the impedance, second by second, until it can be followed.

In come windows of samples; out comes the interval between beats once some windows in a row show the
same line. What breathing has been like lately is remembered: a line at its rate is breathing's,
although something larger moves beside it by now, as when the infant is rocked.
"""

from __future__ import annotations

import math
from collections import deque
from typing import ClassVar, NamedTuple

from infantmon.dsp.sharp_lines import lines_in
from infantmon.model.arrays import Floats
from infantmon.model.carried import Carried

# All values are the project's choice, on simulated seeds.
RUNS = 4  # windows in a row that show a line,
AGAIN_RUNS = 2  # or so many, where the heart was followed not long ago
AGAIN_S = 90.0  # so long,
AGAIN = 0.1  # at a rate within this share
SAME = 1.04  # its highest frequency in them is at most so many times the lowest
EVERY, COUNT = 10, 60  # of so many windows one rate of breathing is kept, and so many of them
NEAR, SHARE = 0.2, 0.2  # a line so near (logarithm) to more than this share of them is breathing's


class Sighting(NamedTuple):
    """A line that may be the heart's."""

    period: float  # in samples
    again: bool  # whether the heart was followed at about that rate not long ago
    pulse: float  # size of its first harmonic then; 0 if not followed lately


class PulseSearch(Carried):
    """Looks for the heart's line.

    Parameters
    ----------
    rate_hz : float
        Samples a second.
    """

    carried: ClassVar[tuple[str, ...]] = ("_lines", "_breathing", "_windows", "_known")

    def __init__(self, rate_hz: float) -> None:
        self._rate_hz = rate_hz
        self._lines: list[float] = []  # of the latest windows, NaN where there was none
        self._breathing: deque[float] = deque(maxlen=COUNT)  # its rates of late
        self._windows = 0
        # interval last followed, its pulse, and up to which place
        self._known = (math.nan, 0.0, -math.inf)

    def begin(self) -> None:
        """Look anew: what was seen before is no longer in a row."""
        self._lines = []

    def note(self, period: float, pulse: float, place: int) -> None:
        """Take up that the heart was followed at an interval, with a pulse, up to a place."""
        self._known = (period, pulse, float(place))

    def look(self, samples: Floats, place: int) -> Sighting | None:
        """Return the line that this window and those before it show, if they do."""
        lines = lines_in(samples, self._rate_hz)
        if self._windows % EVERY == 0:
            self._breathing.append(lines.breathing_hz)
        self._windows += 1
        hearts = [line for line in lines.sharp if not self._was_breathing(line[0])]
        best, _ = max(hearts, key=lambda line: line[1], default=(math.nan, 0.0))
        self._lines = [*self._lines, best][-RUNS:]
        usual, pulse, followed = self._known
        recent = place - followed < AGAIN_S * self._rate_hz
        runs = self._lines[-(AGAIN_RUNS if recent else RUNS) :]
        if len(runs) < (AGAIN_RUNS if recent else RUNS) or any(map(math.isnan, runs)):
            return None
        if max(runs) >= SAME * min(runs):
            return None
        period = self._rate_hz / best
        again = recent and abs(period / usual - 1.0) < AGAIN
        return Sighting(period, again, pulse if recent else 0.0)

    def _was_breathing(self, hertz: float) -> bool:
        """Tell whether breathing has been at a frequency for some of the latest minutes."""
        near = sum(abs(math.log(each / hertz)) < NEAR for each in self._breathing)
        return near > SHARE * len(self._breathing)
