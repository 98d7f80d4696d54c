"""Which parts of a channel count.

In come the contact marks of one channel; out comes, for each beat or breath found in it, whether it
counts. Only stretches that block the channel for longer than the bridged second matter here: their
marks cut the findings into pieces, and within a piece the usability does not change.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from infantmon.model.arrays import Bools, Floats
from infantmon.model.carried import Carried
from infantmon.model.spans import BLOCKING, ContactMarks, Reason

_REMEMBERED = 16  # stretches and the time between them last longer than any finding's latency


@dataclass(frozen=True, slots=True)
class BlockingMark:
    """One contact mark that changes timers: an unusable stretch opens, or is over.

    `time_s` is when it is established or over, `since_s` where its stretch began.
    """

    known_s: float
    time_s: float
    since_s: float
    reason: int
    opens: bool


def blocking_marks(contact: ContactMarks | None) -> list[BlockingMark]:
    """Return the marks of one channel that change timers, in the order of becoming known."""
    if contact is None or not len(contact):
        return []
    rows = np.flatnonzero(((contact.reason & int(BLOCKING)) != 0) & ~contact.bridged)
    return [
        BlockingMark(
            float(contact.known_s[row]),
            float(contact.time_s[row]),
            float(contact.since_s[row]),
            int(contact.reason[row]),
            not bool(contact.usable[row]),
        )
        for row in rows
    ]


def pieces(
    known_s: Floats, marks: list[BlockingMark]
) -> Iterator[tuple[int, int, BlockingMark | None]]:
    """Cut findings at the contact marks: yield (first row, row after the last, mark that follows).

    Inside a piece the usability of the channel does not change, so its rows can be worked on
    together. A mark comes before findings that become known at the same instant.
    """
    first = 0
    for mark in marks:
        after = int(np.searchsorted(known_s, mark.known_s, side="left"))
        yield first, after, mark
        first = after
    yield first, len(known_s), None


class Usability(Carried):
    """Follows the blocking stretches of one channel from its contact marks.

    Only stretches longer than the bridged second reach it. Times are in seconds.

    Attributes
    ----------
    open_since_s : float
        Start of the stretch that is open now; infinity when the channel can be used.
    last_missing : bool
        Whether the latest stretch (open or over) has a hole of the recording that is not bridged.
    """

    carried: ClassVar[tuple[str, ...]] = ("open_since_s", "last_missing", "_starts", "_ends")

    def __init__(self, start_s: float = 0.0) -> None:
        self.open_since_s = math.inf
        self.last_missing = False
        self._starts = [start_s]  # the latest stretches that are over, and where the channel began
        self._ends = [start_s]

    @property
    def anew_s(self) -> Floats:
        """Where clocks start anew: the channel's start, and the ends of the latest stretches."""
        return np.array(self._ends, dtype=np.float64)

    def opens(self, since_s: float, reason: int) -> None:
        """Note that an unusable stretch has been established, and since when."""
        self.open_since_s = since_s
        self.last_missing = bool(Reason(reason) & Reason.INTERRUPTED)

    def closes(self, end_s: float, reason: int) -> None:
        """Note that the open stretch is over."""
        self._starts = [*self._starts, self.open_since_s][-_REMEMBERED:]
        self._ends = [*self._ends, end_s][-_REMEMBERED:]
        self.open_since_s = math.inf
        self.last_missing = bool(Reason(reason) & Reason.INTERRUPTED)

    def counts(self, time_s: Floats) -> Bools:
        """Tell which times lie outside the open stretch and those just before it."""
        outside = np.asarray(time_s < self.open_since_s, dtype=np.bool_)
        for start_s, end_s in zip(self._starts, self._ends, strict=True):
            if len(time_s) and end_s > time_s[0]:
                outside &= (time_s < start_s) | (time_s >= end_s)
        return outside
