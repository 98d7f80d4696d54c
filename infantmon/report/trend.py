"""Trends over hours: rates and pauses gathered into bins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from infantmon.model.arrays import Bools, Floats
from infantmon.model.spans import BRIDGED_S, Spans


@dataclass(frozen=True, eq=False)
class Trend:
    """One value a bin; NaN where there is nothing to tell.

    Attributes
    ----------
    edge_s : numpy.ndarray, shape (n + 1,)
        Edges of the bins, in seconds.
    middle, low, high : numpy.ndarray, shape (n,)
        Median, smallest and largest value of each bin.
    """

    edge_s: Floats
    middle: Floats
    low: Floats
    high: Floats


def bin_edges(start_s: float, end_s: float, *, count: int, least_s: float) -> Floats:
    """Return edges of about `count` equal bins, none below `least_s` unless there is only one."""
    length = max(end_s - start_s, 1e-3)  # a bin beyond the end would count time not recorded
    bins = max(int(min(count, length // least_s)), 1)
    return np.linspace(start_s, start_s + length, bins + 1)


def binned(time_s: Floats, values: Floats, edge_s: Floats) -> Trend:
    """Return median, smallest and largest value of each bin."""
    inside = (time_s >= edge_s[0]) & (time_s < edge_s[-1]) & np.isfinite(values)
    time_s, values = time_s[inside], values[inside]
    which = np.searchsorted(edge_s, time_s, side="right") - 1
    order = np.lexsort((values, which))
    values, which = values[order], which[order]
    count = np.bincount(which, minlength=len(edge_s) - 1)[: len(edge_s) - 1]
    first = np.cumsum(count) - count
    some = count > 0
    middle, low, high = (np.full(len(count), np.nan) for _ in range(3))
    low[some], high[some] = values[first[some]], values[(first + count - 1)[some]]
    middle[some] = values[(first + count // 2)[some]]
    return Trend(edge_s, middle, low, high)


def lost_before(spans: Spans | None, time_s: Floats) -> Floats:
    """Return how many seconds before each time could not be used (spans in order, apart)."""
    spans = None if spans is None else spans.blocking
    if spans is None or not len(spans):
        return np.zeros(len(time_s))
    lost = np.cumsum(spans.end_s - spans.start_s)
    corners = np.column_stack([spans.start_s, spans.end_s]).ravel()
    totals = np.column_stack([lost - (spans.end_s - spans.start_s), lost]).ravel()
    return np.asarray(np.interp(time_s, corners, totals), dtype=np.float64)


def breathing_rate(breath_s: Floats, spans: Spans | None, edge_s: Floats) -> Floats:
    """Return breaths a minute of usable time for each bin; NaN where half of it is not usable."""
    count = np.histogram(breath_s, bins=edge_s)[0]
    length = np.diff(edge_s)
    usable = length - np.diff(lost_before(spans, edge_s))
    rate = np.full(len(length), np.nan)
    enough = usable >= length / 2
    rate[enough] = 60.0 * count[enough] / usable[enough]
    return rate


def pauses(breath_s: Floats, spans: Spans | None) -> tuple[Floats, Floats]:
    """Return onset and length of each time between breaths that no long unusable stretch cuts."""
    if len(breath_s) < 2:
        return np.empty(0), np.empty(0)
    length = np.diff(breath_s)
    whole: Bools = np.diff(lost_before(spans, breath_s)) <= BRIDGED_S
    return breath_s[:-1][whole], length[whole]
