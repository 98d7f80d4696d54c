"""Tables of text (CSV) in: a time column gives a measured rate and holes, or the rate is told."""

from __future__ import annotations

import re
import warnings
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

import numpy as np

from infantmon.errors import ArgumentError, RecordingError, require_rate
from infantmon.formats.csv_layout import MISSING, SECONDS_IN, CsvLayout, read_layout
from infantmon.formats.evenness import EvenRows, Run, measured_rows
from infantmon.formats.files import told_clearly
from infantmon.formats.source import Listed, Source, with_numbered_doubles
from infantmon.model.arrays import Floats
from infantmon.model.channel import Channel

_TIME_NAMES = re.compile(
    r"(elapsed )?time( stamp)?|timestamp|date ?time|t|date|seconds?|secs?|elapsed", re.IGNORECASE
)
_OFFSET = r"(?i)[T ].*(?:Z|[+-]\d\d(?::?\d\d)?)$"
# Cells that pandas takes for missing: each of MISSING as people write it.
_MISSING_CELLS = [
    "",
    "-",
    *(f(w) for w in ("nan", "na", "n/a", "null", "none") for f in (str, str.upper)),
]
_MISSING_CELLS += ["NaN", "Nan", "Na", "N/a", "Null", "None"]
_FEWEST_ROWS = 10  # for telling that a column has a sample only in every k-th row


class CsvSource(Source):
    """A table of text, one row a sample time.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    rate_hz : float or None
        Rows a second, where the table has no time column.

    Raises
    ------
    RecordingError
        If the table is missing or damaged, or its rate is neither measurable nor told.
    ArgumentError
        If a rate is told although there is a time column.
    """

    def __init__(self, path: Path, rate_hz: float | None = None) -> None:
        self.path = path
        self.name = path.stem
        self.notes = []
        self.started_at = None
        with told_clearly(path, "the table"):
            self._layout = read_layout(path)
            self._even, time_at = self._measured_or_told(rate_hz)
        listed = [
            Listed(i, name, self._layout.units[i], self._even.rate_hz)
            for i, name in enumerate(self._layout.names)
            if name and i != time_at
        ]
        self.channels = with_numbered_doubles(listed)

    def _measured_or_told(self, rate_hz: float | None) -> tuple[EvenRows, int | None]:
        """Return the clock of the rows, and the place of the time column."""
        layout = self._layout
        if not layout.rows:
            raise RecordingError(f"{self.path} has a header and no line of samples.")
        if layout.cut_off:
            self.notes.append("the last line is cut off and was not read")
        time_at = _time_column(layout)
        if time_at is None:
            return self._told_rate(rate_hz), None
        if rate_hz is not None:
            raise ArgumentError(
                f"{self.path} has the time column {layout.names[time_at]!r}; leave rate_hz out."
            )
        return self._measured(time_at), time_at

    def load(self, listed: Listed) -> Channel:
        """Read one column; an empty cell is an invalid sample.

        A column that has a value only in every k-th row (a slower signal beside a faster one) is
        read at that slower rate.
        """
        even = self._even
        values = self._numbers(listed.index)
        rate_hz, pieces = (
            even.rate_hz,
            [(run.start_s, values[run.first : run.end]) for run in even.runs],
        )
        stride, first = _stride(values, even)
        if stride > 1:
            self.notes.append(
                f"{listed.name} has a value in one row of {stride}: read at {rate_hz / stride:g} Hz"
            )
            pieces = _thinned(values, even, stride, first)
            rate_hz /= stride
        return Channel.joined(pieces, rate_hz, listed.unit, listed.name)

    def _told_rate(self, rate_hz: float | None) -> EvenRows:
        if rate_hz is None:
            raise RecordingError(
                f"{self.path} has no time column (its columns: {', '.join(self._layout.names)}), "
                "and a rate is never assumed. Add a column such as time_s, or tell the rate: "
                "read_csv(path, rate_hz=...)."
            )
        rate = require_rate(rate_hz)
        return EvenRows(rate, (Run(0, self._layout.rows, 0.0),), 0.0, 0.0)

    def _measured(self, time_at: int) -> EvenRows:
        """Measure the rate from the time column; times count from the first row."""
        times = self._times(time_at)
        bad = np.flatnonzero(~np.isfinite(times))
        if len(bad):
            raise self._bad_time(time_at, int(bad[0]), "holds no time")
        back = np.flatnonzero(np.diff(times) < 0.0)
        if len(back):
            raise self._bad_time(
                time_at, int(back[0]) + 1, f"goes back by {-np.diff(times)[back[0]]:g} s"
            )
        even = measured_rows(times, str(self.path))
        if self.started_at is None and times[0] != 0.0:
            self.notes.append(f"times count from the first row, which is at {times[0]:g} s")
        if even.off_s > 1.0 / even.rate_hz + even.coarse_s:
            self.notes.append(
                f"rows are up to {even.off_s:.3f} s off an even clock of {even.rate_hz:.6g} Hz"
            )
        return even

    def _times(self, time_at: int) -> Floats:
        """Return the times of the rows in seconds, from numbers or timestamps."""
        layout = self._layout
        first = next((c[time_at] for _, c in layout.cells() if len(c) > time_at), "")
        if layout.is_number(first):
            unit = layout.units[time_at]
            if unit is not None and unit not in SECONDS_IN:
                raise RecordingError(
                    f"{self.path}: the time column is in {unit!r}; use {', '.join(SECONDS_IN)}."
                )
            if unit is None and "sec" not in layout.names[time_at].casefold():
                self.notes.append("the time column states no unit; seconds are taken")
            return self._numbers(time_at) * SECONDS_IN[unit or "s"]
        try:
            self.started_at = datetime.fromisoformat(first)
        except ValueError as fault:
            raise self._bad_time(time_at, 0, "is neither a number nor an ISO timestamp") from fault
        return self._timestamps(time_at, has_offset=self.started_at.tzinfo is not None)

    def _timestamps(self, time_at: int, *, has_offset: bool) -> Floats:
        import pandas as pd  # noqa: PLC0415 - heavy

        expected = (
            f"an ISO timestamp {'with' if has_offset else 'without'} UTC offset, 1678 to 2261,"
        )
        is_right = _is_stamp_with_offset if has_offset else _is_bare_stamp
        try:
            texts = self._column(time_at, "string")
            alike = texts.isna() | (texts.str.contains(_OFFSET) == has_offset)
            if not alike.all():
                raise self._wrong_cell(time_at, is_right, expected)
            with warnings.catch_warnings():
                warnings.simplefilter("error", FutureWarning)  # pandas met an odd UTC offset
                stamps = pd.to_datetime(texts, format="ISO8601", utc=has_offset)
        except (ValueError, FutureWarning) as fault:
            raise self._wrong_cell(time_at, is_right, expected) from fault
        if has_offset:
            stamps = stamps.dt.tz_localize(None)  # all are UTC by now
        nanoseconds = stamps.to_numpy().astype("datetime64[ns]")
        elapsed = (nanoseconds - nanoseconds[0]) / np.timedelta64(1, "s")
        return np.asarray(elapsed, dtype=np.float64)

    def _numbers(self, column: int) -> Floats:
        """Return a column of numbers, or tell which cell is none."""
        try:
            values = self._column(column, "float64")
        except ValueError as fault:
            layout = self._layout
            raise self._wrong_cell(column, layout.is_number, "a number") from fault
        return np.asarray(values, dtype=np.float64)

    def _column(self, column: int, kind: str) -> Any:
        import pandas as pd  # noqa: PLC0415 - heavy

        layout = self._layout
        with layout.path.open(encoding=layout.encoding, errors="replace", newline="") as file:
            table = pd.read_csv(
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
            )
        return table[column]

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


