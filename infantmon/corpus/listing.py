"""Which recordings there are: in a folder, in a list, or at any address that fsspec understands."""

from __future__ import annotations

import csv
import hashlib
import math
import os
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from infantmon.corpus.places import Place, place_of
from infantmon.errors import ArgumentError, RecordingError
from infantmon.report.identity import JOINT

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
        As it is called on the screen: its place within the folder, or as the list has it; of
        several files, which names they are joined from.
    key : str
        As it is called in the dataset: a hash of `name`. It hides the name from a reader, not from
        somebody who tries names.
    addresses : tuple of str
        Paths or addresses of its file, or of its header; several where a recording has several
        files, as one of ECG and one of impedance.
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
    addresses: tuple[str, ...]
    stamp: str
    size_bytes: int
    age_weeks: float | None = None
    infant: str | None = None


def list_recordings(
    source: str | os.PathLike[str], labels: str | None = None, *, by_folder: bool = False
) -> list[Listing]:
    """Return the recordings of a corpus, long ones first.

    Parameters
    ----------
    source : str or path
        A folder, looked through with its subfolders; an address that fsspec understands, such as
        ``s3://bucket/nights`` or ``https://host/nights/``; or a list: a text file with a recording
        a line, or a CSV file with the columns of `COLUMNS`. What is not an address lies beside the
        list. Several files of one recording stand in one line with " + " between them: they are
        joined as `infantmon.read` joins them, in time or side by side.
    labels : str or None
        Ending of the files of labels beside the recordings ("atr"), where they are to be scored: a
        recording whose labels have changed is scored anew. One without labels is in the list too.
        A recording of several files cannot be scored: labels belong to one file.
    by_folder : bool
        Whether each folder below `source` is one recording, all of its files joined.

    Returns
    -------
    list of Listing
        In the order of falling size, then of name: long recordings first balance the load best.
        A recording that a list names and that is not there is in it too, with size 0; it fails
        when its turn comes.

    Raises
    ------
    ArgumentError
        If there is no such folder or list, a list is faulty, nothing is in it, a recording to be
        scored has several files, or files lie where only folders are expected.
    RecordingError
        If an address cannot be listed.
    InfantmonError
        If fsspec is needed and not installed (``pip install 'infantmon[remote]'``).
    """
    if not isinstance(source, (str, os.PathLike)):
        raise ArgumentError(f"source is a {type(source).__name__}; pass a folder, list or address.")
    text = os.fspath(source)
    if "://" in text or Path(text).is_dir():
        found = _in_folder(text, labels, by_folder)
    elif Path(text).is_file():
        if by_folder:
            raise ArgumentError(
                f"{text} is a list, which has no folders; name the files of one recording in one "
                f"line, with '{JOINT}' between them."
            )
        found = _in_list(Path(text), labels)
    elif Path(text).exists():
        raise ArgumentError(f"{text} is neither a folder nor a list; pass one of them.")
    else:
        raise ArgumentError(f"there is no folder or list {text}; pass one that is there.")
    if not found:
        raise ArgumentError(f"{text} holds no recording ({', '.join(ENDINGS)} are looked for).")
    if labels is not None:
        _require_single_files(found)
    return sorted(found, key=lambda listing: (-listing.size_bytes, listing.name))


def key_of(name: str) -> str:
    """Return what a recording of that name is called in a dataset.

    Parameters
    ----------
    name : str
        Its `Listing.name`.
    """
    return hashlib.sha256(name.encode()).hexdigest()[:20]


def _require_single_files(found: Sequence[Listing]) -> None:
    several = [one.name for one in found if len(one.addresses) > 1]
    if several:
        raise ArgumentError(
            f"{several[0]} has several files, and labels belong to one; list the file that was "
            "labelled alone to score it."
        )


def _in_folder(root: str, labels: str | None, by_folder: bool) -> list[Listing]:
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
    found = [(name, address) for name, address in found if address not in segments]
    if not by_folder:
        return [_listed(place, name, (address,), {}, labels) for name, address in found]
    return [
        _listed(place, name, addresses, {}, labels)
        for name, addresses in _folders(root, found).items()
    ]


def _folders(root: str, found: Sequence[tuple[str, str]]) -> dict[str, tuple[str, ...]]:
    """Return the addresses of each folder's files by the folder's name."""
    loose = [name for name, _ in found if "/" not in name]
    if loose:
        raise ArgumentError(
            f"{', '.join(loose[:5])} in {root} lie in no folder of their own; where each folder is "
            "a recording, move them into one, or pass a list."
        )
    folders: dict[str, tuple[str, ...]] = {}
    for name, address in found:
        folder = name.rpartition("/")[0]
        folders[folder] = (*folders.get(folder, ()), address)
    return folders


def _in_list(path: Path, labels: str | None) -> list[Listing]:
    rows = _rows(path)
    named = [_named(path, row["recording"]) for row in rows]
    counts = Counter(name for names in named for name in names)
    double = sorted(name for name, count in counts.items() if count > 1)
    if double:
        raise ArgumentError(f"{path} names {', '.join(double[:5])} more than once; name each once.")
    found = []
    for row, names in zip(rows, named, strict=True):
        addresses = tuple(_address(path, name) for name in names)
        place = place_of(addresses[0])
        found.append(_listed(place, JOINT.join(names), addresses, row, labels))
    return found


def _named(path: Path, cell: str) -> list[str]:
    """Return the files that a line names for one recording."""
    names = [name.strip() for name in f" {cell} ".split(JOINT)]
    if not all(names):
        raise ArgumentError(f"{path} has {cell!r}, where a file is missing beside a '+'.")
    if len({"://" in name for name in names}) > 1:
        raise ArgumentError(
            f"{path} has {cell!r}: the files of one recording lie all beside the list or all at "
            "addresses."
        )
    return names


def _address(path: Path, name: str) -> str:
    address = name if "://" in name else str(path.parent / name)
    # A WFDB record may be named without its ending.
    return address if address.lower().endswith(ENDINGS) else f"{address}.hea"


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
        _require_commas(path, lines)
        return [{"recording": line.strip()} for line in lines]
    unknown = sorted(set(heads) - set(COLUMNS))
    if unknown:
        raise ArgumentError(f"{path} has columns {unknown}; known are {', '.join(COLUMNS)}.")
    rows = list(csv.DictReader(lines, fieldnames=heads, strict=True))[1:]
    if any(not row["recording"] or None in row for row in rows):
        raise ArgumentError(f"{path} has a row without a recording, or with too many cells.")
    return [{k: (v or "").strip() for k, v in row.items()} for row in rows]


def _require_commas(path: Path, lines: Sequence[str]) -> None:
    heads = re.split(r"[;\t]", lines[0]) if lines else []
    if len(heads) > 1 and "recording" in [head.strip() for head in heads]:
        raise ArgumentError(f"the columns of {path} are not parted by commas; save it with commas.")


def _listed(
    place: Place, name: str, addresses: tuple[str, ...], row: dict[str, Any], labels: str | None
) -> Listing:
    try:
        files = [file for one in addresses for file in place.members(one, labels)]
        size, stamp = place.stamp(files)
    except (RecordingError, OSError):
        size, stamp = 0, "missing"  # told when its turn comes
    infant = row.get("infant") or None
    return Listing(
        name=name,
        key=key_of(name),
        addresses=addresses,
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
