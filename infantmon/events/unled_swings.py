"""Small swings while no R peaks lead: the heart's pulsation may have made them.

In come breaths, beats and how much pulsation was taken out; out comes, for each breath, whether it
may be pulsation that was left in. That can be where the ECG is lost, or its beats cannot be
trusted: how large the pulsation was before tells which swings it could have made.
"""

from __future__ import annotations

import math
from collections import deque
from typing import ClassVar

import numpy as np

from infantmon.events.batch import Batch
from infantmon.events.even_swings import MOST_S, EvenSwings
from infantmon.events.quick_swings import QuickSwings
from infantmon.model.arrays import NO_FLOATS, Bools, Floats
from infantmon.model.carried import Carried
from infantmon.model.marks import Breaths, RPeaks

# Whether R peaks lead
BACK_S = 5.0  # they lead again after so long without a break, in seconds
STRANGE_S = 3.0  # they do not while half of those in so long are not reliable, in seconds
NO_BEAT_S = 10.0  # with no beat for so long nothing is known of the heart, in seconds
STARTS_S = (
    10.0  # so long after the recording's start the rejector may still be learning, in seconds
)
KEPT_S = 60.0  # no breath comes later than this after its time, in seconds

# What was usual before they were lost, as medians
REMEMBERED = 12  # seconds of pulsation
USUAL = 30  # breaths
NEVER = math.inf  # stands for the usual pulsation where R peaks have never led

# Which swings the pulsation could have made
GROWN = 4.0  # up to so many times the usual pulsation: some of what was taken out through breaths
# was missing in that, and as the heart slows the pulsation may double
LEAST = 0.35  # of the usual breath: up to here in any case, since little is known of a small one
SMALL = 0.7  # of the usual breath: but never beyond this


