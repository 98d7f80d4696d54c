"""A WFDB record without what tells whose it is: new headers and file names, comments left out."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import IO

from infantmon.errors import RecordingError
from infantmon.formats.anonymous import DateShift, plain_label, plain_unit_text, require_plain
from infantmon.formats.files import file_beside
from infantmon.formats.wfdb_files import NOTHING, Header, read_header
from infantmon.formats.wfdb_packing import FLAC_INVALID

_AT_ONCE = 4_000_000
_RATE = r"[\d.eE+/()-]{1,40}"
_COUNT = r"\d{1,12}"
_NUMBER = r"[+-]?\d{1,12}"
_GAIN = r"[\d.eE+-]{1,20}(?:\(-?\d{1,12}\))?"


class AnonymousWfdb:
    """Writes one record anew.

    Parameters
    ----------
    folder : pathlib.Path
        Where to.
    name : str
        Of the record.
    shift : DateShift
        What dates are moved by.
    """

    def __init__(self, folder: Path, name: str, shift: DateShift) -> None:
        self.written: list[str] = []
        self.dropped = 0
        self._folder = folder
        self._name = name
        self._shift = shift
        self._files: dict[Path, str] = {}
        self._segments: dict[str, str] = {NOTHING: NOTHING}

    def write(self, path: Path) -> list[str]:
        """Write the record whose header is at a path; return what was left out, in words."""
        header = read_header(path)
        lines = self._lines(path)
        if header.has_segments:
            text = self._record_line(lines[0], self._name, len(lines) - 1, path)
            for line in lines[1:]:
                words = line.split()
                require_plain(words[1], _COUNT, "the length of a segment", path)
                text += f"{self._segment(path, words[0])} {words[1]}\n"
        else:
            text = self._record_line(lines[0], self._name, None, path)
            text += self._signals(header, lines[1:])
        self._put(f"{self._name}.hea", text)
        told = ["the record's and its files' own names"]
        told += [f"{self.dropped} comment lines"] if self.dropped else []
        return told

    def _segment(self, path: Path, name: str) -> str:
        """Write a segment once; return its new name."""
        if name not in self._segments:
            own = file_beside(path, f"{name}.hea", what="a segment's header")
            header = read_header(own)
            if header.has_segments:
                raise RecordingError(f"{own} has segments itself; nothing was written.")
            new = f"{self._name}_{len(self._segments):04d}"
            self._segments[name] = new
            lines = self._lines(own)
            text = self._record_line(lines[0], new, None, own) + self._signals(header, lines[1:])
            self._put(f"{new}.hea", text)
        return self._segments[name]

    def _lines(self, path: Path) -> list[str]:
        lines = [line.strip() for line in path.read_text("utf-8", errors="replace").splitlines()]
        told = [line for line in lines if line and not line.startswith("#")]
        self.dropped += sum(line.startswith("#") for line in lines)
        return told

    def _put(self, name: str, text: str) -> None:
        (self._folder / name).write_text(text, encoding="ascii", errors="replace")
        self.written.append(name)

    def _record_line(self, line: str, name: str, segments: int | None, path: Path) -> str:
        words = line.split()
        told = [name if segments is None else f"{name}/{segments}"]
        patterns = (_COUNT, _RATE, _COUNT)
        meanings = ("the number of signals", "the sampling rate", "the length")
        for word, pattern, what in zip(words[1:4], patterns, meanings, strict=False):
            told.append(require_plain(word, pattern, what, path))
        if len(words) > 4:
            told.append(require_plain(words[4], r"[\d:.]{1,16}", "the time of the start", path))
        if len(words) > 5:
            told.append(self._moved(words[5], path))
        return " ".join(told) + "\n"

    def _moved(self, date: str, path: Path) -> str:
        day = require_plain(date, r"\d{1,2}/\d{1,2}/\d{4}", "the date of the start", path)
        try:
            start = datetime.strptime(day, "%d/%m/%Y")  # noqa: DTZ007 - WFDB has no offset
        except ValueError as fault:
            raise RecordingError(f"{path}: the date of the start is {date!r}, no date.") from fault
        return self._shift.moved(start).strftime("%d/%m/%Y")

    def _signals(self, header: Header, lines: list[str]) -> str:
        text = ""
        for index, line in enumerate(lines):
            words = line.split(maxsplit=8)
            told = [self._file(header, index), self._format(words[1], header.path)]
            if len(words) > 2:
                gain, _, unit = words[2].partition("/")
                require_plain(gain, _GAIN, "a gain", header.path)
                kept = plain_unit_text(unit)
                told.append(f"{gain}/{kept}" if kept else gain)
            told += [
                require_plain(word, _NUMBER, "a number of a signal", header.path)
                for word in words[3:8]
            ]
            if len(words) > 8:
                told.append(plain_label(words[8], index + 1))
            text += " ".join(told) + "\n"
        return text

    def _format(self, text: str, path: Path) -> str:
        return require_plain(text, r"\d{1,3}(?:x\d+|:\d+|\+\d+)*", "a signal format", path)

    def _file(self, header: Header, index: int) -> str:
        """Copy a signal file once; return its new name."""
        name = header.fields.file_name[index]
        if name == NOTHING:
            return NOTHING
        path = file_beside(header.path, name, what="the signal file of a WFDB record")
        if path not in self._files:
            number = len(self._files)
            self._files[path] = f"{self._name}_{number:04d}.dat" if number else f"{self._name}.dat"
            with path.open("rb") as source, (self._folder / self._files[path]).open("wb") as out:
                if str(header.fields.fmt[index]) in FLAC_INVALID:
                    _copy_flac_head(source, out, path)
                else:
                    # what stands before the samples is no part of them, and may be anything
                    before = int(header.fields.byte_offset[index] or 0)
                    out.write(b"\0" * min(before, path.stat().st_size))
                    source.seek(before)
                while block := source.read(_AT_ONCE):
                    out.write(block)
            self.written.append(self._files[path])
        return self._files[path]


def _copy_flac_head(source: IO[bytes], out: IO[bytes], path: Path) -> None:
    """Copy the metadata blocks, all but what decoding needs as padding (RFC 9639, section 8)."""
    if source.read(4) != b"fLaC":
        raise RecordingError(f"{path} is not a FLAC file, as its header says it is.")
    out.write(b"fLaC")
    last = False
    while not last:
        head = source.read(4)
        size = int.from_bytes(head[1:4], "big")
        body = source.read(size)
        if len(head) < 4 or len(body) < size:
            raise RecordingError(f"{path} ends inside its metadata; it was cut short.")
        last, kind = bool(head[0] & 0x80), head[0] & 0x7F
        if kind not in {0, 3}:  # 0: stream information, 3: seek table, 1: padding
            head, body = bytes([head[0] & 0x80 | 1]) + head[1:], b"\0" * size
        out.write(head + body)
