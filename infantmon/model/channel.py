"""A channel: samples of one signal, with their rate, unit and any holes in them."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from infantmon.errors import (
    ArgumentError,
    RecordingError,
    require_between,
    require_bound,
    require_each,
    require_rate,
    require_text,
)
from infantmon.model.arrays import Floats, as_samples
from infantmon.model.clock import Clock

LONGEST_S = 1e9
"""A start further away than some thirty years, in seconds, is a slip of the unit."""


class StoredSamples(ABC):
    """Samples that stay where they are stored until a stretch of them is asked for."""

    @abstractmethod
    def __len__(self) -> int:
        """Return how many there are."""

    @abstractmethod
    def read(self, first: int, end: int) -> Floats:
        """Return the samples from `first` up to, not with, `end`; both lie within them.

        Raises
        ------
        RecordingError
            If they can no longer be read, or the file has changed.
        """


if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, eq=False)
class Segment:
    """Consecutive samples of a channel.

    Attributes
    ----------
    first_tick : int
        Tick of the first sample on the channel's clock.
    samples : numpy.ndarray, shape (n,), or StoredSamples
        Samples in the channel's unit, held or stored; NaN where a sample is invalid.
    """

    first_tick: int
    samples: Floats | StoredSamples

    def __len__(self) -> int:
        return len(self.samples)

    @property
    def end_tick(self) -> int:
        """The first tick after the segment."""
        return self.first_tick + len(self.samples)

    @property
    def values(self) -> Floats:
        """All samples at once; stored ones are read into memory each time this is asked for."""
        if isinstance(self.samples, StoredSamples):
            return self.samples.read(0, len(self.samples))
        return self.samples

    def read(self, first_tick: int, end_tick: int) -> Floats:
        """Return the samples of a stretch of ticks within the segment."""
        first, end = first_tick - self.first_tick, end_tick - self.first_tick
        if isinstance(self.samples, StoredSamples):
            return self.samples.read(first, end)
        return self.samples[first:end]


class Channel:
    """Samples of one signal.

    Parameters
    ----------
    values : array_like, shape (n,)
        Samples. NaN marks an invalid sample; it is kept and accounted for, never dropped.
    rate_hz : float
        Samples a second; never assumed.
    unit : str or None
        Unit of the samples ("mV", "ohm", ...), or None where it is not known.
    start_s : float
        Time of the first sample, in seconds from the recording's start.
    name : str
        What the recording calls the channel, for people.

    Raises
    ------
    ArgumentError
        If the rate is not above 0, the samples are not one-dimensional numbers, or unit or name is
        no text.

    Notes
    -----
    Memory: the samples, as float64; an array of float64 is not copied.

    Examples
    --------
    >>> ecg = Channel([0.0, 0.1, math.nan, 0.1], rate_hz=250.0, unit="mV", name="II")
    >>> ecg
    Channel(II: 4 samples at 250 Hz, mV, 0 to 0.016 s)
    >>> time_s, values = ecg.between(0.004, 0.012)
    >>> time_s
    array([0.004, 0.008])
    """

    def __init__(
        self,
        values: npt.ArrayLike,
        rate_hz: float,
        unit: str | None = None,
        start_s: float = 0.0,
        name: str = "",
    ) -> None:
        rate = require_rate(rate_hz)
        start = require_between(start_s, -LONGEST_S, LONGEST_S, name="start_s", unit="s")
        if unit is not None:
            require_text(unit, name="unit")
        require_text(name, name="name")
        self.clock = Clock(rate)
        self.unit = unit
        self.name = name
        first_tick = round(start * rate)
        self.segments: tuple[Segment, ...] = (Segment(first_tick, as_samples(values)),)

    @classmethod
    def joined(
        cls,
        pieces: Sequence[tuple[float, npt.ArrayLike | StoredSamples]],
        rate_hz: float,
        unit: str | None = None,
        name: str = "",
    ) -> Channel:
        """Return a channel made of pieces, each with its start in seconds; between them nothing.

        Parameters
        ----------
        pieces : sequence of (float, array_like of shape (n,))
            Start of each piece, in seconds of the recording, and its samples.
        rate_hz : float
            Samples a second.
        unit : str or None
            Of the samples, where it is known.
        name : str
            What the file calls the channel.

        Raises
        ------
        RecordingError
            If pieces overlap by more than one sample.
        ArgumentError
            As for a channel of one piece, or if the pieces are no tuples.
        """
        channel = cls([], rate_hz, unit, 0.0, name)
        segments: list[Segment] = []
        called = "tuples of a start in seconds and samples"
        told = require_each(pieces, tuple, name="pieces", called=called)
        for start_s, values in sorted(told, key=lambda piece: piece[0]):
            first_tick = round(start_s * channel.rate_hz)
            if segments and first_tick < segments[-1].end_tick:
                if segments[-1].end_tick - first_tick > 1:
                    raise RecordingError(
                        f"a piece of channel {name or '?'} starts at {start_s:.3f} s, before the "
                        f"piece before it ends ({channel.clock.time_s(segments[-1].end_tick):.3f} "
                        "s); pieces must not overlap."
                    )
                first_tick = segments[-1].end_tick
            held = values if isinstance(values, StoredSamples) else as_samples(values)
            segments.append(Segment(first_tick, held))
        channel.segments = tuple(segments) if segments else channel.segments
        return channel

    @property
    def rate_hz(self) -> float:
        """Samples a second."""
        return self.clock.rate_hz

    @property
    def start_s(self) -> float:
        """Time of the first sample, in seconds from the recording's start."""
        return self.clock.time_s(self.segments[0].first_tick)

    @property
    def end_tick(self) -> int:
        """The first tick after the last sample."""
        return self.segments[-1].end_tick

    @property
    def end_s(self) -> float:
        """Time at which the last sample ends, in seconds from the recording's start."""
        return self.clock.time_s(self.end_tick)

    @property
    def sample_count(self) -> int:
        """How many samples there are, holes not counted."""
        return sum(len(segment) for segment in self.segments)

    def __len__(self) -> int:
        return self.sample_count

    def between(self, start_s: float, end_s: float) -> tuple[Floats, Floats]:
        """Return times (s) and values with start <= time < end; NaN where nothing was recorded.

        Parameters
        ----------
        start_s, end_s : float
            From and until when, in seconds of the recording; infinity for all there is.

        Returns
        -------
        time_s, values : numpy.ndarray, shape (n,)
            Both float64, one row a sample time.

        Raises
        ------
        ArgumentError
            If a bound is no number, or NaN.
        """
        low_s, high_s = min(0.0, self.start_s), self.end_s
        start_s = min(max(require_bound(start_s, name="start_s", unit="s"), low_s), high_s)
        end_s = min(max(require_bound(end_s, name="end_s", unit="s"), low_s), high_s)
        first = max(self.clock.first_tick_from(start_s), min(0, self.segments[0].first_tick))
        last = min(self.clock.first_tick_from(end_s), self.end_tick)
        values = np.full(max(last - first, 0), math.nan)
        for segment in self.segments:
            low, high = max(first, segment.first_tick), min(last, segment.end_tick)
            if low < high:
                values[low - first : high - first] = segment.read(low, high)
        return self.clock.times_s(first + np.arange(len(values), dtype=np.int64)), values

    def to_frame(self, start_s: float = -math.inf, end_s: float = math.inf) -> pd.DataFrame:
        """Return samples as a pandas table with ``time_s`` and ``value``; NaN in holes.

        Parameters
        ----------
        start_s, end_s : float
            The stretch to return, in seconds of the recording; by default all of it.

        Raises
        ------
        ArgumentError
            If a bound is no number, or NaN.
        """
        import pandas as pd  # noqa: PLC0415 - heavy; loaded only for who asks for a table

        start_s = max(require_bound(start_s, name="start_s", unit="s"), self.start_s)
        end_s = min(require_bound(end_s, name="end_s", unit="s"), self.end_s)
        time_s, values = self.between(start_s, end_s)
        return pd.DataFrame({"time_s": time_s, "value": values})

    def holes_s(self) -> Iterator[tuple[float, float]]:
        """Yield start and end (seconds) of each stretch in which nothing was recorded."""
        for before, after in zip(self.segments, self.segments[1:], strict=False):
            if after.first_tick > before.end_tick:
                yield self.clock.time_s(before.end_tick), self.clock.time_s(after.first_tick)

    def __repr__(self) -> str:
        return (
            f"Channel({self.name or 'unnamed'}: {self.sample_count} samples at {self.rate_hz:g} Hz,"
            f" {self.unit or 'unit not known'}, {self.start_s:g} to {self.end_s:g} s)"
        )


def require_channel(value: object, *, key: str) -> Channel:
    """Return the value if it is a `Channel`, or say what to pass."""
    if not isinstance(value, Channel):
        raise ArgumentError(
            f"channel {key!r} is a {type(value).__name__}; "
            "pass infantmon.Channel(values, rate_hz=..., unit=...)."
        )
    return value
