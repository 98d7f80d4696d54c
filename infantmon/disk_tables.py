"""The tables of a recorder on disk: inputs, changes, events, what was overwritten, the last save.

SQLite in WAL mode: one file, in the standard library, and a transaction is there whole or not at
all, at whatever instant the process or the power ends. `synchronous=FULL`: a commit is on the disk
before it returns.
"""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from infantmon.errors import StateError
from infantmon.event_store import MOST_LISTED, Overwritten, OverwrittenOfKind
from infantmon.model.arrays import Floats
from infantmon.model.carried import decode, encode
from infantmon.model.event import Change, Event

STORE_FORMAT = 2
_APPLICATION = 0x494E464D  # tells our files from other SQLite files
_FLOAT = np.dtype("<f8")

_TABLES = """
CREATE TABLE IF NOT EXISTS settings (name TEXT PRIMARY KEY, value BLOB NOT NULL);
CREATE TABLE IF NOT EXISTS inputs (
  id INTEGER PRIMARY KEY, role TEXT NOT NULL, what TEXT NOT NULL,
  first INTEGER NOT NULL, count INTEGER NOT NULL, start_s REAL, end_s REAL, samples BLOB);
CREATE INDEX IF NOT EXISTS inputs_by_role ON inputs (role, first);
CREATE INDEX IF NOT EXISTS inputs_by_end ON inputs (end_s);
CREATE TABLE IF NOT EXISTS changes (
  number INTEGER PRIMARY KEY, known_s REAL NOT NULL, kind TEXT NOT NULL, state TEXT NOT NULL,
  cause TEXT NOT NULL, event INTEGER, body BLOB NOT NULL);
CREATE TABLE IF NOT EXISTS events (
  number INTEGER PRIMARY KEY, kind TEXT NOT NULL, onset_s REAL NOT NULL, known_s REAL NOT NULL,
  end_s REAL, settled_s REAL, judgement TEXT NOT NULL, from_s REAL NOT NULL,
  until_s REAL NOT NULL, body BLOB NOT NULL);
CREATE TABLE IF NOT EXISTS overwritten (
  kind TEXT PRIMARY KEY, count INTEGER NOT NULL, first_onset_s REAL, last_onset_s REAL);
CREATE TABLE IF NOT EXISTS overwritten_events (
  number INTEGER PRIMARY KEY, kind TEXT NOT NULL, onset_s REAL NOT NULL, end_s REAL);
"""


def connect(path: Path, *, new: bool) -> sqlite3.Connection:
    """Open the file of a recorder.

    Raises
    ------
    StateError
        If the file is there (new) or not there, or is not one of ours.
    """
    if new == path.exists():
        known = (
            "is there already; go on with it by reopen(), or name another"
            if new
            else "is not there"
        )
        raise StateError(f"the recorder's file {path} {known}.")
    if not path.parent.is_dir():
        raise StateError(f"the folder {path.parent} does not exist; make it first.")
    try:
        tables = sqlite3.connect(path, isolation_level=None)
        if not new:
            told = tables.execute("PRAGMA application_id").fetchone()[0]
            version = tables.execute("PRAGMA user_version").fetchone()[0]
            if told != _APPLICATION or version != STORE_FORMAT:
                raise StateError(
                    f"{path} is not a recorder's file of format {STORE_FORMAT}; "
                    "name a file that a recorder of this version has made."
                )
        tables.execute("PRAGMA journal_mode=WAL")
        tables.execute("PRAGMA synchronous=FULL")
        if new:
            tables.executescript(_TABLES)
            tables.execute(f"PRAGMA application_id={_APPLICATION}")
            tables.execute(f"PRAGMA user_version={STORE_FORMAT}")
    except sqlite3.DatabaseError as fault:
        raise StateError(f"{path} cannot be used as a recorder's file ({fault}).") from fault
    return tables


def put_setting(tables: sqlite3.Connection, name: str, value: bytes) -> None:
    """Write one named value."""
    tables.execute("INSERT OR REPLACE INTO settings VALUES (?, ?)", (name, value))


def setting(tables: sqlite3.Connection, name: str) -> bytes:
    """Read one named value.

    Raises
    ------
    StateError
        If it is not there: the file was never completed.
    """
    row = tables.execute("SELECT value FROM settings WHERE name=?", (name,)).fetchone()
    if row is None:
        raise StateError(f"the recorder's file holds no {name}; it was never completed.")
    return bytes(row[0])


def put_samples(
    tables: sqlite3.Connection, role: str, first: int, values: Floats, rate_hz: float
) -> None:
    """Write a run of samples of one channel."""
    blob = np.ascontiguousarray(values, dtype=_FLOAT).tobytes()
    ends_s = (first + len(values)) / rate_hz
    row = (role, "samples", first, len(values), first / rate_hz, ends_s, blob)
    tables.execute(_PUT_INPUT, row)


def put_gap(tables: sqlite3.Connection, role: str, first: int, count: int, rate_hz: float) -> None:
    """Write a hole of one channel."""
    ends_s = (first + count) / rate_hz
    tables.execute(_PUT_INPUT, (role, "gap", first, count, first / rate_hz, ends_s, None))


def put_reset(tables: sqlite3.Connection, at_s: float) -> None:
    """Write a reset by a person."""
    tables.execute(_PUT_INPUT, ("", "reset", 0, 0, at_s, at_s, None))


_PUT_INPUT = (
    "INSERT INTO inputs (role, what, first, count, start_s, end_s, samples) "
    "VALUES (?, ?, ?, ?, ?, ?, ?)"
)


