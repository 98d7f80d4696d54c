"""Maxima of the QRS envelope, each with what its surroundings tell about it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from infantmon.dsp.kept import Kept
from infantmon.dsp.local_maxima import LocalMaxima
from infantmon.model.arrays import NO_FLOATS, Bools, Floats, Ints
from infantmon.model.carried import Carried

APART_S = 0.08  # a maximum is the largest within this time on either side
SIGHT_S = 0.75  # how far to either side the other maxima are looked at
_VALLEY_S = 0.16
_SHAPE_S = 0.10
_LAGS = 2  # ticks by which two shapes may be shifted against each other
_ALIKE = 4  # earlier candidates with which a shape is compared
_SMALL = 0.3  # of the largest in sight: up to here a candidate is a P or T wave or a ripple
_LARGE = 0.7  # of the largest in sight: from here it is about equal
_PROMINENT = 0.4  # of the largest in sight; only such candidates are compared by shape


@dataclass(frozen=True, eq=False)
class Candidates:
    """Candidates for QRS complexes, in order.

    Attributes
    ----------
    place : numpy.ndarray of int64, shape (n,)
        Tick of the envelope's maximum.
    height : numpy.ndarray, shape (n,)
        The envelope there.
    next_place, next_height : numpy.ndarray, shape (n,)
        The following candidate; far away and 0 where none is in sight.
    largest : numpy.ndarray, shape (n,)
        The largest height in sight, its own included.
    between : numpy.ndarray of int64, shape (n,)
        How many candidates in sight are of in-between size.
    equal : numpy.ndarray of int64, shape (n,)
        How many candidates in sight are about as large as the largest (itself counted).
    depth : numpy.ndarray, shape (n,)
        How far the envelope falls on the shallower side, as a part of the height.
    likeness : numpy.ndarray, shape (n,)
        Correlation of the shape with those of the four prominent candidates before it, the second
        highest (the only one, if there is but one); 0 where it is not prominent itself or has none
        before it.
    likeness_ahead : numpy.ndarray, shape (n,)
        Correlation of the shape with that of the next large candidate in sight; 0 without one.
    """

    place: Ints
    height: Floats
    next_place: Ints
    next_height: Floats
    largest: Floats
    between: Ints
    equal: Ints
    depth: Floats
    likeness: Floats
    likeness_ahead: Floats

    def __len__(self) -> int:
        return len(self.place)


class CandidateFinder(Carried):
    """Finds candidates and looks around each, once everything in its sight is in.

    A candidate at tick k is given by the push that brings the envelope up to tick k + `ahead`.

    Parameters
    ----------
    rate_hz : float
        Ticks of the envelope a second.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_maxima",
        "_band",
        "_envelope",
        "_place",
        "_height",
        "_given",
        "_shapes",
    )

    def __init__(self, rate_hz: float) -> None:
        self._radius = max(2, round(APART_S * rate_hz))
        self._sight = round(SIGHT_S * rate_hz)
        self._valley = round(_VALLEY_S * rate_hz)
        self._wing = round(_SHAPE_S * rate_hz)
        self.ahead = self._sight + self._radius
        self._neighbours = self._sight // (self._radius + 1) + 1
        self._maxima = LocalMaxima(self._radius)
        self._band = Kept()
        self._envelope = Kept()
        self._place = np.empty(0, dtype=np.int64)  # candidates that are still in sight of others
        self._height = NO_FLOATS
        self._given = 0  # how many of them have been given out
        self._shapes = np.zeros((2 * self._wing + 1, _ALIKE))  # of the latest prominent ones

    def push(self, band: Floats, envelope: Floats, *, last: bool = False) -> Candidates:
        """Return the candidates that are settled now."""
        self._band.push(band)
        self._envelope.push(envelope)
        place, height = self._maxima.push(envelope, last=last)
        self._place = np.concatenate((self._place, place))
        self._height = np.concatenate((self._height, height))
        settled = self._envelope.end if last else self._envelope.end - self.ahead
        end = int(np.searchsorted(self._place, settled))
        found = self._describe(self._given, max(end, self._given))
        self._forget(max(end, self._given))
        return found

    @property
    def pending_from(self) -> int:
        """The earliest tick at which a candidate may still be given."""
        first = self._envelope.end - self.ahead
        if self._given < len(self._place):
            return min(first, int(self._place[self._given]))
        return first

    def _describe(self, start: int, end: int) -> Candidates:
        """Look around the candidates from `start` up to `end` of those at hand."""
        place, height = self._place[start:end], self._height[start:end]
        beyond = 4 * self._sight + 1
        reach = self._neighbours
        pad = np.full(reach, -beyond)
        places = np.concatenate((pad + self._first_place(), self._place, self._last_place() - pad))
        heights = np.concatenate((np.zeros(reach), self._height, np.zeros(reach)))
        around = np.arange(start, end)[:, np.newaxis] + np.arange(2 * reach + 1)
        in_sight = np.abs(places[around] - place[:, np.newaxis]) <= self._sight
        seen = np.where(in_sight, heights[around], 0.0)
        largest = seen.max(axis=1, initial=0.0)
        share = seen / largest[:, np.newaxis]
        large = share >= _LARGE
        between = np.count_nonzero((share > _SMALL) & ~large, axis=1).astype(np.int64)
        equal = np.count_nonzero(large, axis=1).astype(np.int64)
        next_place = places[start + reach + 1 : end + reach + 1]
        next_height = seen[:, reach + 1]
        prominent = height >= _PROMINENT * largest
        ahead = large[:, reach + 1 :] & prominent[:, np.newaxis]
        next_large = np.where(ahead.any(axis=1), np.argmax(ahead, axis=1) + 1, 0)
        partner = places[np.arange(start, end) + reach + next_large]
        likeness, likeness_ahead = self._likeness(place, partner, prominent)
        depth = self._depth(place, height)
        return Candidates(
            place,
            height,
            next_place,
            next_height,
            largest,
            between,
            equal,
            depth,
            likeness,
            likeness_ahead,
        )

    def _first_place(self) -> int:
        return int(self._place[0]) if len(self._place) else 0

    def _last_place(self) -> int:
        return int(self._place[-1]) if len(self._place) else 0

    def _depth(self, place: Ints, height: Floats) -> Floats:
        if not len(place):
            return NO_FLOATS
        left = self._envelope.windows(place - self._valley, self._valley + 1).min(axis=1)
        right = self._envelope.windows(place, self._valley + 1).min(axis=1)
        return np.asarray(1.0 - np.maximum(left, right) / height)

    def _likeness(self, place: Ints, partner: Ints, prominent: Bools) -> tuple[Floats, Floats]:
        """Compare each prominent shape with the prominent ones before it, and with its partner."""
        likeness, ahead = np.zeros(len(place)), np.zeros(len(place))
        count = int(np.count_nonzero(prominent))
        if not count:
            return likeness, ahead
        wing, width = self._wing, 2 * self._wing + 1
        wide = self._band.windows(place[prominent] - wing - _LAGS, width + 2 * _LAGS).T
        other = _unit(self._band.windows(partner[prominent] - wing, width).T)
        earlier = np.concatenate((self._shapes, _unit(wide[_LAGS : _LAGS + width])), axis=1)
        alike = np.zeros((_ALIKE + 1, count))
        for lag in range(2 * _LAGS + 1):
            shape = _unit(wide[lag : lag + width])
            np.maximum(alike[_ALIKE], _dot(shape, other), out=alike[_ALIKE])
            for back in range(_ALIKE):
                np.maximum(
                    alike[back], _dot(shape, earlier[:, back : back + count]), out=alike[back]
                )
        self._shapes = earlier[:, count:].copy()
        before = np.sort(alike[:_ALIKE], axis=0)
        likeness[prominent] = np.where(before[-2] > 0.0, before[-2], before[-1])
        ahead[prominent] = np.where(partner[prominent] > place[prominent], alike[_ALIKE], 0.0)
        return likeness, ahead

    def _forget(self, end: int) -> None:
        """Let go of what no candidate to come will look at."""
        self._given = end
        oldest = self.pending_from
        kept = min(int(np.searchsorted(self._place, oldest - self._sight)), end)
        self._place = self._place[kept:].copy()
        self._height = self._height[kept:].copy()
        self._given = end - kept
        margin = max(self._valley, self._wing + _LAGS)
        self._band.forget_before(oldest - margin)
        self._envelope.forget_before(oldest - margin)


def _dot(left: Floats, right: Floats) -> Floats:
    """Return the inner product of each column pair, summed row by row: the same in any cutting."""
    total: Floats = left[0] * right[0]
    for row in range(1, len(left)):
        total += left[row] * right[row]
    return total


def _unit(shapes: Floats) -> Floats:
    """Return the columns scaled to length 1 (a column of zeros stays)."""
    length = np.sqrt(_dot(shapes, shapes))
    return np.divide(shapes, length, out=np.zeros_like(shapes), where=length > 0.0)
