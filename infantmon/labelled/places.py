"""Where annotated recordings are looked for."""

from __future__ import annotations

import os
from pathlib import Path

from infantmon.errors import RecordingError

VARIABLE = "INFANTMON_RECORDINGS"


def cache_folder() -> Path:
    """Return the folder into which recordings are fetched, by default `~/.cache/infantmon`."""
    told = os.environ.get(VARIABLE)
    if told:
        return Path(told)
    base = os.environ.get("XDG_CACHE_HOME")
    return (Path(base) if base else Path.home() / ".cache") / "infantmon"


def recordings_folder() -> Path:
    """Return the folder that holds the annotated recordings, one folder a database.

    It is what INFANTMON_RECORDINGS names; else `../shared/recordings` beside the current folder;
    else the folder of fetched recordings.

    Raises
    ------
    RecordingError
        If there is none.
    """
    if os.environ.get(VARIABLE):
        looked_at = [Path(os.environ[VARIABLE])]
    else:
        looked_at = [Path.cwd().parent / "shared" / "recordings", cache_folder()]
    for folder in looked_at:
        if folder.is_dir():
            return folder
    raise RecordingError(
        f"the recordings are not at {' or '.join(map(str, looked_at))}; set {VARIABLE} to their "
        "folder, or fetch some: infantmon fetch DATABASE."
    )
