"""Maxima of the QRS envelope, each with what its surroundings tell about it.

In come the envelope, the band-passed signal and the signal itself; out come candidates for beats
(`Candidates`): how high each is beside the others in sight, how deep the envelope falls beside it,
how alike its shape is to those around it. All later decisions rest on these columns alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import ClassVar, TypeVar

import numpy as np
import numpy.typing as npt

from infantmon.dsp.columns import Shapes, count, inner, length, unit
from infantmon.dsp.kept import Kept
from infantmon.dsp.local_maxima import LocalMaxima
from infantmon.dsp.neighbours import neighbours
from infantmon.model.arrays import NO_FLOATS, Bools, Floats, Ints
from infantmon.model.carried import Carried

_T = TypeVar("_T", np.float32, np.float64)

APART_S = 0.08  # a maximum is the largest within this time on either side
SIGHT_S = 0.75  # how far to either side the other maxima are looked at
_VALLEY_S = 0.20
_SHAPE_S = 0.10
_LAGS = 2  # ticks by which two shapes may be shifted against each other
_AT_ONCE = 2048  # shapes compared at a time: what stays in the cache is fast
_ALIKE = 4  # earlier candidates with which a shape is compared
_FAR_SMALLER = 0.3  # of the second largest of these: a candidate is noise between slow beats,
_CLEAR = (0.75, 1)  # unless it is so deep, with so many of in-between size in sight,
_PATIENCE_S = 20.0  # or nothing larger has come for so long
_WHOLLY = 0.95  # correlation without a shift from which no shift is tried
_SMALL = 0.3  # of the largest in sight: up to here a candidate is a P or T wave or a ripple
_LARGE = 0.7  # of the largest in sight: from here it is about equal
_PROMINENT = 0.5  # of the largest in sight; only such candidates are compared by shape
_STEEP_S = 0.05  # how far to either side the steepest step is looked for
_T_WAVE_S = (0.1, 0.36)  # how long after a QRS complex its T wave can be
_BLUNT = 0.33  # of the steepness of the QRS complex before it: up to here a candidate is a T wave
_LOW = 0.85  # of its height; the envelope of a T wave as tall as R stays below


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
    next_large : numpy.ndarray of int64, shape (n,)
        Tick of the next candidate that is about as large as the largest in sight; the candidate's
        own without one in sight.
    largest : numpy.ndarray, shape (n,)
        The largest height in sight, its own included.
    between : numpy.ndarray of int64, shape (n,)
        How many candidates in sight are of in-between size.
    equal : numpy.ndarray of int64, shape (n,)
        How many candidates in sight are about as large as the largest (itself counted).
    depth : numpy.ndarray, shape (n,)
        How far the envelope falls on the shallower side, as a part of the height.
    likeness : numpy.ndarray, shape (n,)
        The larger of two correlations of shape: with the prominent candidates before it (the second
        best of four; the best, if there are fewer), and with the next large one in sight. 0 where
        it is not prominent itself. Not compared with are those under 0.3 of the second largest of
        the four before them (noise between slow beats), unless they are clear, or nothing larger or
        clear has come for 20 s.
    blunt : numpy.ndarray of bool, shape (n,)
        Whether a larger candidate, at least three times as steep, lies where the QRS complex of a T
        wave would be.
    """

    place: Ints
    height: Floats
    next_place: Ints
    next_height: Floats
    next_large: Ints
    largest: Floats
    between: Ints
    equal: Ints
    depth: Floats
    likeness: Floats
    blunt: Bools

    @classmethod
    def none(cls) -> Candidates:
        """Return no candidates."""
        whole, real = np.empty(0, dtype=np.int64), NO_FLOATS
        flags = np.empty(0, dtype=np.bool_)
        return cls(whole, real, whole, real, whole, real, whole, whole, real, real, flags)

    def part(self, start: int, stop: int) -> Candidates:
        """Return the candidates from one index up to another: themselves if that is all."""
        if start == 0 and stop >= len(self):
            return self
        return Candidates(*(getattr(self, f.name)[start:stop] for f in fields(self)))

    def __len__(self) -> int:
        return len(self.place)


