"""Tables in, whatever their file: one row a sample time, a time column or a rate that is told."""

from __future__ import annotations

import re
import warnings
from abc import abstractmethod
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from infantmon.errors import ArgumentError, RecordingError, require_mapping, require_rate
from infantmon.formats.column import Column
from infantmon.formats.evenness import EvenRows, Run, measured_rows
from infantmon.formats.files import told_clearly
from infantmon.formats.source import Listed, Source, with_numbered_doubles
from infantmon.model.arrays import Floats, Ints
from infantmon.model.channel import Channel, StoredSamples
from infantmon.model.units import plain_unit

_TIME_NAMES = re.compile(
    r"(elapsed )?time( stamp)?|timestamp|date ?time|t|date|seconds?|secs?|elapsed", re.IGNORECASE
)
_FEWEST_ROWS = 10  # for telling that a column has a sample only in every k-th row


class TableSource(Source):
    """A table, one row a sample time.

    A further kind of table sets `path`, names its columns with their units, counts its rows, and
    reads one column at a time; then it calls `_open`.
    """

    names: tuple[str, ...]
    units: tuple[str | None, ...]
    rows: int
    rate_words: str

    @abstractmethod
    def _numbers(self, column: int) -> Iterator[Floats]:
        """Yield a column of numbers block by block, NaN where a cell is empty."""

    @abstractmethod
    def _times(self, column: int) -> Iterator[Floats]:
        """Yield the times of the rows in seconds, and set `started_at` where they tell it."""

    @abstractmethod
    def _bad_time(self, column: int, row: int, fault: str) -> RecordingError:
        """Word what is wrong with the time of a row."""

    def _open(self, rate_hz: float | None) -> None:
        """Find the clock of the rows, and list the columns."""
        with told_clearly(self.path, "the table"):
            self._even, time_at = self._measured_or_told(rate_hz)
        listed = [
            Listed(i, name, self.units[i], self._even.rate_hz)
            for i, name in enumerate(self.names)
            if name and i != time_at
        ]
        self.channels = with_numbered_doubles(listed)

    def _measured_or_told(self, rate_hz: float | None) -> tuple[EvenRows, int | None]:
        """Return the clock of the rows, and the place of the time column."""
        time_at = time_column(self.names)
        if time_at is None:
            return self._told_rate(rate_hz), None
        if rate_hz is not None:
            raise ArgumentError(
                f"{self.path} has the time column {self.names[time_at]!r}; leave rate_hz out."
            )
        return self._measured(time_at), time_at

    def load(self, listed: Listed) -> Channel:
        """Read one column; an empty cell is an invalid sample.

        A column that has a value only in every k-th row (a slower signal beside a faster one) is
        read at that slower rate.
        """
        even = self._even
        with told_clearly(self.path, f"column {listed.name!r}"):
            values = Column(self._numbers(listed.index))
        rate_hz, pieces = (
            even.rate_hz,
            [(run.start_s, values.part(run.first, run.end)) for run in even.runs],
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
                f"{self.path} has no time column (its columns: {', '.join(self.names)}), "
                "and a rate is never assumed. Add a column such as time_s, or tell the rate: "
                f"{self.rate_words}."
            )
        rate = require_rate(rate_hz)
        return EvenRows(rate, (Run(0, self.rows, 0.0),), 0.0, 0.0)

    def _measured(self, time_at: int) -> EvenRows:
        """Measure the rate from the time column; times count from the first row."""
        times = Column(self._times(time_at))
        for first, block in times.blocks():
            bad = np.flatnonzero(~np.isfinite(block))
            if len(bad):
                raise self._bad_time(time_at, first + int(bad[0]), "holds no time")
        for first, block in times.blocks(overlap=1):
            steps = np.diff(block)
            back = np.flatnonzero(steps < 0.0)
            if len(back):
                fault = f"goes back by {-steps[back[0]]:g} s"
                raise self._bad_time(time_at, first + int(back[0]) + 1, fault)
        even = measured_rows(times, str(self.path))
        start_s = float(times.read(0, 1)[0])
        if self.started_at is None and start_s != 0.0:
            self.notes.append(f"times count from the first row, which is at {start_s:g} s")
        if even.off_s > 1.0 / even.rate_hz + even.coarse_s:
            self.notes.append(
                f"rows are up to {even.off_s:.3f} s off an even clock of {even.rate_hz:.6g} Hz"
            )
        return even


