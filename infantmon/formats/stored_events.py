"""Stored events in and out: JSON for people and other languages, Parquet for tables; both exact."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from infantmon.errors import RecordingError, require_path
from infantmon.event_store import (
    EventStore,
    Overwritten,
    OverwrittenOfKind,
    StoredEvent,
    Waveform,
)
from infantmon.formats.files import readable_file, told_clearly, write_whole, written_whole
from infantmon.formats.parquet_table import arrow_package, arrow_told
from infantmon.model.arrays import Floats
from infantmon.model.event import Event, Evidence, UnusableStretch

FORMAT = "infantmon stored events 1"
NOTICE = "Research software, not a medical device; not for live use on an infant."
_WORDS = {"NaN": math.nan, "Infinity": math.inf, "-Infinity": -math.inf}


def write_stored_events(store: EventStore, path: str | Path) -> None:
    """Write stored events as JSON (strict: what is not finite is told in words).

    Parameters
    ----------
    store : EventStore
        What `Recorder.store` gave.
    path : str or path
        The file; an existing one is replaced, whole or not at all.

    Raises
    ------
    ArgumentError
        If the folder does not exist.
    """
    plain = {
        "format": FORMAT,
        "notice": NOTICE,
        "overwritten": _plain_overwritten(store),
        "events": [_plain_event(stored) for stored in store],
    }
    text = json.dumps(_in_words(plain), allow_nan=False, ensure_ascii=False)
    write_whole(path, text)


def read_stored_events(path: str | Path) -> EventStore:
    """Read what `write_stored_events` wrote; equal to what was written, sample for sample.

    Raises
    ------
    RecordingError
        If the file is not there, is damaged, or is of another format.
    """
    source = readable_file(require_path(path), what="a file of stored events")
    with told_clearly(source, "a file of stored events"):
        plain = json.loads(source.read_text(encoding="utf-8"))
        _require_format(source, plain.get("format"))
        events = tuple(_event_of(one) for one in plain["events"])
        return _store_of(events, plain["overwritten"])


def write_stored_events_parquet(store: EventStore, path: str | Path) -> None:
    """Write stored events as one Parquet file, a row an event.

    Columns: what `Event` tells of each (reasons and other lists as JSON), the window, and for each
    channel its rate, the number of the first sample and the samples. What was overwritten stands in
    the file's own metadata.

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
    roles = sorted({role for stored in store for role in stored.waveforms})
    columns: dict[str, Any] = {
        "number": pa.array([s.event.number for s in store], pa.int64()),
        "kind": pa.array([s.event.kind for s in store], pa.string()),
        "onset_s": pa.array([s.event.onset_s for s in store], pa.float64()),
        "end_s": pa.array([s.event.end_s for s in store], pa.float64()),
        "judgement": pa.array([s.event.judgement for s in store], pa.string()),
        "from_s": pa.array([s.from_s for s in store], pa.float64()),
        "until_s": pa.array([s.until_s for s in store], pa.float64()),
        "complete": pa.array([s.complete for s in store], pa.bool_()),
        "event": pa.array([_text(dataclasses.asdict(s.event)) for s in store], pa.string()),
    }
    for role in roles:
        forms = [stored.waveforms.get(role) for stored in store]
        rates = [None if form is None else form.rate_hz for form in forms]
        firsts = [None if form is None else form.first_sample for form in forms]
        samples = [None if form is None else form.values for form in forms]
        columns[f"{role}_rate_hz"] = pa.array(rates, pa.float64())
        columns[f"{role}_first_sample"] = pa.array(firsts, pa.int64())
        columns[role] = pa.array(samples, pa.list_(pa.float64()), from_pandas=False)
    told = {"format": FORMAT, "notice": NOTICE, "overwritten": _text(_plain_overwritten(store))}
    table = pa.table(columns).replace_schema_metadata(told)
    with written_whole(target.parent, (target.name,)) as scratch:
        parquet.write_table(table, scratch / target.name)


