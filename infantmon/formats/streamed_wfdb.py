"""WFDB records out while they are made: one signal file a channel, in bounded memory."""

from __future__ import annotations

import math
import os
import re
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from infantmon.errors import ArgumentError, require_path
from infantmon.formats.files import written_whole
from infantmon.formats.streamed import Chunks, Sink, StreamedChannel, feed
from infantmon.model.arrays import Floats

_PATH = str | os.PathLike[str]
_MOST_A_FRAME = 10_000
_WFDB_ADC = 16


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
    with written_whole(require_path(folder, name="folder"), (*names, header)) as scratch:
        signals = [
            _WfdbSignal(channel, scratch / file, each)
            for channel, file, each in zip(channels, names, in_frame, strict=True)
        ]
        feed(chunks, signals)
        frames = max(math.ceil(signal.count / signal.in_frame) for signal in signals)
        lines = [f"{name} {len(signals)} {_number(frame_hz)} {frames}"]
        lines += [signal.finished(frames) for signal in signals]
        (scratch / header).write_text("\n".join(lines) + "\n", encoding="ascii")
    return [require_path(folder, name="folder") / file for file in (*names, header)]


class _WfdbSignal(Sink):
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
