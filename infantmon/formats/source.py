"""A source: a file of some format, opened so far that its channels are listed.

A further format is one class with a list of channels and a way to load one of them.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from infantmon.model.channel import Channel, StoredSamples

HELD_SAMPLES = 8_000_000
"""A channel of up to so many samples is held in memory; a longer one stays in its file."""


@dataclass(frozen=True)
class Listed:
    """A channel as its file lists it, before any sample is read.

    Attributes
    ----------
    index : int
        Its place in the file; used to load it, never to tell what it is.
    name : str
        Its name, as the file has it, without the unit.
    unit : str or None
        Its unit in plain spelling, or None where the file states none.
    rate_hz : float
        Samples a second.
    """

    index: int
    name: str
    unit: str | None
    rate_hz: float

    @property
    def words(self) -> str:
        """Name, unit and rate, for messages."""
        unit = self.unit or "unit not stated"
        return f"{self.name or '(no name)'} ({unit}, {self.rate_hz:g} Hz)"


class Source(ABC):
    """An opened file.

    Attributes
    ----------
    path : pathlib.Path
        Where it is.
    name : str
        What to call the recording.
    channels : sequence of Listed
        What is there.
    started_at : datetime or None
        Wall-clock time of time zero.
    notes : list of str
        What the reader had to decide or could not read; loading may add to it.
    """

    path: Path
    name: str
    channels: Sequence[Listed]
    started_at: datetime | None
    notes: list[str]

    @abstractmethod
    def load(self, listed: Listed) -> Channel:
        """Read one channel, at its own rate, with its holes."""


def with_numbered_doubles(channels: Sequence[Listed]) -> list[Listed]:
    """Return the list with printable names; equal ones are told apart as NAME#1, NAME#2, ..."""
    names = ["".join(c if c.isprintable() else "?" for c in listed.name) for listed in channels]
    told: list[Listed] = []
    for place, (name, listed) in enumerate(zip(names, channels, strict=True)):
        number = f"#{names[: place + 1].count(name)}" if names.count(name) > 1 else ""
        told.append(replace(listed, name=name + number))
    return told


def channel_of(
    listed: Listed, pieces: Sequence[tuple[float, StoredSamples]], rate_hz: float, unit: str | None
) -> Channel:
    """Return a channel of pieces that start at given seconds: held where it is short, else stored.

    Raises
    ------
    RecordingError
        If the pieces overlap, or a short channel cannot be read.
    """
    held = sum(len(samples) for _, samples in pieces) <= HELD_SAMPLES
    made = [(at_s, stored.read(0, len(stored)) if held else stored) for at_s, stored in pieces]
    return Channel.joined(made, rate_hz, unit, listed.name)
