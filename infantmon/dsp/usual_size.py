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

from infantmon.dsp.small_rows import (
    EVEN_APART_S,
    NOISE_MOST,
    SMALL,
    SMALL_EVEN,
    Swing,
    is_even,
    keeps_step,
    mean_apart_s,
    row_after_burst,
    shallow_row,
)
from infantmon.model.carried import Carried

# Shares and multiples are of the usual size, unless another measure is named. "Unlikeness" is the
# median deviation of logarithms. All values are the project's choice, on the recordings and
# simulated seeds that the results page names.

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

# A row of small swings (`small_rows`) is believed to be breathing that has become shallow
PATIENCE_S = 30.0  # after so long in which all were small: without R peaks, none was a breath
SHALLOW_LEAST = 0.1  # no smaller a row: noise and pulsation are
SLOWER = 3.0  # what came so many times more slowly than the row was breathing, and the row is none

# A long silence: what was usual is given up
GIVEN_UP_S = 180.0  # from here on the usual size sinks, and an even row may be of any size
HALVED_EVERY_S = 20.0  # how fast it sinks
SUNK = 0.5  # to no less than this,
WHATEVER_S = 600.0  # before so long a silence: from then on it sinks whatever comes,
MOST_HALVINGS = 100.0  # to less than rounding can tell, but never to 0: hours may be silent
FEW_GIVEN_UP_S = 90.0  # fewer than FEW sizes are forgotten after this: apnea limits are shorter

