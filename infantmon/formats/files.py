"""Files: checked before they are opened, and written whole or not at all."""

from __future__ import annotations

import csv
import os
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from infantmon.errors import ArgumentError, InfantmonError, RecordingError, require_path

# What the libraries underneath, and the system, raise on files they cannot read. Each of these has
# been met on damaged files; anything else is a fault of ours and must be seen.
READING_FAULTS = (
    ValueError,  # includes undecodable text and headers of wrong syntax
    TypeError,
    LookupError,
    AttributeError,
    ArithmeticError,
    AssertionError,
    RuntimeError,
    EOFError,
    OSError,
    MemoryError,
    csv.Error,
)


def readable_file(path: Path, *, what: str) -> Path:
    """Return the path if it is a plain file that may be read.

    Raises
    ------
    RecordingError
        If nothing is there, or it is a folder, a device, a pipe, or may not be read.
    """
    if not path.exists():
        raise RecordingError(
            f"{path} does not exist; {what} is expected there. Check the name and the folder."
        )
    if not path.is_file():
        kind = "a folder" if path.is_dir() else "a device or a pipe"
        raise RecordingError(f"{path} is {kind}; {what} is expected. Pass a plain file.")
    if not os.access(path, os.R_OK):
        raise RecordingError(f"{path} may not be read; grant permission to read {what}.")
    return path


def file_beside(header: Path, name: str, *, what: str) -> Path:
    """Return the file that a header names, which must lie in the header's own folder.

    Raises
    ------
    RecordingError
        If the name leads out of the folder, or no plain file is there.
    """
    path = header.parent / name
    plain = name == Path(name).name and name not in {"", ".", ".."} and "\0" not in name
    homes = (header.parent.resolve(), header.resolve().parent)
    if not plain or (path.exists() and path.resolve().parent not in homes):
        raise RecordingError(
            f"{header} names the file {name!r}, which leads out of its folder; it was not opened. "
            "Put the record's files into one folder and name them without a path."
        )
    return readable_file(path, what=what)


class Unchanged:
    """A file that is read later, in parts: it must stay as it was when it was opened."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._was = _state(path)

    def check(self) -> None:
        """Refuse a file that has changed.

        Raises
        ------
        RecordingError
            If it is gone, or its size or time of change differ.
        """
        try:
            same = _state(self.path) == self._was
        except OSError as fault:
            raise RecordingError(
                f"{self.path} can no longer be read ({fault.strerror}); leave the files of a "
                "recording in place while it is used."
            ) from fault
        if not same:
            raise RecordingError(
                f"{self.path} has changed since it was opened; read the recording again."
            )


def _state(path: Path) -> tuple[int, int]:
    told = path.stat()
    return told.st_size, told.st_mtime_ns


@contextmanager
def told_clearly(path: Path, what: str) -> Iterator[None]:
    """Turn whatever a library raises on a bad file into one `RecordingError` with its cause."""
    try:
        yield
    except InfantmonError:
        raise
    except READING_FAULTS as fault:
        reason = str(fault).strip().splitlines()[0][:200] if str(fault).strip() else "no details"
        raise RecordingError(
            f"{path}: {what} cannot be read ({type(fault).__name__}: {reason}). "
            "The file is damaged or of another format; get it again from where it was recorded."
        ) from fault


@contextmanager
def written_whole(folder: Path, names: Sequence[str]) -> Iterator[Path]:
    """Give a temporary folder to write `names` into; they are moved to `folder` only when all done.

    The last of the names is moved last: put the header there, so that it never names a file that
    is not there yet.

    Raises
    ------
    ArgumentError
        If the folder does not exist or cannot be written to.
    """
    if not folder.is_dir():
        raise ArgumentError(f"the folder {folder} does not exist; make it first.")
    for name in names:
        if not name:
            raise ArgumentError(f"no file is named in {folder}; pass the path of a file.")
    try:
        scratch = Path(tempfile.mkdtemp(prefix=".writing-", dir=folder))
    except OSError as fault:
        raise ArgumentError(
            f"nothing can be written to {folder} ({fault.strerror}); choose another folder."
        ) from fault
    try:
        yield scratch
        for name in names:
            (scratch / name).replace(folder / name)
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


def write_whole(path: str | os.PathLike[str], text: str) -> None:
    """Write a text file in UTF-8; if that fails, what stood there before still stands there.

    Parameters
    ----------
    path : str or path
        The file.
    text : str
        What it is to hold.

    Raises
    ------
    ArgumentError
        If the folder does not exist or cannot be written to.
    """
    target = require_path(path)
    with written_whole(target.parent, (target.name,)) as scratch:
        (scratch / target.name).write_text(text, encoding="utf-8", newline="\n")
