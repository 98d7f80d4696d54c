"""The usual size of something that repeats, learned from the last few, with ways back.

In come sizes of breaths, and of swings that were too small for one; out comes the size that is
usual at a time. A median alone would lock: after a burst of movement every breath would be too
small to count, and so to be learned from; after a long silence noise would be taken for breathing.
Most of this file tells when to believe something new.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections import deque
from collections.abc import Sequence
from itertools import accumulate, pairwise
from typing import Any, ClassVar

from infantmon.dsp.beat_places import kept_to
from infantmon.model.carried import Carried

# Shares and multiples are of the usual size, unless another measure is named. "Unlikeness" is the
# median deviation of logarithms; an even row is a few swings whose intervals differ by no more than
# a factor. All values are the project's choice, on the recordings and simulated seeds that the
# results page names.

KEPT = 25  # sizes the median is taken over
FEW = 4  # with fewer sizes than this nothing is usual yet
FEW_ALIKE = 3  # but so many that are alike tell that a far larger one is a sigh

# When what was learned is trusted
ALIKE_COUNT = 6  # sizes, at least,
ALIKE = 0.27  # whose sizes and intervals have no larger unlikeness;
SETTLED_S = 25.0  # or sizes learned over so long,
SETTLED = 0.54  # of no larger unlikeness

# Far larger than usual: movement, unless it goes on
HUGE = 2.5  # a size beyond this is not learned from at once
HUGE_FOR_S = 12.0  # but is once nothing smaller has come for so long,
HUGE_APART_S = 6.0  # with no longer silence between: such would be single jumps
FAR = 20.0  # a size beyond this is a first breath, and what came before it was noise,
NEW_S = 10.0  # unless that had been learned for longer than this

# A silence, after which an even row of small swings is believed: breathing has become shallow
PATIENCE_S = 30.0  # so long a silence
SHALLOW_LEAST = 0.1  # the row is no smaller than this: noise and pulsation are
SHALLOW_AMONG = 0.45  # of the largest swing since: smaller ones do not belong to the row
SHALLOW_COUNT = 5  # swings in the row
SHALLOW_EVEN = 2.5  # factor by which their intervals may differ
NOISE_MOST = 0.15  # a row smaller than this could be noise, and more is asked of it:
SURE_ROW = 9  # so many swings,
SURE_EVEN = 2.0  # so even,
SURE_BETWEEN = 0.15  # of the row's largest: none from this size on that is too small for the row,
SURE_APART_S = 0.62  # and so far apart, at least, on average

# A long silence: what was usual is given up
GIVEN_UP_S = 180.0  # from here on the usual size sinks, and an even row may be of any size
HALVED_EVERY_S = 20.0  # how fast it sinks
SUNK = 0.5  # to no less than this,
WHATEVER_S = 600.0  # before so long a silence: from then on it sinks whatever comes,
MOST_HALVINGS = 100.0  # to less than rounding can tell, but never to 0: hours may be silent
FEW_GIVEN_UP_S = 90.0  # fewer than FEW sizes are forgotten after this: apnea limits are shorter

# What keeps step with the heart after a silence is left of its pulsation, and is not believed
STEP = 1.25  # intervals of a row are mostly within this factor of the heart's,
LOCKED = 0.5  # or swings come at one place of the beat, or at two that lie opposite; 1: always

# After a burst an even row of small swings is believed at once
SWINGS = 12  # latest swings kept, whether they counted or not
SMALL_COUNT = 6  # swings in the row
SMALL_EVEN = 1.9  # factor by which their sizes, and their intervals, may differ
SMALL = 0.6  # all are smaller than this
SMALL_APART_S = (0.55, 6.0)  # least and longest mean interval of breathing
SLOWER = 3.0  # what came so many times more slowly than the row was breathing, and no burst

# A long memory, to find back to what was usual before a burst, or before a row that was none
LONG_COUNT = 60  # sizes it reaches back over
LONG_FROM = 20  # with fewer there is none
LONG_STEP = 1.5  # a size beyond this factor counts in it no more than one at this factor
_LONG_STEP = math.log(LONG_STEP)
BACK_COUNT = 3  # so many in an even row of a size that was given up: breathing is back
AS_LONG = 1.7  # within this factor of a remembered size, a swing is of that size


class UsualSize(Carried):
    """Median of the last sizes, weighted by their square; neither burst nor silence locks it.

    * A size far above the usual is kept out (movement), unless nothing smaller comes for 12 s: then
      what was learned before is dropped.
    * In the first 10 s a size beyond 20 usual ones is a first breath: what came before was noise.
    * While the sizes learned are unlike each other, six small ones in an even row are believed
      instead: what came before them was a burst (movement as the electrodes are put on). But a
      burst does not come far more slowly than breaths: then the small ones are the heart's. And a
      few breaths of like size, with far smaller swings after them, are the beginning of a pause.
    * The same after 30 s of silence: breathing has become shallow. What is left in a pause of noise
      and pulsation makes no such row; the smaller the swings, the more even the row must be, and it
      must not be far quicker than the breaths were, nor keep step with the heart where its beats
      are known. Swings under a tenth count only where little had been learned before the silence:
      as the electrodes are put on, they may have been moved as evenly as breathing moves them.
    * After 180 s of silence an even row may be of any size, and the usual size sinks,
      to half at first: noise is not to end a long pause. After 600 s it sinks whatever comes. Fewer
      than four sizes are forgotten after 90 s: they may have been jolts.
    * If breaths of the size that was given up for a small row come back, three in an even row, that
      row was no breathing, although it goes on between them.
    * A long memory of about 60 sizes, which a burst hardly moves, tells after it what was usual
      before: two in a row of that size are enough to come back to it.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_sizes",
        "_times",
        "_huge",
        "_huge_since",
        "_swings",
        "_cycles",
        "_since",
        "_latest",
        "_long",
        "_long_count",
        "_given_up",
    )

    def __init__(self) -> None:
        self._sizes: deque[float] = deque(maxlen=KEPT)
        self._times: deque[float] = deque(maxlen=KEPT)
        self._huge: deque[tuple[float, float]] = deque(maxlen=KEPT)  # time, size
        self._huge_since = math.inf  # time of the first of the huge ones in a row
        self._swings: deque[tuple[float, float]] = deque(maxlen=SWINGS)  # time, size
        self._cycles: deque[float] = deque(maxlen=SWINGS)  # heart beats up to each of them
        self._since = math.inf  # time of the first size learned
        self._latest = -math.inf  # time of the last one
        self._long = 0.0  # mean logarithm of the sizes in the long memory
        self._long_count = 0
        self._given_up = 0.0  # what was usual before a row of small ones was believed
        self._changed()

    def restore(self, snapshot: dict[str, Any]) -> None:
        """Take up a saved state; what follows from it is found anew."""
        super().restore(snapshot)
        self._changed()

    def _changed(self) -> None:
        """What follows from the sizes is to be found anew, once it is asked for."""
        self._median = self._unlikeness = math.nan

    @property
    def is_sure(self) -> bool:
        """Whether the sizes learned are much alike, or have been learned for long."""
        if len(self._sizes) < ALIKE_COUNT:
            return False
        if self._unlike() <= ALIKE:
            apart = [after - before for before, after in pairwise(self._times)]
            if _unlikeness(apart) <= ALIKE:
                return True
        return self.is_settled

    @property
    def is_settled(self) -> bool:
        """Whether sizes have been learned for long, and not of a burst alone."""
        return self._latest - self._since >= SETTLED_S and self._unlike() <= SETTLED

    def is_open(self, time_s: float) -> bool:
        """Tell whether far smaller ones may become usual: little was learned, or long ago."""
        return time_s - self._latest > GIVEN_UP_S or not self.is_settled

    def at(self, time_s: float, seen: float) -> float:
        """Return the usual size at a time, given the range of the signal around it."""
        if not self._sizes:
            return seen
        usual, silent_s = self._usual(), time_s - self._latest
        if len(self._sizes) < FEW:
            usual = seen if silent_s > FEW_GIVEN_UP_S else max(usual, seen)
        if silent_s <= GIVEN_UP_S:
            return usual
        sunk: float = max(0.5 ** ((silent_s - GIVEN_UP_S) / HALVED_EVERY_S), SUNK)
        if silent_s > WHATEVER_S:
            sunk *= 0.5 ** min((silent_s - WHATEVER_S) / HALVED_EVERY_S, MOST_HALVINGS)
        return usual * sunk

    def learn(self, time_s: float, size: float, usual: float, cycle: float = math.nan) -> None:
        """Take up the size of one more, which was judged against `usual`.

        `cycle` counts the heart's beats up to then, with shares; NaN where they are not known.
        """
        known = self._usual() if self._sizes else size
        if self._restarts(time_s, size, known, cycle):
            return
        if size > FAR * known and time_s - self._since < NEW_S:
            self._start_anew(time_s)  # the first breath: noise was taken for breathing
        if size > HUGE * known and (len(self._sizes) >= FEW or self._are_alike()):
            self._latest = time_s
            self._learn_huge(time_s, size)
            return
        if size < 0.5 * known and usual < 0.9 * known:  # found only because the usual size sank
            self._start_anew(time_s)
        self._huge.clear()
        self._huge_since = math.inf
        self._take(time_s, size)

    def pass_over(self, time_s: float, size: float, cycle: float = math.nan) -> None:
        """Note one that was too small to count; `cycle` as in `learn`."""
        if self._sizes:
            self._restarts(time_s, size, self._usual(), cycle)

    def _usual(self) -> float:
        """Return the weighted median of the sizes, found once between changes of them."""
        if math.isnan(self._median):
            self._median = _weighted_median(self._sizes)
        return self._median

    def _unlike(self) -> float:
        """Return how unlike each other the sizes are, found once between changes of them."""
        if math.isnan(self._unlikeness):
            self._unlikeness = _unlikeness(self._sizes)
        return self._unlikeness

    def _are_alike(self) -> bool:
        """Tell whether the sizes are alike, so that a far larger one is not learned at once."""
        return len(self._sizes) >= FEW_ALIKE and max(self._sizes) <= AS_LONG * min(self._sizes)

    def _restarts(self, time_s: float, size: float, known: float, cycle: float) -> bool:
        """Start anew from the latest swings if they tell that something else is usual by now."""
        self._swings.append((time_s, size))
        self._cycles.append(cycle)
        row = self._row_given_up(known) or self._row_as_before(known)
        row = row or self._small_row(time_s, known)
        if not row:
            return False
        self._start_anew(time_s)
        for each in row:
            self._take(*each)
        return True

    def _row_as_before(self, known: float) -> list[tuple[float, float]]:
        """Return the last two if they are of the size that was usual before the present one."""
        before = math.exp(self._long)
        smaller = self._long_count >= LONG_FROM and before < SMALL * known
        if not smaller and self._given_up <= HUGE * known:  # mostly
            return []
        row = list(self._swings)[-2:]
        sizes = [size for _, size in row]
        if smaller and _all_near(sizes, before):
            return row
        if self._given_up > HUGE * known and _all_near(sizes, self._given_up):
            self._given_up = 0.0
            return row
        return []

    def _small_row(self, time_s: float, known: float) -> list[tuple[float, float]]:
        """Return the latest swings if small ones are usual: after a burst, or a long silence."""
        if time_s - self._latest <= PATIENCE_S:
            if self._swings[-1][1] > SMALL * known:  # mostly
                return []
            row = self._row_after_burst(list(self._swings)[-SMALL_COUNT:], known)
        else:
            is_open = self.is_open(time_s)
            row = self._shallow_row(known, 0.0 if is_open else SHALLOW_LEAST * known)
            if row and not is_open and (self._was_slow(row) or self._keeps_step(row)):
                return []
        if row:
            self._given_up = max(known, self._given_up)
        return row

    def _row_given_up(self, known: float) -> list[tuple[float, float]]:
        """Return the latest swings of the size that was given up, if they come as breaths do.

        Between them there may be any that are smaller: it was these that were believed.
        """
        if self._given_up <= HUGE * known:
            return []
        row = [each for each in self._swings if each[1] >= self._given_up / AS_LONG][-BACK_COUNT:]
        if len(row) < BACK_COUNT or not _all_near([size for _, size in row], self._given_up):
            return []
        if not _is_even(row, SMALL_EVEN):
            return []
        self._given_up = 0.0
        return row

    def _row_after_burst(
        self, swings: list[tuple[float, float]], known: float
    ) -> list[tuple[float, float]]:
        """Return small swings in an even row that show that a burst is over, or none."""
        sizes = [size for _, size in swings]
        small = max(sizes) <= min(SMALL * known, SMALL_EVEN * min(sizes))
        if not small or len(sizes) < SMALL_COUNT or not _is_even(swings, SMALL_EVEN):
            return []
        alike = len(self._sizes) > 1 and max(self._sizes) < HUGE * min(self._sizes)
        noise = alike and max(sizes) < NOISE_MOST * known  # and breaths before it
        return [] if noise or self.is_sure or self._was_slow(swings) else swings

    def _was_slow(self, swings: list[tuple[float, float]]) -> bool:
        """Tell whether what was learned came far more slowly than a row.

        Then what was learned was no burst, and the row is no breathing. Two sizes are too few to
        tell: a first breath, and a jump of the level soon after it.
        """
        apart = sorted(after - before for before, after in pairwise(self._times))
        apart = [each for each in apart if each <= SMALL_APART_S[1]]  # a longer one is a pause
        row_s = (swings[-1][0] - swings[0][0]) / (len(swings) - 1)
        return len(apart) > 1 and apart[len(apart) // 2] > SLOWER * row_s

    def _shallow_row(self, known: float, least: float) -> list[tuple[float, float]]:
        """Return the latest swings of a row that may be shallow breathing, or none."""
        since = [each for each in self._swings if each[0] > self._latest]
        largest = max(size for _, size in since)
        row = [each for each in since if each[1] >= SHALLOW_AMONG * largest]
        if largest < least:
            return []
        if largest < NOISE_MOST * known:
            between = sum(each[1] >= SURE_BETWEEN * largest for each in since) - len(row)
            return row[-SURE_ROW:] if not between and _is_sure_row(row[-SURE_ROW:]) else []
        row = row[-SHALLOW_COUNT:]
        return row if len(row) == SHALLOW_COUNT and _is_even(row, SHALLOW_EVEN) else []

    def _keeps_step(self, row: list[tuple[float, float]]) -> bool:
        """Tell whether a row after a silence comes as the heart beats, so that it is its rest."""
        cycles = [
            (time_s, cycle) for (time_s, _), cycle in zip(self._swings, self._cycles, strict=True)
        ]
        since = [cycle for time_s, cycle in cycles if time_s > self._latest]
        if any(math.isnan(cycle) for cycle in since):
            return False
        times = {time_s for time_s, _ in row}
        at = [cycle for time_s, cycle in cycles if time_s in times]
        apart = sorted(after - before for before, after in pairwise(at))
        if 1.0 / STEP <= apart[len(apart) // 2] <= STEP:
            return True
        return kept_to(since, places=2) >= LOCKED

    def _learn_huge(self, time_s: float, size: float) -> None:
        if self._huge and time_s - self._huge[-1][0] > HUGE_APART_S:
            self._huge.clear()
            self._huge_since = math.inf
        self._huge.append((time_s, size))
        self._huge_since = min(self._huge_since, time_s)
        if time_s - self._huge_since < HUGE_FOR_S:
            return
        huge = list(self._huge)
        most = HUGE * sorted(size for _, size in huge)[len(huge) // 2]
        self._start_anew(time_s)
        for each in huge:
            if each[1] <= most:  # what goes beyond is movement, whatever was usual before
                self._take(*each)

    def _start_anew(self, time_s: float) -> None:
        self._sizes.clear()
        self._changed()
        self._times.clear()
        self._huge.clear()
        self._swings.clear()
        self._cycles.clear()
        self._huge_since = math.inf
        self._since = time_s

    def _take(self, time_s: float, size: float) -> None:
        self._since = min(self._since, time_s)
        self._latest = time_s
        self._sizes.append(size)
        self._changed()
        self._times.append(time_s)
        step = math.log(size) - self._long
        if self._long_count >= LONG_FROM:
            step = min(max(step, -_LONG_STEP), _LONG_STEP)
        self._long_count = min(self._long_count + 1, LONG_COUNT)
        self._long += step / self._long_count


def _all_near(sizes: list[float], size: float) -> bool:
    return all(size / AS_LONG <= each <= size * AS_LONG for each in sizes)


def _is_even(swings: list[tuple[float, float]], factor: float) -> bool:
    """Tell whether swings (time, size) come at even intervals, as breaths do."""
    apart = [after - before for (before, _), (after, _) in pairwise(swings)]
    mean = sum(apart) / len(apart)
    return max(apart) <= factor * min(apart) and SMALL_APART_S[0] <= mean <= SMALL_APART_S[1]


def _is_sure_row(row: list[tuple[float, float]]) -> bool:
    """Tell whether a row is so long and so even, and its swings so far apart, as no noise."""
    if len(row) < SURE_ROW:
        return False
    apart_s = (row[-1][0] - row[0][0]) / (len(row) - 1)
    return apart_s >= SURE_APART_S and _is_even(row, SURE_EVEN)


def _unlikeness(values: Sequence[float]) -> float:
    """Return the median deviation of the logarithms."""
    ordered = sorted(values)
    middle = ordered[len(ordered) // 2]
    off = sorted(abs(math.log(value / middle)) for value in ordered)
    return off[len(off) // 2]


def _weighted_median(sizes: deque[float]) -> float:
    """Return the size below which half of the sum of all squares lies: small ones count little."""
    ordered = sorted(sizes)
    summed = list(accumulate([size * size for size in ordered]))
    return ordered[bisect_left(summed, 0.5 * summed[-1])]
