"""The largest one-to-one pairing of two sorted lists within a window, of the smallest distance.

Marks fall into groups that cannot reach each other. Where a group has as many marks of one list as
of the other, and they pair in order, that is the only full pairing that does not cross, so it is
the best. All such groups are done at once; the few others go through a small table.
"""

from __future__ import annotations

import numpy as np

from infantmon.model.arrays import Bools, Floats, Ints

TOLERANCE_S = 1e-9
"""Added to every window: times on a sampling grid are not exact in binary."""

_TICK_S = 1e-9  # distances are summed as whole numbers of these, so that sums are exact
_SKIP_REFERENCE, _SKIP_TEST, _PAIR = 0, 1, 2


def pair_up(reference: Floats, test: Floats, window: float) -> tuple[Ints, Ints]:
    """Return the places of the paired marks in both lists, in order.

    Parameters
    ----------
    reference, test : numpy.ndarray
        Strictly increasing times, in seconds.
    window : float
        The largest distance of a pair, in seconds.
    """
    reach = window + TOLERANCE_S
    low = np.searchsorted(test, reference - reach, side="left").astype(np.int64, copy=False)
    high = np.searchsorted(test, reference + reach, side="right").astype(np.int64, copy=False)
    reachable = np.flatnonzero(high > low).astype(np.int64, copy=False)
    if not len(reachable):
        return reachable, reachable
    low, high = low[reachable], high[reachable]
    in_order, partner = _paired_in_order(reference[reachable], test, low, high, reach)
    rest = np.flatnonzero(~in_order)
    places, partners = _paired_by_table(reference[reachable], test, rest, low, high)
    found = np.concatenate((np.flatnonzero(in_order), places))
    partner = np.concatenate((partner[in_order], partners))
    order = np.argsort(found, kind="stable")
    return reachable[found[order]], partner[order]


def _paired_in_order(
    reference: Floats, test: Floats, low: Ints, high: Ints, reach: float
) -> tuple[Bools, Ints]:
    """Tell which references belong to groups that pair in order, and the partner each has there."""
    first = np.flatnonzero(np.concatenate(([True], low[1:] >= high[:-1])))
    counts = np.diff(first, append=len(reference))
    group = np.repeat(np.arange(len(first)), counts)
    group_low = low[first]
    test_counts = high[first + counts - 1] - group_low
    partner = group_low[group] + np.arange(len(reference)) - first[group]
    near = np.abs(reference - test[np.minimum(partner, len(test) - 1)]) <= reach
    full = (counts == test_counts) & np.logical_and.reduceat(near, first)
    return full[group], partner


def _paired_by_table(
    reference: Floats, test: Floats, rest: Ints, low: Ints, high: Ints
) -> tuple[Ints, Ints]:
    """Pair the references at the places `rest`; return the paired places and their partners.

    For each reference one row over the tests in its reach: entry j is the best that the references
    so far can do with the tests before the j-th. "Best" is one number: so much for a pair, more
    than all distances of a group can add up to, minus the distance.
    """
    if not len(rest):
        return rest, rest
    lows, highs = low[rest].tolist(), high[rest].tolist()
    origin = float(reference[rest[0]])
    at = np.rint((reference[rest] - origin) / _TICK_S).astype(np.int64).tolist()
    tests = np.rint((test - origin) / _TICK_S).astype(np.int64)
    choices = bytearray(sum(highs) - sum(lows))
    _fill(choices, at, tests, lows, highs)
    return _trace(choices, rest, lows, highs)


def _fill(
    choices: bytearray, at: list[int], tests: Ints, lows: list[int], highs: list[int]
) -> None:
    """Fill in the best choice at each entry of the table, row by row."""
    marks = tests.tolist()
    reach = max(abs(at[i] - marks[j]) for i in range(len(at)) for j in (lows[i], highs[i] - 1))
    worth = reach * len(at) + 1  # of a pair: more than all distances together
    row, row_high = [0], 0
    entry = 0
    for i, reference in enumerate(at):
        low, high = lows[i], highs[i]
        row = [0] if low >= row_high else row[low - row_high - 1 :]  # what earlier rows left
        row += [row[-1]] * (high - low + 1 - len(row))
        best = row[0]
        before = best
        filled = [best]
        for k in range(low, high):
            stay = row[k - low + 1]
            paired = before + worth - abs(reference - marks[k])
            before = stay
            choice = _SKIP_TEST
            if stay > best:
                best, choice = stay, _SKIP_REFERENCE
            if paired > best:
                best, choice = paired, _PAIR
            choices[entry] = choice
            entry += 1
            filled.append(best)
        row, row_high = filled, high


def _trace(choices: bytearray, rest: Ints, lows: list[int], highs: list[int]) -> tuple[Ints, Ints]:
    """Walk back through the table and return the paired places and their partners, in order."""
    places: list[int] = []
    partners: list[int] = []
    entry, i = len(choices), len(lows) - 1
    j = highs[i]
    while i >= 0:
        row = entry - (highs[i] - lows[i])  # entry of this row's first choice
        j = min(j, highs[i])
        choice = choices[row + j - lows[i] - 1] if j > lows[i] else _SKIP_REFERENCE
        if choice != _SKIP_REFERENCE:
            j -= 1
        if choice == _PAIR:
            places.append(i)
            partners.append(j)
        if choice != _SKIP_TEST:
            i, entry = i - 1, row
    paired = rest[np.array(places[::-1], dtype=np.int64)]
    return paired, np.array(partners[::-1], dtype=np.int64)
