"""The mean of the latest intervals of a train of beats or breaths."""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from infantmon.errors import ArgumentError, require_between, require_whole
from infantmon.model.arrays import NO_FLOATS, Floats, Ints
from infantmon.model.carried import Carried


class IntervalAverage(Carried):
    """The mean interval at each beat (or breath).

    With ``average_beats`` = N: over the last N intervals; with ``average_s`` = S: over the
    intervals that end within the last S seconds. After a start, or an unusable stretch, over as
    many as there are. The mean of consecutive intervals is the time between two beats over their
    count, so it is exact however the beats are cut.
    """

    carried: ClassVar[tuple[str, ...]] = ("_times",)

    def __init__(self, average_beats: int | None, average_s: float | None) -> None:
        if (average_beats is None) == (average_s is None):
            raise ArgumentError(
                f"the number to average over is {average_beats} and average_s is {average_s}; "
                "give exactly one of the two."
            )
        if average_beats is not None:
            average_beats = require_whole(
                average_beats, 1, 100_000, name="the number to average over", unit="intervals"
            )
        if average_s is not None:
            average_s = require_between(average_s, 0.1, 86400.0, name="average_s", unit="s")
        self._beats = average_beats
        self._span_s = average_s
        self._times = NO_FLOATS  # the beats that the next mean may reach back to

    def push(self, time_s: Floats, anew_s: Floats) -> Floats:
        """Return the mean interval at each new beat, in seconds; NaN where there is none yet.

        Parameters
        ----------
        time_s : numpy.ndarray, shape (n,)
            New beats, in seconds, ascending.
        anew_s : numpy.ndarray, shape (m,)
            Where the averaging starts anew, ascending: no interval reaches across one of these.
        """
        times = np.concatenate((self._times, time_s))
        row = np.arange(len(self._times), len(times))
        first = self._first_rows(times, row)
        if len(times):
            for start in np.searchsorted(times, anew_s[anew_s > times[0]], side="left").tolist():
                later = first[max(start - len(self._times), 0) :]
                np.maximum(later, start, out=later)
        count = row - first
        mean = np.full(len(row), np.nan)
        np.divide(times[row] - times[first], count, out=mean, where=count > 0)
        self._times = self._kept(times)
        return mean

    def _first_rows(self, times: Floats, row: Ints) -> Ints:
        """Return the beat that opens the oldest interval of each mean."""
        if self._beats is not None:
            return np.asarray(np.maximum(row - self._beats, 0), dtype=np.int64)
        since = times[row] - float(self._span_s or 0.0)
        inside = np.searchsorted(times, since, side="right") - 1
        return np.minimum(np.maximum(inside, 0), np.maximum(row - 1, 0)).astype(np.int64)

    def _kept(self, times: Floats) -> Floats:
        if self._beats is not None:
            return times[-self._beats :].copy()
        if not len(times):
            return times
        since = times[-1] - float(self._span_s or 0.0)
        return times[max(int(np.searchsorted(times, since, side="right")) - 1, 0) :].copy()
