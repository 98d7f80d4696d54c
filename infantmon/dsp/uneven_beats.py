"""Beats that come early, or are missed, in a pause: swings of the pulsation's size are held back.

In come samples without the pulsation, and from which sample on beats are uneven; out come the same,
held at the level from before. The shape learned from beat to beat fits none of these beats: its own
time and shape has the one that came early, and so has the one after it.
"""

from __future__ import annotations

import math
from typing import ClassVar, NamedTuple

import numpy as np

from infantmon.dsp.harmonic_row import Row
from infantmon.dsp.kept import Kept
from infantmon.dsp.last_pulse import peak_to_peak
from infantmon.model.arrays import Floats, Ints
from infantmon.model.carried import Carried

# All values are the project's choice, on simulated seeds.
REACH = 1.25  # times the pulsation's size: a swing counts as far as it is larger
LEVEL_S = 1.5  # the level is the mean of so long before
BACK_S = 0.4  # over which the level comes back once beats are even


class Stretch(NamedTuple):
    """Output samples over which the same beat leads."""

    start: int
    stop: int
    shape: Row  # harmonics of the pulsation
    uneven: bool  # whether beats are uneven, in a pause


class UnevenBeats(Carried):
    """Holds what is left of the impedance while beats are uneven in a pause.

    Parameters
    ----------
    rate_hz : float
        Samples a second.
    """

    carried: ClassVar[tuple[str, ...]] = ("_level", "_since", "_until")

    def __init__(self, rate_hz: float) -> None:
        self._before = max(1, round(LEVEL_S * rate_hz))
        self._back = max(1, round(BACK_S * rate_hz))
        self._level = math.nan
        self._since = -1  # first sample of the present row of uneven beats; -1: none
        self._until = -1  # sample from which beats are even again; -1: not yet

    @property
    def is_over(self) -> bool:
        """Whether nothing is held any more."""
        return self._since < 0

    def hold(self, stretches: list[Stretch], first: int, left: Floats, given: Kept) -> None:
        """Hold samples in place.

        Parameters
        ----------
        stretches : list of Stretch
            In order; the first may have begun before, and all may go on after the samples.
        first : int
            Place of the first sample in the stream.
        left : numpy.ndarray, shape (n,)
            Samples; changed.
        given : Kept
            All samples that were given before these.
        """
        for start, stop, shape, uneven in stretches:
            self._note(start, uneven=uneven)
            here = slice(max(start - first, 0), min(max(stop - first, 0), len(left)))
            if self._since < 0 or here.start >= here.stop:
                continue
            if math.isnan(self._level):
                self._level = self._level_before(here.start, left, given)
            share = self._share(np.arange(first + here.start, first + here.stop))
            reach = REACH * peak_to_peak(shape)
            left[here] -= share * np.clip(left[here] - self._level, -reach, reach)
            if 0 <= self._until <= first + here.stop - self._back:
                self._since = self._until = -1

    def _note(self, start: int, *, uneven: bool) -> None:
        """Take up that another stretch begins."""
        if uneven and (self._since < 0 or 0 <= self._until <= start):
            self._level, self._since, self._until = math.nan, start, -1
        elif not uneven and self._until < 0 <= self._since < start:
            self._until = start

    def _share(self, places: Ints) -> Floats:
        """Return how far samples are held, from 0 to 1."""
        if self._until < 0:
            return np.ones(len(places))
        return np.clip(1.0 - (places - self._until) / self._back, 0.0, 1.0)

    def _level_before(self, place: int, left: Floats, given: Kept) -> float:
        """Return the mean of what was left in the time before one of the samples."""
        before = left[max(place - self._before, 0) : place]
        missing = min(self._before - len(before), given.end)
        if missing:
            earlier = given.windows(np.array([given.end - missing]), missing)[0]
            before = np.concatenate((earlier, before))
        return float(np.mean(before)) if len(before) else float(left[place])
