"""WFDB headers and signal files, one segment at a time, checked before the wfdb package reads them.

References
----------
WFDB header files (header(5)) and signal files (signal(5)), WFDB Applications Guide, PhysioNet.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

from infantmon.errors import RecordingError
from infantmon.formats.files import file_beside, readable_file, told_clearly
from infantmon.formats.naming import looks_like_ecg, plain_unit
from infantmon.formats.source import Listed, with_numbered_doubles
from infantmon.model.arrays import NO_FLOATS, Floats

LARGEST_HEADER_BYTES = 16_000_000
_SAMPLES_PER_BLOCK = {"212": (2, 3), "310": (3, 4), "311": (3, 4)}  # samples, bytes
_BYTES_PER_SAMPLE = {"8": 1, "80": 1, "16": 2, "61": 2, "160": 2, "24": 3, "32": 4}
_FLAC = frozenset({"508", "516", "524"})
NOTHING = "~"  # stands for a segment or a signal without a file


@contextmanager
def wfdb_package() -> Iterator[Any]:
    """Give the wfdb package, loaded only now since it brings pandas and matplotlib."""
    with warnings.catch_warnings():
        # wfdb 4.3.1 under pandas 3.1, at its import and when it writes a header: Pandas4Warning
        warnings.filterwarnings("ignore", message="The inplace keyword", module=r"wfdb\.")
        import wfdb  # noqa: PLC0415 - heavy

        yield wfdb


@dataclass(frozen=True)
class Header:
    """One header file.

    Attributes
    ----------
    path : pathlib.Path
        The header file.
    fields : Any
        What the wfdb package made of it: a Record, or a MultiRecord.
    channels : tuple of Listed
        Its signals; none for a header of segments.
    frame_hz : float
        Frames a second; a signal has one or more samples a frame.
    """

    path: Path
    fields: Any
    channels: tuple[Listed, ...]
    frame_hz: float

    @property
    def has_segments(self) -> bool:
        """Whether it lists segments instead of signals."""
        return hasattr(self.fields, "seg_name")

    def samples_per_frame(self, channel: int) -> int:
        """How many samples of a channel one frame holds."""
        return int(self.fields.samps_per_frame[channel] or 1)


def read_header(path: Path) -> Header:
    """Read one header file.

    Raises
    ------
    RecordingError
        If it is missing, too large, not a WFDB header, or states no sampling rate.
    """
    readable_file(path, what="a WFDB header")
    if path.stat().st_size > LARGEST_HEADER_BYTES:
        raise RecordingError(f"{path} has {path.stat().st_size} bytes; no WFDB header is so large.")
    with told_clearly(path, "the WFDB header"):
        text = path.read_bytes().decode("utf-8", errors="replace")
        lines = [line.split() for line in text.splitlines() if line.strip()]
        lines = [words for words in lines if not words[0].startswith("#")]
        if not lines:
            raise RecordingError(f"{path} is empty; a WFDB header is expected.")
        with wfdb_package() as wfdb:
            fields = wfdb.rdheader(str(path.with_suffix("").absolute()))
    if len(lines[0]) < 3:
        raise RecordingError(
            f"{path} states no sampling rate, and none is assumed. "
            "Write it in the first line, after the number of signals."
        )
    frame_hz = float(fields.fs)
    stated = lines[0][2].partition("/")[0].partition("(")[0]
    # the package takes 250 Hz where it cannot read the number, so the number itself is looked at
    if not 0.0 < frame_hz < math.inf or _number(stated) != frame_hz:
        raise RecordingError(
            f"{path} states a sampling rate of {stated} Hz; it must be above 0 Hz. "
            "Write a plain number in the first line, after the number of signals."
        )
    header = Header(path, fields, (), frame_hz)
    return header if header.has_segments else _with_channels(header, lines[1:])


def _number(text: str) -> float:
    """Return the number that a text states, or NaN where it states none."""
    try:
        return float(text)
    except ValueError:
        return math.nan


def _with_channels(header: Header, lines: Sequence[list[str]]) -> Header:
    count = header.fields.n_sig
    if len(lines) != count:
        raise RecordingError(
            f"{header.path} promises {count} signals and describes {len(lines)}; "
            "the header is damaged. Get it again from where it was recorded."
        )
    listed = []
    for index in range(count):
        name = (header.fields.sig_name[index] or "").strip()
        # by way of the decimal text, so that 5 times 50.07 is 250.35
        rate_hz = float(Fraction(repr(header.frame_hz)) * header.samples_per_frame(index))
        listed.append(Listed(index, name, _unit(lines[index], name), rate_hz))
    return Header(header.path, header.fields, tuple(with_numbered_doubles(listed)), header.frame_hz)


def _unit(words: list[str], name: str) -> str | None:
    """Return the unit of a signal line; where none is stated, mV holds for an ECG (header(5))."""
    stated = words[2].partition("/")[2] if len(words) > 2 else ""
    if not stated and looks_like_ecg(name):
        return "mV"
    return plain_unit(stated)


def read_signal(header: Header, channel: int, most_frames: int | None) -> tuple[Floats, list[str]]:
    """Return one signal of one segment in its unit, and notes on what could not be read.

    Parameters
    ----------
    header : Header
        Of the segment.
    channel : int
        Place of the signal in it.
    most_frames : int or None
        Frames that the segment has in its record, where that is known.

    Raises
    ------
    RecordingError
        If the signal file is missing or cannot be read.
    """
    fields = header.fields
    name, fmt = fields.file_name[channel], str(fields.fmt[channel])
    if name == NOTHING or fmt == "0":
        return NO_FLOATS, []
    path = file_beside(header.path, name, what="the signal file of a WFDB record")
    members = [i for i, other in enumerate(fields.file_name) if other == name]
    _check_members(header, members, path)
    there = _frames_there(header, members, path)
    declared = there if fields.sig_len is None else int(fields.sig_len)
    wanted = declared if most_frames is None else min(declared, most_frames)
    skew = max(int(fields.skew[i] or 0) for i in members)
    frames = wanted if there >= declared else min(wanted, there - skew)
    notes = [] if frames == wanted else [_truncation(header, path, declared, max(frames, 0))]
    if frames <= 0:
        return NO_FLOATS, notes
    values = _read_frames(header, channel, frames)
    own_skew = int(fields.skew[channel] or 0) * header.samples_per_frame(channel)
    if own_skew and frames == declared:
        values[-own_skew:] = math.nan  # beyond the end of the file; wfdb fills a part with zeros
    return values, notes


def _read_frames(header: Header, channel: int, frames: int) -> Floats:
    with told_clearly(header.path, "the signals of the WFDB record"), wfdb_package() as wfdb:
        record = wfdb.rdrecord(
            str(header.path.with_suffix("").absolute()),
            sampto=None if header.fields.sig_len is None else frames,
            channels=[channel],
            smooth_frames=False,
            return_res=64,
        )
        values = np.asarray(record.e_p_signal[0], dtype=np.float64)
    return values[: frames * header.samples_per_frame(channel)]


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


def _frames_there(header: Header, members: Sequence[int], path: Path) -> int:
    """Return how many whole frames the signal file holds, from its size alone."""
    fmt = str(header.fields.fmt[members[0]])
    samples_a_frame = sum(header.samples_per_frame(i) for i in members)
    size = path.stat().st_size - int(header.fields.byte_offset[members[0]] or 0)
    if fmt in _FLAC:
        return _flac_samples(path) // header.samples_per_frame(members[0])
    if fmt in _SAMPLES_PER_BLOCK:
        samples, block = _SAMPLES_PER_BLOCK[fmt]
        rest = {0: 0, 1: 0, 2: 1, 3: 2 if fmt == "311" else 1}[max(size, 0) % block]
        return (max(size, 0) // block * samples + rest) // samples_a_frame
    if fmt not in _BYTES_PER_SAMPLE:
        raise RecordingError(
            f"{header.path}: signal format {fmt} is not known; "
            f"known are {', '.join([*_BYTES_PER_SAMPLE, *_SAMPLES_PER_BLOCK, *sorted(_FLAC)])}."
        )
    return max(size, 0) // (_BYTES_PER_SAMPLE[fmt] * samples_a_frame)


def _flac_samples(path: Path) -> int:
    """Return the samples a channel that a FLAC file states (RFC 9639, section 8.2: 36 bits)."""
    with path.open("rb") as file:
        start = file.read(26)
    if len(start) < 26 or start[:4] != b"fLaC":
        raise RecordingError(f"{path} is not a FLAC file, as its header says it is.")
    return (start[21] & 0x0F) << 32 | int.from_bytes(start[22:26], "big")


def _truncation(header: Header, path: Path, declared: int, frames: int) -> str:
    return (
        f"{path.name} is shorter than its header says: {frames} of {declared} frames "
        f"({frames / header.frame_hz:.3f} of {declared / header.frame_hz:.3f} s) could be read; "
        "nothing is there after that"
    )