SWINGS = 12  # latest swings kept, whether they counted or not

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
    * The same after 30 s in which all were small: breathing has become shallow. Some of it may have
      counted meanwhile; without R peaks nothing may, since small ones may be the heart's. What is
      left in a pause of noise and pulsation makes no such row; the smaller the swings, the more
      even the row must be, and it must not be far quicker than the breaths were, nor keep step with
      the heart where its beats are known. Swings under a tenth count only where little had been
      learned before: as the electrodes are put on, they may have been moved as evenly as breathing
      moves them.
    * After 180 s of silence an even row may be of any size, and the usual size sinks,
      to half at first: noise is not to end a long pause. After 600 s it sinks whatever comes. Fewer
      than four sizes are forgotten after 90 s: they may have been jolts. Not so where they are a
      return to what had been learned before.
    * If breaths of the size that was given up for a small row come back, three in an even row, that
      row was no breathing, although it goes on between them.
    * A long memory of about 60 sizes, which a burst hardly moves, tells after it what was usual
      before: two in a row of that size are enough to come back to it. What is so known again is
      taken to have been learned for as long as before.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_sizes",
        "_times",
        "_huge",
        "_huge_since",
        "_swings",
        "_since",
        "_latest",
        "_large_s",
        "_long",
        "_long_count",
        "_given_up",
    )

    def __init__(self) -> None:
        self._sizes: deque[float] = deque(maxlen=KEPT)
        self._times: deque[float] = deque(maxlen=KEPT)
        self._huge: deque[tuple[float, float]] = deque(maxlen=KEPT)  # time, size
        self._huge_since = math.inf  # time of the first of the huge ones in a row
        self._swings: deque[Swing] = deque(maxlen=SWINGS)
        self._since = math.inf  # time of the first size learned
        self._latest = -math.inf  # time of the last one
        self._large_s = -math.inf  # time of the last large one
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
        if len(self._sizes) < FEW and not self.is_settled:
            usual = seen if silent_s > FEW_GIVEN_UP_S else max(usual, seen)
        if silent_s <= GIVEN_UP_S:
            return usual
        sunk: float = max(0.5 ** ((silent_s - GIVEN_UP_S) / HALVED_EVERY_S), SUNK)
        if silent_s > WHATEVER_S:
            sunk *= 0.5 ** min((silent_s - WHATEVER_S) / HALVED_EVERY_S, MOST_HALVINGS)
        return usual * sunk

    def learn(
        self,
        time_s: float,
        size: float,
        usual: float,
        cycle: float = math.nan,
        *,
        led: bool = False,
    ) -> None:
        """Take up the size of one more, which was judged against `usual`.

        `cycle` counts the heart's beats up to then, with shares; NaN where they are not known.
        `led` tells whether they are R peaks, so that the heart's pulsation was taken out.
        """
        known = self._usual() if self._sizes else size
        if self._restarts(time_s, size, known, cycle, led=led):
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

    def pass_over(
        self, time_s: float, size: float, cycle: float = math.nan, *, led: bool = False
    ) -> None:
        """Note one that was too small to count; `cycle` and `led` as in `learn`."""
        if self._sizes:
            self._restarts(time_s, size, self._usual(), cycle, led=led)

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

    def _restarts(
        self, time_s: float, size: float, known: float, cycle: float, *, led: bool
    ) -> bool:
        """Start anew from the latest swings if they tell that something else is usual by now."""
        self._swings.append((time_s, size, cycle))
        if size >= SMALL * known:
            self._large_s = time_s
        known_again = self._row_given_up(known) or self._row_as_before(known)
        row = known_again or self._small_row(time_s, known, led=led)
        if not row:
            return False
        since_s = self._since if known_again else time_s  # what is known again was learned before
        self._start_anew(time_s)
        self._since = since_s
        for at_s, each, _ in row:
            self._take(at_s, each)
        return True

    def _row_as_before(self, known: float) -> list[Swing]:
        """Return the last two if they are of the size that was usual before the present one."""
        before = math.exp(self._long)
        smaller = self._long_count >= LONG_FROM and before < SMALL * known
        if not smaller and self._given_up <= HUGE * known:  # mostly
            return []
        row = list(self._swings)[-2:]
        sizes = [size for _, size, _ in row]
        if smaller and _all_near(sizes, before):
            return row
        if self._given_up > HUGE * known and _all_near(sizes, self._given_up):
            self._given_up = 0.0
            return row
        return []

    def _small_row(self, time_s: float, known: float, *, led: bool) -> list[Swing]:
        """Return the latest swings if small ones are usual: after a burst, or for long."""
        if self._swings[-1][1] > SMALL * known:  # mostly
            return []
        row: list[Swing] = []
        if time_s - self._latest <= PATIENCE_S:
            row = self._row_after_burst(known)
        small_since_s = self._large_s if led else self._latest
        if not row and time_s - small_since_s > PATIENCE_S:
            since = [each for each in self._swings if each[0] > small_since_s]
            row = self._shallow_row(since, known, is_open=self.is_open(time_s), led=led)
        if row:
            self._given_up = max(known, self._given_up)
        return row

    def _row_given_up(self, known: float) -> list[Swing]:
        """Return the latest swings of the size that was given up, if they come as breaths do.

        Between them there may be any that are smaller: it was these that were believed.
        """
        if self._given_up <= HUGE * known:
            return []
        row = [each for each in self._swings if each[1] >= self._given_up / AS_LONG][-BACK_COUNT:]
        if len(row) < BACK_COUNT or not _all_near([size for _, size, _ in row], self._given_up):
            return []
        if not is_even(row, SMALL_EVEN):
            return []
        self._given_up = 0.0
        return row

    def _row_after_burst(self, known: float) -> list[Swing]:
        """Return small swings in an even row that show that a burst is over, or none."""
        row = row_after_burst(self._swings, known)
        if not row:
            return []
        alike = len(self._sizes) > 1 and max(self._sizes) < HUGE * min(self._sizes)
        noise = alike and max(size for _, size, _ in row) < NOISE_MOST * known  # and breaths before
        return [] if noise or self.is_sure or self._was_slow(row) else row

    def _shallow_row(
        self, since: list[Swing], known: float, *, is_open: bool, led: bool
    ) -> list[Swing]:
        """Return swings in an even row that show that breathing has become shallow, or none."""
        if is_open:  # a row may be of any size
            return shallow_row(since, known, led=led)
        if max(size for _, size, _ in since) < SHALLOW_LEAST * known:
            return []
        row = shallow_row(since, known, led=led)
        return [] if row and (self._was_slow(row) or keeps_step(row, since)) else row

    def _was_slow(self, row: list[Swing]) -> bool:
        """Tell whether what was learned came far more slowly than a row.

        Then what was learned was no burst, and the row is no breathing. Two sizes are too few to
        tell: a first breath, and a jump of the level soon after it.
        """
        apart = sorted(after - before for before, after in pairwise(self._times))
        apart = [each for each in apart if each <= EVEN_APART_S[1]]  # a longer one is a pause
        return len(apart) > 1 and apart[len(apart) // 2] > SLOWER * mean_apart_s(row)

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
        self._huge_since = math.inf
        self._since = self._large_s = time_s

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