class UnledSwings(Carried):
    """Tells of each breath whether it may be pulsation, while no R peaks lead the rejector.

    Without R peaks the pulsation stays in the impedance unless the heart can be followed there
    (which counts as leading here), and in a pause it is all that moves. What is known of its size
    from before tells which swings it could have made: those up to four times as large, or up to
    0.35 of a usual breath, and none beyond 0.7 of it.
    Small swings that go on for more than a minute are breathing, which has become small: that is
    usual then.
    Where R peaks have never led and no beat is found nothing is known of it: there only rows of
    swings that are all alike are doubtful, small ones (`EvenSwings`) or those that come at a
    heart's rate (`QuickSwings`), also where the heart was followed meanwhile; where beats are
    found, those that come one a beat within the first 10 s. The values are the project's choice, on
    simulated nights (the seeds that `benchmarks.nights` names as looked at).
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_changes",
        "_is_unled",
        "_led_s",
        "_followed_s",
        "_led_since_s",
        "_pulsation",
        "_sizes",
        "_row_s",
        "_row",
        "_beat_s",
        "_strange",
        "_reached_s",
        "_latest_s",
        "_even",
        "_quick",
    )

    def __init__(self) -> None:
        # since when R peaks lead, or lead no more; and the usual pulsation then (NaN: they lead)
        self._changes: list[tuple[float, float]] = [(-math.inf, math.nan)]
        self._is_unled = False
        self._led_s = math.inf  # since when R peaks have led for the first time,
        self._followed_s = math.inf  # and since when the heart was followed instead
        self._led_since_s = math.inf  # without a break, while they are not back yet
        self._pulsation: deque[float] = deque(maxlen=REMEMBERED)
        self._sizes = NO_FLOATS  # of the latest breaths while they led
        self._row_s = math.inf  # since when all swings have been small
        self._row: deque[float] = deque(maxlen=USUAL)  # the sizes of the latest of them
        # beats that a breath or a second to come may follow; 1: not reliable
        self._beat_s, self._strange = NO_FLOATS, NO_FLOATS
        self._reached_s = -math.inf
        self._latest_s = NO_FLOATS  # times of the latest two breaths while they have never led
        self._even = EvenSwings()
        self._quick = QuickSwings()

    def learn(self, batch: Batch) -> None:
        """Take up the pulsation and the beats of a batch."""
        oldest_s = self._reached_s - KEPT_S  # of the batch before: what this one holds is to come
        self._forget(oldest_s)
        self._take_beats(batch.r_peaks, oldest_s - NO_BEAT_S)
        self._reached_s = batch.reached_s
        found = batch.pulsation
        by_r_peaks = found.led_by_beats & self._are_reliable(found.time_s)
        self._led_s = min(self._led_s, _first(found.time_s, by_r_peaks))
        self._followed_s = min(self._followed_s, _first(found.time_s, found.followed))
        leads = found.followed | by_r_peaks
        if leads.all() and not self._is_unled:  # mostly
            self._pulsation.extend(found.pulsation[-REMEMBERED:].tolist())
            return
        columns = (found.time_s, found.pulsation, leads)
        for time_s, size, led in zip(*(column.tolist() for column in columns), strict=True):
            self._note(time_s, size, led=led)

    def _forget(self, before_s: float) -> None:
        """Let go of changes that no breath to come can lie before."""
        past = sum(since_s <= before_s for since_s, _ in self._changes)
        self._changes = self._changes[max(past - 1, 0) :]

    def _take_beats(self, beats: RPeaks, oldest_s: float) -> None:
        first = int(np.searchsorted(self._beat_s, oldest_s))
        strange = np.logical_not(beats.reliable)
        self._beat_s = np.concatenate((self._beat_s[first:], beats.time_s))
        self._strange = np.concatenate((self._strange[first:], strange))

    def _are_reliable(self, at_s: Floats) -> Bools:
        """Tell of each time whether half of the beats in the seconds before it are reliable."""
        after = np.searchsorted(self._beat_s, at_s, side="right")
        first = np.searchsorted(self._beat_s, at_s - STRANGE_S, side="right")
        sums = np.concatenate(([0.0], np.cumsum(self._strange)))
        reliable: Bools = 2.0 * (sums[after] - sums[first]) <= after - first
        return reliable

    def _note(self, time_s: float, size: float, *, led: bool) -> None:
        if not self._is_unled:
            if led:
                self._pulsation.append(size)
            else:
                self._is_unled, self._led_since_s = True, math.inf
                usual = float(np.median(self._pulsation)) if self._pulsation else NEVER
                self._changes.append((time_s, usual))
        elif not led:
            self._led_since_s = math.inf
        else:
            self._led_since_s = min(self._led_since_s, time_s)
            if time_s - self._led_since_s >= BACK_S:
                self._is_unled = False
                self._changes.append((time_s, math.nan))

    def tell(self, breaths: Breaths) -> Bools:
        """Return which of the next breaths may be pulsation."""
        doubtful = np.zeros(len(breaths), dtype=np.bool_)
        ends_s = [since_s for since_s, _ in self._changes[1:]]
        ends = [*np.searchsorted(breaths.time_s, ends_s).tolist(), len(breaths)]
        first = 0
        for (_, pulsation), after in zip(self._changes, ends, strict=True):
            doubtful[first:after] = self._told(breaths.rows(first, after), pulsation)
            first = after
        if len(breaths):
            self._forget(float(breaths.time_s[-1]))
        return doubtful

    def _told(self, breaths: Breaths, pulsation: float) -> Bools:
        """Return which breaths may be pulsation that has such a usual size, if it was left in."""
        may_be_heart = np.zeros(len(breaths), dtype=np.bool_)
        asked = (breaths.time_s >= self._followed_s) & (breaths.time_s < self._led_s)
        if pulsation == NEVER:
            asked[:] = True
        if asked.any():
            time_s, size = breaths.time_s[asked], breaths.size[asked]
            row = self._even.tell(time_s, size) | self._quick.tell(time_s, size)
            may_be_heart[asked] = row & self._without_heart(time_s)
        if pulsation == NEVER:
            return np.asarray(may_be_heart | self._in_step_at_start(breaths.time_s))
        if not math.isnan(pulsation):
            return may_be_heart | self._small(breaths.time_s, breaths.size, pulsation)
        if len(breaths):  # they lead: what breaths are like is learned
            self._end_row()
            self._sizes = np.concatenate((self._sizes, breaths.size[-USUAL:]))[-USUAL:]
        return may_be_heart

    def _small(self, time_s: Floats, size: Floats, pulsation: float) -> Bools:
        """Return which swings are small enough for a pulsation, and do not go on for too long."""
        small = np.zeros(len(size), dtype=np.bool_)
        most = self._most(pulsation)
        for place, (at_s, one) in enumerate(zip(time_s.tolist(), size.tolist(), strict=True)):
            if one > most:
                self._end_row()
                continue
            self._row_s = min(self._row_s, at_s)
            self._row.append(one)
            if at_s - self._row_s > MOST_S:
                self._sizes = np.array(self._row)
                self._end_row()
                most = self._most(pulsation)
            small[place] = one <= most
        return small

    def _end_row(self) -> None:
        self._row_s = math.inf
        self._row.clear()

    def _without_heart(self, time_s: Floats) -> Bools:
        """Tell of each time whether no beat was found in the seconds before it."""
        after = np.searchsorted(self._beat_s, time_s, side="right")
        first = np.searchsorted(self._beat_s, time_s - NO_BEAT_S)
        none: Bools = after == first
        return none

    def _in_step_at_start(self, time_s: Floats) -> Bools:
        """Tell which breaths come one a beat in the first seconds, before the rejector can lead.

        A recording may begin within a pause: strips of single events do. Two such intervals in a
        row are asked for, so the first two breaths of it all are never told.
        """
        times_s = np.concatenate((self._latest_s, time_s))
        self._latest_s = times_s[-2:]
        single = np.diff(np.searchsorted(self._beat_s, times_s, side="right")) == 1
        in_step = np.concatenate(([False, False], single[1:] & single[:-1]))
        told: Bools = in_step[len(in_step) - len(time_s) :] & (time_s <= STARTS_S)
        return told

    def _most(self, pulsation: float) -> float:
        """Return the largest swing that a pulsation of the usual size may have become."""
        breath = float(np.median(self._sizes)) if len(self._sizes) else 0.0
        return min(max(GROWN * pulsation, LEAST * breath), SMALL * breath)


def _first(time_s: Floats, flags: Bools) -> float:
    """Return the first time with a flag; infinite if there is none."""
    return float(time_s[np.argmax(flags)]) if flags.any() else math.inf
