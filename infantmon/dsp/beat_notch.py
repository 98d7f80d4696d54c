"""The heart's harmonics stopped in beats instead of seconds, where they stand still.

In come samples and the times of beats; out come the samples without what repeats with the beat. A
heart's rate wanders, so no fixed filter can stop it; counted in beats it is always 1, 2 and 3.
"""

from __future__ import annotations

from itertools import pairwise
from typing import ClassVar

import numpy as np
from scipy import signal

from infantmon.dsp.neighbours import steps
from infantmon.model.arrays import NO_FLOATS, Bools, Floats
from infantmon.model.carried import Carried

POINTS = 30  # of each interval between beats
HARMONICS = (1, 2, 3)  # cycles a beat that are stopped
WIDTH = 0.1  # cycles a beat
LONGEST_S = 3.0  # an interval longer than this is left as it is
AHEAD_S = 3.2  # an interval and the point after it are known so long after its first sample


def stop_sections() -> Floats:
    """Return the sections that stop 1, 2 and 3 cycles a beat, at 30 points a beat."""
    stops = [
        signal.butter(1, (k - WIDTH / 2, k + WIDTH / 2), btype="bandstop", fs=POINTS, output="sos")
        for k in HARMONICS
    ]
    return np.concatenate(stops)


class BeatNotch(Carried):
    """Resamples each interval between beats to 30 points, stops the harmonics, goes back to time.

    A row of intervals of up to 3 s is one run; each run starts from rest at its first sample.
    Outside runs samples stay as they are.
    """

    carried: ClassVar[tuple[str, ...]] = ("_beats", "_state", "_point_s", "_point", "_through")

    def __init__(self) -> None:
        self._sections = stop_sections()
        self._beats = NO_FLOATS  # times of beats whose intervals are not done with, in seconds
        self._state = np.zeros((len(self._sections), 2))
        self._point_s = NO_FLOATS  # times of filtered points that samples may still need
        self._point = NO_FLOATS
        self._through = False  # whether the run goes on at the first of the beats

    def note(self, beat_s: Floats) -> None:
        """Take up beats, in seconds."""
        self._beats = np.concatenate((self._beats, beat_s))

    def clean(
        self, time_s: Floats, values: Floats, until_s: float, kept_s: Floats, kept: Floats
    ) -> tuple[Floats, Bools]:
        """Return samples without the harmonics, and which of them lie in a run.

        Parameters
        ----------
        time_s, values : numpy.ndarray, shape (n,)
            Times and values of the next samples, all up to `until_s`.
        until_s : float
            All beats up to so many seconds, and `AHEAD_S` further, have been noted.
        kept_s, kept : numpy.ndarray, shape (m,)
            Times and values of samples from before the first beat that is not done with, up to
            `AHEAD_S` after `until_s`.
        """
        starts, gaps = self._beats[:-1], steps(self._beats)
        # The first point of the next interval is needed for the samples before it.
        done = int(np.searchsorted(starts, until_s + LONGEST_S / POINTS, side="right"))
        self._filter(starts[:done], gaps[:done], kept_s, kept)
        self._beats = self._beats[done:]
        if len(self._point_s) < 2 or not len(time_s):
            return values, np.zeros(len(values), dtype=np.bool_)
        filtered = np.interp(time_s, self._point_s, self._point, left=np.nan, right=np.nan)
        inside = ~np.isnan(filtered)
        keep = max(int(np.searchsorted(self._point_s, until_s, side="right")) - 1, 0)
        self._point_s, self._point = self._point_s[keep:].copy(), self._point[keep:].copy()
        return np.where(inside, filtered, values), inside

    def _filter(self, starts: Floats, gaps: Floats, kept_s: Floats, kept: Floats) -> None:
        """Filter the points of the next intervals."""
        if not len(starts) or not len(kept_s):
            return
        fits = (gaps > 0.0) & (gaps <= LONGEST_S)
        at_s = starts[:, np.newaxis] + gaps[:, np.newaxis] * (np.arange(POINTS) / POINTS)
        points = np.interp(at_s, kept_s, kept)
        turns = (np.flatnonzero(fits[1:] != fits[:-1]) + 1).tolist()
        for first, after in pairwise([0, *turns, len(fits)]):
            if not fits[first]:
                if self._through:  # what follows the run is not to be taken for a line
                    self._put(starts[first : first + 1], np.array([np.nan]))
                self._through = False
                continue
            if not self._through:
                self._state, self._through = np.zeros_like(self._state), True
            run = points[first:after].ravel()
            filtered, self._state = signal.sosfilt(self._sections, run, zi=self._state)
            self._put(at_s[first:after].ravel(), filtered)

    def _put(self, at_s: Floats, values: Floats) -> None:
        self._point_s = np.concatenate((self._point_s, at_s))
        self._point = np.concatenate((self._point, values))
