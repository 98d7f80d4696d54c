"""WFDB headers, checked before and after the wfdb package reads them.

References
----------
WFDB header files (header(5)), WFDB Applications Guide, PhysioNet.
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

from infantmon.errors import RecordingError
from infantmon.formats.files import readable_file, told_clearly
from infantmon.formats.naming import looks_like_ecg
from infantmon.formats.source import Listed, with_numbered_doubles
from infantmon.model.units import plain_unit

LARGEST_HEADER_BYTES = 16_000_000
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
    with told_clearly(path, "the WFDB header"):
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
