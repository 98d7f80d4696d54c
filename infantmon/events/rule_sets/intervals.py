"""Intervals from mark to mark, cut where the channel could not be used: pauses and RR intervals.

In come all findings of a recording; out come the intervals of one channel, which every rule set
starts from. An interval that an unusable stretch cuts is two, each known to be shortened.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from infantmon.events.batch import Batch
from infantmon.model.arrays import Bools, Floats
from infantmon.model.spans import Spans

ROUNDING_S = 1e-9
"""Times on a sampling grid are not exact in binary: what differs by less is equal, in seconds."""


@dataclass(frozen=True, eq=False)
class Intervals:
    """Intervals of one channel in order of time.

    Attributes
    ----------
    start_s, end_s : numpy.ndarray, shape (n,)
        Mark to mark, in seconds; or from the end of an unusable stretch, or to the begin of one.
    whole : numpy.ndarray of bool, shape (n,)
        True where both ends are marks.
    judged_s : float
        For how long the channel could be used, in seconds.
    """

    start_s: Floats
    end_s: Floats
    whole: Bools
    judged_s: float

    def __len__(self) -> int:
        return len(self.start_s)

    @property
    def length_s(self) -> Floats:
        """Length of each, in seconds."""
        return self.end_s - self.start_s


def breath_intervals(whole: Batch) -> Intervals:
    """Return the intervals from breath to breath; the open ends are there too."""
    return _intervals(whole, "impedance", whole.breaths.time_s, open_ends=True)


def beat_intervals(whole: Batch) -> Intervals:
    """Return the RR intervals; the open ends tell no rate and are left out."""
    return _intervals(whole, "ecg", whole.r_peaks.time_s, open_ends=False)


def unusable(whole: Batch, role: str) -> Spans:
    """Return the stretches of a channel that could not be used and are too long to be bridged."""
    if role not in whole.contact:
        return Spans.none()
    return whole.contact[role].blocking.spans(whole.reached_s).unbridged


def _intervals(whole: Batch, role: str, time_s: Floats, *, open_ends: bool) -> Intervals:
    """Cut the time into intervals at marks and at the edges of unusable stretches."""
    if role not in whole.contact:
        empty = np.empty(0)
        return Intervals(empty, empty, np.empty(0, dtype=np.bool_), 0.0)
    spans = unusable(whole, role)
    marks = time_s[~spans.inside(time_s)] if len(spans) else time_s
    edges = np.concatenate(([0.0], spans.start_s, spans.end_s, [whole.reached_s]))
    at_s = np.concatenate((marks, edges))
    is_mark = np.concatenate((np.ones(len(marks), bool), np.zeros(len(edges), bool)))
    order = np.lexsort((~is_mark, at_s))
    at_s, is_mark = at_s[order], is_mark[order]
    start_s, end_s = at_s[:-1], at_s[1:]
    keep = end_s > start_s
    if len(spans):
        keep &= ~spans.touch(start_s, end_s)
    ends_are_marks = is_mark[:-1] & is_mark[1:]
    if not open_ends:
        keep &= ends_are_marks
    judged_s = max(whole.reached_s - spans.total_s, 0.0)
    return Intervals(start_s[keep], end_s[keep], ends_are_marks[keep], judged_s)


def reaches(length_s: npt.ArrayLike, least_s: float, *, strict: bool = False) -> Bools:
    """Tell which lengths (s) are at least as long as a limit; `strict`: longer than it."""
    lengths_s = np.asarray(length_s, dtype=np.float64)
    long = lengths_s > least_s + ROUNDING_S if strict else lengths_s >= least_s - ROUNDING_S
    return np.asarray(long, dtype=np.bool_)


def runs(chosen: Bools, intervals: Intervals) -> list[tuple[int, int]]:
    """Return first and last row of each run of chosen intervals that follow on each other."""
    rows = np.flatnonzero(chosen)
    if not len(rows):
        return []
    breaks = np.diff(rows) > 1
    breaks |= intervals.start_s[rows[1:]] > intervals.end_s[rows[:-1]] + ROUNDING_S
    first = np.concatenate(([0], np.flatnonzero(breaks) + 1))
    last = np.concatenate((np.flatnonzero(breaks), [len(rows) - 1]))
    return list(zip(rows[first].tolist(), rows[last].tolist(), strict=True))
