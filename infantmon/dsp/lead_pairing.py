"""Marks of two leads, paired and weighed one after the other.

In come the R peaks of both leads; out come the beats of one train. `LeadFusion` describes the
method; here are its decisions, mark by mark in the order of time.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from statistics import median
from typing import ClassVar, NamedTuple

from infantmon.model.carried import Carried
from infantmon.model.marks import RPeaks

# "Usual" is the usual interval between beats of the one train. `LeadFusion` says on what the values
# were chosen.

# Which marks of the two leads are one beat
MATCH_S = 0.1  # two marks no farther apart (common practice)
DISTANCES = 15  # latest distances between such marks: their median is taken off the second lead's
FARTHEST_S = 0.1  # but no more than this is
APART_S = 0.12  # two beats of the one train are never closer than this
LATEST = 8  # intervals whose median is usual, and marks of a lead that tell whether it is reliable
FIRST_GUESS_S = 0.45  # usual while no interval is known

# Which lead leads: the one that errs less, where one shows more or fewer marks than there are beats
ERROR_WEIGHT = 0.12  # of the latest interval in a lead's mean errors
ERRORS_MOST = 2  # counted in one interval
BETTER = 0.15  # errors an interval fewer: then the second lead leads
STALE = 3.0  # usual intervals without a mark,
STALE_S = 1.5  # and so long: such a lead tells nothing

# Whether a mark in one lead alone is a beat
ERRS = 0.1  # errors an interval: from here on the leading lead may show artefacts
WHOLE = 1.3  # usual intervals: nothing is missing in an interval of the other lead up to this
NEAR = 0.8  # usual intervals: a mark this near to a beat fills no gap
LONG = 1.6  # usual intervals: a gap shorter than this needs no filling


class Mark(NamedTuple):
    """A mark of one lead; `time_s` on the first lead's clock, the usual distance taken off."""

    time_s: float
    amplitude: float
    reliable: bool


class FusedBeat(NamedTuple):
    """A beat of the one train."""

    time_s: float
    known_s: float
    amplitude: float
    reliable: bool
    seen_in: int  # 1, 2, or 3 for both


