"""An EDF or BDF file without what tells whose it is: a new header, annotations left out."""

from __future__ import annotations

import re
from datetime import datetime
from pathlib import Path

from infantmon.errors import RecordingError
from infantmon.formats.anonymous import DateShift, plain_label, plain_unit_text
from infantmon.formats.edf import INVALID_TEXT, UNRECORDED_TEXT
from infantmon.formats.edf_layout import EdfLayout, read_layout
from infantmon.formats.edf_records import list_notes, read_records
from infantmon.formats.source import Listed, with_numbered_doubles

_MONTHS = ["JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC"]
_FILTER = re.compile(r"(?i)(?:(?:HP|LP|N|BP|DC|AC)[: ]*[\d.]{0,6}\s*(?:Hz|s|dB|/oct)?[\s,;/-]*)*")
_NUMBER = re.compile(r"[\d.+\-eE ]*")


def write_anonymous_edf(path: Path, target: Path, shift: DateShift) -> list[str]:
    """Write a file anew; return what was left out, in words.

    Raises
    ------
    RecordingError
        If the file cannot be read, or a note on invalid samples does not fit its new label.
    """
    layout = read_layout(path)
    with path.open("rb") as file:
        head = file.read(layout.header_bytes)
    labels, names = _labels(layout)
    dropped = 0
    with target.open("wb") as out:
        out.write(_header(layout, head, labels, shift))
        for at, raw in read_records(layout, 0, layout.records):
            block = raw.copy()
            for order, place in enumerate(layout.annotation_places):
                part = layout.bytes_of(place)
                for row in range(len(block)):
                    kept, lost = _kept(bytes(block[row, part]), names, keeps_time=order == 0)
                    dropped += lost
                    width = part.stop - part.start
                    if len(kept) > width:
                        raise RecordingError(
                            f"{path}: the notes on invalid samples in data record {at + row + 1} "
                            "do not fit with other labels; nothing was written."
                        )
                    block[row, part] = list(kept.ljust(width, b"\0"))
            out.write(block.tobytes())
    told = ["patient, recording, transducer and reserved fields of the header"]
    told += [f"{dropped} annotations"] if dropped else []
    told += [f"{layout.left_bytes} bytes after the last data record"] if layout.left_bytes else []
    return told


def _labels(layout: EdfLayout) -> tuple[list[str], dict[str, str]]:
    """Return the new label of each signal, and the new name of each old one, as `read` has it."""
    labels = [
        label if place in layout.annotation_places else plain_label(label, place + 1)
        for place, label in enumerate(layout.labels)
    ]
    ordinary = [i for i in range(len(labels)) if i not in layout.annotation_places]
    old, new = (
        with_numbered_doubles([Listed(i, told[i], None, 1.0) for i in ordinary])
        for told in (layout.labels, labels)
    )
    return labels, {a.name: b.name for a, b in zip(old, new, strict=True)}


def _kept(lists: bytes, names: dict[str, str], *, keeps_time: bool) -> tuple[bytes, int]:
    """Return the time of the record and the notes on invalid samples, and how many were lost."""
    kept = re.match(rb"[+-][\d.]+\x14\x14", lists) if keeps_time else None
    out, lost = (kept.group() + b"\0" if kept else b""), 0
    for note in list_notes(lists):
        text = UNRECORDED_TEXT if note.text.startswith(UNRECORDED_TEXT) else INVALID_TEXT
        name = note.text.removeprefix(text)
        if note.text.startswith(text) and name in names and note.length_s is not None:
            times = f"{note.onset_s:+.9f}".rstrip("0").rstrip(".")
            length = f"{note.length_s:.9f}".rstrip("0").rstrip(".")
            out += f"{times}\x15{length}\x14{text}{names[name]}\x14\0".encode()
        else:
            lost += 1
    return out, lost


def _header(layout: EdfLayout, head: bytes, labels: list[str], shift: DateShift) -> bytes:
    count = len(labels)
    start = None if layout.started_at is None else shift.moved(layout.started_at)
    kind = ("BDF+" if layout.is_bdf else "EDF+") + layout.plus if layout.plus else ""
    kind = kind or ("24BIT" if layout.is_bdf else "")
    fixed = [
        (head[:8].decode("latin-1"), 8),
        ("X X X X" if layout.plus else "", 80),
        (_recording(start) if layout.plus else "", 80),
        *((start.strftime("%d.%m.%y") if start else "01.01.85", 8),),
        *((start.strftime("%H.%M.%S") if start else "00.00.00", 8),),
        (str(layout.header_bytes), 8),
        (kind, 44),
        (str(layout.records), 8),
        (_plain(head[244:252]), 8),
        (str(count), 4),
    ]
    text = "".join(value.ljust(width)[:width] for value, width in fixed)
    at = 256
    for name, width in (("label", 16), ("transducer", 80), ("unit", 8), *_NUMBERS, *_LAST):
        cells = [
            head[at + i * width : at + (i + 1) * width].decode("latin-1").strip("\0 ")
            for i in range(count)
        ]
        at += width * count
        text += "".join(_cell(name, cell, labels[i]).ljust(width) for i, cell in enumerate(cells))
    return text.encode("latin-1")


_NUMBERS = (("physical_min", 8), ("physical_max", 8), ("digital_min", 8), ("digital_max", 8))
_LAST = (("filters", 80), ("samples", 8), ("reserved", 32))


def _cell(name: str, cell: str, label: str) -> str:
    if name == "label":
        return label
    if name == "unit":
        return plain_unit_text(cell.replace("\u00b5", "u"))
    if name == "filters":
        return cell if _FILTER.fullmatch(cell) else ""
    if name in {"transducer", "reserved"}:
        return ""
    return cell if _NUMBER.fullmatch(cell) else ""


def _plain(raw: bytes) -> str:
    text = raw.decode("latin-1").strip()
    return text if _NUMBER.fullmatch(text) else ""


def _recording(start: datetime | None) -> str:
    if start is None:
        return "Startdate X X X X"
    return f"Startdate {start.day:02d}-{_MONTHS[start.month - 1]}-{start.year} X X X"
