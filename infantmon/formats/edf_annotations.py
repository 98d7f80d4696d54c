"""EDF+ annotations in and out: notes at exact times, in a file of their own.

References
----------
Kemp B, Olivan J, Clinical Neurophysiology 114:1755-1761, 2003 (EDF+ and its annotation lists).
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from infantmon.errors import (
    ArgumentError,
    RecordingError,
    require_between,
    require_each,
    require_kind,
    require_number,
    require_path,
    require_text,
)
from infantmon.formats.edf_layout import read_layout
from infantmon.formats.edf_records import onsets_s, record_notes
from infantmon.formats.files import told_clearly, written_whole

RECORD_BYTES = 60_000  # EDF+ recommends at most 61440
_MONTHS = ("JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC")
_EDF_YEARS = range(1985, 2085)
_FORBIDDEN = ("\0", "\x14", "\x15")


@dataclass(frozen=True, slots=True)
class TimedNote:
    """A note at a time.

    Attributes
    ----------
    onset_s : float
        When it begins, in seconds from the start of the recording.
    length_s : float or None
        How long it lasts, in seconds, or None where that means nothing.
    text : str
        What it says.
    """

    onset_s: float
    length_s: float | None
    text: str


def write_edf_notes(
    notes: Sequence[TimedNote],
    path: str | os.PathLike[str],
    *,
    started_at: datetime | None = None,
) -> Path:
    """Write notes as an EDF+ file that holds only annotations; return the path.

    Parameters
    ----------
    notes : sequence of TimedNote
        In any order; they are written in order of time.
    path : str or path
        The file; an existing one is replaced.
    started_at : datetime or None
        Wall-clock time of time zero, in whole seconds; left out, the file is undated. A date
        outside 1985 to 2084 cannot be written and is left out.

    Raises
    ------
    ArgumentError
        If a note cannot be written: a time that is not finite, a control character of the format
        in its text, a text too long for a data record, a start with a fraction of a second; or
        the folder does not exist.

    Notes
    -----
    Times are written with all their digits: `read_edf_notes` gives equal notes back.
    """
    told = require_each(notes, TimedNote, name="notes", called="TimedNote objects")
    ordered = sorted(map(_whole, told), key=lambda note: note.onset_s)
    if started_at is not None:
        require_kind(started_at, datetime, name="started_at", called="a datetime")
    if started_at is not None and started_at.microsecond:
        raise ArgumentError(
            f"the start {started_at} has a fraction of a second, which would shift the notes; "
            "pass a start in whole seconds, and times from there."
        )
    records = _records([_listed(note) for note in ordered])
    target = require_path(path)
    with written_whole(target.parent, (target.name,)) as scratch:
        body = b"".join(record.ljust(RECORD_BYTES, b"\0") for record in records)
        (scratch / target.name).write_bytes(_header(len(records), started_at) + body)
    return target


def read_edf_notes(path: str | os.PathLike[str]) -> list[TimedNote]:
    """Read the annotations of an EDF+ or BDF+ file, with signals or without.

    Parameters
    ----------
    path : str or path
        The file.

    Returns
    -------
    list of TimedNote
        In the order of the file; times count from the first data record, as those of `read`.

    Raises
    ------
    RecordingError
        If the file is missing or damaged, or is no EDF+ or BDF+ file.
    """
    layout = read_layout(require_path(path), for_samples=False)
    if not layout.plus or not layout.annotation_places:
        raise RecordingError(f"{path} is a plain EDF or BDF file; only EDF+ has annotations.")
    with told_clearly(layout.path, "the annotations"):
        start_s = float(onsets_s(layout)[0])
        return [
            TimedNote(note.onset_s - start_s, note.length_s, note.text)
            for note in record_notes(layout)
        ]


def _whole(note: TimedNote) -> TimedNote:
    """Return a note whose times are floats, or say why it cannot be written."""
    onset_s = require_number(note.onset_s, name="onset_s of a note", unit="s")
    length_s = note.length_s
    if length_s is not None:
        length_s = require_between(length_s, 0.0, 1e9, name="length_s of a note", unit="s")
    return TimedNote(onset_s, length_s, require_text(note.text, name="text of a note"))


def _listed(note: TimedNote) -> bytes:
    """Return a note as a time-stamped annotation list."""
    if not note.text or any(sign in note.text for sign in _FORBIDDEN):
        raise ArgumentError(
            f"a note at {note.onset_s:g} s has the text {note.text[:40]!r}; a text without NUL and "
            "the separators 0x14 and 0x15 is expected."
        )
    told = _signed(note.onset_s)
    if note.length_s is not None:
        told += "\x15" + _digits(note.length_s)
    whole = f"{told}\x14{note.text}\x14\0".encode()
    if len(whole) > RECORD_BYTES - len(_KEEPS_TIME):
        raise ArgumentError(
            f"a note at {note.onset_s:g} s has {len(whole)} bytes; at most "
            f"{RECORD_BYTES - len(_KEEPS_TIME)} fit. Shorten it."
        )
    return whole


_KEEPS_TIME = b"+0\x14\x14\0"


def _records(lists: Sequence[bytes]) -> list[bytearray]:
    records = [bytearray(_KEEPS_TIME)]
    for one in lists:
        if len(records[-1]) + len(one) > RECORD_BYTES:
            records.append(bytearray(_KEEPS_TIME))
        records[-1] += one
    return records


def _signed(value: float) -> str:
    return ("-" if value < 0.0 else "+") + _digits(abs(value))


def _digits(value: float) -> str:
    """Return all digits of a number, without an exponent."""
    return str(np.format_float_positional(value, trim="-"))


def _header(records: int, started_at: datetime | None) -> bytes:
    date, clock, told = "01.01.85", "00.00.00", "Startdate X X X X"
    if started_at is not None and started_at.year in _EDF_YEARS:
        date, clock = started_at.strftime("%d.%m.%y"), started_at.strftime("%H.%M.%S")
        told = f"Startdate {started_at.day:02d}-{_MONTHS[started_at.month - 1]}-{started_at.year}"
        told += " X X X"
    cells = [
        *(("0", 8), ("X X X X", 80), (told, 80), (date, 8), (clock, 8), ("512", 8)),
        *(("EDF+C", 44), (str(records), 8), ("0", 8), ("1", 4)),
        *(("EDF Annotations", 16), ("", 80), ("", 8), ("-1", 8), ("1", 8)),
        *(("-32768", 8), ("32767", 8), ("", 80), (str(RECORD_BYTES // 2), 8), ("", 32)),
    ]
    return "".join(text.ljust(width) for text, width in cells).encode("ascii")
