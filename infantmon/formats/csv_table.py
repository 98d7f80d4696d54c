"""Tables of text (CSV) in: a time column gives a measured rate and holes, or the rate is told."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

import numpy as np

from infantmon.errors import ArgumentError, RecordingError, require_text
from infantmon.formats.column import BLOCK_ROWS
from infantmon.formats.csv_layout import MISSING, SECONDS_IN, read_layout
from infantmon.formats.files import told_clearly
from infantmon.formats.table import Stamps, TableSource, with_told_units
from infantmon.model.arrays import Floats

_CLOCK = re.compile(r"\d{1,3}:[0-5]\d:[0-5]\d(?:[.,]\d*)?")
_DAY_S = 86400.0
_OFFSET = r"(?i)[T ].*(?:Z|[+-]\d\d(?::?\d\d)?)$"
# Cells that pandas takes for missing: each of MISSING as people write it.
_MISSING_CELLS = [
    "",
    "-",
    *(f(w) for w in ("nan", "na", "n/a", "null", "none") for f in (str, str.upper)),
]
_MISSING_CELLS += ["NaN", "Nan", "Na", "N/a", "Null", "None"]


class CsvSource(TableSource):
    """A table of text, one row a sample time.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    rate_hz : float or None
        Rows a second, where the table has no time column.
    units : mapping of str to str or None
        Units of columns by their names, in place of what the header states.
    separator, decimal : str or None
        Between cells, and in numbers; detected where left out.

    Raises
    ------
    RecordingError
        If the table is missing or damaged, or its rate is neither measurable nor told.
    ArgumentError
        If a rate is told although there is a time column.
    """

    rate_words = "read_csv(path, rate_hz=...)"

    def __init__(
        self,
        path: Path,
        rate_hz: float | None = None,
        *,
        units: Mapping[str, str] | None = None,
        separator: str | None = None,
        decimal: str | None = None,
    ) -> None:
        _check_told(separator, decimal)
        self.path = path
        self.name = path.stem
        self.notes = []
        self.started_at = None
        with told_clearly(path, "the table"):
            self._layout = layout = read_layout(
                path, told_separator=separator, told_decimal=decimal
            )
        if not layout.rows:
            raise RecordingError(f"{path} has a header and no line of samples.")
        if layout.cut_off:
            self.notes.append("the last line is cut off and was not read")
        self.names, self.rows = layout.names, layout.rows
        self.units = with_told_units(path, layout.names, layout.units, units)
        self._open(rate_hz)

    def _times(self, time_at: int) -> Iterator[Floats]:
        """Yield the times of the rows in seconds, from numbers or timestamps."""
        layout = self._layout
        first = next((c[time_at] for _, c in layout.cells() if len(c) > time_at), "")
        if layout.is_number(first):
            unit = self.units[time_at]
            if unit is not None and unit not in SECONDS_IN:
                raise RecordingError(
                    f"{self.path}: the time column is in {unit!r}; use {', '.join(SECONDS_IN)}."
                )
            if unit is None and "sec" not in layout.names[time_at].casefold():
                self.notes.append("the time column states no unit; seconds are taken")
            return (block * SECONDS_IN[unit or "s"] for block in self._numbers(time_at))
        if _CLOCK.fullmatch(first):
            return self._clock_times(time_at)
        try:
            self.started_at = datetime.fromisoformat(first)
        except ValueError as fault:
            raise self._bad_time(
                time_at, 0, "is neither a number, a time as hh:mm:ss, nor an ISO timestamp"
            ) from fault
        return self._timestamps(time_at, has_offset=self.started_at.tzinfo is not None)

    def _timestamps(self, time_at: int, *, has_offset: bool) -> Iterator[Floats]:
        expected = (
            f"an ISO timestamp {'with' if has_offset else 'without'} UTC offset, 1678 to 2261,"
        )
        is_right = _is_stamp_with_offset if has_offset else _is_bare_stamp
        stamps = Stamps(has_offset=has_offset)
        try:
            for texts in self._column(time_at, "string"):
                alike = texts.isna() | (texts.str.contains(_OFFSET) == has_offset)
                if not alike.all():
                    raise self._wrong_cell(time_at, is_right, expected)
                yield stamps.elapsed_s(texts)
        except (ValueError, FutureWarning) as fault:
            raise self._wrong_cell(time_at, is_right, expected) from fault

    def _clock_times(self, time_at: int) -> Iterator[Floats]:
        """Yield times of day, or elapsed times, as hh:mm:ss in seconds; midnight may be passed."""
        days, latest = 0, np.empty(0)
        for cells in self._column(time_at, "string"):
            texts = cells.str.strip()
            right = texts.isna() | texts.str.fullmatch(_CLOCK.pattern)
            if not right.all():
                raise self._wrong_cell(time_at, is_clock, "a time as hh:mm:ss,")
            parts = texts.str.replace(",", ".").str.split(":", expand=True).astype("float64")
            times = (parts[0] * 60.0 + parts[1]) * 60.0 + parts[2]
            seconds: Floats = times.to_numpy(dtype=np.float64)
            steps = np.diff(np.concatenate([latest, seconds]))
            passed = days + np.cumsum(steps < -_DAY_S / 2.0)
            latest = seconds[-1:]
            gone = np.full(len(seconds), float(days))
            gone[len(seconds) - len(passed) :] = passed
            if gone[-1] > 0 and days == 0:
                self.notes.append("the times pass midnight, and go on with the next day")
            days = int(gone[-1])
            yield seconds + _DAY_S * gone

    def _numbers(self, column: int) -> Iterator[Floats]:
        """Yield a column of numbers, or tell which cell is none."""
        try:
            for block in self._column(column, "float64"):
                yield np.asarray(block, dtype=np.float64)
        except ValueError as fault:
            layout = self._layout
            raise self._wrong_cell(column, layout.is_number, "a number") from fault

    def _column(self, column: int, kind: str) -> Iterator[Any]:
        """Yield a column block by block."""
        import pandas as pd  # noqa: PLC0415 - heavy

        layout = self._layout
        with (
            layout.path.open(encoding=layout.encoding, errors="replace", newline="") as file,
            pd.read_csv(
                file,
                sep=layout.separator,
                decimal=layout.decimal,
                header=None,
                names=range(len(layout.names)),
                index_col=False,
                skiprows=layout.head_lines,
                nrows=layout.rows,
                usecols=[column],
                dtype={column: kind},
                na_values=_MISSING_CELLS,
                keep_default_na=False,
                skipinitialspace=True,
                skip_blank_lines=len(layout.names) > 1,
                float_precision=_exact(pd.__version__),
                chunksize=BLOCK_ROWS,
            ) as blocks,
        ):
            for block in blocks:
                yield block[column]

    def _wrong_cell(self, column: int, is_right: Any, expected: str) -> RecordingError:
        layout = self._layout
        name = layout.names[column]
        with told_clearly(self.path, f"column {name!r}"):
            for line, cells in layout.cells():
                if len(cells) > column and not is_right(cells[column]):
                    return RecordingError(
                        f"{self.path}, line {line}, column {name!r}: {cells[column][:40]!r} where "
                        f"{expected} is expected. Correct it, or leave the cell empty for a "
                        "missing sample."
                    )
        return RecordingError(f"{self.path}, column {name!r} cannot be read as {expected}.")

    def _bad_time(self, column: int, row: int, fault: str) -> RecordingError:
        line, cells = next(
            (entry for number, entry in enumerate(self._layout.cells()) if number == row),
            (self._layout.head_lines + row + 1, []),
        )
        seen = cells[column][:40] if len(cells) > column else ""
        return RecordingError(
            f"{self.path}, line {line}: the time {seen!r} {fault}; times must be seconds or ISO "
            "timestamps that go forward. Where the clock was set back, give UTC offsets."
        )


def _check_told(separator: str | None, decimal: str | None) -> None:
    for name, sign in (("separator", separator), ("decimal", decimal)):
        if sign is not None:
            require_text(sign, name=name)
    if separator is not None and (len(separator) != 1 or separator in '"\r\n'):
        raise ArgumentError(f"the separator is {separator!r}; one character such as ';' is needed.")
    if decimal not in {None, ".", ","}:
        raise ArgumentError(f"the decimal sign is {decimal!r}; it can be '.' or ','.")
    if decimal is not None and decimal == separator:
        raise ArgumentError(f"{decimal!r} cannot be both the separator and the decimal sign.")


def _exact(pandas_version: str) -> Literal["round_trip"] | None:
    """Return what makes pandas read every digit: 3.1 does so by itself, and warns when asked to."""
    major, minor = (int(part) for part in pandas_version.split(".")[:2])
    return None if (major, minor) >= (3, 1) else "round_trip"


def is_clock(cell: str) -> bool:
    """Tell whether a cell is a time as hh:mm:ss, or stands for a missing one."""
    return cell.casefold() in MISSING or _CLOCK.fullmatch(cell.strip()) is not None


def _is_bare_stamp(cell: str) -> bool:
    try:
        return cell.casefold() in MISSING or datetime.fromisoformat(cell).tzinfo is None
    except ValueError:
        return False


def _is_stamp_with_offset(cell: str) -> bool:
    try:
        return cell.casefold() in MISSING or datetime.fromisoformat(cell).tzinfo is not None
    except ValueError:
        return False
