"""Outside event lists in: CSV, WFDB annotations, EDF+ annotations."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Iterator
from pathlib import Path

from infantmon.errors import RecordingError, require_path, require_rate
from infantmon.formats.edf_annotations import read_edf_notes
from infantmon.formats.files import readable_file
from infantmon.formats.wfdb_annotations import read_annotations
from infantmon.recorded.event import RecordedEvents, recorded_events

COLUMNS = ("onset_s", "end_s", "kind")
"""Columns that a CSV list must have; `recording` and `test` may follow."""
LARGEST_BYTES = 64_000_000
"""A larger list is refused (project rule)."""
YES = ("1", "yes", "true", "test")
Row = tuple[float, float, str, str, bool]


def read_recorded(path: str | Path, *, rate_hz: float | None = None) -> RecordedEvents:
    r"""Read an outside event list.

    Parameters
    ----------
    path : str or path
        A CSV file with the columns onset_s, end_s, kind (and, where wanted, recording and test); an
        EDF+ or BDF+ file with annotations whose text is the kind; or a WFDB annotation file whose
        comments are the kinds, with "end of KIND" at the end of each.
    rate_hz : float or None
        The rate in which a WFDB file counts, in Hz, where it does not say so itself.

    Returns
    -------
    RecordedEvents
        Every row, in the order of the file; what is wrong with a row stands in its `faults`.

    Raises
    ------
    RecordingError
        If the file is missing, damaged or too large, or a CSV file lacks a column.
    ArgumentError
        If the rate is no rate.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     path = Path(folder) / "listed.csv"
    ...     _ = path.write_text("onset_s,end_s,kind\n10.5,32.0,apnea\n40,,bradycardia\n")
    ...     listed = read_recorded(path)
    >>> [(row.kind, row.onset_s) for row in listed]
    [('apnea', 10.5), ('low heart rate', 40.0)]
    >>> listed.faults
    ('row 2: no end is given; only its onset is looked at',)
    """
    source = readable_file(require_path(path), what="a list of recorded events")
    if rate_hz is not None:
        require_rate(rate_hz)
    if source.stat().st_size > LARGEST_BYTES:
        raise RecordingError(
            f"{source} has {source.stat().st_size} bytes; a list of at most {LARGEST_BYTES} bytes "
            "is read. Split it."
        )
    ending = source.suffix.lower()
    if ending in (".csv", ".txt"):
        return recorded_events(_csv_rows(source))
    if ending in (".edf", ".bdf"):
        notes = ((n.onset_s, n.length_s, n.text) for n in read_edf_notes(source))
        return recorded_events(
            (onset, math.nan if length is None else onset + length, *_named(text))
            for onset, length, text in notes
        )
    marks = read_annotations(source, rate_hz=rate_hz)
    texts = ((time, marks.texts.get(i, "")) for i, time in enumerate(marks.time_s.tolist()))
    return recorded_events(_paired((time, text) for time, text in texts if text))


def _named(text: str) -> tuple[str, str, bool]:
    return text, "", False


def _csv_rows(source: Path) -> Iterator[Row]:
    try:
        with source.open(encoding="utf-8-sig", newline="") as lines:
            table = csv.DictReader(lines)
            missing = [name for name in COLUMNS if name not in (table.fieldnames or ())]
            if missing:
                raise RecordingError(
                    f"{source} lacks the column {missing[0]!r}; a list needs the columns "
                    f"{', '.join(COLUMNS)} in its first line."
                )
            for row in table:
                test = (row.get("test") or "").strip().lower() in YES
                recording = (row.get("recording") or "").strip()
                times = _number(row["onset_s"]), _number(row["end_s"])
                yield *times, row["kind"] or "", recording, test
    except (UnicodeDecodeError, csv.Error) as fault:
        raise RecordingError(f"{source} cannot be read as a CSV list ({fault}).") from fault


def _number(text: str | None) -> float:
    try:
        number = float(text or "")
    except ValueError:
        return math.nan
    return number if math.isfinite(number) else math.nan


def _paired(marks: Iterable[tuple[float, str]]) -> list[Row]:
    """Return marks as rows: "KIND" opens one, "end of KIND" closes the last one still open."""
    rows: list[Row] = []
    for time_s, text in marks:
        if not text.startswith("end of "):
            rows.append((time_s, math.nan, *_named(text)))
            continue
        kind = text.removeprefix("end of ")
        open_rows = [i for i, r in enumerate(rows) if r[2] == kind and math.isnan(r[1])]
        if open_rows:
            rows[open_rows[-1]] = (rows[open_rows[-1]][0], time_s, *_named(kind))
        else:
            rows.append((math.nan, time_s, *_named(kind)))
    return rows
