"""Recordings out while they are made: channel by channel, chunk by chunk, in bounded memory.

For recordings that are too long to be held. A recording in memory is written by
`infantmon.formats.writing`, which fits the scale to the data; here the range must be known before.
"""

from __future__ import annotations

import math
import os
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import IO, Any

import numpy as np
import numpy.typing as npt

from infantmon.errors import ArgumentError, require_rate
from infantmon.formats.files import written_whole
from infantmon.model.arrays import Floats

_PATH = str | os.PathLike[str]
_MOST_A_FRAME = 10_000
_WFDB_ADC = 16
_CSV_ROWS = 4_000
_TIME_DIGITS = 9

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
        require_rate(self.rate_hz)
        if not self.low < self.high:
            raise ArgumentError(
                f"the range of {self.name} is {self.low:g} to {self.high:g} {self.unit}; "
                "the upper end must be above the lower."
            )


def stream_wfdb(
    chunks: Chunks, channels: Sequence[StreamedChannel], folder: _PATH, name: str
) -> list[Path]:
    """Write a WFDB record of one signal file a channel; return the paths, the header last.

    Parameters
    ----------
    chunks : iterable of mapping of str to numpy.ndarray
        Consecutive samples by role; NaN where invalid.
    channels : sequence of StreamedChannel
        In the order of the header.
    folder : str or path
        Where the files go; files of the same name are replaced.
    name : str
        Of the record: letters, digits, hyphens and underscores.

    Raises
    ------
    ArgumentError
        If the name cannot be used, the rates share no frame, or the folder does not exist.

    Notes
    -----
    The scale is set by the channel's range and bits. The last frame is filled with invalid samples.
    """
    if not re.fullmatch(r"[A-Za-z0-9_-]+", name):
        raise ArgumentError(
            f"{name!r} cannot name a WFDB record; use letters, digits, hyphens and underscores."
        )
    frame_hz, in_frame = _frames(channels)
    names = [f"{name}_{channel.role}.dat" for channel in channels]
    header = f"{name}.hea"
    with written_whole(Path(folder), (*names, header)) as scratch:
        signals = [
            _WfdbSignal(channel, scratch / file, each)
            for channel, file, each in zip(channels, names, in_frame, strict=True)
        ]
        _feed(chunks, signals)
        frames = max(math.ceil(signal.count / signal.in_frame) for signal in signals)
        lines = [f"{name} {len(signals)} {_number(frame_hz)} {frames}"]
        lines += [signal.finished(frames) for signal in signals]
        (scratch / header).write_text("\n".join(lines) + "\n", encoding="ascii")
    return [Path(folder) / file for file in (*names, header)]