def inputs_after(
    tables: sqlite3.Connection, number: int
) -> Iterator[tuple[str, str, float, Floats]]:
    """Yield role, sort, end (s) and samples of all inputs after one, in the order of coming."""
    asked = "SELECT role, what, end_s, samples FROM inputs WHERE id > ? ORDER BY id"
    for role, what, end_s, blob in tables.execute(asked, (number,)):
        values = np.frombuffer(blob or b"", dtype=_FLOAT).astype(np.float64)
        yield role, what, float(end_s), values


def waveform(tables: sqlite3.Connection, role: str, first: int, after: int) -> tuple[int, Floats]:
    """Return what is held of one channel between two samples, and the first that is."""
    asked = (
        "SELECT first, count, samples FROM inputs WHERE role=? AND first < ? AND first+count > ? "
        "ORDER BY first"
    )
    begin = first
    parts: list[Floats] = []
    for start, count, blob in tables.execute(asked, (role, after, first)):
        values = np.full(count, math.nan) if blob is None else np.frombuffer(blob, dtype=_FLOAT)
        part = values[max(first - start, 0) : after - start]
        if not parts:
            begin = max(start, first)
        parts.append(part)
    held = np.concatenate(parts).astype(np.float64) if parts else np.empty(0)
    return begin, held


def put_change(tables: sqlite3.Connection, number: int, change: Change) -> None:
    """Write one change of an alarm condition."""
    event = None if change.event is None else change.event.number
    body = encode({"change": change})
    row = (number, change.known_s, change.kind, change.state, change.cause, event, body)
    tables.execute("INSERT INTO changes VALUES (?, ?, ?, ?, ?, ?, ?)", row)


def changes(tables: sqlite3.Connection) -> list[Change]:
    """Return the changes that are held, in the order of coming."""
    rows = tables.execute("SELECT body FROM changes ORDER BY number")
    return [decode(bytes(body))["change"] for (body,) in rows]


def put_event(tables: sqlite3.Connection, event: Event, from_s: float, until_s: float) -> None:
    """Write an event as it stands; its window begins where it did when it was new."""
    row = (
        event.number, event.kind, event.onset_s, event.known_s, event.end_s, event.settled_s,
        event.judgement, from_s, until_s, encode({"event": event}),
    )  # fmt: skip
    tables.execute(
        "INSERT INTO events VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?) "
        "ON CONFLICT (number) DO UPDATE SET onset_s=excluded.onset_s, end_s=excluded.end_s, "
        "settled_s=excluded.settled_s, judgement=excluded.judgement, until_s=excluded.until_s, "
        "body=excluded.body",
        row,
    )


def events(tables: sqlite3.Connection) -> list[tuple[Event, float, float]]:
    """Return the events that are held with from and until (s) of their windows, oldest first."""
    rows = tables.execute("SELECT body, from_s, until_s FROM events ORDER BY number")
    return [(decode(bytes(body))["event"], start_s, end_s) for body, start_s, end_s in rows]


def overwrite_oldest(tables: sqlite3.Connection, most: int) -> float:
    """Drop events beyond so many, the oldest first, and tell them; return the earliest window.

    They are tallied by kind, and the latest `MOST_LISTED` of them listed one by one.
    """
    (held,) = tables.execute("SELECT count(*) FROM events").fetchone()
    if held <= most:
        return math.inf
    asked = "SELECT number, kind, onset_s, end_s, from_s FROM events ORDER BY number LIMIT ?"
    earliest_s = math.inf
    for number, kind, onset_s, end_s, from_s in tables.execute(asked, (held - most,)).fetchall():
        tables.execute(
            "INSERT INTO overwritten VALUES (?, 1, ?, ?) ON CONFLICT (kind) DO UPDATE SET "
            "count=count+1, first_onset_s=min(first_onset_s, excluded.first_onset_s), "
            "last_onset_s=max(last_onset_s, excluded.last_onset_s)",
            (kind, onset_s, onset_s),
        )
        listed = (number, kind, onset_s, end_s)
        tables.execute("INSERT INTO overwritten_events VALUES (?, ?, ?, ?)", listed)
        tables.execute("DELETE FROM events WHERE number=?", (number,))
        earliest_s = min(earliest_s, from_s)
    tables.execute(
        "DELETE FROM overwritten_events WHERE number NOT IN "
        "(SELECT number FROM overwritten_events ORDER BY number DESC LIMIT ?)",
        (MOST_LISTED,),
    )
    return earliest_s


def overwritten(
    tables: sqlite3.Connection,
) -> tuple[dict[str, OverwrittenOfKind], tuple[Overwritten, ...]]:
    """Return what was overwritten: by kind, and one by one, the oldest first."""
    by_kind = tables.execute("SELECT * FROM overwritten ORDER BY kind")
    tallies = {kind: OverwrittenOfKind(*told) for kind, *told in by_kind}
    rows = tables.execute("SELECT * FROM overwritten_events ORDER BY number")
    return tallies, tuple(Overwritten(*row) for row in rows)


def drop_inputs(
    tables: sqlite3.Connection, from_s: float, before_s: float, through: int, longest_s: float
) -> None:
    """Drop inputs that end between two times, came with or before one, and lie in no window."""
    tables.execute(
        "DELETE FROM inputs WHERE end_s >= ? AND end_s < ? AND id <= ? AND NOT EXISTS ("
        "SELECT 1 FROM events WHERE inputs.end_s >= events.from_s "
        "AND inputs.start_s <= min(events.until_s, events.from_s + ?))",
        (from_s, before_s, through, longest_s),
    )