class LeadPairing(Carried):
    """Goes through the marks of two leads in the order of time.

    What is decided at a time rests on the marks up to `ahead_s` later alone, however many are at
    hand: so the beats are equal however the leads are cut and interleaved.

    Parameters
    ----------
    ahead_s : float
        How far past a mark others are looked at, in seconds.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_waiting",
        "_distances",
        "_flags",
        "_latest_s",
        "_leading",
        "_alone_since",
        "_both_s",
        "_errors",
        "_intervals",
        "_last_s",
        "_known_s",
    )

    def __init__(self, ahead_s: float) -> None:
        self._ahead_s = ahead_s
        self._waiting: list[list[tuple[float, float, bool]]] = [[], []]
        self._distances: deque[float] = deque(maxlen=DISTANCES)
        self._flags: list[list[bool]] = [[], []]  # of the latest marks of each lead
        self._latest_s = [-math.inf, -math.inf]  # latest mark of each lead
        self._leading = 0
        self._alone_since = [0, 0]  # marks of each lead alone since the last beat in both
        self._both_s = -math.inf  # that beat
        self._errors = [0.0, 0.0]  # of each lead, an interval between beats in both
        self._intervals: deque[float] = deque(maxlen=LATEST)  # between beats of the one train
        self._last_s = -math.inf  # latest beat of the one train
        self._known_s = -math.inf  # when the latest mark was decided on

    def take(self, first: RPeaks, second: RPeaks) -> None:
        """Take up new marks of both leads."""
        for waiting, marks in zip(self._waiting, (first, second), strict=True):
            columns = (marks.time_s, marks.amplitude, marks.reliable)
            waiting.extend(zip(*(column.tolist() for column in columns), strict=True))

    def settle(self, reached_s: float, wait_s: float) -> list[FusedBeat]:
        """Return the beats at marks that both leads have left `wait_s` behind."""
        beats: list[FusedBeat] = []
        while (lead := self._earliest()) is not None:
            mark = self._mark(lead, 0)
            if mark.time_s + wait_s > reached_s:
                break
            self._known_s = max(self._known_s, mark.time_s + wait_s)
            beat = self._decide(lead, mark)
            if beat is not None and beat.time_s - self._last_s >= APART_S:
                self._intervals.append(beat.time_s - self._last_s)
                self._last_s = beat.time_s
                beats.append(beat)
        return beats

    @property
    def _usual_s(self) -> float:
        known = [each for each in self._intervals if math.isfinite(each)]
        return median(known) if known else FIRST_GUESS_S

    @property
    def _distance_s(self) -> float:
        if not self._distances:
            return 0.0
        return min(max(median(self._distances), -FARTHEST_S), FARTHEST_S)

    def _mark(self, lead: int, index: int) -> Mark:
        time_s, amplitude, reliable = self._waiting[lead][index]
        return Mark(time_s - (self._distance_s if lead else 0.0), amplitude, reliable)

    def _earliest(self) -> int | None:
        """Return the lead whose next mark comes first, or None if there is no mark."""
        heads = [self._mark(lead, 0).time_s for lead in (0, 1) if self._waiting[lead]]
        if not heads:
            return None
        if len(heads) == 1:
            return 0 if self._waiting[0] else 1
        return 0 if heads[0] <= heads[1] else 1

    def _decide(self, lead: int, mark: Mark) -> FusedBeat | None:
        """Take the earliest mark, and its partner, and return the beat if it is one."""
        partner = self._partner(lead, mark)
        self._waiting[lead].pop(0)
        if partner is None:
            self._hear(lead, mark)
            self._alone_since[lead] += 1
            self._choose(mark.time_s)
            return self._alone(lead, mark)
        raw_s = self._waiting[1 - lead].pop(0)[0]
        self._hear(lead, mark)
        self._hear(1 - lead, partner)
        self._count_errors(mark.time_s)
        self._choose(mark.time_s)
        both = (mark, partner) if lead == 0 else (partner, mark)
        taken = both[self._leading]
        reliable = mark.reliable or partner.reliable
        beat = FusedBeat(taken.time_s, self._known_s, taken.amplitude, reliable, 3)
        if mark.reliable and partner.reliable:
            apart_s = raw_s - mark.time_s if lead == 0 else mark.time_s - partner.time_s
            self._distances.append(apart_s if lead == 0 else apart_s + self._distance_s)
        return beat

    def _partner(self, lead: int, mark: Mark) -> Mark | None:
        """Return the other lead's next mark if it is of the same beat."""
        other = 1 - lead
        if not self._waiting[other]:
            return None
        partner = self._mark(other, 0)
        apart_s = partner.time_s - mark.time_s
        if apart_s > MATCH_S:
            return None
        if len(self._waiting[lead]) > 1:  # a later mark of this lead may be nearer to it
            following = self._mark(lead, 1)
            if abs(following.time_s - partner.time_s) < apart_s:
                return None
        return partner

    def _hear(self, lead: int, mark: Mark) -> None:
        flags = self._flags[lead]
        flags.append(mark.reliable)
        del flags[:-LATEST]
        self._latest_s[lead] = mark.time_s

    def _is_stale(self, lead: int, at_s: float) -> bool:
        return at_s - self._latest_s[lead] > max(STALE * self._usual_s, STALE_S)

    def _count_errors(self, both_s: float) -> None:
        """Compare the marks of each lead between two beats in both with what the rhythm asks."""
        inside = (
            max(round((both_s - self._both_s) / self._usual_s) - 1, 0)
            if self._both_s > -math.inf
            else 0
        )
        for lead in (0, 1):
            wrong = min(abs(self._alone_since[lead] - inside), ERRORS_MOST)
            self._errors[lead] += ERROR_WEIGHT * (wrong - self._errors[lead])
        self._alone_since = [0, 0]
        self._both_s = both_s

    def _choose(self, at_s: float) -> None:
        """Choose the lead that leads at a time."""
        first, second = self._errors
        if self._is_stale(0, at_s) != self._is_stale(1, at_s):
            self._leading = int(self._is_stale(0, at_s))
        elif self._leading == 0 and second < first - BETTER:
            self._leading = 1
        elif self._leading == 1 and first <= second:
            self._leading = 0

    def _alone(self, lead: int, mark: Mark) -> FusedBeat | None:
        """Return the beat that a mark of one lead alone makes, if it makes one."""
        if lead == self._leading:
            counts = not self._is_artefact(1 - lead, mark)
        else:
            counts = mark.reliable and self._fills_gap(self._leading, mark)
        if not counts:
            return None
        return FusedBeat(mark.time_s, self._known_s, mark.amplitude, mark.reliable, lead + 1)

    def _is_artefact(self, other: int, mark: Mark) -> bool:
        """Tell whether the other lead shows that a mark of the leading lead is no beat."""
        if self._is_stale(other, mark.time_s) or not self._flags[other][-1]:
            return False
        if self._errors[1 - other] < ERRS:
            return False
        if not mark.reliable:
            return True
        later = self._after(other, mark.time_s)
        whole = bool(later) and later[0] - self._latest_s[other] <= WHOLE * self._usual_s
        return whole and all(self._flags[other])

    def _fills_gap(self, leading: int, mark: Mark) -> bool:
        """Tell whether no beat is near a mark of the lead that does not lead."""
        near_s = NEAR * self._usual_s
        if mark.time_s - self._last_s < near_s:
            return False
        later = self._after(leading, mark.time_s)
        if not later:
            return True
        return later[0] - mark.time_s >= near_s and later[0] - self._last_s >= LONG * self._usual_s

    def _after(self, lead: int, at_s: float) -> Sequence[float]:
        """Return the next mark of a lead, if it is near enough to be looked at."""
        if not self._waiting[lead]:
            return ()
        time_s = self._mark(lead, 0).time_s
        return (time_s,) if time_s <= at_s + self._ahead_s else ()