def stream_csv(chunks: Chunks, channels: Sequence[StreamedChannel], path: _PATH) -> Path:
    """Write a table: time_s, then a column a channel; return the path.

    Parameters
    ----------
    chunks : iterable of mapping of str to numpy.ndarray
        Consecutive samples by role; NaN where invalid.
    channels : sequence of StreamedChannel
        Their rates must be whole parts of the fastest.
    path : str or path
        The file; an existing one is replaced.

    Raises
    ------
    ArgumentError
        If the rates do not fit, or the folder does not exist.

    Notes
    -----
    Values are rounded to six decimals. A slower channel has a value in every k-th row.
    """
    rate = max(channel.rate_hz for channel in channels)
    ratios = [rate / channel.rate_hz for channel in channels]
    if any(ratio != round(ratio) for ratio in ratios):
        told = ", ".join(f"{channel.rate_hz:g}" for channel in channels)
        raise ArgumentError(
            f"the rates {told} Hz are not whole parts of the fastest, so the channels cannot share "
            "the rows of one table; write WFDB or EDF."
        )
    target = Path(path)
    strides = [round(ratio) for ratio in ratios]
    rows = _CSV_ROWS * math.lcm(*strides)
    head = ["time_s", *(f"{channel.name} [{channel.unit}]" for channel in channels)]
    lines = _Lines(strides, rate)
    with (
        written_whole(target.parent, (target.name,)) as scratch,
        (scratch / target.name).open("w", encoding="utf-8", newline="") as file,
    ):
        file.write(",".join(head) + "\n")
        counts = [rows // stride for stride in strides]
        for number, record in enumerate(whole_records(chunks, channels, counts)):
            file.write(lines.of(record, number * rows))
    return target


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
    with written_whole(Path(folder), tuple(names)) as scratch:
        arrays = [
            _Array(channel, scratch / file) for channel, file in zip(channels, names, strict=True)
        ]
        _feed(chunks, arrays)
        for array in arrays:
            array.finish()
    return [Path(folder) / file for file in names]


class _Lines:
    """Turns samples into the lines of a table, many at a time by one format.

    Parameters
    ----------
    strides : list of int
        In every how manieth row each channel has a value.
    rate_hz : float
        Rows a second.
    """

    def __init__(self, strides: list[int], rate_hz: float) -> None:
        self.strides, self.rate_hz = strides, rate_hz
        self.cycle = math.lcm(*strides)
        exact = [d for d in range(_TIME_DIGITS) if (10**d / rate_hz).is_integer()]
        self.time = f"%.{exact[0] if exact else _TIME_DIGITS}f"
        cells = [["%.6f" if k % s == 0 else "" for s in strides] for k in range(self.cycle)]
        self.form = "".join(",".join([self.time, *row]) + "\n" for row in cells)

    def of(self, record: Sequence[Floats], first_row: int) -> str:
        """Return the lines of a record whose first row has a number; nothing where NaN."""
        rows = max(
            (len(values) - 1) * stride + 1
            for values, stride in zip(record, self.strides, strict=True)
        )
        cycles = math.ceil(rows / self.cycle)
        columns = [(first_row + np.arange(cycles * self.cycle)) / self.rate_hz]
        for values, stride in zip(record, self.strides, strict=True):
            fill = np.full(cycles * (self.cycle // stride) - len(values), math.nan)
            columns.append(np.concatenate([values, fill]))
        each = [column.reshape(cycles, -1) for column in columns]
        order = [
            array[:, k // stride]
            for k in range(self.cycle)
            for array, stride in zip(each, [1, *self.strides], strict=True)
            if k % stride == 0
        ]
        flat = np.stack(order, axis=1).ravel().tolist()
        text = (self.form * cycles % tuple(flat)).replace("nan", "")
        spare = cycles * self.cycle - rows
        return text if not spare else "".join(text.splitlines(keepends=True)[:-spare])


class _Sink:
    """Takes the samples of one channel."""

    def __init__(self, channel: StreamedChannel, path: Path) -> None:
        self.channel = channel
        self.path = path
        self.file: IO[bytes] = path.open("wb")
        self.count = 0

    def put(self, values: Floats) -> None:
        self.count += len(values)


class _WfdbSignal(_Sink):
    """One signal file, and the line that the header has for it."""

    def __init__(self, channel: StreamedChannel, path: Path, in_frame: int) -> None:
        super().__init__(channel, path)
        self.in_frame = in_frame
        self.kind = np.dtype(f"<i{channel.bits // 8}")
        self.invalid = -(2 ** (channel.bits - 1))
        self.gain, self.baseline = _scale(channel, -self.invalid - 4)
        self.first, self.sum = 0, 0

    def put(self, values: Floats) -> None:
        clipped = np.clip(values, self.channel.low, self.channel.high)
        digital = np.rint(clipped * self.gain) + self.baseline
        self._write(np.where(np.isnan(digital), self.invalid, digital).astype(self.kind))

    def _write(self, digital: npt.NDArray[np.signedinteger[Any]]) -> None:
        if len(digital):
            self.first = self.first if self.count else int(digital[0])
            self.sum += int(np.sum(digital, dtype=np.int64))
            self.count += len(digital)
            self.file.write(digital.tobytes())

    def finished(self, frames: int) -> str:
        """Fill the last frame, close the file, and return the header's line."""
        self._write(np.full(frames * self.in_frame - self.count, self.invalid, dtype=self.kind))
        self.file.close()
        form = f"{self.channel.bits}x{self.in_frame}" if self.in_frame > 1 else self.channel.bits
        check = (self.sum + 2**15) % 2**16 - 2**15
        gain = f"{_number(self.gain)}({self.baseline})/{self.channel.unit}"
        return (
            f"{self.path.name} {form} {gain} {_WFDB_ADC} 0 {self.first} {check} 0 "
            f"{self.channel.name}"
        )


class _Array(_Sink):
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


def _feed(chunks: Chunks, sinks: Sequence[_Sink]) -> None:
    """Put every chunk into every sink; close the files if that fails."""
    try:
        for chunk in chunks:
            for sink in sinks:
                sink.put(chunk[sink.channel.role])
    except BaseException:
        for sink in sinks:
            sink.file.close()
        raise


def _scale(channel: StreamedChannel, most: int) -> tuple[float, int]:
    """Return gain and baseline that bring a range into -most to most; a step exactly if it fits."""
    half, middle = (channel.high - channel.low) / 2.0, (channel.high + channel.low) / 2.0
    gain = most / half
    if channel.step > 0.0 and 1.0 / channel.step <= gain:
        gain = 1.0 / channel.step
    else:
        gain = float(f"{gain * (1.0 - 1e-5):.6g}")  # rounded, and never upwards
        if gain > 1.0:
            gain = float(math.floor(gain))
    return gain, -round(middle * gain)


def _frames(channels: Sequence[StreamedChannel]) -> tuple[Fraction, list[int]]:
    """Return the frame rate that all rates share, and the samples of each channel in a frame."""
    rates = [Fraction(repr(float(channel.rate_hz))) for channel in channels]
    scale = math.lcm(*(rate.denominator for rate in rates))
    frame = Fraction(math.gcd(*(int(rate * scale) for rate in rates)), scale)
    in_frame = [int(rate / frame) for rate in rates]
    if max(in_frame) > _MOST_A_FRAME:
        told = ", ".join(f"{channel.rate_hz:g}" for channel in channels)
        raise ArgumentError(
            f"the rates {told} Hz share no frame of up to {_MOST_A_FRAME} samples; "
            "write arrays, a file a channel."
        )
    return frame, in_frame


def _number(value: float | Fraction) -> str:
    """Return a number without a needless point, and with all its digits."""
    return repr(float(value)).removesuffix(".0")


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
