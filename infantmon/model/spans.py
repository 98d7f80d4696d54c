"""Spans: stretches of time with a reason, and the marks that open and close them on a stream."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntFlag
from typing import TYPE_CHECKING

import numpy as np

from infantmon.model.arrays import NO_FLOATS, Bools, Floats, Ints
from infantmon.model.findings import Findings, column

if TYPE_CHECKING:
    import pandas as pd

BRIDGED_S = 1.0
"""Unusable stretches up to this long are bridged: they change no timer (project rule)."""


class Reason(IntFlag):
    """Why a stretch of signal cannot be used, or only with care. Reasons can be added up."""

    MISSING = 1  # the recording has nothing there (a gap told by its clock)
    NOT_FINITE = 2  # NaN or infinity
    FLAT = 4  # exactly equal samples for longer than a living signal gives; a held value is flat
    SATURATED = 8  # held at the end of the range
    OUT_OF_RANGE = 16  # base impedance outside what an attached electrode gives
    MOVEMENT = 32  # much larger than breathing, and not rhythmic
    STEP = 64  # the level jumped
    MAINS = 128  # mains interference
    NOISE = 256  # beats cannot be told
    NO_JUMP = 512  # a flat signal began at the level where it was, as one does that comes to rest
    INTERRUPTED = 1024  # nothing recorded for longer than is bridged: nothing is carried over it
    SHIFT = 2048  # the level is far from where it was, and on its way

    @property
    def words(self) -> str:
        """The reasons in words, for people."""
        told = (reason for reason in _WORDS if reason in self)
        return ", ".join(_WORDS[reason] for reason in told)


_WORDS = {
    Reason.MISSING: "nothing recorded",
    Reason.NOT_FINITE: "invalid samples",
    Reason.FLAT: "flat signal",
    Reason.SATURATED: "at the end of the range",
    Reason.OUT_OF_RANGE: "base impedance out of range",
    Reason.MOVEMENT: "movement",
    Reason.STEP: "level jump",
    Reason.MAINS: "mains interference",
    Reason.NOISE: "beats cannot be told",
    Reason.NO_JUMP: "begun without a jump",
    Reason.SHIFT: "level far off",
}  # of an interruption "nothing recorded" says it all

LOST_CONTACT = Reason.FLAT | Reason.SATURATED | Reason.OUT_OF_RANGE
"""Reasons that point to the electrode; the others make the signal unusable without saying why."""

BLOCKING = Reason.MISSING | Reason.INTERRUPTED | Reason.NOT_FINITE | LOST_CONTACT | Reason.NO_JUMP
"""Reasons for which a signal cannot be used at all."""

DISTURBING = Reason.MOVEMENT | Reason.STEP | Reason.NOISE
"""Reasons for which a signal is to be used with care."""

INTERFERING = Reason.MAINS
"""Reasons that the filters take out: they are told, and change no timer."""

SHIFTED = Reason.SHIFT
"""Reasons for which beats may be hidden for a moment: they are told, and change no timer."""


@dataclass(frozen=True, eq=False)
class ContactMarks(Findings):
    """Where a channel stops being usable and where it can be used again, as the stream tells it.

    `BLOCKING`, `DISTURBING`, `INTERFERING` and `SHIFTED` reasons are told apart: each group has its
    stretches, and a mark belongs to the group of its reason. A stretch longer than `BRIDGED_S`
    gives two marks: one that opens it as soon as it is established, and one that closes it. A
    shorter one gives only the closing mark, with `bridged`. `time_s` is when it is established, or
    over; `since_s` is when it truly began. A stretch that is open when the stream ends has no
    closing mark.

    Attributes
    ----------
    since_s : numpy.ndarray, shape (n,)
        When the stretch began, in seconds.
    reason : numpy.ndarray of int64, shape (n,)
        A `Reason`, as a number: what was known at an opening mark, all reasons at a closing one.
    usable : numpy.ndarray of bool, shape (n,)
        False for a mark that opens a stretch, True for one that closes it.
    bridged : numpy.ndarray of bool, shape (n,)
        True for a stretch so short that it changes no timer.
    """

    since_s: Floats = column(np.float64)
    reason: Ints = column(np.int64)
    usable: Bools = column(np.bool_)
    bridged: Bools = column(np.bool_)

    def of_group(self, group: Reason) -> ContactMarks:
        """Return the marks of one group: `BLOCKING`, `DISTURBING` or another."""
        return self.where((self.reason & int(group)) != 0)

    @property
    def blocking(self) -> ContactMarks:
        """The marks of stretches in which the signal cannot be used."""
        return self.of_group(BLOCKING)

    @property
    def disturbing(self) -> ContactMarks:
        """The marks of stretches in which the signal is to be used with care."""
        return self.of_group(DISTURBING)

    @property
    def interfering(self) -> ContactMarks:
        """The marks of stretches with interference that the filters take out."""
        return self.of_group(INTERFERING)

    @property
    def shifted(self) -> ContactMarks:
        """The marks of stretches in which the level is far off."""
        return self.of_group(SHIFTED)

    def spans(self, until_s: float) -> Spans:
        """Return the stretches as spans in order of start; one still open ends at `until_s` (s).

        Within a group, stretches that overlap (one was told after another had closed) are one
        span; spans of different groups may overlap each other.
        """
        groups = (self.blocking, self.disturbing, self.interfering, self.shifted)
        rows = sorted(row for group in groups for row in _group_rows(group, until_s))
        table = np.array(rows, dtype=np.float64).reshape(-1, 3)
        return Spans(table[:, 0].copy(), table[:, 1].copy(), table[:, 2].astype(np.int64))


def _group_rows(marks: ContactMarks, until_s: float) -> list[tuple[float, float, int]]:
    """Return start, end and reason of the stretches of one group; overlapping ones are merged."""
    closed = marks.usable
    since, end, reason = marks.since_s[closed], marks.time_s[closed], marks.reason[closed]
    rows = list(zip(since.tolist(), end.tolist(), reason.tolist(), strict=True))
    if len(marks) and not closed[-1]:  # a group has one stretch at a time: the last mark tells
        start = float(marks.since_s[-1])
        rows.append((start, max(start, until_s), int(marks.reason[-1])))
    merged: list[tuple[float, float, int]] = []
    for start, stop, why in sorted(rows):
        if merged and start < merged[-1][1]:
            before = merged.pop()
            start, stop, why = before[0], max(before[1], stop), before[2] | why
        merged.append((start, stop, why))
    return merged


@dataclass(frozen=True, eq=False)
class Spans:
    """Stretches of time, each with a reason.

    Attributes
    ----------
    start_s, end_s : numpy.ndarray, shape (n,)
        First time inside, first time after, in seconds.
    reason : numpy.ndarray of int64, shape (n,)
        A `Reason`, as a number.
    """

    start_s: Floats
    end_s: Floats
    reason: Ints

    def __len__(self) -> int:
        return len(self.start_s)

    @classmethod
    def none(cls) -> Spans:
        """Return no stretches."""
        return cls(NO_FLOATS, NO_FLOATS, np.empty(0, dtype=np.int64))

    def where(self, keep: Bools) -> Spans:
        """Return the stretches for which `keep` is true."""
        return Spans(self.start_s[keep], self.end_s[keep], self.reason[keep])

    @property
    def blocking(self) -> Spans:
        """The stretches in which the signal cannot be used."""
        return self.where((self.reason & int(BLOCKING)) != 0)

    @property
    def disturbing(self) -> Spans:
        """The stretches in which the signal is to be used with care."""
        return self.where((self.reason & int(DISTURBING)) != 0)

    @property
    def unbridged(self) -> Spans:
        """The stretches that are too long to be bridged."""
        return self.where(self.end_s - self.start_s > BRIDGED_S)

    @property
    def total_s(self) -> float:
        """Length of all spans together, in seconds."""
        return float(np.sum(self.end_s - self.start_s))

    def to_frame(self) -> pd.DataFrame:
        """Return the spans as a pandas table, one row a span, the reason in words."""
        import pandas as pd  # noqa: PLC0415 - heavy; loaded only for who asks for a table

        words = [Reason(int(reason)).words for reason in self.reason]
        return pd.DataFrame({"start_s": self.start_s, "end_s": self.end_s, "reason": words})

    def __repr__(self) -> str:
        return f"Spans({len(self)} of {self.total_s:.1f} s together)"

    def _repr_html_(self) -> str:
        """Show the table in a notebook."""
        return str(self.to_frame().to_html(max_rows=20))

    def inside(self, time_s: Floats) -> Bools:
        """Tell which times lie inside a span."""
        return self.touch(time_s, np.nextafter(time_s, np.inf))

    def touch(self, start_s: Floats, end_s: Floats) -> Bools:
        """Tell which stretches from start to end have some time in common with a span."""
        order = np.argsort(self.start_s, kind="stable")
        # the furthest that any of the first so many spans goes: nothing is compared pair by pair
        furthest_s = np.concatenate(([-np.inf], np.maximum.accumulate(self.end_s[order])))
        begun = np.searchsorted(self.start_s[order], end_s, side="left")
        return np.asarray(furthest_s[begun] > start_s, dtype=np.bool_)

    def overlap_s(self, start_s: float, end_s: float) -> float:
        """Return how many seconds of [start, end] lie inside spans."""
        inside = np.minimum(self.end_s, end_s) - np.maximum(self.start_s, start_s)
        return float(np.sum(np.maximum(inside, 0.0)))
