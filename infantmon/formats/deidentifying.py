"""Recordings copied without what tells whose they are.

Samples are copied as they are: a waveform can itself be told from others, which nothing here
changes. Times of day stay; dates are moved by a number of days that is written nowhere.
"""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from infantmon.errors import ArgumentError, RecordingError, require_path, require_row, require_text
from infantmon.formats.anonymous import DateShift
from infantmon.formats.anonymous_edf import write_anonymous_edf
from infantmon.formats.anonymous_table import write_anonymous_csv, write_anonymous_parquet
from infantmon.formats.anonymous_wfdb import AnonymousWfdb
from infantmon.formats.files import told_clearly, written_whole


@dataclass(frozen=True)
class Deidentified:
    """What was written.

    Attributes
    ----------
    paths : tuple of pathlib.Path
        The new files.
    left_out : tuple of str
        What was not copied, in words.
    """

    paths: tuple[Path, ...]
    left_out: tuple[str, ...]


def deidentify(
    paths: Sequence[str | os.PathLike[str]],
    folder: str | os.PathLike[str],
    *,
    name: str = "recording",
) -> list[Deidentified]:
    """Copy recordings of one infant without what tells whose they are.

    Parameters
    ----------
    paths : sequence of str or path
        WFDB records (name or header), EDF, BDF, CSV or Parquet files. All have their dates moved by
        the same number of days, so that they still can be joined in time.
    folder : str or path
        Where the copies go; it must be there, and be none of the folders of the originals: what
        may be given away is not to lie among what may not.
    name : str
        What they are called: NAME, or NAME-1, NAME-2, ... where there are several.

    Returns
    -------
    list of Deidentified
        One for each recording.

    Raises
    ------
    RecordingError
        If a recording cannot be read, or a field of its header is not of its form: then nothing of
        that recording is written.
    ArgumentError
        If the name cannot be used, the folder does not exist or holds an original or a file of a
        copy's name: then nothing is written.

    Notes
    -----
    Left out are all free text of headers, comments, annotations (but those that name invalid
    samples), columns that are not numbers, metadata, the names of files, and channel names that are
    not made of the words that channels usually have (they become ch1, ch2, ...). Annotation files
    beside a WFDB record are not copied. Look through what is written before you give it away: no
    program can promise that a recording is anonymous.
    """
    if not re.fullmatch(r"[A-Za-z0-9_-]{1,200}", require_text(name, name="name")):
        raise ArgumentError(
            f"{name!r} cannot name a recording; use up to 200 letters, digits, hyphens and "
            "underscores."
        )
    if isinstance(paths, os.PathLike):
        raise ArgumentError("paths is one path; pass a list of them.")
    originals = [require_path(p) for p in require_row(paths, name="paths", called="paths")]
    target = require_path(folder, name="folder")
    names = [f"{name}-{k}" for k in range(1, len(paths) + 1)] if len(paths) > 1 else [name]
    for path, called in zip(originals, names, strict=True):
        _require_apart(path, target, called)
    shift = DateShift.drawn()
    return [
        _copied(path, target, called, shift) for path, called in zip(originals, names, strict=True)
    ]


_WRITERS = {
    ".edf": write_anonymous_edf,
    ".bdf": write_anonymous_edf,
    ".csv": write_anonymous_csv,
    ".tsv": write_anonymous_csv,
    ".parquet": write_anonymous_parquet,
    ".pq": write_anonymous_parquet,
}


def _copied(path: Path, folder: Path, name: str, shift: DateShift) -> Deidentified:
    ending = path.suffix.casefold()
    writer = _WRITERS.get(ending)
    if writer is None:
        return _copied_wfdb(path, folder, name, shift)
    target = folder / f"{name}{ending}"
    with written_whole(folder, (target.name,)) as scratch, told_clearly(path, "the recording"):
        left_out = writer(path, scratch / target.name, shift)
    return Deidentified((target,), tuple(left_out))


def _copied_wfdb(path: Path, folder: Path, name: str, shift: DateShift) -> Deidentified:
    header = path if path.suffix == ".hea" else path.parent / f"{path.name}.hea"
    if not header.exists():
        raise RecordingError(
            f"no recording {path}: pass a WFDB record, an EDF, BDF, CSV or Parquet file."
        )
    names: list[str] = []
    with written_whole(folder, names) as scratch, told_clearly(header, "the record"):
        copy = AnonymousWfdb(scratch, name, shift)
        left_out = copy.write(header)
        names += [file for file in copy.written if file != f"{name}.hea"]
        names.append(f"{name}.hea")
    return Deidentified(tuple(folder / file for file in names), tuple(left_out))


def _require_apart(path: Path, folder: Path, name: str) -> None:
    """Raise where a copy would lie among originals, or replace what is there."""
    if folder.resolve() in (path.parent.resolve(), path.resolve().parent):
        raise ArgumentError(
            f"{folder} is the folder of {path}: copies would lie among originals; choose another "
            "folder."
        )
    ending = path.suffix.casefold()
    target = folder / f"{name}{ending if ending in _WRITERS else '.hea'}"
    if target.exists():
        raise ArgumentError(
            f"{target} is there already, maybe the copy of another recording; choose another "
            "folder or another name."
        )
