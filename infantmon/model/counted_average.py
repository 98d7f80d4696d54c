"""The mean interval at each beat or breath that counts.

In come beats or breaths and the contact marks of their channel; out come those that lie outside of
unusable stretches, each with the mean of the latest intervals. After such a stretch the mean begins
anew: no interval reaches across it.
"""

from __future__ import annotations

from typing import ClassVar, TypeVar

import numpy as np

from infantmon.model.arrays import Floats
from infantmon.model.carried import Carried
from infantmon.model.findings import Findings
from infantmon.model.interval_average import IntervalAverage
from infantmon.model.spans import ContactMarks
from infantmon.model.usability import Usability, blocking_marks, pieces

_Found = TypeVar("_Found", bound=Findings)


class CountedAverage(Carried):
    """`IntervalAverage` over the findings that `Usability` lets count.

    Parameters
    ----------
    average_count : int or None
        How many intervals are averaged.
    average_s : float or None
        Over how many seconds they are averaged; exactly one of the two is given.
    """

    carried: ClassVar[tuple[str, ...]] = ("_average", "_usability")

    def __init__(self, average_count: int | None, average_s: float | None) -> None:
        self._average = IntervalAverage(average_count, average_s)
        self._usability = Usability()

    def push(self, found: _Found, contact: ContactMarks | None) -> tuple[_Found, Floats]:
        """Return the new findings that count and have a mean interval, and that mean in seconds.

        Parameters
        ----------
        found : Findings
            New beats or breaths.
        contact : ContactMarks or None
            New contact marks of their channel, known up to the same stream time.
        """
        counting: list[_Found] = []
        means_s = []
        for first, after, mark in pieces(found.known_s, blocking_marks(contact)):
            piece = found.rows(first, after)
            piece = piece.where(self._usability.counts(piece.time_s))
            mean_s = self._average.push(piece.time_s, self._usability.anew_s)
            known = ~np.isnan(mean_s)
            counting.append(piece.where(known))
            means_s.append(mean_s[known])
            if mark is not None and mark.opens:
                self._usability.opens(mark.since_s, mark.reason)
            elif mark is not None:
                self._usability.closes(mark.time_s, mark.reason)
        return type(found).joined(counting), np.concatenate(means_s)
