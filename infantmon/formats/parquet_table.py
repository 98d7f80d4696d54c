"""Parquet files in: a table with a time column, or with a rate that is told.

Needs pyarrow, which is not installed with the library: ``pip install 'infantmon[parquet]'``.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np

from infantmon.errors import InfantmonError, RecordingError
from infantmon.formats.csv_layout import SECONDS_IN, name_and_unit
from infantmon.formats.files import readable_file, told_clearly
from infantmon.formats.table import Stamps, TableSource, with_told_units
from infantmon.model.arrays import Floats
from infantmon.model.units import plain_unit

UNIT_KEY = b"unit"
"""Key of a column's own metadata that states its unit."""
MOST_ROWS_A_BYTE = 64
"""More rows than so many times the file's bytes no recording has (project rule): a signal with any
noise takes a bit a row at least, and what is claimed is held in memory."""
_LARGEST_COLUMNS = 10_000


def arrow_package() -> Any:
    """Return pyarrow's Parquet part, or say how to get it.

    Raises
    ------
    InfantmonError
        If pyarrow is not installed.
    """
    try:
        import pyarrow.parquet as parquet  # noqa: PLC0415 - an extra
    except ImportError as fault:
        raise InfantmonError(
            "Parquet files need pyarrow, which is not installed; "
            "install it with: pip install 'infantmon[parquet]'."
        ) from fault
    return parquet


@contextmanager
def arrow_told(path: Path, what: str) -> Iterator[None]:
    """Turn what arrow raises on bad bytes, of its own kind too, into a `RecordingError`."""
    from pyarrow import ArrowException  # noqa: PLC0415 - an extra

    with told_clearly(path, what):
        try:
            yield
        except ArrowException as fault:
            raise ValueError(str(fault)) from fault


