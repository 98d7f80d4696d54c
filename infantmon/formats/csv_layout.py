"""The layout of a table of text: encoding, separator, decimal sign, header, width of lines."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from infantmon.errors import RecordingError
from infantmon.formats.files import readable_file
from infantmon.model.units import IMPEDANCES, VOLTAGES, plain_unit

MISSING = frozenset({"", "nan", "na", "n/a", "null", "none", "-"})
"""Cells that stand for a missing sample, in any case of letters (common practice)."""

SECONDS_IN = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "min": 60.0, "h": 3600.0}
_HEAD_BYTES = 1_000_000
_SAMPLE_LINES = 50
_SEPARATORS = ("\t", ";", ",")
_NUMBER = re.compile(r"[+-]?(\d+[.,]?\d*|[.,]\d+)([eE][+-]?\d+)?")
_COMMA_NUMBER = re.compile(r"[+-]?\d*,\d+([eE][+-]?\d+)?")
_BRACKETS = re.compile(r"(.*?)\s*[\[(]([^\])]*)[\])]\s*")
_SUFFIX = re.compile(r"(.+)[_ /]([^\W\d_]+|Ω)", re.UNICODE)
_SECOND_WORDS = {"sec": "s", "secs": "s", "second": "s", "seconds": "s", "msec": "ms", "hours": "h"}


@dataclass(frozen=True)
class CsvLayout:
    """How a table is written.

    Attributes
    ----------
    encoding : str
        Of the text.
    separator, decimal : str
        Between cells, and in numbers.
    head_lines : int
        Lines up to and with the header.
    names : tuple of str
        Of the columns, without units.
    units : tuple of str or None
        Of the columns, where stated.
    rows : int
        Lines of data; a last line that was cut off is not counted.
    cut_off : bool
        Whether such a line was there.
    """

    path: Path
    encoding: str
    separator: str
    decimal: str
    head_lines: int
    names: tuple[str, ...]
    units: tuple[str | None, ...]
    rows: int
    cut_off: bool

    def cells(self) -> Iterator[tuple[int, list[str]]]:
        """Yield line number and cells of each line of data, slowly: for telling what is wrong."""
        with self.path.open(encoding=self.encoding, errors="replace", newline="") as file:
            reader = csv.reader(file, delimiter=self.separator, skipinitialspace=True)
            for cells in reader:
                if reader.line_num > self.head_lines and any(cells):
                    yield reader.line_num, [cell.strip() for cell in cells]

    def is_number(self, cell: str) -> bool:
        """Tell whether a cell is a number, or stands for a missing one."""
        if cell.casefold() in MISSING:
            return True
        try:
            float(cell.replace(self.decimal, "."))
        except ValueError:
            return False
        return "_" not in cell


def read_layout(
    path: Path, *, told_separator: str | None = None, told_decimal: str | None = None
) -> CsvLayout:
    """Find out how a table is written.

    Parameters
    ----------
    path : pathlib.Path
        The table.
    told_separator, told_decimal : str or None
        Between cells, and in numbers, where the caller knows better than what would be detected.

    Raises
    ------
    RecordingError
        If it is missing, empty, has no header, or a line with another number of cells.
    """
    readable_file(path, what="a table of text (CSV)")
    with path.open("rb") as file:
        head = file.read(_HEAD_BYTES)
    encoding = _encoding(head)
    lines = head.decode(encoding, errors="replace").splitlines()
    if len(head) == _HEAD_BYTES:
        lines = lines[:-1]  # may be cut by this reading, not by the file
    header_at = next((i for i, s in enumerate(lines) if s.strip() and s.lstrip()[0] != "#"), None)
    if header_at is None:
        raise RecordingError(f"{path} holds no header line and no samples.")
    below = [s for s in lines[header_at + 1 :] if s.strip()][:_SAMPLE_LINES]
    separator = told_separator or _separator(lines[header_at], below)
    header = next(csv.reader([lines[header_at]], delimiter=separator, skipinitialspace=True))
    if all(_NUMBER.fullmatch(cell.strip()) for cell in header):
        raise RecordingError(
            f"{path} begins with the numbers {lines[header_at][:60]!r}; a header line is expected. "
            "Name the columns in the first line, such as time_s, ecg [mV], impedance [ohm]."
        )
    told = [name_and_unit(cell) for cell in header]
    head_lines = header_at + 1
    units = _row_of_units(lines[head_lines : head_lines + 1], separator, len(header))
    if units is not None:
        head_lines += 1
        told = [(name, unit or told) for (name, unit), told in zip(told, units, strict=True)]
        below = below[1:]
    rows, cut_off = _count_rows(path, encoding, separator, head_lines, len(header))
    return CsvLayout(
        path=path,
        encoding=encoding,
        separator=separator,
        decimal=told_decimal or _decimal(below, separator),
        head_lines=head_lines,
        names=tuple(name for name, _ in told),
        units=tuple(unit for _, unit in told),
        rows=rows,
        cut_off=cut_off,
    )


def name_and_unit(cell: str) -> tuple[str, str | None]:
    """Return the name and the unit of a header cell: "ecg [mV]", "ecg (mV)", "ecg_mV", "time_s"."""
    text = cell.strip()
    bracketed = _BRACKETS.fullmatch(text)
    if bracketed:
        return bracketed[1].strip(), _unit(bracketed[2])
    suffixed = _SUFFIX.fullmatch(text)
    if suffixed and suffixed[2].casefold() != "v":  # a lead may be called so
        unit = _unit(suffixed[2])
        if unit in VOLTAGES | IMPEDANCES | set(SECONDS_IN) and suffixed[2] not in {"h", "min"}:
            return suffixed[1].strip(), unit
    return text, None


def _row_of_units(lines: list[str], separator: str, width: int) -> list[str | None] | None:
    """Return the units that a line below the header states; None if it is no row of units."""
    cells = next(csv.reader(lines, delimiter=separator, skipinitialspace=True), [])
    units = [_unit(cell) for cell in cells]
    known = VOLTAGES | IMPEDANCES | set(SECONDS_IN)
    samples = any(_NUMBER.fullmatch(cell.strip()) or ":" in cell for cell in cells)
    if len(cells) != width or samples or not known & set(units):
        return None
    return units


def _unit(text: str) -> str | None:
    unit = plain_unit(text)
    return _SECOND_WORDS.get(unit.casefold(), unit) if unit else None


def _encoding(head: bytes) -> str:
    if head[:2] in {b"\xff\xfe", b"\xfe\xff"}:
        return "utf-16"
    try:
        head[:-4].decode("utf-8")  # a character may be cut at the end
    except UnicodeDecodeError:
        return "latin-1"
    return "utf-8-sig"


def _separator(header: str, below: list[str]) -> str:
    """Return the separator that stands equally often in the header and in every line below."""
    for separator in _SEPARATORS:
        count = header.count(separator)
        if count and all(line.count(separator) == count for line in below):
            return separator
    return max(_SEPARATORS, key=header.count)


def _decimal(below: list[str], separator: str) -> str:
    if separator == ",":
        return "."
    cells = [cell.strip() for line in below for cell in line.split(separator)]
    return "," if any(_COMMA_NUMBER.fullmatch(cell) for cell in cells) else "."


def _count_rows(
    path: Path, encoding: str, separator: str, head_lines: int, width: int
) -> tuple[int, bool]:
    """Return the number of data lines, and whether the last was cut off.

    Lines with quotes are trusted: a separator may stand inside quotes.
    """
    rows, blank, short = 0, 0, None
    for number, line in _raw_lines(path, encoding, head_lines):
        if short is not None:
            raise short
        if not line.strip("\r\n"):
            blank += width == 1  # in a single column a blank line is an empty cell
            continue
        cells = line.count(separator) + 1
        if '"' not in line and cells != width:
            short = _wrong_width(path, number, line, cells, width)
            if cells > width:
                raise short
            continue
        rows, blank = rows + blank + 1, 0
    return rows, short is not None


def _raw_lines(path: Path, encoding: str, head_lines: int) -> Iterator[tuple[int, str]]:
    with path.open(encoding=encoding, errors="replace") as file:
        for number, line in enumerate(file, start=1):
            if number > head_lines:
                yield number, line


def _wrong_width(path: Path, number: int, line: str, cells: int, width: int) -> RecordingError:
    return RecordingError(
        f"{path}, line {number}: {cells} cells where the header has {width} "
        f"({line.strip()[:60]!r}). Every line needs as many cells as the header; with decimal "
        "commas, separate the cells by semicolons or tabs."
    )
