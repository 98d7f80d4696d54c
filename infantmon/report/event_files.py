"""The event list as a table in a file, CSV or Parquet: a row an event, the notice in each."""

from __future__ import annotations

import dataclasses
import json
import math
import os
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from infantmon.errors import require_path
from infantmon.formats.files import write_whole, written_whole
from infantmon.formats.parquet_table import arrow_package
from infantmon.model.event import Event
from infantmon.report.cautions import SHORT_NOTICE
from infantmon.report.export import finite

if TYPE_CHECKING:
    import pandas as pd

_NUMBERS = ("onset_s", "known_s", "end_s", "settled_s", "length_s", "effort_free_s")
_RATES = ("lowest_bpm", "highest_bpm")
COLUMNS = {
    "number": "int64",
    "kind": "str",
    **dict.fromkeys(_NUMBERS, "float64"),
    **dict.fromkeys(_RATES, "float64"),
    "judgement": "str",
    "assessable": "bool",
    "linked": "str",
    "reasons": "str",
    "unusable": "str",
    "limits": "str",
    "notice": "str",
}
"""Columns and their kinds; lists stand as JSON, times are seconds of the recording."""


def events_table(events: Iterable[Event]) -> pd.DataFrame:
    """Return the events as a table of plain numbers and texts, the same in every file format.

    Parameters
    ----------
    events : iterable of Event
        In the order in which to list them.

    Returns
    -------
    pandas.DataFrame
        Columns as in `COLUMNS`; NaN where a number is not known. Reasons, unusable stretches,
        limits and linked events are JSON texts.
    """
    import pandas as pd  # noqa: PLC0415 - heavy; loaded only for who asks for a table

    return pd.DataFrame(event_columns(events)).astype(COLUMNS)


def event_columns(events: Iterable[Event]) -> dict[str, list[Any]]:
    """Return the events as `events_table` does, as plain lists by column.

    Parameters
    ----------
    events : iterable of Event
        In the order in which to list them.
    """
    rows = [_row(event) for event in events]
    return {name: [row[name] for row in rows] for name in COLUMNS}


def write_events_csv(events: Iterable[Event], path: str | os.PathLike[str]) -> None:
    """Write the events as CSV, whole or not at all; `notice` is the last column.

    Parameters
    ----------
    events : iterable of Event
        In the order in which to list them.
    path : str or path
        The file; an existing one is replaced.

    Raises
    ------
    ArgumentError
        If the folder does not exist, or nothing can be written to it.
    """
    write_whole(path, events_table(events).to_csv(index=False, lineterminator="\n"))


def write_events_parquet(events: Iterable[Event], path: str | os.PathLike[str]) -> None:
    """Write the events as Parquet, whole or not at all; `notice` is a column and in the metadata.

    Parameters
    ----------
    events : iterable of Event
        In the order in which to list them.
    path : str or path
        The file; an existing one is replaced.

    Raises
    ------
    ArgumentError
        If the folder does not exist.
    InfantmonError
        If pyarrow is not installed (``pip install 'infantmon[parquet]'``).
    """
    parquet = arrow_package()
    import pyarrow as pa  # noqa: PLC0415 - an extra

    target = require_path(path)
    table = pa.Table.from_pandas(events_table(events), preserve_index=False)
    table = table.replace_schema_metadata({"notice": SHORT_NOTICE})
    with written_whole(target.parent, (target.name,)) as scratch:
        parquet.write_table(table, scratch / target.name)


def _row(event: Event) -> dict[str, Any]:
    known = {name: getattr(event, name) for name in (*_NUMBERS, *_RATES)}
    numbers = {n: math.nan if value is None else float(value) for n, value in known.items()}
    return {
        "number": event.number,
        "kind": event.kind,
        **numbers,
        "judgement": event.judgement,
        "assessable": event.assessable,
        "linked": _json(event.linked),
        "reasons": _json([dataclasses.asdict(reason) for reason in event.reasons]),
        "unusable": _json([dataclasses.asdict(stretch) for stretch in event.unusable]),
        "limits": _json(event.limits),
        "notice": SHORT_NOTICE,
    }


def _json(value: Any) -> str:
    return json.dumps(finite(value), allow_nan=False, ensure_ascii=False)
