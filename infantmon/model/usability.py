"""Which parts of a channel count: a small memory of its unusable stretches."""

from __future__ import annotations

import math
from typing import ClassVar

import numpy as np

from infantmon.model.arrays import Bools, Floats
from infantmon.model.carried import Carried
from infantmon.model.spans import Reason


class Usability(Carried):
    """Follows the blocking stretches of one channel from its contact marks.

    Only stretches longer than the bridged second reach it. Times are in seconds.

    Attributes
    ----------
    open_since_s : float
        Start of the stretch that is open now; infinity when the channel can be used.
    last_start_s, last_end_s : float
        The latest stretch that is over; `last_end_s` is also where clocks start anew, at first the
        channel's first sample.
    last_missing : bool
        Whether the latest stretch (open or over) is a hole of the recording.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "open_since_s",
        "open_reason",
        "last_start_s",
        "last_end_s",
        "last_missing",
    )

    def __init__(self, start_s: float = 0.0) -> None:
        self.open_since_s = math.inf
        self.open_reason = 0
        self.last_start_s = start_s
        self.last_end_s = start_s
        self.last_missing = False

    @property
    def is_open(self) -> bool:
        """Whether the channel cannot be used now."""
        return self.open_since_s < math.inf

    def opens(self, since_s: float, reason: int) -> None:
        """Note that an unusable stretch has been established, and since when."""
        self.open_since_s = since_s
        self.open_reason = reason
        self.last_missing = bool(Reason(reason) & Reason.MISSING)

    def closes(self, end_s: float, reason: int) -> None:
        """Note that the open stretch is over."""
        self.last_start_s = self.open_since_s
        self.last_end_s = end_s
        self.open_since_s = math.inf
        self.last_missing = bool(Reason(reason) & Reason.MISSING)

    def counts(self, time_s: Floats) -> Bools:
        """Tell which times lie outside the open and the latest stretch."""
        inside = (time_s >= self.last_start_s) & (time_s < self.last_end_s)
        return np.asarray((time_s < self.open_since_s) & ~inside, dtype=np.bool_)

    def blocks(self, time_s: float) -> bool:
        """Tell whether one time lies inside the open or the latest stretch."""
        return time_s >= self.open_since_s or self.last_start_s <= time_s < self.last_end_s
