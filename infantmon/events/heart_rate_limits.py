"""Low and high heart rate: the averaged rate beyond a limit for the hold-off time.

In come heart beats and the contact marks of the ECG; out come the steps of an alarm condition. At
each beat the rate is 60 / the mean of the latest intervals. Between beats the interval that is
still open may decide by itself: a slow heart is told without waiting for a beat that does not come.
"""

from __future__ import annotations

import dataclasses
import math
from typing import ClassVar

import numpy as np

from infantmon.events.batch import Batch, Latencies
from infantmon.events.condition import Condition, Transition
from infantmon.events.rule import FEW, ClockedRule, Edge, rows_beside_gaps
from infantmon.model.arrays import Floats, Ints
from infantmon.model.event import PENDING
from infantmon.model.findings import Findings
from infantmon.model.interval_average import IntervalAverage
from infantmon.model.marks import RPeaks
from infantmon.model.prescription import HeartRateLimit


class HeartRateRule(ClockedRule):
    """What low and high heart rate share.

    At a beat the rate is 60 / mean interval. Where there is no mean yet (at the first beat after a
    start or an unusable stretch) the rate is not known, and nothing starts or ends.

    An excursion that an unusable stretch cuts in two, each too short for the hold-off, is one
    excursion if the rate is still beyond the limit when it is known again: it is listed as not
    assessable, once it is over.
    """

    role = "ecg"
    passes_at_limit = False
    carried: ClassVar[tuple[str, ...]] = (*ClockedRule.carried, "_average", "_cut_s")
    word: ClassVar[str]

    def __init__(self, limit: HeartRateLimit, latencies: Latencies) -> None:
        limits: dict[str, float | int | str] = {
            "rule": f"heart rate {self.word} the limit for the hold-off time",
            "limit_bpm": limit.limit_bpm,
            "hold_off_s": limit.hold_off_s,
            "averaging": limit.averaging,
            "latency_s": latencies.beats_s,
        }
        condition = Condition(limit.hold_off_s, latencies.beats_s)
        super().__init__(condition, limits, latencies.beats_s)
        self.averaging = (limit.average_beats, limit.average_s)
        self._limit_bpm = limit.limit_bpm
        self._limit_interval_s = 60.0 / limit.limit_bpm
        self._longest_s = self._limit_interval_s  # an open interval of this length decides
        self._average = IntervalAverage(*self.averaging)
        self._cut_s = math.nan  # onset of what an unusable stretch has cut off, if it may go on
        self._side: Ints = np.empty(0, dtype=np.int64)  # of each beat of the piece in work

    def side(self, rate_bpm: Floats) -> Floats:
        """Return 1 for a rate beyond the limit, -1 or 0 for another, NaN where it is not known."""
        raise NotImplementedError

    def findings(self, batch: Batch) -> RPeaks:
        """Return the heart beats."""
        return batch.r_peaks

    def interesting(self, findings: Findings) -> Ints:
        """Return the beats at which the rate passes the limit, or beside a deciding interval."""
        mean = self._average.push(findings.time_s, self.usability.anew_s)
        side = self.side(60.0 / mean)
        self._side = np.where(np.isnan(side), 0, np.where(side > 0, 1, -1)).astype(np.int64)
        if len(findings) <= FEW:
            return np.arange(len(findings), dtype=np.int64)
        turns = np.flatnonzero(np.diff(self._side))
        gaps = rows_beside_gaps(findings.time_s, self._longest_s * (1.0 - 1e-9))
        return np.unique(np.concatenate((gaps, turns, turns + 1)))

    def take(self, time_s: float, known_s: float, row: int) -> list[Transition]:
        """Take a beat: the interval before it, while it was open, may have decided already."""
        found: list[Transition] = []
        at_s = self.next_at_s()
        if at_s < time_s:
            found += self.nothing_found(at_s, known_s)
        side = int(self._side[row])
        if side > 0 and not self.condition.begun:
            found += self.condition.begin(time_s, known_s, "limit passed")
        elif side < 0:
            found += self.over(time_s, known_s)
        return found

    def over(self, time_s: float, known_s: float) -> list[Transition]:
        """End what is under way, if anything is: the rate is back."""
        cut_s, self._cut_s = self._cut_s, math.nan
        condition = self.condition
        held = condition.state != PENDING or time_s >= condition.held_until_s
        if math.isnan(cut_s) or held:
            return condition.end(time_s, known_s, "ended by itself")
        condition.onset_s = cut_s  # both parts, and what lies between them, are one
        steps = condition.end(time_s, known_s, "ended by itself")
        return [dataclasses.replace(step, assessable=False) for step in steps]

    def stretch_opens(self, edge: Edge, known_s: float) -> list[Transition]:
        """Apply the start of an unusable stretch: a pending excursion is given up, and kept."""
        if edge.missing:
            self._cut_s = math.nan
        elif self.condition.state == PENDING and math.isnan(self._cut_s):
            self._cut_s = self.condition.onset_s
        return super().stretch_opens(edge, known_s)

    def stretch_closes(self, edge: Edge, known_s: float) -> list[Transition]:
        """Apply the end of an unusable stretch: nothing is carried over a hole of the recording."""
        if edge.missing:
            self._cut_s = math.nan
        return super().stretch_closes(edge, known_s)


class LowHeartRateRule(HeartRateRule):
    """The heart rate is below the limit (strictly).

    Between beats the open interval counts: the rate is never above 60 / (time since the last beat)
    once that time exceeds the mean interval. So the rate falls below the limit 60 / limit seconds
    after the last beat, at the latest, whatever the averaging.
    """

    kind = "low heart rate"
    word = "below"

    def side(self, rate_bpm: Floats) -> Floats:
        """Return 1 for a rate below the limit."""
        return np.sign(self._limit_bpm - rate_bpm)

    def next_at_s(self) -> float:
        """Return when the open interval passes the limit."""
        return math.inf if self.condition.begun else self.reaches_s(self._longest_s)

    def nothing_found(self, at_s: float, known_s: float) -> list[Transition]:
        """Begin: no beat came in time."""
        return self.condition.begin(at_s, known_s, "limit passed with no beat")


class HighHeartRateRule(HeartRateRule):
    """The heart rate is above the limit (strictly).

    One long interval among short ones does not end the excursion: the average decides, at each
    beat. Without a beat it ends when the average is back at the limit whatever beats came before:
    after as many limit intervals as are averaged, or after the seconds averaged over.
    """

    kind = "high heart rate"
    word = "above"

    def __init__(self, limit: HeartRateLimit, latencies: Latencies) -> None:
        super().__init__(limit, latencies)
        self._longest_s = (limit.average_beats or 1) * self._limit_interval_s
        if limit.average_s is not None:
            self._longest_s = max(limit.average_s, self._limit_interval_s)

    def side(self, rate_bpm: Floats) -> Floats:
        """Return 1 for a rate above the limit."""
        return np.sign(rate_bpm - self._limit_bpm)

    def next_at_s(self) -> float:
        """Return when the open interval alone brings the average back to the limit."""
        return self.reaches_s(self._longest_s) if self.condition.begun else math.inf

    def nothing_found(self, at_s: float, known_s: float) -> list[Transition]:
        """End: no beat came that soon."""
        return self.over(at_s, known_s)
