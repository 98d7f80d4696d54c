"""How far apart breaths are as a rule, and what a breath must be that comes sooner.

In come places of breaths; out comes the usual interval, whether breathing is slow, and by which
factor a breath at a place must be larger, or may be smaller, than otherwise.
"""

from __future__ import annotations

from collections import deque
from typing import ClassVar

from infantmon.model.carried import Carried

# All values are the project's choice, on the recordings and simulated seeds that the results page
# names.
INTERVALS = 9  # so many of the latest: their median is the usual interval
LONGEST_S = 6.0  # a longer interval is a pause, and is not learned from
SLOW_S = 2.2  # breathing is slow from this usual interval on
BRISK_S = 2.6  # below this one a breath that is held for as long as is looked at is a pause

# A breath that comes soon must be larger than otherwise.
SOON = 0.7  # of the usual interval: sooner than this
SOON_MORE = 1.5  # larger by this share if it came at once; by less the later it comes

# Rhythm must not lock: where breathing has become faster, breaths would be left out for ever.
SPARED = 4  # so many left out for coming too soon are a faster rhythm, and rhythm does not count
UNEVEN = 1.5  # one alone, so much nearer to one breath than to the next, is no sign of it

# The band-pass flattens breaths that come very fast: these may be smaller than otherwise.
QUICK_USUAL_S = 0.55  # where this or less is the usual interval,
QUICK_S = 0.45  # one that comes so soon
QUICK = 0.5  # may be smaller by this factor


class BreathRhythm(Carried):
    """Follows the intervals between breaths.

    Rhythm never locks: after four that were left out for coming too soon it does not count any
    more, until breaths have come without any between them. What shows no faster rhythm is one
    alone that is much nearer to one breath than to the other: a breath with two tops, or the heart.

    Parameters
    ----------
    rate_hz : float
        Samples a second; places and intervals are in samples.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_intervals",
        "_median",
        "_latest",
        "_spared",
        "_left_out",
        "_first_out",
    )

    def __init__(self, rate_hz: float) -> None:
        self._rate_hz = rate_hz
        self._slow, self._brisk = SLOW_S * rate_hz, BRISK_S * rate_hz
        self._intervals: deque[int] = deque(maxlen=INTERVALS)
        self._median = 0
        self._latest = -(10**9)  # place of the last breath
        self._spared = 0  # left out of late, and perhaps of a faster rhythm
        self._left_out = 0  # swings left out since the last breath
        self._first_out = 0  # place of the first of them

    @property
    def count(self) -> int:
        """How many intervals are known, of those that are looked at."""
        return len(self._intervals)

    @property
    def is_known(self) -> bool:
        """Whether enough of them are."""
        return len(self._intervals) == INTERVALS

    @property
    def is_slow(self) -> bool:
        """Whether breathing is slow."""
        return len(self._intervals) == INTERVALS and self._median >= self._slow

    @property
    def is_brisk(self) -> bool:
        """Whether breaths come so soon that one which is held for long is a pause."""
        return len(self._intervals) == INTERVALS and self._median < self._brisk

    @property
    def interval(self) -> float:
        """The usual interval; 0 while rhythm does not count."""
        return float(self._median) if self.is_known and self._spared < SPARED else 0.0

    def accept(self, place: int) -> None:
        """Take up a breath."""
        interval = place - self._latest
        if interval <= LONGEST_S * self._rate_hz:
            self._intervals.append(interval)
            self._median = sorted(self._intervals)[len(self._intervals) // 2]
        if self._left_out == 1 and self._is_midway(place):
            self._spared = min(self._spared + 1, 2 * SPARED)
        elif self._left_out <= 1:
            self._spared = max(0, self._spared - 1)
        self._left_out = 0
        self._latest = place

    def leave_out(self, place: int) -> None:
        """Note a swing that was no breath only because it came too soon."""
        self._left_out += 1
        if self._left_out == 1:
            self._first_out = place  # it is told with the next breath whether it counts
        else:
            self._spared = min(self._spared + (2 if self._left_out == 2 else 1), 2 * SPARED)

    def _is_midway(self, place: int) -> bool:
        """Tell whether the one left out lies about midway between the last breath and this one."""
        apart = sorted((self._first_out - self._latest, place - self._first_out))
        return apart[1] < UNEVEN * apart[0]

    def is_late(self, place: int, intervals: float) -> bool:
        """Tell whether a place is later after the last breath than so many usual intervals."""
        return place - self._latest > intervals * self.interval > 0.0

    def more_if_soon(self, place: int) -> float:
        """Return by which factor a breath at a place must be larger than it must otherwise."""
        soon = SOON * self.interval
        early = soon - (place - self._latest)
        return 1.0 + SOON_MORE * early / soon if early > 0.0 else 1.0

    def least_share(self, place: int) -> float:
        """Return by which factor a breath may be smaller, as the band-pass flattens quick ones."""
        fast = 0.0 < self.interval < QUICK_USUAL_S * self._rate_hz
        return QUICK if fast and place - self._latest < QUICK_S * self._rate_hz else 1.0
