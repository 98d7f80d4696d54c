"""Which recordings there are: in a folder, in a list, or at any address that fsspec understands."""

from __future__ import annotations

import csv
import hashlib
import math
import os
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from infantmon.corpus.places import Place, place_of
from infantmon.errors import ArgumentError, RecordingError

ENDINGS = (".hea", ".edf", ".bdf", ".csv", ".tsv", ".parquet", ".pq")
COLUMNS = ("recording", "postmenstrual_age_weeks", "infant")
"""Columns of a list in CSV; only the first has to be there."""
SCENARIO, TRUTH_TABLES = "scenario.toml", ("beats.csv", "breaths.csv", "events.csv")
"""What `infantmon simulate` writes beside a night: tables that are no recordings."""


@dataclass(frozen=True)
class Listing:
    """One recording of a corpus, before it is opened.

    Attributes
    ----------
    name : str
        As it is called on the screen: its place within the folder, or as the list has it.
    key : str
        As it is called in the dataset: a hash of `name`. It hides the name from a reader, not from
        somebody who tries names.
    address : str
        Path or address of its file, or of its header.
    stamp : str
        Sizes and times of change of its files.
    size_bytes : int
        Of its files together.
    age_weeks : float or None
        Postmenstrual age, where the list tells it.
    infant : str or None
        A hash of what the list calls the infant.
    """

    name: str
    key: str
    address: str
    stamp: str
    size_bytes: int
    age_weeks: float | None = None
    infant: str | None = None


def list_recordings(source: str | os.PathLike[str], labels: str | None = None) -> list[Listing]:
    """Return the recordings of a corpus, long ones first.

    Parameters
    ----------
    source : str or path
        A folder, looked through with its subfolders; an address that fsspec understands, such as
        ``s3://bucket/nights`` or ``https://host/nights/``; or a list: a text file with a recording
        a line, or a CSV file with the columns of `COLUMNS`. What is not an address lies beside the
        list.
    labels : str or None
        Ending of the files of labels beside the recordings ("atr"), where they are to be scored: a
        recording whose labels have changed is scored anew. One without labels is in the list too.

    Returns
    -------
    list of Listing
        In the order of falling size, then of name: long recordings first balance the load best.
        A recording that a list names and that is not there is in it too, with size 0; it fails
        when its turn comes.

    Raises
    ------
    ArgumentError
        If there is no such folder or list, a list is faulty, or nothing is in it.
    RecordingError
        If an address cannot be listed.
    InfantmonError
        If fsspec is needed and not installed (``pip install 'infantmon[remote]'``).
    """
    text = os.fspath(source)
    if "://" in text or Path(text).is_dir():
        found = _in_folder(text, labels)
    elif Path(text).is_file():
        found = _in_list(Path(text), labels)
    elif Path(text).exists():
        raise ArgumentError(f"{text} is neither a folder nor a list; pass one of them.")
    else:
        raise ArgumentError(f"there is no folder or list {text}; pass one that is there.")
    if not found:
        raise ArgumentError(f"{text} holds no recording ({', '.join(ENDINGS)} are looked for).")
    return sorted(found, key=lambda listing: (-listing.size_bytes, listing.name))


def key_of(name: str) -> str:
    """Return what a recording of that name is called in a dataset.

    Parameters
    ----------
    name : str
        Its `Listing.name`.
    """
    return hashlib.sha256(name.encode()).hexdigest()[:20]


def _in_folder(root: str, labels: str | None) -> list[Listing]:
    place = place_of(root)
    found = []
    below = list(place.files_below(root))
    made = {a.removesuffix(SCENARIO) for a in below if a.endswith(SCENARIO)}
    truth = {folder + name for folder in made for name in TRUTH_TABLES}
    for address in below:
        if address.lower().endswith(ENDINGS) and address not in truth:
            name = address[len(root) :].lstrip("/") if address.startswith(root) else address
            found.append((name, address))
    segments = {s for _, a in found if a.endswith(".hea") for s in place.segments(a)}
    return [_listed(place, n, a, {}, labels) for n, a in found if a not in segments]


def _in_list(path: Path, labels: str | None) -> list[Listing]:
    rows = _rows(path)
    counts = Counter(row["recording"] for row in rows)
    double = sorted(name for name, count in counts.items() if count > 1)
    if double:
        raise ArgumentError(f"{path} names {', '.join(double[:5])} more than once; name each once.")
    found = []
    for row in rows:
        name = row["recording"]
        address = name if "://" in name else str(path.parent / name)
        if not address.lower().endswith(ENDINGS):
            address += ".hea"  # a WFDB record may be named without it
        found.append(_listed(place_of(address), name, address, row, labels))
    return found


def _rows(path: Path) -> list[dict[str, Any]]:
    if path.suffix.lower() in set(ENDINGS) - {".csv", ".tsv"}:
        raise ArgumentError(
            f"{path} is one recording; pass a folder or a list, or use infantmon review."
        )
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as fault:
        raise ArgumentError(f"the list {path} cannot be read ({fault}); check it.") from fault
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    heads = [cell.strip() for cell in lines[0].split(",")] if lines else []
    if "recording" not in heads:
        return [{"recording": line.strip()} for line in lines]
    unknown = sorted(set(heads) - set(COLUMNS))
    if unknown:
        raise ArgumentError(f"{path} has columns {unknown}; known are {', '.join(COLUMNS)}.")
    rows = list(csv.DictReader(lines, fieldnames=heads, strict=True))[1:]
    if any(not row["recording"] or None in row for row in rows):
        raise ArgumentError(f"{path} has a row without a recording, or with too many cells.")
    return [{k: (v or "").strip() for k, v in row.items()} for row in rows]


def _listed(
    place: Place, name: str, address: str, row: dict[str, Any], labels: str | None
) -> Listing:
    try:
        files = place.members(address, labels)
        size, stamp = place.stamp(files)
    except (RecordingError, OSError):
        size, stamp = 0, "missing"  # told when its turn comes
    infant = row.get("infant") or None
    return Listing(
        name=name,
        key=key_of(name),
        address=address,
        stamp=stamp,
        size_bytes=size,
        age_weeks=_age(row.get("postmenstrual_age_weeks") or None, name),
        infant=None if infant is None else key_of(f"infant {infant}"),
    )


def _age(cell: str | None, name: str) -> float | None:
    if cell is None:
        return None
    try:
        weeks = float(cell)
    except ValueError:
        weeks = math.nan
    if not 22.0 <= weeks <= 200.0:
        raise ArgumentError(
            f"the postmenstrual age of {name} is {cell!r}; 22 to 200 weeks are expected."
        )
    return weeks
