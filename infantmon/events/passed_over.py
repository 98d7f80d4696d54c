"""Findings that may be none, passed over: where a pause began, and when it is long enough.

In come breaths with their doubts (`Doubts`); out come the times at which a pause reaches a limit
if the doubtful ones among them do not count. So a pause that is long only without them is listed,
as not assessable, and not lost.
"""

from __future__ import annotations

import math
from typing import ClassVar, NamedTuple

import numpy as np

from infantmon.model.arrays import Bools
from infantmon.model.carried import Carried

SHARE = 0.6
"""Doubtful findings in a pause may take up this share of it (project's choice)."""
QUIET_S = 3.0
"""And nothing may follow them for so long, in seconds (project's choice)."""

ROW_S = 4.0
"""If a breath so soon in a row after a silence is doubtful, so are those of the row before it
(project's choice), in seconds."""

SHORT_ROW_S, QUIET_AFTER_ROW_S = 5.0, 5.0
"""A row of breaths no longer than the first (one is a row, too), after a silence and followed by
nothing for the second, may be a brief movement: one row is passed over (project's choice), in
seconds."""
ESTABLISHED_S = 10.0
"""But only after a row of breathing that lasted for so long: in periodic breathing short rows are
breathing (project's choice), in seconds."""


class Doubts(NamedTuple):
    """Which findings may be none.

    Attributes
    ----------
    passing : numpy.ndarray of bool, shape (n,)
        A brief disturbance may have made them: many of them in a row are none.
    lasting : numpy.ndarray of bool, shape (n,)
        Something that goes on may have made them.
    after_silence : numpy.ndarray of bool, shape (n,)
        A row begins with them, after far longer than usual.
    """

    passing: Bools
    lasting: Bools
    after_silence: Bools

    @classmethod
    def none(cls, count: int) -> Doubts:
        """Return no doubts of so many findings."""
        nothing = np.zeros(count, dtype=np.bool_)
        return cls(nothing, nothing, nothing)

    @property
    def any_kind(self) -> Bools:
        """Which are doubtful for either reason."""
        either: Bools = self.passing | self.lasting
        return either


class PassedOver(Carried):
    """Follows what a pause would be if findings that may be none did not count.

    Attributes
    ----------
    sure_s : float
        Last finding beyond doubt, or where everything began anew, in seconds.
    before_row_s : float
        What that was before the present row of findings, in seconds.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "sure_s",
        "before_row_s",
        "_from_s",
        "_to_s",
        "_lasting_since_s",
        "_row_s",
        "_last_s",
        "_lasted_s",
        "_from_before_row_s",
    )

    def __init__(self) -> None:
        self.sure_s = 0.0  # at first the first sample
        self.before_row_s = 0.0
        self._from_s = math.inf  # first and last passing doubt since the last sure finding
        self._to_s = -math.inf
        self._lasting_since_s = math.inf  # first lasting doubt since then
        self._row_s = 0.0  # first and last finding of the present row
        self._last_s = 0.0
        self._lasted_s = 0.0  # how long the row before it went on
        self._from_before_row_s = math.inf  # `_from_s` before it

    @property
    def any_doubts(self) -> bool:
        """Whether anything doubtful has been found since the last finding beyond doubt."""
        return min(self._from_s, self._lasting_since_s) < math.inf

    def settle(self, time_s: float) -> None:
        """Count on from a finding, whatever it is: the pause before it is listed."""
        self.sure_s = time_s

    def begin_anew(self, time_s: float) -> None:
        """Count nothing from before a time."""
        if time_s > self.before_row_s:
            self.before_row_s, self._from_before_row_s = time_s, math.inf
        if time_s > self.sure_s:
            self._be_sure(time_s)

    def take(self, time_s: float, doubts: Doubts, row: int) -> None:
        """Take the next finding, a row of the doubts."""
        if doubts.after_silence[row]:
            self._lasted_s = self._last_s - self._row_s
            self._row_s, self.before_row_s = time_s, self.sure_s
            self._from_before_row_s = self._from_s
        self._last_s = time_s
        if time_s <= self.sure_s:
            self._be_sure(self.sure_s)
            self.before_row_s = self.sure_s
        elif doubts.lasting[row]:
            self._lasting_since_s = min(self._lasting_since_s, time_s)
        elif doubts.passing[row]:
            self._doubt(time_s)
        else:
            self._be_sure(time_s)

    def _be_sure(self, time_s: float) -> None:
        self.sure_s = time_s
        self._from_s = self._lasting_since_s = math.inf

    def _doubt(self, time_s: float) -> None:
        self._from_s = min(self._from_s, time_s)
        self._to_s = time_s
        if time_s - self._row_s <= ROW_S and self._row_s > self.before_row_s:
            self.sure_s = self.before_row_s  # the whole short row is doubtful
            self._from_s = min(self._from_s, self._row_s, self._from_before_row_s)

    def reaches_s(self, limit_s: float) -> float:
        """Return when a pause from the last sure finding on reaches a limit, nothing being found.

        Passing doubts are passed over only where they take up no more than 0.6 of the pause and
        nothing has followed them for a while: a movement is no pause, nor is a sigh that ends one.
        It is a share of the pause, not of the limit, so that a shorter limit lists it too.
        """
        if self._from_s == math.inf:
            return self.sure_s + limit_s
        least_s = max(limit_s, (self._to_s - self._from_s) / SHARE)
        return max(self.sure_s + least_s, self._to_s + QUIET_S)

    def reaches_past_row_s(self, limit_s: float) -> float:
        """Return when a pause around the present row reaches a limit, if the row is short."""
        alone = self.before_row_s < self._row_s <= self._last_s <= self._row_s + SHORT_ROW_S
        if not alone or self._lasted_s < ESTABLISHED_S:
            return math.inf
        return max(self.before_row_s + limit_s, self._last_s + QUIET_AFTER_ROW_S)
