"""What a channel shows in place of the infant while an electrode is loose.

`place` says where and when it is shown: its `time_s` has the shape (n,), and so has
what is returned.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass

import numpy as np

from infantmon.errors import as_floats, require_between, require_number
from infantmon.model.arrays import Floats
from infantmon.model.spans import Reason


@dataclass(frozen=True, eq=False)
class Place:
    """What is known where a channel shows something else than the infant.

    Attributes
    ----------
    time_s : numpy.ndarray, shape (n,)
        The times, in seconds.
    low, high : float
        The channel's range, in its unit.
    random : numpy.random.Generator
        For what is random about it.
    held : float
        The channel's value when it began.
    """

    time_s: Floats
    low: float
    high: float
    random: np.random.Generator
    held: float


class Shown(ABC):
    """What a channel shows in place of the infant."""

    reason: Reason

    @abstractmethod
    def values(self, place: Place) -> Floats:
        """Return what is shown, in the channel's unit."""


@dataclass(frozen=True)
class AtRail(Shown):
    """The channel stands at an end of its range: the upper, or the lower."""

    upper: bool = True
    reason = Reason.SATURATED

    def values(self, place: Place) -> Floats:
        """Return the end of the range throughout."""
        return np.full(len(place.time_s), place.high if self.upper else place.low)


@dataclass(frozen=True)
class Flat(Shown):
    """The channel shows one value (in its unit)."""

    level: float = 0.0
    reason = Reason.FLAT

    def __post_init__(self) -> None:
        as_floats(self)
        require_number(self.level, name="level", unit="the channel's unit")

    def values(self, place: Place) -> Floats:
        """Return the value throughout."""
        return np.full(len(place.time_s), self.level)


@dataclass(frozen=True)
class Held(Shown):
    """The channel holds the value it had."""

    reason = Reason.FLAT

    def values(self, place: Place) -> Floats:
        """Return the held value throughout."""
        return np.full(len(place.time_s), place.held)


@dataclass(frozen=True)
class Noisy(Shown):
    """The channel shows an open lead's noise: white noise on a mains wave.

    Parameters
    ----------
    deviation, mains : float
        Standard deviation of the noise and amplitude of the mains wave, in the channel's unit.
    frequency_hz : float
        Of the mains.
    """

    deviation: float
    mains: float = 0.0
    frequency_hz: float = 50.0
    reason = Reason.NOISE

    def __post_init__(self) -> None:
        as_floats(self)
        for name in ("deviation", "mains"):
            require_between(getattr(self, name), 0.0, 1e6, name=name, unit="the channel's unit")
        require_between(self.frequency_hz, 1.0, 1000.0, name="frequency_hz", unit="Hz")

    def values(self, place: Place) -> Floats:
        """Return noise around 0."""
        turns = (self.frequency_hz * place.time_s) % 1.0
        noise = self.deviation * place.random.standard_normal(len(place.time_s))
        return np.asarray(noise + self.mains * np.sin(2.0 * np.pi * turns))


@dataclass(frozen=True)
class OutOfRange(Shown):
    """The channel shows a level that no attached electrode gives, with a little noise.

    Parameters
    ----------
    level, deviation : float
        The level and the standard deviation of the noise, in the channel's unit.
    """

    level: float
    deviation: float = 0.05
    reason = Reason.OUT_OF_RANGE

    def __post_init__(self) -> None:
        as_floats(self)
        require_number(self.level, name="level", unit="the channel's unit")
        require_between(self.deviation, 0.0, 1e6, name="deviation", unit="the channel's unit")

    def values(self, place: Place) -> Floats:
        """Return noise around the level."""
        return self.level + self.deviation * place.random.standard_normal(len(place.time_s))
