"""A table without what tells whose it is: only its columns of numbers, times moved."""

from __future__ import annotations

import csv
from datetime import datetime
from pathlib import Path
from typing import Any

from infantmon.errors import RecordingError
from infantmon.formats.anonymous import DateShift, plain_label, plain_unit_text
from infantmon.formats.csv_layout import MISSING, CsvLayout, name_and_unit, read_layout
from infantmon.formats.csv_table import is_clock
from infantmon.formats.files import readable_file
from infantmon.formats.parquet_table import UNIT_KEY, arrow_package, arrow_told
from infantmon.formats.table import time_column


def write_anonymous_csv(path: Path, target: Path, shift: DateShift) -> list[str]:
    """Write a table anew, in the same layout; return what was left out, in words.

    Raises
    ------
    RecordingError
        If it cannot be read, or a time is neither a number nor a timestamp.
    """
    layout = read_layout(path)
    time_at = time_column(layout.names)
    kept = _columns_of_numbers(layout, time_at)
    names = []
    for place in kept:
        unit = plain_unit_text(layout.units[place] or "")
        label = "time" if place == time_at else plain_label(layout.names[place], place + 1)
        names.append(f"{label} [{unit}]" if unit else label)
    with target.open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file, delimiter=layout.separator)
        out.writerow(names)
        for line, cells in _rows(layout):
            if time_at is not None:
                cells[time_at] = _moved(cells[time_at], layout, line, shift)
            out.writerow([cells[place] for place in kept])
    lost = [name for place, name in enumerate(layout.names) if place not in kept]
    told = ["comments before the header"]
    return told + ([f"{len(lost)} columns that are not numbers"] if lost else [])


def _rows(layout: CsvLayout) -> Any:
    for number, (line, cells) in enumerate(layout.cells()):
        if number >= layout.rows:
            return
        if len(cells) == len(layout.names):
            yield line, cells


def _columns_of_numbers(layout: CsvLayout, time_at: int | None) -> list[int]:
    numbers = [True] * len(layout.names)
    for _, cells in _rows(layout):
        for place, cell in enumerate(cells):
            if numbers[place] and not layout.is_number(cell):
                numbers[place] = False
    return [place for place, whole in enumerate(numbers) if whole or place == time_at]


def _moved(cell: str, layout: CsvLayout, line: int, shift: DateShift) -> str:
    if layout.is_number(cell) or cell.casefold() in MISSING or is_clock(cell):
        return cell
    try:
        return shift.moved(datetime.fromisoformat(cell)).isoformat()
    except ValueError as fault:
        raise RecordingError(
            f"{layout.path}, line {line}: the time {cell[:40]!r} is neither a number nor an ISO "
            "timestamp; it may tell anything, so nothing was written."
        ) from fault


def write_anonymous_parquet(path: Path, target: Path, shift: DateShift) -> list[str]:
    """Write a Parquet file anew, row group by row group; return what was left out, in words.

    Raises
    ------
    RecordingError
        If it cannot be read.
    InfantmonError
        If pyarrow is not installed.
    """
    readable_file(path, what="a Parquet file")
    parquet = arrow_package()
    import pyarrow as pa  # noqa: PLC0415 - an extra

    with arrow_told(path, "the Parquet file"), parquet.ParquetFile(path) as file:
        old = file.schema_arrow
        kept = [i for i, field in enumerate(old) if _may_stay(field)]
        time_at = time_column(tuple(name_and_unit(field.name)[0] for field in old))
        schema = pa.schema([_new_field(old.field(at), at, is_time=at == time_at) for at in kept])
        with parquet.ParquetWriter(target, schema) as out:
            for batch in file.iter_batches(batch_size=65_536):
                columns = [_moved_column(batch.column(place), shift) for place in kept]
                out.write_batch(pa.RecordBatch.from_arrays(columns, schema=schema))
    lost = len(old) - len(kept)
    return ["metadata"] + ([f"{lost} columns that are neither numbers nor times"] if lost else [])


def _may_stay(field: Any) -> bool:
    import pyarrow.types as kinds  # noqa: PLC0415 - an extra

    return bool(
        kinds.is_integer(field.type)
        or kinds.is_floating(field.type)
        or kinds.is_timestamp(field.type)
    )


def _new_field(field: Any, place: int, *, is_time: bool) -> Any:
    import pyarrow as pa  # noqa: PLC0415 - an extra

    name, unit = name_and_unit(field.name)
    stated = (field.metadata or {}).get(UNIT_KEY, b"").decode("utf-8", "replace")
    kept = plain_unit_text(unit or stated)
    label = "time" if is_time else plain_label(name, place + 1)
    return pa.field(f"{label} [{kept}]" if kept else label, field.type)


def _moved_column(column: Any, shift: DateShift) -> Any:
    import pyarrow as pa  # noqa: PLC0415 - an extra

    if not pa.types.is_timestamp(column.type):
        return column
    ticks = {"s": 1, "ms": 10**3, "us": 10**6, "ns": 10**9}[column.type.unit]
    days = pa.scalar(shift.days * 86_400 * ticks, type=pa.int64())
    import pyarrow.compute as compute  # noqa: PLC0415 - an extra

    return compute.add(column.cast(pa.int64()), days).cast(column.type)