def _exact(pandas_version: str) -> Literal["round_trip"] | None:
    """Return what makes pandas read every digit: 3.1 does so by itself, and warns when asked to."""
    major, minor = (int(part) for part in pandas_version.split(".")[:2])
    return None if (major, minor) >= (3, 1) else "round_trip"


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


def _time_column(layout: CsvLayout) -> int | None:
    for index, name in enumerate(layout.names):
        if _TIME_NAMES.fullmatch(re.sub(r"[_\-.]+", " ", name).strip()):
            return index
    return None


def _ticks(even: EvenRows) -> np.ndarray[Any, np.dtype[np.int64]]:
    """Return the place of each row on the even clock."""
    parts = [
        round(run.start_s * even.rate_hz) + np.arange(run.end - run.first, dtype=np.int64)
        for run in even.runs
    ]
    return np.concatenate(parts)


def _stride(values: Floats, even: EvenRows) -> tuple[int, int]:
    """Return every how many rows a column has a value, and the place of the first."""
    there = np.flatnonzero(~np.isnan(values))
    if len(there) < _FEWEST_ROWS or len(there) == len(values):
        return 1, 0
    places = _ticks(even)[there]
    stride = int(np.gcd.reduce(np.diff(places)))
    return stride, int(places[0] % stride) if stride else 0


def _thinned(values: Floats, even: EvenRows, stride: int, first: int) -> list[tuple[float, Floats]]:
    """Return the runs of a column with only every `stride`-th place of the clock."""
    ticks = _ticks(even)
    pieces = []
    for run in even.runs:
        inside = slice(run.first, run.end)
        kept = ticks[inside] % stride == first
        if np.any(kept):
            start_s = float(ticks[inside][kept][0] - first) / even.rate_hz
            pieces.append((start_s, values[inside][kept]))
    return pieces