def read_stored_events_parquet(path: str | Path) -> EventStore:
    """Read what `write_stored_events_parquet` wrote; equal to it, sample for sample.

    Raises
    ------
    RecordingError
        If the file is not there, is damaged, or is of another format.
    InfantmonError
        If pyarrow is not installed.
    """
    parquet = arrow_package()
    source = readable_file(require_path(path), what="a Parquet file of stored events")
    with arrow_told(source, "a Parquet file of stored events"):
        table = parquet.read_table(source)
        told = table.schema.metadata or {}
        _require_format(source, told.get(b"format", b"").decode())
        roles = [n.removesuffix("_first_sample") for n in table.column_names if "_first_s" in n]
        columns = {name: table.column(name) for name in table.column_names}
        events = tuple(_event_of_row(columns, roles, row) for row in range(table.num_rows))
        return _store_of(events, _from_text(told[b"overwritten"].decode()))


def _event_of_row(columns: Mapping[str, Any], roles: list[str], row: int) -> StoredEvent:
    waveforms = {}
    for role in roles:
        rate = columns[f"{role}_rate_hz"][row].as_py()
        if rate is not None:
            values = columns[role][row].values.to_numpy(zero_copy_only=False)
            first = columns[f"{role}_first_sample"][row].as_py()
            waveforms[role] = Waveform(rate, first, np.array(values, dtype=np.float64))
    return StoredEvent(
        _bare_event(_from_text(columns["event"][row].as_py())),
        columns["from_s"][row].as_py(),
        columns["until_s"][row].as_py(),
        waveforms,
        columns["complete"][row].as_py(),
    )


# To plain data and back --------------------------------------------------------------------------


def _plain_event(stored: StoredEvent) -> dict[str, Any]:
    return {
        "event": dataclasses.asdict(stored.event),
        "from_s": stored.from_s,
        "until_s": stored.until_s,
        "complete": stored.complete,
        "waveforms": {
            role: {
                "rate_hz": form.rate_hz,
                "first_sample": form.first_sample,
                "values": form.values.tolist(),
            }
            for role, form in stored.waveforms.items()
        },
    }


def _event_of(plain: Mapping[str, Any]) -> StoredEvent:
    waveforms = {
        role: Waveform(_number(form["rate_hz"]), form["first_sample"], _samples(form["values"]))
        for role, form in plain["waveforms"].items()
    }
    return StoredEvent(
        _bare_event(_from_words(plain["event"])),
        _number(plain["from_s"]),
        _number(plain["until_s"]),
        waveforms,
        plain["complete"],
    )


def _bare_event(plain: Mapping[str, Any]) -> Event:
    return Event(
        **{
            **plain,
            "reasons": tuple(Evidence(**reason) for reason in plain["reasons"]),
            "unusable": tuple(UnusableStretch(**stretch) for stretch in plain["unusable"]),
            "linked": tuple(plain["linked"]),
        }
    )


def _plain_overwritten(store: EventStore) -> dict[str, Any]:
    return {
        "by_kind": {kind: dataclasses.asdict(t) for kind, t in store.overwritten.items()},
        "events": [dataclasses.asdict(one) for one in store.overwritten_events],
    }


def _store_of(events: tuple[StoredEvent, ...], overwritten: Mapping[str, Any]) -> EventStore:
    plain = _from_words(overwritten)
    return EventStore(
        events,
        {kind: OverwrittenOfKind(**tally) for kind, tally in plain["by_kind"].items()},
        tuple(Overwritten(**one) for one in plain["events"]),
    )


def _require_format(source: Path, told: object) -> None:
    if told != FORMAT:
        raise RecordingError(
            f"{source} states the format {told!r}; {FORMAT!r} is expected. Read it with the "
            "version of the library that wrote it."
        )


def _text(plain: Any) -> str:
    return json.dumps(_in_words(plain), allow_nan=False, ensure_ascii=False)


def _from_text(text: str) -> Any:
    return _from_words(json.loads(text))


def _in_words(value: Any) -> Any:
    """Return plain data in which numbers that are not finite are told in words, marked as such."""
    if isinstance(value, Mapping):
        return {key: _in_words(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_in_words(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return {"number": json.dumps(value)}
    return value


def _from_words(value: Any) -> Any:
    if isinstance(value, Mapping):
        if set(value) == {"number"} and isinstance(value["number"], str):
            return _WORDS[value["number"]]
        return {key: _from_words(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_from_words(item) for item in value]
    return value


def _number(value: Any) -> float:
    return float(_from_words(value))


def _samples(values: list[Any]) -> Floats:
    return np.array([_from_words(value) for value in values], dtype=np.float64)
