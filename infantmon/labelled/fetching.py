"""Open annotated databases fetched from PhysioNet into a cache, checked and resumed.

The published list of SHA-256 sums of a database says which files there are, and proves each. What
is there already and right is left alone; a file that was cut off is taken up where it ended.
"""

from __future__ import annotations

import hashlib
import re
import urllib.error
import urllib.request
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from infantmon.errors import ArgumentError, InfantmonError

PHYSIONET = "https://physionet.org/files"
EDITIONS = {
    "mitdb": "1.0.0",
    "nstdb": "1.0.0",
    "adfecgdb": "1.0.0",
    "bidmc": "1.0.0",
    "picsdb": "1.0.0",
    "challenge2015": "1.0.0",
}
"""Databases that can be fetched, each with its edition."""
SUMS = "SHA256SUMS.txt"
_CHUNK = 1 << 16
_LONGEST_LIST = 10_000_000  # bytes: a list of sums is short
_WAIT_S = 30.0
_LINE = re.compile(r"([0-9a-f]{64})\s[ *]?(\S.*)")


class FetchError(InfantmonError):
    """A database could not be fetched."""


@dataclass(frozen=True)
class Fetched:
    """What a fetch did.

    Attributes
    ----------
    folder : Path
        Where the database lies now.
    files : int
        How many files it has.
    loaded, resumed : int
        How many were loaded now, and how many of these were taken up where they had ended.
    """

    folder: Path
    files: int
    loaded: int
    resumed: int


def fetch(
    name: str,
    folder: Path,
    *,
    base: str = PHYSIONET,
    progress: Callable[[str, float], None] | None = None,
) -> Fetched:
    """Fetch a database into a folder.

    Parameters
    ----------
    name : str
        The database.
    folder : Path
        Where its own folder is made.
    base : str
        Address below which databases lie.
    progress : callable, optional
        Told what is done, and the share of it between 0 and 1.

    Raises
    ------
    ArgumentError
        If the database is not known.
    FetchError
        If there is no connection, the list of sums is no such list, or a file does not agree with
        its sum.
    """
    if name not in EDITIONS:
        raise ArgumentError(f"there is no database {name!r} to fetch; give {', '.join(EDITIONS)}.")
    address = f"{base.rstrip('/')}/{name}/{EDITIONS[name]}"
    sums = _sums(f"{address}/{SUMS}")
    place = folder / name
    loaded = resumed = 0
    for done, (path, expected) in enumerate(sums.items()):
        if progress is not None:
            progress(f"fetching {name}", done / len(sums))
        target = place / path
        if target.is_file() and _digest(target) == expected:
            continue
        resumed += _load(f"{address}/{path}", target, expected)
        loaded += 1
    if progress is not None:
        progress(f"fetching {name}", 1.0)
    return Fetched(place, len(sums), loaded, resumed)


def _sums(address: str) -> dict[str, str]:
    """Return the expected sum of each file, by its path in the database."""
    with _opened(address) as answer:
        text = answer.read(_LONGEST_LIST).decode("utf-8", errors="replace")
    sums: dict[str, str] = {}
    for line in text.splitlines():
        match = _LINE.fullmatch(line.strip())
        if match is None or not _stays_inside(match[2]):
            raise FetchError(f"{address} is no list of SHA-256 sums: {line.strip()[:60]!r}.")
        if PurePosixPath(match[2]).name != SUMS:
            sums[match[2]] = match[1]
    if not sums:
        raise FetchError(f"{address} lists no file; nothing was fetched.")
    return sums


def _stays_inside(path: str) -> bool:
    """Tell whether a listed path stays below the folder it is put in."""
    parts = PurePosixPath(path).parts
    odd = any(part == ".." or "\\" in part or ":" in part for part in parts)
    return bool(parts) and not odd and not PurePosixPath(path).is_absolute()


def _load(address: str, target: Path, expected: str) -> int:
    """Load one file beside its place, check it, and put it there; return 1 if taken up midway."""
    part = target.with_name(target.name + ".part")
    part.parent.mkdir(parents=True, exist_ok=True)
    start = part.stat().st_size if part.is_file() else 0
    resumed = _append(address, part, start)
    if _digest(part) != expected and resumed:
        part.unlink()  # what was there before may have been something else: once more, whole
        resumed = _append(address, part, 0)
    found = _digest(part)
    if found != expected:
        part.unlink()
        raise FetchError(
            f"{address} has the SHA-256 sum {found[:12]}..., the list says {expected[:12]}...; it "
            "was not kept. Try again later."
        )
    part.replace(target)
    return int(resumed)


def _append(address: str, part: Path, start: int) -> bool:
    """Load a file from a place on; tell whether the server gave it from there."""
    try:
        with _opened(address, start) as answer:
            resumed = start > 0 and answer.status == 206
            with part.open("ab" if resumed else "wb") as file:
                while chunk := answer.read(_CHUNK):
                    file.write(chunk)
    except (OSError, urllib.error.URLError) as fault:
        raise FetchError(f"{address} broke off ({_why(fault)}); run it again to go on.") from fault
    return resumed


def _opened(address: str, start: int = 0) -> Any:
    """Open an address, from a byte on if asked."""
    if not address.startswith(("http://", "https://")):
        raise ArgumentError(f"{address!r} is no address; http:// or https:// is expected.")
    request = urllib.request.Request(address)  # noqa: S310 - checked above
    if start:
        request.add_header("Range", f"bytes={start}-")
    try:
        return urllib.request.urlopen(request, timeout=_WAIT_S)  # noqa: S310 - checked above
    except urllib.error.HTTPError as fault:
        if fault.code == 416 and start:
            return _opened(address)
        raise FetchError(f"{address} cannot be had ({fault.code} {fault.reason}).") from fault
    except (OSError, urllib.error.URLError) as fault:
        raise FetchError(
            f"no connection to {address.split('/')[2]} ({_why(fault)}); without a network, put the "
            "recordings into a folder and set INFANTMON_RECORDINGS to it."
        ) from fault


def _why(fault: BaseException) -> str:
    return str(getattr(fault, "reason", None) or fault)


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
