"""All that makes a breath doubtful: a disturbance, a silence around it, or the heart.

In come breaths, contact marks and pulsation; out comes, for each breath, whether it may be none and
for which kind of reason (`Doubts`). Each reason has a file of its own; here they are put together.
"""

from __future__ import annotations

from typing import ClassVar

from infantmon.events.batch import Batch
from infantmon.events.doubtful_breaths import DoubtfulBreaths
from infantmon.events.isolated_swings import IsolatedSwings
from infantmon.events.passed_over import Doubts
from infantmon.events.silences import Silences
from infantmon.events.unled_swings import UnledSwings
from infantmon.model.carried import Carried
from infantmon.model.marks import Breaths


class BreathDoubts(Carried):
    """Tells which breaths a disturbance, an electrode or the heart may have made."""

    carried: ClassVar[tuple[str, ...]] = ("_disturbed", "_isolated", "_silences", "_unled")

    def __init__(self) -> None:
        self._disturbed = DoubtfulBreaths()
        self._isolated = IsolatedSwings()
        self._silences = Silences()
        self._unled = UnledSwings()

    def learn(self, batch: Batch) -> None:
        """Take up what a batch tells beside the breaths themselves."""
        self._disturbed.learn(batch)
        self._unled.learn(batch)

    def tell(self, breaths: Breaths) -> Doubts:
        """Return the doubts of the next breaths."""
        after_silence = self._silences.tell(breaths.time_s)
        passing = self._disturbed.tell(breaths) | self._isolated.tell(breaths, after_silence)
        return Doubts(passing, self._unled.tell(breaths), after_silence)


class RecalledDoubts(BreathDoubts):
    """The same for many limits over the same findings: found by the first, recalled by the others.

    No doubt depends on a limit, and all rules ask for the same breaths in the same order.

    Parameters
    ----------
    told : list of Doubts
        What was told so far; empty for the first of them, which fills it.
    """

    def __init__(self, told: list[Doubts]) -> None:
        super().__init__()
        self._told = told
        self._is_first = not told
        self._place = 0

    def learn(self, batch: Batch) -> None:
        """Take up what a batch tells, unless it is known what follows from it."""
        if self._is_first:
            super().learn(batch)

    def tell(self, breaths: Breaths) -> Doubts:
        """Return the doubts of the next breaths."""
        if self._is_first:
            self._told.append(super().tell(breaths))
        self._place += 1
        return self._told[self._place - 1]
