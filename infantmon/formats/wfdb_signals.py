"""WFDB signal files in, block by block: what a file holds is known from its size before it is read.

References
----------
WFDB signal files (signal(5)), WFDB Applications Guide, PhysioNet; RFC 9639 (FLAC).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from infantmon.errors import RecordingError
from infantmon.formats.files import Unchanged, file_beside, told_clearly
from infantmon.formats.wfdb_files import NOTHING, Header
from infantmon.formats.wfdb_packing import (
    AT_ONCE,
    FLAC_INVALID,
    PACKINGS,
    flac_samples,
    read_flac,
)
from infantmon.model.arrays import Floats, Ints
from infantmon.model.channel import StoredSamples


@dataclass(frozen=True)
class _SignalFile:
    """A signal file: frames of samples of one or more signals.

    Attributes
    ----------
    offset : int
        Where its first frame begins: in bytes, for FLAC in samples of each signal.
    counts : tuple of int
        Samples of each signal in a frame.
    """

    path: Path
    fmt: str
    offset: int
    counts: tuple[int, ...]

    @property
    def invalid(self) -> int:
        """The value that stands for no value."""
        if self.fmt in FLAC_INVALID:
            return FLAC_INVALID[self.fmt]
        return PACKINGS[self.fmt].invalid

    def frames(self) -> int:
        """Return how many whole frames there are."""
        if self.fmt in FLAC_INVALID:
            samples = flac_samples(self.path, len(self.counts), self.fmt)
            return max(samples - self.offset, 0) // self.counts[0]
        size = self.path.stat().st_size - self.offset
        return PACKINGS[self.fmt].count(size) // sum(self.counts)

    def read(self, place: int, first: int, end: int) -> Ints:
        """Return samples of the signal at a place, of frames from `first` up to `end`."""
        if self.fmt in FLAC_INVALID:
            each = self.counts[0]
            rows = read_flac(self.path, self.offset + first * each, self.offset + end * each)
            return rows[:, place]
        width, before = sum(self.counts), sum(self.counts[:place])
        values = PACKINGS[self.fmt].read(self.path, self.offset, first * width, end * width)
        return values.reshape(-1, width)[:, before : before + self.counts[place]].ravel()


class WfdbSamples(StoredSamples):
    """One signal of one segment, in its signal file.

    Parameters
    ----------
    file : _SignalFile
        Where it is.
    place : int
        Which of the file's signals it is.
    frames : int
        Frames of the segment that can be read.
    valid_frames : int
        How many of them the file has samples for: a skewed signal ends before the others.
    skew : int
        Frames by which the signal lags behind in the file.
    scale : tuple of float
        Gain, baseline, and the value of the first sample in a file of differences.
    """

    def __init__(
        self,
        file: _SignalFile,
        place: int,
        frames: int,
        valid_frames: int,
        skew: int,
        scale: tuple[float, float, int],
    ) -> None:
        self._file = file
        self._place = place
        self._unchanged = Unchanged(file.path)
        self._per_frame = file.counts[place]
        self._frames = frames
        self._valid = valid_frames
        self._skew = skew
        self._gain, self._baseline, self._initial = scale

    def __len__(self) -> int:
        return self._frames * self._per_frame

    def read(self, first: int, end: int) -> Floats:
        """Return the samples from `first` up to, not with, `end`, in the signal's unit."""
        values = np.full(max(end - first, 0), math.nan)
        self._unchanged.check()
        begin, stop = first // self._per_frame, min(-(-end // self._per_frame), self._valid)
        summed, total = self._file.fmt == "8", self._initial
        step = max(AT_ONCE // sum(self._file.counts), 1)
        for at in range(-self._skew if summed else begin, stop, step):
            block = self._block(at, min(at + step, stop))
            if summed:  # a sample is the sum of all differences up to it
                block = total + np.cumsum(block)
                total = int(block[-1])
            start = at * self._per_frame
            low, high = max(first, start), min(end, start + len(block))
            if low < high:
                values[low - first : high - first] = self._scaled(block[low - start : high - start])
        return values

    def _block(self, begin: int, stop: int) -> Ints:
        with told_clearly(self._file.path, "the signal file"):
            block = self._file.read(self._place, begin + self._skew, stop + self._skew)
        if len(block) != (stop - begin) * self._per_frame:
            raise RecordingError(
                f"{self._file.path}: {len(block)} samples came back where "
                f"{(stop - begin) * self._per_frame} are stored; the file is damaged."
            )
        return block

    def _scaled(self, block: Ints) -> Floats:
        values: Floats = (block.astype(np.float64) - self._baseline) / self._gain
        values[block == self._file.invalid] = math.nan
        return values


def open_signal(
    header: Header, channel: int, most_frames: int | None
) -> tuple[StoredSamples | None, list[str]]:
    """Return one signal of one segment, not read yet, and notes on what cannot be read.

    Parameters
    ----------
    header : Header
        Of the segment.
    channel : int
        Place of the signal in it.
    most_frames : int or None
        Frames that the segment has in its record, where that is known.

    Returns
    -------
    (WfdbSamples or None, list of str)
        None where nothing was recorded.

    Raises
    ------
    RecordingError
        If the signal file is missing or cannot be read.
    """
    fields = header.fields
    name, fmt = fields.file_name[channel], str(fields.fmt[channel])
    if name == NOTHING or fmt == "0":
        return None, []
    path = file_beside(header.path, name, what="the signal file of a WFDB record")
    members = [i for i, other in enumerate(fields.file_name) if other == name]
    _check_members(header, members, path)
    counts = tuple(header.samples_per_frame(i) for i in members)
    file = _SignalFile(path, fmt, int(fields.byte_offset[channel] or 0), counts)
    there = file.frames()
    declared = there if fields.sig_len is None else int(fields.sig_len)
    wanted = declared if most_frames is None else min(declared, most_frames)
    skews = [int(fields.skew[i] or 0) for i in members]
    frames = wanted if there >= declared else min(wanted, there - max(skews))
    notes = [] if frames == wanted else [_truncation(header, path, declared, max(frames, 0))]
    if frames <= 0:
        return None, notes
    skew = int(fields.skew[channel] or 0)
    valid = min(frames, min(there, declared) - skew)
    scale = _scale(header, channel)
    return WfdbSamples(file, members.index(channel), frames, valid, skew, scale), notes


def _scale(header: Header, channel: int) -> tuple[float, float, int]:
    fields = header.fields
    gain, baseline = float(fields.adc_gain[channel]), float(fields.baseline[channel])
    if not (math.isfinite(gain) and gain != 0.0 and math.isfinite(baseline)):
        raise RecordingError(
            f"{header.path}: signal {channel + 1} has the gain {gain:g} and the baseline "
            f"{baseline:g}; finite numbers are expected. Correct the header."
        )
    return gain, baseline, int(fields.init_value[channel] or 0)


def _check_members(header: Header, members: Sequence[int], path: Path) -> None:
    """Refuse layouts in which the wfdb package would hand out another channel's samples."""
    fields = header.fields
    apart = members[-1] - members[0] + 1 != len(members)
    differ = len({(str(fields.fmt[i]), fields.byte_offset[i] or 0) for i in members}) > 1
    if apart or differ:
        raise RecordingError(
            f"{header.path}: the signals of {path.name} do not stand together with one format and "
            "one offset; they cannot be told apart safely. Write the record again in one format."
        )
    fmt = str(fields.fmt[members[0]])
    if fmt not in PACKINGS and fmt not in FLAC_INVALID:
        raise RecordingError(
            f"{header.path}: signal format {fmt} is not known; "
            f"known are {', '.join([*PACKINGS, *FLAC_INVALID])}."
        )
    if fmt in FLAC_INVALID and len({header.samples_per_frame(i) for i in members}) > 1:
        raise RecordingError(
            f"{header.path}: the signals of the FLAC file {path.name} differ in their samples a "
            "frame, which such a file cannot hold; the header is damaged."
        )


def _truncation(header: Header, path: Path, declared: int, frames: int) -> str:
    return (
        f"{path.name} is shorter than its header says: {frames} of {declared} frames "
        f"({frames / header.frame_hz:.3f} of {declared / header.frame_hz:.3f} s) could be read; "
        "nothing is there after that"
    )