_UNITS_TOLD = 'a mapping of columns to units, such as {"ecg": "mV"}'


def with_told_units(
    path: Path,
    names: Sequence[str],
    units: Sequence[str | None],
    told: Mapping[str, str] | None,
) -> tuple[str | None, ...]:
    """Return the units of columns, those that the caller told in place of those of the file.

    Raises
    ------
    ArgumentError
        If a unit is told for a column that is not there.
    """
    told = {} if told is None else require_mapping(told, name="units", called=_UNITS_TOLD)
    strange = sorted(set(map(str, told)) - set(names))
    if strange:
        raise ArgumentError(
            f"a unit is told for {', '.join(map(repr, strange))}, but {path} has the columns "
            f"{', '.join(map(repr, names))}; name those."
        )
    return tuple(
        plain_unit(told[name]) if name in told else unit
        for name, unit in zip(names, units, strict=True)
    )


class Stamps:
    """Blocks of ISO timestamps as seconds after the first of them all.

    Parameters
    ----------
    has_offset : bool
        Whether they state their UTC offset: all of them, or none.
    """

    def __init__(self, *, has_offset: bool) -> None:
        self._has_offset = has_offset
        self._first: np.datetime64 | None = None

    def elapsed_s(self, stamps: Any) -> Floats:
        """Return a block, a pandas column, as seconds; NaN where a cell is empty.

        Raises
        ------
        ValueError, FutureWarning
            If pandas cannot read one of them.
        """
        import pandas as pd  # noqa: PLC0415 - heavy

        with warnings.catch_warnings():
            warnings.simplefilter("error", FutureWarning)  # pandas met an odd UTC offset
            read = pd.to_datetime(stamps, format="ISO8601", utc=self._has_offset)
        if self._has_offset:
            read = read.dt.tz_localize(None)  # all are UTC by now
        nanoseconds = read.to_numpy().astype("datetime64[ns]")
        if self._first is None:
            self._first = nanoseconds[0]
        elapsed = (nanoseconds - self._first) / np.timedelta64(1, "s")
        return np.asarray(elapsed, dtype=np.float64)


def time_column(names: tuple[str, ...]) -> int | None:
    """Return the place of the column that holds times, by its name; None if there is none."""
    for index, name in enumerate(names):
        if _TIME_NAMES.fullmatch(re.sub(r"[_\-.]+", " ", name).strip()):
            return index
    return None


def _first_tick(run: Run, even: EvenRows) -> int:
    """Return the place of the first row of a run on the even clock."""
    return round(run.start_s * even.rate_hz)


def _places(rows: Ints, even: EvenRows) -> Ints:
    """Return the places of rows, given by their numbers, on the even clock."""
    firsts = np.array([run.first for run in even.runs])
    ticks = np.array([_first_tick(run, even) for run in even.runs])
    run = np.searchsorted(firsts, rows, side="right") - 1
    return np.asarray(ticks[run] + rows - firsts[run], dtype=np.int64)


def _stride(values: Column, even: EvenRows) -> tuple[int, int]:
    """Return every how many rows a column has a value, and the place of the first."""
    stride, count, first, latest = 0, 0, None, None
    for start, block in values.blocks():
        rows = start + np.flatnonzero(~np.isnan(block)).astype(np.int64)
        places = _places(rows, even)
        count += len(places)
        if not len(places):
            continue
        first = int(places[0]) if first is None else first
        steps = np.diff(places if latest is None else np.concatenate([[latest], places]))
        stride = int(np.gcd.reduce(np.append(steps, stride)))
        latest = int(places[-1])
    if count < _FEWEST_ROWS or count == len(values) or first is None:
        return 1, 0
    return stride, first % stride if stride else 0


def _thinned(
    values: Column, even: EvenRows, stride: int, first: int
) -> list[tuple[float, Floats | StoredSamples]]:
    """Return the runs of a column with only every `stride`-th place of the clock."""
    pieces = []
    for run in even.runs:
        tick = _first_tick(run, even)
        skipped = (first - tick) % stride
        if run.first + skipped < run.end:
            start_s = float(tick + skipped - first) / even.rate_hz
            pieces.append((start_s, values.part(run.first + skipped, run.end, stride)))
    return pieces
