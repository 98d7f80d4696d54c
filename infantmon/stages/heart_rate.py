"""Heart rate from heart beats: the mean of the latest RR intervals."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from infantmon.errors import ArgumentError
from infantmon.model.arrays import NO_FLOATS, Floats, Ints
from infantmon.model.carried import Carried, record
from infantmon.model.marks import HeartRates, RPeaks
from infantmon.model.spans import BLOCKING, ContactMarks
from infantmon.model.usability import Usability
from infantmon.stages.contract import Stage, settled_before


class IntervalAverage(Carried):
    """The mean RR interval at each beat.

    With ``average_beats`` = N: over the last N intervals; with ``average_s`` = S: over the
    intervals that end within the last S seconds. After a start, or an unusable stretch, over as
    many as there are. The mean of consecutive intervals is the time between two beats over their
    count, so it is exact however the beats are cut.
    """

    carried: ClassVar[tuple[str, ...]] = ("_times",)

    def __init__(self, average_beats: int | None, average_s: float | None) -> None:
        if (average_beats is None) == (average_s is None):
            raise ArgumentError(
                f"average_beats is {average_beats} and average_s is {average_s}; "
                "give exactly one of the two."
            )
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
        return np.asarray(np.clip(inside, 0, np.maximum(row - 1, 0)), dtype=np.int64)

    def _kept(self, times: Floats) -> Floats:
        if self._beats is not None:
            return times[-self._beats :].copy()
        if not len(times):
            return times
        since = times[-1] - float(self._span_s or 0.0)
        return times[max(int(np.searchsorted(times, since, side="right")) - 1, 0) :].copy()


@record
@dataclass(frozen=True, slots=True)
class HeartRateSettings:
    """Settings of `HeartRate`.

    Parameters
    ----------
    average_beats : int or None
        How many RR intervals are averaged.
    average_s : float or None
        Over how many seconds they are averaged; exactly one of the two is given.
    beat_lag_s : float
        Latency of the R-peak detector, in seconds.
    """

    average_beats: int | None = None
    average_s: float | None = None
    beat_lag_s: float = 0.0


class HeartRate(Stage):
    """Beats to heart rate, at each beat.

    Notes
    -----
    Latency: that of the beats, nothing added. An average over N intervals shows a step of the rate
    in full after N beats. No rate is given for the first beat after a start or after an unusable
    stretch longer than the bridged second. Memory: the beats that one average reaches over.
    """

    settings_type = HeartRateSettings
    carried: ClassVar[tuple[str, ...]] = ("_average", "_usability", "_settled_s")

    def __init__(self, settings: HeartRateSettings) -> None:
        super().__init__(settings)
        self._average = IntervalAverage(settings.average_beats, settings.average_s)
        self._usability = Usability()
        self._settled_s = -settings.beat_lag_s

    @property
    def latency_s(self) -> float:
        """The latency of the beats, in seconds."""
        return float(self.settings.beat_lag_s)

    @property
    def settled_until_s(self) -> float:
        """All rates at beats before this time have been given."""
        return settled_before(self._settled_s, 0.0, ended=self._ended)

    def push(
        self, beats: RPeaks, contact: ContactMarks | None = None, *, last: bool = False
    ) -> HeartRates:
        """Return the heart rate at each new beat.

        Parameters
        ----------
        beats : RPeaks
            New beats, with the frontier of their stage.
        contact : ContactMarks or None
            New contact marks of the ECG, known up to the same stream time.
        last : bool
            Whether the stream has ended.
        """
        self.begin_push(last=last)
        self._settled_s = max(self._settled_s, beats.settled_until_s)
        parts: list[HeartRates] = []
        first = 0
        marks = contact if contact is not None else ContactMarks.empty()
        for row in np.flatnonzero(((marks.reason & int(BLOCKING)) != 0) & ~marks.bridged):
            after = int(np.searchsorted(beats.known_s, marks.known_s[row], side="left"))
            parts.append(self._rates(beats.rows(first, after)))
            first = after
            if marks.usable[row]:
                self._usability.closes(float(marks.time_s[row]), int(marks.reason[row]))
            else:
                self._usability.opens(float(marks.since_s[row]), int(marks.reason[row]))
        parts.append(self._rates(beats.rows(first, len(beats))))
        found = HeartRates.joined(parts)
        return HeartRates(
            found.time_s,
            found.known_s,
            found.heart_rate_bpm,
            found.interval_s,
            settled_until_s=self.settled_until_s,
        )

    def _rates(self, beats: RPeaks) -> HeartRates:
        counting = beats.where(self._usability.counts(beats.time_s))
        mean = self._average.push(counting.time_s, self._usability.anew_s)
        known = ~np.isnan(mean)
        mean = mean[known]
        return HeartRates(counting.time_s[known], counting.known_s[known], 60.0 / mean, mean)
