"""Scales: from values to places on the page, and the round numbers written beside them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from infantmon.model.arrays import Floats


@dataclass(frozen=True)
class Tick:
    """A round value and its place on the page."""

    place: float
    text: str


@dataclass(frozen=True)
class Scale:
    """A straight line from values to places.

    Parameters
    ----------
    low, high : float
        The values at the two ends; `high` must be above `low`.
    at_low, at_high : float
        Their places, in drawing units. Places beyond them are clipped.
    """

    low: float
    high: float
    at_low: float
    at_high: float

    def places(self, values: Floats) -> Floats:
        """Return the place of each value, clipped to the ends; NaN stays NaN."""
        share = (np.asarray(values, dtype=np.float64) - self.low) / (self.high - self.low)
        return self.at_low + np.clip(share, 0.0, 1.0) * (self.at_high - self.at_low)

    def place(self, value: float) -> float:
        """Return the place of one value, clipped to the ends."""
        return float(self.places(np.array([value]))[0])

    def ticks(self, count: int = 3) -> tuple[Tick, ...]:
        """Return about `count` round values that lie inside, with their places."""
        step = nice_step((self.high - self.low) / max(count, 1))
        if math.floor(self.high / step) - math.ceil(self.low / step) < 1:
            step = nice_step(step / 2.5)  # one number alone tells no scale
        digits = max(0, -math.floor(math.log10(step) + 1e-9))
        first, last = math.ceil(self.low / step - 1e-9), math.floor(self.high / step + 1e-9)
        values = [index * step for index in range(first, last + 1)]
        return tuple(Tick(self.place(value), f"{value + 0.0:.{digits}f}") for value in values)


def nice_step(about: float) -> float:
    """Return the smallest of 1, 2 and 5 times a power of ten that is not below `about`."""
    if not (math.isfinite(about) and about > 0):
        return 1.0
    power = 10.0 ** math.floor(math.log10(about))
    return next(power * factor for factor in (1, 2, 5, 10) if power * factor >= about * 0.999999)


def range_of(
    values: Floats, *, least: float = 1e-6, margin: float = 0.08, left_out: float = 0.0
) -> tuple[float, float]:
    """Return ends that hold nearly all values: rare outliers do not squash the rest.

    Parameters
    ----------
    values : numpy.ndarray, shape (n,)
        Values; those that are not finite are left out.
    least : float
        The least distance of the ends.
    margin : float
        Room to leave at either end, as a share of the distance.
    left_out : float
        Share of the values at either end that may fall outside.
    """
    finite = values[np.isfinite(values)]
    if not len(finite):
        return 0.0, 1.0
    low, high = (float(end) for end in np.quantile(finite, (left_out, 1.0 - left_out)))
    least = max(least, 1e-9 * max(abs(low), abs(high)))
    middle, reach = (low + high) / 2, max(high - low, least) * (0.5 + margin)
    return middle - reach, middle + reach
