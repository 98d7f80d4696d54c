"""Heart rate from heart beats: the mean of the latest RR intervals."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from infantmon.model.carried import record
from infantmon.model.interval_average import IntervalAverage
from infantmon.model.marks import HeartRates, RPeaks
from infantmon.model.spans import BLOCKING, ContactMarks
from infantmon.model.usability import Usability
from infantmon.stages.contract import Stage, settled_before


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
