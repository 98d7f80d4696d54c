"""The files of a review in one folder: page, events as JSON, events as a table."""

from __future__ import annotations

import tempfile
from pathlib import Path

from infantmon.errors import RecordingError
from infantmon.report.days import LEAST_HOURS
from infantmon.report.event_files import write_events_csv, write_events_parquet
from infantmon.report.export import write_json
from infantmon.report.page import write_review_page
from infantmon.report.reviewed import Reviewed
from infantmon.report.what_if import Tried

NAMES = ("review.html", "events.json", "events.csv", "events.parquet")


def write_files(
    reviewed: Reviewed,
    folder: Path,
    *,
    least_hours: float = LEAST_HOURS,
    what_if: Tried = (),
    parquet: bool = False,
) -> list[Path]:
    """Write page and events into a folder, all of them or none; return their paths.

    Parameters
    ----------
    reviewed : Reviewed
        The review, as it is to be shown.
    folder : pathlib.Path
        Where to; made if it is not there.
    least_hours : float
        Usable hours (h) that a day needs before the page calls it free of events.
    what_if : sequence of (Prescription, sequence of Event)
        Other limits and the events they give, for the page's what-if table.
    parquet : bool
        Write the table as Parquet as well.

    Returns
    -------
    list of pathlib.Path
        What was written.

    Raises
    ------
    ArgumentError
        If `least_hours` is not between 0 and 24 h.
    RecordingError
        If something cannot be written; what stood in the folder before still stands there.
    InfantmonError
        If Parquet is asked for and pyarrow is not installed.
    """
    made = not folder.exists()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=folder, prefix=".half-") as half:
            page, data, table, more = (Path(half) / name for name in NAMES)
            write_review_page(reviewed, page, least_hours=least_hours, what_if=what_if)
            write_json(reviewed, data)
            write_events_csv(reviewed.events, table)
            if parquet:
                write_events_parquet(reviewed.events, more)
            written = [page, data, table, *([more] if parquet else [])]
            return [path.replace(folder / path.name) for path in written]
    except OSError as fault:
        raise RecordingError(
            f"cannot write to {folder} ({fault.strerror or fault}); pass another folder with --out."
        ) from fault
    finally:
        if made and folder.is_dir() and not any(folder.iterdir()):
            folder.rmdir()
