"""WFDB annotation files in and out: marks at sample numbers, with the rate they count in stated.

References
----------
WFDB annotation files (annot(5)), WFDB Applications Guide, PhysioNet: the MIT format.
"""

from __future__ import annotations

import os
from array import array
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np

from infantmon.errors import (
    ArgumentError,
    RecordingError,
    require_kind,
    require_path,
    require_rate,
    require_text,
    require_whole,
)
from infantmon.formats.files import readable_file, told_clearly, written_whole
from infantmon.formats.wfdb_files import read_header
from infantmon.model.arrays import Floats, Ints

NORMAL, VENTRICULAR, UNCLASSIFIED, NOTE = 1, 5, 13, 22
"""Codes of the format: a normal beat, a ventricular ectopic one, one that could not be classified,
and a comment."""
LARGEST_BYTES = 64_000_000
"""A larger annotation file is refused: a week of heart beats takes 3 MB (project rule)."""
_SKIP, _NUMBER, _SUBTYPE, _CHANNEL, _AUX = 59, 60, 61, 62, 63
_LAST_CODE = 49
_LONGEST_TEXT = 255
_SHORT = 1024
_LONGEST_SKIP = 2**31 - 1
_RESOLUTION = "## time resolution: "


@dataclass(frozen=True, slots=True)
class Annotation:
    """One mark.

    Attributes
    ----------
    sample : int
        Sample number.
    code : int
        What it is, as the format has it.
    text : str
        A comment, up to 255 bytes of UTF-8.
    subtype, channel, number : int
        Further fields of the format: -128 to 127, 0 to 255, -128 to 127.
    """

    sample: int
    code: int
    text: str = ""
    subtype: int = 0
    channel: int = 0
    number: int = 0


@dataclass(frozen=True, eq=False)
class Annotations:
    """What an annotation file holds.

    Attributes
    ----------
    rate_hz : float
        The rate in which the sample numbers count, in Hz.
    sample, code, subtype, channel, number : numpy.ndarray of int64, shape (n,)
        The fields of each mark; see `Annotation`.
    texts : mapping of int to str
        The comments, by the place of their mark.
    """

    rate_hz: float
    sample: Ints
    code: Ints
    subtype: Ints
    channel: Ints
    number: Ints
    texts: Mapping[int, str]

    @property
    def time_s(self) -> Floats:
        """Times of the marks, in seconds from sample 0."""
        return np.asarray(self.sample / self.rate_hz, dtype=np.float64)

    def __len__(self) -> int:
        return len(self.sample)

    def __iter__(self) -> Iterator[Annotation]:
        fields = (self.sample, self.code, self.subtype, self.channel, self.number)
        rows = zip(*(column.tolist() for column in fields), strict=True)
        for place, (sample, code, subtype, channel, number) in enumerate(rows):
            text = self.texts.get(place, "")
            yield Annotation(sample, code, text, subtype, channel, number)


def write_annotations(
    annotations: Iterable[Annotation], path: str | os.PathLike[str], *, rate_hz: float
) -> Path:
    """Write marks in the MIT format; return the path.

    Parameters
    ----------
    annotations : iterable of Annotation
        In order of their samples; each is written as it comes, so they need not be held together.
    path : str or path
        The file; its suffix is the annotator's name.
    rate_hz : float
        The rate in which the sample numbers count, in Hz; stated in the file's first mark, so that
        nobody has to assume it.

    Raises
    ------
    ArgumentError
        If the rate cannot be used, the marks are not in order, a field does not fit into the
        format, or the folder does not exist.
    """
    rate = require_rate(rate_hz)
    target = require_path(path)
    if isinstance(annotations, str) or not isinstance(annotations, Iterable):
        told = type(annotations).__name__
        raise ArgumentError(f"annotations is a {told}; pass a list of Annotation objects.")
    stated = f"{_RESOLUTION}{repr(rate).removesuffix('.0')}"
    with (
        written_whole(target.parent, (target.name,)) as scratch,
        (scratch / target.name).open("wb") as file,
    ):
        file.writelines(_words(chain([Annotation(0, NOTE, stated)], annotations)))
        file.write(b"\x00\x00")
    return target