class ParquetSource(TableSource):
    """A Parquet file, one row a sample time.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    rate_hz : float or None
        Rows a second, where the table has no time column.
    units : mapping of str to str or None
        Units of columns by their names, in place of what the file states.

    Raises
    ------
    RecordingError
        If the file is missing or damaged, or its rate is neither measurable nor told.
    ArgumentError
        If a rate is told although there is a time column.
    InfantmonError
        If pyarrow is not installed.
    """

    rate_words = "read_parquet(path, rate_hz=...)"

    def __init__(
        self,
        path: Path,
        rate_hz: float | None = None,
        *,
        units: Mapping[str, str] | None = None,
    ) -> None:
        readable_file(path, what="a Parquet file")
        self.path = path
        self.name = path.stem
        self.notes = []
        self.started_at = None
        self._parquet = arrow_package()
        with arrow_told(path, "the Parquet file"), self._parquet.ParquetFile(path) as file:
            self.rows = file.metadata.num_rows
            schema = file.schema_arrow
            self._check_size(len(schema))
            told = [_column(field) for field in schema]
            self._keys = [field.name for field in schema]
        self.names = tuple(name for name, _ in told)
        self.units = with_told_units(path, self.names, [unit for _, unit in told], units)
        self._open(rate_hz)

    def _check_size(self, columns: int) -> None:
        size = self.path.stat().st_size
        if not self.rows:
            raise RecordingError(f"{self.path} has no row of samples.")
        if self.rows > MOST_ROWS_A_BYTE * size or columns > _LARGEST_COLUMNS:
            raise RecordingError(
                f"{self.path} claims {self.rows} rows and {columns} columns in {size} bytes, more "
                f"than {MOST_ROWS_A_BYTE} rows a byte or {_LARGEST_COLUMNS} columns; no recording "
                "packs so well. It was not read."
            )

    def _numbers(self, column: int) -> Iterator[Floats]:
        there = 0
        for block in self._blocks(column):
            with arrow_told(self.path, f"column {self.names[column]!r}"):
                told = _as_numbers(block, self.path, self.names[column])
            there += len(told)
            if there > self.rows:
                break
            yield told
        self._check_rows(column, there)

    def _check_rows(self, column: int, there: int) -> None:
        if there != self.rows:
            raise RecordingError(
                f"{self.path}: column {self.names[column]!r} has {there} of {self.rows} rows; "
                "the file is damaged."
            )

    def _blocks(self, column: int) -> Any:
        """Yield the arrow arrays of one column; no more than a row group is read at once."""
        name = self.names[column]
        if self._keys.count(self._keys[column]) > 1:
            raise RecordingError(
                f"{self.path} has several columns {name!r}, which cannot be told apart; name each."
            )
        with (
            arrow_told(self.path, f"column {name!r}"),
            self._parquet.ParquetFile(self.path) as file,
        ):
            wanted = {"columns": [self._keys[column]], "batch_size": 65_536, "use_threads": False}
            for group in range(file.num_row_groups):  # over all at once, arrow reads far ahead
                for batch in file.iter_batches(row_groups=[group], **wanted):
                    yield batch.column(0)

    def _times(self, column: int) -> Iterator[Floats]:
        there = 0
        with arrow_told(self.path, f"the times in column {self.names[column]!r}"):
            for block in self._times_of_kind(column):
                there += len(block)
                yield block
        self._check_rows(column, there)

    def _times_of_kind(self, column: int) -> Iterator[Floats]:
        import pyarrow.types as kinds  # noqa: PLC0415 - an extra

        blocks = list(islice(self._blocks(column), 1))
        self._check_rows(column, self.rows if blocks else 0)
        kind = blocks[0].type
        if kinds.is_timestamp(kind):
            return self._stamps(column)
        if kinds.is_string(kind) or kinds.is_large_string(kind):
            return self._texts(column)
        unit = self.units[column]
        if unit is not None and unit not in SECONDS_IN:
            raise RecordingError(
                f"{self.path}: the time column is in {unit!r}; use {', '.join(SECONDS_IN)}."
            )
        if unit is None and "sec" not in self.names[column].casefold():
            self.notes.append("the time column states no unit; seconds are taken")
        return (block * SECONDS_IN[unit or "s"] for block in self._numbers(column))

    def _stamps(self, column: int) -> Iterator[Floats]:
        """Yield timestamps as seconds after the first; a time zone makes the start an UTC one."""
        import pyarrow as pa  # noqa: PLC0415 - an extra

        first = None
        for block in self._blocks(column):
            bare = block.cast(pa.timestamp("ns", tz=block.type.tz)).cast(pa.int64())
            if first is None:
                self.started_at = _whole_microseconds(block[0])
                first = bare[0].as_py()
            gone = bare.fill_null(first or 0).to_numpy(zero_copy_only=False) - (first or 0)
            yield np.where(np.asarray(block.is_null()), math.nan, gone / 1e9)

    def _texts(self, column: int) -> Iterator[Floats]:
        stamps = None
        try:
            for block in self._blocks(column):
                texts = block.to_pandas()
                if stamps is None:
                    self.started_at = datetime.fromisoformat(str(texts.iloc[0]).strip())
                    stamps = Stamps(has_offset=self.started_at.tzinfo is not None)
                yield stamps.elapsed_s(texts)
        except (ValueError, FutureWarning) as fault:
            raise self._bad_time(column, 0, "or a later one is no ISO timestamp") from fault

    def _bad_time(self, column: int, row: int, fault: str) -> RecordingError:
        return RecordingError(
            f"{self.path}, row {row + 1}: the time in column {self.names[column]!r} {fault}; times "
            "must be seconds or timestamps that go forward. Where the clock was set back, give UTC "
            "times."
        )


def _column(field: Any) -> tuple[str, str | None]:
    """Return name and unit of a column: from its name, or else from its metadata."""
    name, unit = name_and_unit(field.name)
    stated = (field.metadata or {}).get(UNIT_KEY)
    if unit is None and stated is not None:
        unit = plain_unit(stated.decode("utf-8", "replace"))
    return name, unit


def _as_numbers(block: Any, path: Path, name: str) -> Floats:
    import pyarrow as pa  # noqa: PLC0415 - an extra

    kinds = pa.types
    if not (kinds.is_integer(block.type) or kinds.is_floating(block.type)):
        raise RecordingError(
            f"{path}: column {name!r} is of type {block.type}; numbers are expected. "
            "Choose another column, or write it as numbers."
        )
    whole = block.cast(pa.float64(), safe=False)
    return np.asarray(whole.to_numpy(zero_copy_only=False), dtype=np.float64)


def _whole_microseconds(stamp: Any) -> datetime | None:
    """Return a timestamp as a datetime; what is finer than a microsecond is dropped."""
    import pyarrow as pa  # noqa: PLC0415 - an extra

    coarse = stamp.cast(pa.timestamp("us", tz=stamp.type.tz), safe=False)
    found: datetime | None = coarse.as_py()
    return found