class CandidateFinder(Carried):
    """Finds candidates and looks around each, once everything in its sight is in.

    A candidate at tick k is given by the push that brings the envelope up to tick k + `ahead`.

    Parameters
    ----------
    rate_hz : float
        Ticks of the envelope a second.
    lag : int
        Ticks by which the envelope of a complex trails the complex.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_maxima",
        "_means",
        "_band",
        "_envelope",
        "_place",
        "_height",
        "_steep",
        "_given",
        "_shapes",
        "_heights",
        "_kept_at",
    )

    def __init__(self, rate_hz: float, lag: int) -> None:
        self._lag = lag
        self._edge = max(1, round(_STEEP_S * rate_hz))
        self._t_wave = _T_WAVE_S[0] * rate_hz, _T_WAVE_S[1] * rate_hz
        self._radius = max(2, round(APART_S * rate_hz))
        self._sight = round(SIGHT_S * rate_hz)
        self._valley = round(_VALLEY_S * rate_hz)
        self._wing = round(_SHAPE_S * rate_hz)
        # The shape of a candidate at the edge of sight is looked at, too.
        self.ahead = self._sight + max(self._radius, self._wing)
        self._neighbours = self._sight // (self._radius + 1) + 1
        self._maxima = LocalMaxima(self._radius)
        self._means = Kept()
        self._band = Kept()
        self._envelope = Kept()
        self._place = np.empty(0, dtype=np.int64)  # candidates that are still in sight of others
        self._height = NO_FLOATS
        self._steep = NO_FLOATS  # largest step between neighbouring means
        self._given = 0  # how many of them have been given out
        # of the latest prominent ones, one a column
        self._shapes = np.zeros((2 * self._wing + 1, _ALIKE), dtype=np.float32)
        self._heights = np.zeros(_ALIKE)  # of the same
        self._patience = round(_PATIENCE_S * rate_hz)
        self._kept_at = 0  # tick of the latest of them that was not far smaller than the others

    def push(self, means: Floats, band: Floats, envelope: Floats, *, last: bool = False) -> None:
        """Take up ticks of the signal itself, of the band-passed signal and of the envelope."""
        self._means.push(means)
        self._band.push(band)
        self._envelope.push(envelope)
        place, height = self._maxima.push(envelope, last=last)
        if len(place):
            self._place = np.concatenate((self._place, place))
            self._height = np.concatenate((self._height, height))

    def settled(self, *, last: bool = False) -> Candidates:
        """Return the candidates that are settled now and have not been given yet."""
        before = self._envelope.end - (0 if last else self.ahead)
        end = max(int(np.searchsorted(self._place, before)), self._given)
        new = self._place[len(self._steep) :]
        if len(new):
            self._steep = np.concatenate((self._steep, self._steepness(new)))
        found = self._describe(self._given, end)
        self._forget(end)
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
        if end <= start:
            return Candidates.none()
        place, height = self._place[start:end], self._height[start:end]
        reach, sight = self._neighbours, self._sight
        beyond = np.full(reach, 4 * sight + 1, dtype=np.int64)
        places = np.concatenate((self._place[0] - beyond, self._place, self._place[-1] + beyond))
        heights = np.concatenate((np.zeros(reach), self._height, np.zeros(reach)))
        # One row a neighbour, one column a candidate.
        at = neighbours(places, 2 * reach + 1)[start:end].T
        near = np.concatenate((at[:reach] >= place - sight, at[reach:] <= place + sight))
        seen = near * neighbours(heights, 2 * reach + 1)[start:end].T
        largest = seen.max(axis=0)
        large = seen >= _LARGE * largest
        between = count((seen > _SMALL * largest) & ~large)
        ahead = large[reach + 1 :]
        partner = np.where(ahead.any(axis=0), reach + 1 + np.argmax(ahead, axis=0), reach)
        next_large = places[np.arange(start, end) + partner]
        depth = self._depth(place, height)
        clear = (depth > _CLEAR[0]) & (between <= _CLEAR[1])
        return Candidates(
            place=place,
            height=height,
            next_place=at[reach + 1].copy(),
            next_height=seen[reach + 1],
            next_large=next_large,
            largest=largest,
            between=between,
            equal=count(large),
            depth=depth,
            likeness=self._likeness(
                place, next_large, height, height >= _PROMINENT * largest, clear
            ),
            blunt=self._blunt(start, end, at, seen),
        )

    def _steepness(self, place: Ints) -> Floats:
        """Return the largest step between neighbouring means around each candidate."""
        first = place - (self._lag + self._edge)
        means = self._means.columns(first, 2 * self._edge + 2)
        return np.asarray(np.abs(means[1:] - means[:-1]).max(axis=0))

    def _blunt(self, start: int, end: int, at: Ints, seen: Floats) -> Bools:
        """Tell which candidates are blunt against a larger one where their QRS would be."""
        reach = self._neighbours
        steep, height = self._steep[start:end], self._height[start:end]
        padded = np.concatenate((np.zeros(reach), self._steep))
        before = neighbours(padded, reach)[start:end].T
        wait = self._place[start:end] - at[:reach]
        near = (wait >= self._t_wave[0]) & (wait <= self._t_wave[1])
        larger = near & (_LOW * seen[:reach] >= height)
        return np.asarray((larger & (_BLUNT * before >= steep)).any(axis=0))

    def _depth(self, place: Ints, height: Floats) -> Floats:
        starts = place - np.array([[self._valley], [0]])
        lowest = self._envelope.lowest(starts, self._valley + 1)
        return np.asarray(1.0 - lowest.max(axis=0) / height)

    def _likeness(
        self, place: Ints, partner: Ints, height: Floats, prominent: Bools, clear: Bools
    ) -> Floats:
        """Compare each prominent shape with the prominent ones before it, and with its partner."""
        likeness = np.zeros(len(place))
        chosen = np.flatnonzero(prominent)
        for start in range(0, len(chosen), _AT_ONCE):
            some = chosen[start : start + _AT_ONCE]
            likeness[some] = self._alike(place[some], partner[some], height[some], clear[some])
        return likeness

    def _alike(self, place: Ints, partner: Ints, height: Floats, clear: Bools) -> Shapes:
        """Return how alike each shape is to the second most alike before it, or to its partner's.

        Most shapes of a clean signal are wholly alike without any shift, and are not looked at
        further.
        """
        earlier = np.concatenate((self._shapes, unit(self._shape(place, height, 0))), axis=1)
        columns = self._kept(place, height, clear)
        self._shapes = earlier[:, columns[:, -1]]
        unshifted = [inner(earlier[:, _ALIKE:], _taken(earlier, row[:-1])) for row in columns]
        alike = _second_of_four(unshifted)
        rest = np.flatnonzero(alike < _WHOLLY)
        if len(rest):
            before = earlier[:, columns[:, rest]]
            alike[rest] = self._alike_when_shifted(place[rest], partner[rest], height[rest], before)
        return alike

    def _kept(self, place: Ints, height: Floats, clear: Bools) -> Ints:
        """Return which of the shapes, those kept before put first, each is compared with.

        One column each, and one for what is kept in the end. As a rule it is those just before; but
        between slow beats noise is the most prominent in sight, and no shape to compare a beat to.
        """
        heights = np.concatenate((self._heights, height))
        second = _second_of_four([heights[b : b + len(height)] for b in range(_ALIKE)])
        columns = np.arange(len(height) + 1) + np.arange(_ALIKE)[:, np.newaxis]
        if ((height < _FAR_SMALLER * second) & ~clear).any():
            self._walk(place, heights, clear, columns)
        else:
            self._kept_at = int(place[-1])
        self._heights = heights[columns[:, -1]]
        return columns

    def _walk(self, place: Ints, heights: Floats, clear: Bools, columns: Ints) -> None:
        """Correct the columns where some are too small to be kept: one after the other."""
        kept, height = columns[:, 0].tolist(), heights.tolist()
        for row, (tick, is_clear) in enumerate(zip(place.tolist(), clear.tolist(), strict=True)):
            columns[:, row] = kept
            limit = _FAR_SMALLER * sorted(height[k] for k in kept)[-2]
            if is_clear or height[_ALIKE + row] >= limit:
                self._kept_at = tick
            elif tick - self._kept_at <= self._patience:
                continue
            kept = [*kept[1:], _ALIKE + row]
        columns[:, -1] = kept

    def _alike_when_shifted(
        self, place: Ints, partner: Ints, height: Floats, before: Shapes
    ) -> Shapes:
        """Return the same, each shape shifted to where it is most alike."""
        width = 2 * self._wing + 1
        wide = self._shape(place, height, _LAGS)
        ahead = unit(self._shape(partner, height, 0))
        others = np.concatenate((before, ahead[:, np.newaxis]), axis=1)
        alike = np.zeros((_ALIKE + 1, len(place)), dtype=np.float32)
        for lag in range(2 * _LAGS + 1):
            shape = wide[lag : lag + width]
            inner_products = (shape[:, np.newaxis] * others).sum(axis=0)
            np.maximum(alike, inner_products / length(shape), out=alike)
        known = alike[:_ALIKE]
        earlier = np.where(known.min(axis=0) > 0.0, _second_of_four(known), known.max(axis=0))
        return np.maximum(earlier, np.where(partner > place, alike[_ALIKE], np.float32(0.0)))

    def _shape(self, place: Ints, height: Floats, margin: int) -> Shapes:
        """Return the band around each place, one a column, for its height."""
        wing = self._wing + margin
        return np.asarray(self._band.columns(place - wing, 2 * wing + 1) / height, dtype=np.float32)

    def _forget(self, end: int) -> None:
        """Let go of what no candidate to come will look at."""
        self._given = end
        oldest = self.pending_from
        kept = min(int(np.searchsorted(self._place, oldest - self._sight)), end)
        self._place = self._place[kept:].copy()
        self._height = self._height[kept:].copy()
        self._steep = self._steep[kept:].copy()
        self._given = end - kept
        margin = max(self._valley, self._wing + _LAGS)
        self._means.forget_before(self._envelope.end - (self._radius + self._lag + self._edge + 2))
        self._band.forget_before(oldest - margin)
        self._envelope.forget_before(oldest - margin)


def _taken(shapes: Shapes, columns: Ints) -> Shapes:
    """Return some columns; a view where they follow each other, as they do as a rule."""
    first, after = int(columns[0]), int(columns[-1]) + 1
    if after - first == len(columns) and (columns[1:] > columns[:-1]).all():
        return shapes[:, first:after]
    return shapes[:, columns]


def _second_of_four(values: Sequence[npt.NDArray[_T]] | npt.NDArray[_T]) -> npt.NDArray[_T]:
    """Return the second largest of four arrays, place by place."""
    first, second, third, fourth = values
    pairs_low = np.maximum(np.minimum(first, second), np.minimum(third, fourth))
    pairs_high = np.minimum(np.maximum(first, second), np.maximum(third, fourth))
    return np.asarray(np.maximum(pairs_low, pairs_high))