def read_annotations(path: str | os.PathLike[str], *, rate_hz: float | None = None) -> Annotations:
    """Read the marks of an annotation file in the MIT format.

    Parameters
    ----------
    path : str or path
        The file; its suffix is the annotator's name.
    rate_hz : float or None
        The rate in which the sample numbers count, in Hz, where neither the file nor a header of
        the same name beside it states one.

    Raises
    ------
    RecordingError
        If the file is missing, damaged or of another format, or its rate is not known.
    ArgumentError
        If the rate is no rate.
    """
    source = require_path(path)
    if rate_hz is not None:
        require_rate(rate_hz)
    readable_file(source, what="a WFDB annotation file")
    size = source.stat().st_size
    if size > LARGEST_BYTES:
        raise RecordingError(
            f"{source} has {size} bytes; annotation files of up to {LARGEST_BYTES} are read."
        )
    with told_clearly(source, "the annotations"):
        parser = _Parser(source.read_bytes(), source)
        parser.run()
    columns, texts = parser.columns, parser.texts
    stated = texts[0] if columns["code"][:1] == array("q", [NOTE]) and 0 in texts else ""
    skipped = int(stated.startswith(_RESOLUTION) and columns["sample"][0] == 0)
    told = stated.removeprefix(_RESOLUTION) if skipped else None
    rate = _rate(source, told, rate_hz)
    arrays = {
        name: np.frombuffer(column, dtype=np.int64)[skipped:].copy() if len(column) else _NONE
        for name, column in columns.items()
    }
    kept = {place - skipped: text for place, text in texts.items() if place >= skipped}
    return Annotations(rate, **arrays, texts=kept)


_NONE = np.empty(0, dtype=np.int64)
_COLUMNS = ("sample", "code", "subtype", "channel", "number")


def _rate(path: Path, told: str | None, asked: float | None) -> float:
    """Return the rate that the file states, or the caller, or a header beside it."""
    if told is not None:
        with told_clearly(path, "the rate of the annotations"):
            return require_rate(float(told))
    if asked is not None:
        return require_rate(asked)
    header = path.with_suffix(".hea")
    if not header.exists():
        raise RecordingError(
            f"{path} does not state the rate in which it counts, there is no {header.name} beside "
            "it, and none is assumed. Tell it: rate_hz=..."
        )
    return read_header(header).frame_hz


