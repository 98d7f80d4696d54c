"""How much a signal moves, over a window that is looked at several times a second.

In come samples, which of them are valid, and which are led by beats; out come, for each window that
has been filled, the standard deviation in it and how much of it is led by beats.
"""

from __future__ import annotations

import math
from typing import ClassVar, NamedTuple

import numpy as np

from infantmon.model.arrays import Floats, Ints
from infantmon.model.carried import Carried

AT_ONCE = 2048  # windows worked on together: enough for vectors, and memory stays bounded


class Spreads(NamedTuple):
    """Windows that have been filled.

    Attributes
    ----------
    end : numpy.ndarray of int64, shape (n,)
        Tick after the last sample of each window.
    spread : numpy.ndarray, shape (n,)
        Standard deviation of the valid samples in it; NaN where they are too few.
    led_share : numpy.ndarray, shape (n,)
        Share of its samples that are led by beats.
    """

    end: Ints
    spread: Floats
    led_share: Floats


class MovingSpread(Carried):
    """The standard deviation over a window that ends every so many samples.

    Parameters
    ----------
    width : int
        Samples in a window.
    every : float
        Samples from one window to the next, not necessarily whole: a window ends at the sample
        that is nearest to each multiple.
    valid_share : float
        A window with less than this share of valid samples has no spread.
    """

    carried: ClassVar[tuple[str, ...]] = ("_window", "_count")

    def __init__(self, width: int, every: float, valid_share: float) -> None:
        self._width = width
        self._every = every
        self._valid_share = valid_share
        # Of the windows to come: samples, which are valid, and which are led by beats.
        self._window: Floats = np.empty((3, 0))
        self._count = 0  # samples so far

    def push(self, samples: Floats) -> Spreads:
        """Return the windows that are full now.

        Parameters
        ----------
        samples : numpy.ndarray, shape (3, n)
            New samples, and beside each whether it is valid, and whether it is led by beats (0, 1).
        """
        first = self._count - self._window.shape[1]  # tick of the first sample that is held
        self._window = np.concatenate((self._window, samples), axis=1)
        before, self._count = self._count, self._count + samples.shape[1]
        ends = self._ends(before, self._count)
        ends = ends[ends - self._width >= first]
        starts = ends - first - self._width
        if not self._window[1].any():
            spreads = self._without_valid(ends, starts)
            self._window = self._window[:, -self._width :].copy()
            return spreads
        pieces = [self._windows(starts[at : at + AT_ONCE]) for at in range(0, len(starts), AT_ONCE)]
        spread, counted, led_share = np.concatenate(pieces, axis=1) if pieces else np.empty((3, 0))
        spread[counted < self._valid_share] = math.nan
        self._window = self._window[:, -self._width :].copy()
        return Spreads(ends, spread, led_share)

    def _without_valid(self, ends: Ints, starts: Ints) -> Spreads:
        """Return windows of which no sample is valid: only what is led is counted."""
        led = np.concatenate(((0.0,), np.cumsum(self._window[2])))
        led_share = (led[starts + self._width] - led[starts]) / self._width
        return Spreads(ends, np.full(len(ends), math.nan), led_share)

    def _windows(self, starts: Ints) -> Floats:
        """Return of each window its deviation, and how much of it is valid, and led by beats."""
        values, valid, led = self._window[:, starts[:, np.newaxis] + np.arange(self._width)]
        good = valid > 0.0
        count = good.sum(axis=1)
        values = np.where(good, values, 0.0)
        off = values - (values.sum(axis=1) / np.maximum(count, 1))[:, np.newaxis]
        power = np.where(good, off * off, 0.0).sum(axis=1) / np.maximum(count, 1)
        led_count = led.sum(axis=1)
        return np.array((np.sqrt(power), count / self._width, led_count / self._width))

    def _ends(self, before: int, after: int) -> Ints:
        """Return the ticks at which windows end, after one tick and up to another."""
        numbers = np.arange(math.floor(before / self._every), math.ceil(after / self._every) + 1)
        ends = np.rint(numbers * self._every).astype(np.int64)
        return np.asarray(ends[(ends > before) & (ends <= after)])
