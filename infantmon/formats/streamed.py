"""Recordings out while they are made: channel by channel, chunk by chunk, in bounded memory.

For recordings that are too long to be held. A recording in memory is written by
`infantmon.formats.writing`, which fits the scale to the data; here the range must be known before.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO

import numpy as np

from infantmon.errors import (
    ArgumentError,
    as_floats,
    require_number,
    require_path,
    require_rate,
    require_text,
)
from infantmon.formats.files import written_whole
from infantmon.model.arrays import Floats

_PATH = str | os.PathLike[str]

Chunks = Iterable[Mapping[str, Floats]]
"""Consecutive samples of every channel by role; a channel may have any number in a chunk."""


@dataclass(frozen=True)
class StreamedChannel:
    """What has to be known of a channel before its first sample is written.

    Attributes
    ----------
    role, name, unit : str
        The key of its samples in a chunk, its name in the file, its unit.
    rate_hz : float
        Sampling rate, in Hz.
    low, high : float
        The range of its values, in its unit; values beyond are clipped.
    step : float
        The step of its values, in its unit, where there is one: if the file can hold that step, the
        values come back exactly. 0 for none.
    bits : int
        Bits a sample where the format leaves the choice: 16 or 32.
    """

    role: str
    name: str
    unit: str
    rate_hz: float
    low: float
    high: float
    step: float = 0.0
    bits: int = 16

    def __post_init__(self) -> None:
        as_floats(self)
        require_rate(self.rate_hz)
        for name in ("role", "name", "unit"):
            require_text(getattr(self, name), name=name)
        for name in ("low", "high", "step"):
            require_number(getattr(self, name), name=name, unit=self.unit)
        if not self.low < self.high:
            raise ArgumentError(
                f"the range of {self.name} is {self.low:g} to {self.high:g} {self.unit}; "
                "the upper end must be above the lower."
            )


def stream_arrays(chunks: Chunks, channels: Sequence[StreamedChannel], folder: _PATH) -> list[Path]:
    """Write each channel as an array of float64 that `numpy.load` reads; return the paths.

    Parameters
    ----------
    chunks : iterable of mapping of str to numpy.ndarray
        Consecutive samples by role; NaN where invalid.
    channels : sequence of StreamedChannel
        The files are named by their roles.
    folder : str or path
        Where the files go; files of the same name are replaced.

    Raises
    ------
    ArgumentError
        If the folder does not exist.
    """
    names = [f"{channel.role}.npy" for channel in channels]
    with written_whole(require_path(folder, name="folder"), tuple(names)) as scratch:
        arrays = [
            _Array(channel, scratch / file) for channel, file in zip(channels, names, strict=True)
        ]
        feed(chunks, arrays)
        for array in arrays:
            array.finish()
    return [require_path(folder, name="folder") / file for file in names]


class Sink:
    """Takes the samples of one channel into a file."""

    def __init__(self, channel: StreamedChannel, path: Path) -> None:
        self.channel = channel
        self.path = path
        self.file: IO[bytes] = path.open("wb")
        self.count = 0

    def put(self, values: Floats) -> None:
        """Take the next samples."""
        self.count += len(values)


class _Array(Sink):
    """One array file; its length is written into the space left for it at the end."""

    def __init__(self, channel: StreamedChannel, path: Path) -> None:
        super().__init__(channel, path)
        self._head(10**12)  # as long as any length to come

    def put(self, values: Floats) -> None:
        super().put(values)
        self.file.write(np.ascontiguousarray(values, dtype="<f8").tobytes())

    def finish(self) -> None:
        """Write the length, and close the file."""
        self.file.seek(0)
        self._head(self.count)
        self.file.close()

    def _head(self, count: int) -> None:
        length = f"({count:d},)"
        told = "{'descr': '<f8', 'fortran_order': False, 'shape': " + length + ", }"
        self.file.write(b"\x93NUMPY\x01\x00" + (118).to_bytes(2, "little"))
        self.file.write(told.ljust(117).encode("ascii") + b"\n")


def feed(chunks: Chunks, sinks: Sequence[Sink]) -> None:
    """Put every chunk into every sink; close the files if that fails."""
    try:
        for chunk in chunks:
            for sink in sinks:
                sink.put(chunk[sink.channel.role])
    except BaseException:
        for sink in sinks:
            sink.file.close()
        raise


def whole_records(
    chunks: Chunks, channels: Sequence[StreamedChannel], counts: Sequence[int]
) -> Iterator[list[Floats]]:
    """Yield samples of all channels record by record (fixed counts); the last may be shorter."""
    held = [np.empty(0) for _ in channels]
    for chunk in chunks:
        held = [
            np.concatenate([before, chunk[channel.role]])
            for before, channel in zip(held, channels, strict=True)
        ]
        ready = min(len(values) // count for values, count in zip(held, counts, strict=True))
        for number in range(ready):
            yield [
                values[number * count : (number + 1) * count]
                for values, count in zip(held, counts, strict=True)
            ]
        held = [v[ready * count :] for v, count in zip(held, counts, strict=True)]
    while any(len(values) for values in held):
        yield [v[:count] for v, count in zip(held, counts, strict=True)]
        held = [v[count:] for v, count in zip(held, counts, strict=True)]