class _Parser:
    """Goes through the words of a file; a word makes a mark or adds to the one before."""

    def __init__(self, data: bytes, path: Path) -> None:
        self.path = path
        self.columns = {name: array("q") for name in _COLUMNS}
        self.texts: dict[int, str] = {}
        self._data = data
        self._words = memoryview(data[: len(data) // 2 * 2]).cast("H")
        self._at = 0
        self._sample, self._channel, self._number = 0, 0, 0
        self._further = {
            _NUMBER: self._take_number,
            _SUBTYPE: self._take_subtype,
            _CHANNEL: self._take_channel,
            _AUX: self._take_text,
        }

    def run(self) -> None:
        """Take every word up to the end mark."""
        while self._at < len(self._words):
            word = self._words[self._at]
            self._at += 1
            if word == 0:
                return
            self._take(word >> 10, word & 0x3FF)
        raise RecordingError(
            f"{self.path} ends without its end mark after {len(self.columns['code'])} marks: it "
            "was cut short, or is no annotation file in the MIT format."
        )

    def _take(self, code: int, rest: int) -> None:
        if code == _SKIP:
            high, low = self._words[self._at], self._words[self._at + 1]
            self._sample += _signed(high << 16 | low, 32)
            self._at += 2
        elif code <= _LAST_CODE:
            self._sample += rest
            if code == 0:  # no mark, only a step in time
                return
            row = (self._sample, code, 0, self._channel, self._number)
            for name, value in zip(_COLUMNS, row, strict=True):
                self.columns[name].append(value)
        elif code in self._further and len(self.columns["code"]):
            self._further[code](rest)
        else:
            raise RecordingError(
                f"{self.path} is no annotation file in the MIT format, or is damaged (at byte "
                f"{2 * self._at - 2})."
            )

    def _take_number(self, rest: int) -> None:
        self._number = self.columns["number"][-1] = _signed(rest, 8)

    def _take_subtype(self, rest: int) -> None:
        self.columns["subtype"][-1] = _signed(rest, 8)

    def _take_channel(self, rest: int) -> None:
        self._channel = self.columns["channel"][-1] = rest & 0xFF

    def _take_text(self, rest: int) -> None:
        raw = self._data[2 * self._at : 2 * self._at + rest]
        if len(raw) < rest:
            raise RecordingError(f"{self.path} ends inside a comment; it was cut short.")
        place = len(self.columns["code"]) - 1
        self.texts[place] = raw.rstrip(b"\0").decode("utf-8", "replace")
        self._at += (rest + 1) // 2


def _signed(value: int, bits: int) -> int:
    kept = value & ((1 << bits) - 1)
    return kept - (1 << bits) if kept >> (bits - 1) else kept


def _words(annotations: Iterable[Annotation]) -> Iterator[bytes]:
    at, channel, number = 0, 0, 0
    for told in annotations:  # one by one: there may be millions
        mark = _whole(told)
        step = mark.sample - at
        if step < 0:
            raise ArgumentError(
                f"a mark at sample {mark.sample} follows one at {at}; pass marks in order of time."
            )
        _check(mark)
        at = mark.sample
        while step >= _SHORT:
            skipped = min(step, _LONGEST_SKIP)
            yield _word(_SKIP, 0)
            yield (skipped >> 16).to_bytes(2, "little") + (skipped & 0xFFFF).to_bytes(2, "little")
            step -= skipped
        yield _word(mark.code, step)
        if mark.subtype:
            yield _word(_SUBTYPE, mark.subtype & 0xFF)
        if mark.channel != channel:
            channel = mark.channel
            yield _word(_CHANNEL, channel)
        if mark.number != number:
            number = mark.number
            yield _word(_NUMBER, number & 0xFF)
        if mark.text:
            text = mark.text.encode("utf-8")
            yield _word(_AUX, len(text)) + text + b"\x00" * (len(text) % 2)


def _whole(mark: Annotation) -> Annotation:
    """Return a mark whose numbers are Python's own, as its bytes are made of them."""
    require_kind(mark, Annotation, name="one of annotations", called="Annotation objects")
    numbers: dict[str, Any] = {
        name: require_whole(getattr(mark, name), -(2**31), 2**53, name=name)
        for name in ("sample", "code", "subtype", "channel", "number")
    }
    require_text(mark.text, name="text")
    return replace(mark, **numbers)


def _word(code: int, rest: int) -> bytes:
    return (code << 10 | rest).to_bytes(2, "little")


def _check(mark: Annotation) -> None:
    size = len(mark.text.encode("utf-8"))
    fits: dict[str, tuple[Any, bool]] = {
        "code": (mark.code, 1 <= mark.code <= _LAST_CODE),
        "subtype": (mark.subtype, -128 <= mark.subtype <= 127),
        "channel": (mark.channel, 0 <= mark.channel <= 255),
        "number": (mark.number, -128 <= mark.number <= 127),
        "text": (mark.text[:40], size <= _LONGEST_TEXT and "\0" not in mark.text),
    }
    for name, (value, fit) in fits.items():
        if not fit:
            raise ArgumentError(
                f"a mark at sample {mark.sample} has the {name} {value!r}, which the WFDB format "
                f"cannot hold (codes 1 to {_LAST_CODE}, texts of up to {_LONGEST_TEXT} bytes "
                "without NUL)."
            )
