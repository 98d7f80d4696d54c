"""The dataset of a corpus: partitioned Parquet that any reader of Parquet can query.

``OUT/TABLE/part=XX/KEY.parquet``, XX being the first two digits of the key, so that no folder
holds more than a 256th of the files. A file is written under another name and then renamed; that of
`runs` comes last, so a recording counts as done only when all of it is there.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

from infantmon.errors import RecordingError, require_path
from infantmon.formats.parquet_table import arrow_package
from infantmon.report.cautions import NOTICE

_TEXT, _NUMBER, _COUNT, _FLAG = "string", "double", "int64", "bool"
TABLES: dict[str, dict[str, str]] = {
    "events": {
        "recording": _TEXT,
        "number": _COUNT,
        "kind": _TEXT,
        "onset_s": _NUMBER,
        "known_s": _NUMBER,
        "end_s": _NUMBER,
        "settled_s": _NUMBER,
        "length_s": _NUMBER,
        "effort_free_s": _NUMBER,
        "lowest_bpm": _NUMBER,
        "highest_bpm": _NUMBER,
        "judgement": _TEXT,
        "assessable": _FLAG,
        "linked": _TEXT,
        "reasons": _TEXT,
        "unusable": _TEXT,
        "limits": _TEXT,
        "notice": _TEXT,
    },
    "breaths": {
        "recording": _TEXT,
        "time_s": _NUMBER,
        "known_s": _NUMBER,
        "size": _NUMBER,
        "rise_start_s": _NUMBER,
        "fall_end_s": _NUMBER,
        "shallow": _FLAG,
    },
    "beats": {
        "recording": _TEXT,
        "time_s": _NUMBER,
        "known_s": _NUMBER,
        "amplitude": _NUMBER,
        "reliable": _FLAG,
    },
    "quality": {
        "recording": _TEXT,
        "role": _TEXT,
        "start_s": _NUMBER,
        "end_s": _NUMBER,
        "reason": _TEXT,
        "blocking": _FLAG,
    },
    "what_if": {
        "recording": _TEXT,
        "plan": _COUNT,
        "limits": _TEXT,
        "kind": _TEXT,
        "events": _COUNT,
        "supported": _COUNT,
        "doubtful": _COUNT,
        "not_assessable": _COUNT,
    },
    "timing": {
        "recording": _TEXT,
        "processor_s": _NUMBER,
        "wall_s": _NUMBER,
        "peak_mib": _NUMBER,
        "pieces": _COUNT,
    },
    "scores": {
        "recording": _TEXT,
        "what": _TEXT,
        "detector": _TEXT,
        "window_s": _NUMBER,
        "true_positives": _COUNT,
        "false_negatives": _COUNT,
        "false_positives": _COUNT,
        "bias_s": _NUMBER,
        "spread_s": _NUMBER,
        "errors": _TEXT,
        "scored_s": _NUMBER,
        "shutdown_s": _NUMBER,
        "shutdown_reference": _COUNT,
        "shutdown_test": _COUNT,
        "outside_true_positives": _COUNT,
        "outside_false_negatives": _COUNT,
        "outside_false_positives": _COUNT,
        "right_trusted": _COUNT,
        "right_doubted": _COUNT,
        "wrong_trusted": _COUNT,
        "wrong_doubted": _COUNT,
        "detector_failed": _FLAG,
        "notes": _TEXT,
        "notice": _TEXT,
    },
    "runs": {
        "recording": _TEXT,
        "status": _TEXT,
        "reason": _TEXT,
        "infant": _TEXT,
        "age_weeks": _NUMBER,
        "recorded_s": _NUMBER,
        "ecg_usable_s": _NUMBER,
        "impedance_usable_s": _NUMBER,
        "not_watched": _TEXT,
        "notes": _TEXT,
        "input_sha256": _TEXT,
        "input_stamp": _TEXT,
        "settings_sha256": _TEXT,
        "version": _TEXT,
        "notice": _TEXT,
    },
}
"""Tables and the kinds of their columns, told one by one in ``docs/corpus.md``. `runs` has a row a
recording, failed ones too, and is written last; only `timing` differs from run to run."""
DONE, FAILED = "done", "failed"
"""`status` in `runs`. What is failed has no row in any other table, and is tried again."""
HALF, UNFINISHED = ".half-", ".unfinished"
"""How names begin that no reader looks at: files being written, states of long recordings."""


class Dataset:
    """A dataset in a folder.

    Parameters
    ----------
    folder : str or path
        Where it is, or is to be.
    """

    def __init__(self, folder: str | os.PathLike[str]) -> None:
        self.folder = require_path(folder, name="folder")

    def path(self, table: str, key: str) -> Path:
        """Return the file of one recording in one table.

        Parameters
        ----------
        table : str
            One of `TABLES`.
        key : str
            Of the recording.
        """
        return self.folder / table / f"part={key[:2]}" / f"{key}.parquet"

    def state_path(self, key: str) -> Path:
        """Return where the state of a recording between two pieces is kept.

        Parameters
        ----------
        key : str
            Of the recording.
        """
        return self.folder / UNFINISHED / f"{key}.state"

    def prepare(self) -> None:
        """Make the folder, and sweep up what a run that was killed left half written.

        Raises
        ------
        RecordingError
            If nothing can be written there.
        """
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            self.sweep()
            probe = self.folder / f"{HALF}probe"
            probe.touch()
            probe.unlink()
        except OSError as fault:
            raise RecordingError(
                f"cannot write to {self.folder} ({fault.strerror or fault}); pass another folder."
            ) from fault

    def sweep(self) -> None:
        """Remove what a process that was killed left half written; nobody may be writing."""
        for half in (*self.folder.glob(f"*/part=*/{HALF}*"), *self.folder.glob(f".*/{HALF}*")):
            half.unlink(missing_ok=True)

    def put(self, key: str, tables: Mapping[str, Mapping[str, Any]]) -> None:
        """Write what one recording gave, so that it counts only when all of it is there.

        Parameters
        ----------
        key : str
            Of the recording.
        tables : mapping of str to mapping
            By table its columns (equal-length sequences); `runs` is needed.
        """
        self.drop(key)
        for name in (*(name for name in tables if name != "runs"), "runs"):
            write_table(self.path(name, key), name, tables[name])

    def drop(self, key: str) -> None:
        """Take a recording out, its row in `runs` first.

        Parameters
        ----------
        key : str
            Of the recording.
        """
        for name in reversed(TABLES):
            self.path(name, key).unlink(missing_ok=True)

    def read(self, table: str, columns: Iterable[str] | None = None, where: Any = None) -> Any:
        """Return a table as a pyarrow.Table, sorted by recording; empty where there is none.

        Parameters
        ----------
        table : str
            One of `TABLES`.
        columns : iterable of str or None
            Which to read; all by default.
        where : pyarrow.compute.Expression or None
            Which rows to read.
        """
        arrow_package()
        import pyarrow as pa  # noqa: PLC0415 - an extra
        import pyarrow.dataset as stored  # noqa: PLC0415

        wanted = list(columns) if columns is not None else list(TABLES[table])
        files = sorted(str(path) for path in (self.folder / table).glob("part=*/*.parquet"))
        whole = schema_of(table)
        if not files:
            return pa.schema([whole.field(name) for name in wanted]).empty_table()
        files.sort(key=lambda file: file.rpartition("/")[2])
        return stored.dataset(files, schema=whole).to_table(columns=wanted, filter=where)

    def clear_states(self) -> None:
        """Remove the states of unfinished recordings, when there are none left."""
        shutil.rmtree(self.folder / UNFINISHED, ignore_errors=True)


@cache
def schema_of(table: str) -> Any:
    """Return the pyarrow.Schema of a table, with the cautions in its metadata.

    Parameters
    ----------
    table : str
        One of `TABLES`.
    """
    import pyarrow as pa  # noqa: PLC0415 - an extra

    kinds = {_TEXT: pa.string(), _NUMBER: pa.float64(), _COUNT: pa.int64(), _FLAG: pa.bool_()}
    fields = [(name, kinds[kind]) for name, kind in TABLES[table].items()]
    return pa.schema(fields, metadata={"notice": NOTICE})


def write_table(path: Path, table: str, columns: Mapping[str, Any]) -> None:
    """Write columns as one Parquet file of a table, whole or not at all.

    Parameters
    ----------
    path : pathlib.Path
        The file; its folder is made.
    table : str
        One of `TABLES`.
    columns : mapping of str to sequence
        All of its columns, of equal length.
    """
    parquet = arrow_package()
    import pyarrow as pa  # noqa: PLC0415 - an extra

    path.parent.mkdir(parents=True, exist_ok=True)
    whole = pa.table({name: columns[name] for name in TABLES[table]}, schema=schema_of(table))
    with half_written(path) as half:
        # no dictionaries: they cost more than the few rows of one recording, and zstd packs alike
        parquet.write_table(whole, half, compression="zstd", use_dictionary=False)


@contextmanager
def half_written(path: Path) -> Iterator[Path]:
    """Give the name under which to write a file; it gets its own only when it is whole.

    Parameters
    ----------
    path : pathlib.Path
        The file; its folder is there.
    """
    half = path.with_name(f"{HALF}{os.getpid()}-{path.name}")
    try:
        yield half
        half.replace(path)
    finally:
        half.unlink(missing_ok=True)
