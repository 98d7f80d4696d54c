"""The files of a review in one folder: page, events as JSON, events as a table."""

from __future__ import annotations

import tempfile
from pathlib import Path

from infantmon.errors import RecordingError
from infantmon.events.log import EventLog
from infantmon.report.export import write_json
from infantmon.report.page import write_review_page
from infantmon.report.reviewed import Reviewed

NAMES = ("review.html", "events.json", "events.csv")


def write_files(reviewed: Reviewed, folder: Path) -> list[Path]:
    """Write page and events into a folder, all of them or none; return their paths.

    Parameters
    ----------
    reviewed : Reviewed
        The review.
    folder : pathlib.Path
        Where to; made if it is not there.

    Raises
    ------
    RecordingError
        If something cannot be written; what stood in the folder before still stands there.
    """
    made = not folder.exists()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=folder, prefix=".half-") as half:
            page, data, table = (Path(half) / name for name in NAMES)
            write_review_page(reviewed, page)
            write_json(reviewed, data)
            EventLog(reviewed.events).to_frame().to_csv(table, index=False)
            return [path.replace(folder / path.name) for path in (page, data, table)]
    except OSError as fault:
        if made and folder.is_dir() and not any(folder.iterdir()):
            folder.rmdir()
        raise RecordingError(
            f"cannot write to {folder} ({fault.strerror or fault}); pass another folder with --out."
        ) from fault
