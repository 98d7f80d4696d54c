"""Where recordings lie: on a disk, or at an address that fsspec understands."""

from __future__ import annotations

import hashlib
import os
from abc import ABC, abstractmethod
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from tempfile import TemporaryDirectory
from typing import Any

from infantmon.errors import InfantmonError, RecordingError

_BLOCK = 1 << 20
_LARGEST_HEADER = 16_000_000


class Place(ABC):
    """Files by address."""

    @abstractmethod
    def files_below(self, root: str) -> list[str]:
        """Return the addresses of all files below a folder, in order of name."""

    @abstractmethod
    def stamp(self, files: Sequence[str]) -> tuple[int, str]:
        """Return the size of some files together (bytes), and a text that changes with any."""

    @abstractmethod
    def header(self, address: str) -> bytes:
        """Return the first bytes of a small file."""

    @abstractmethod
    def at_hand(self, address: str, labels: str | None = None) -> Any:
        """Context manager: give the local path of a recording, fetched if need be.

        With `labels`, their file of that ending lies beside it.
        """

    def members(self, address: str, labels: str | None = None) -> list[str]:
        """Return the addresses of the files that make up a recording, its own first.

        With `labels`, that of their file is the last.
        """
        if labels is not None:
            return [*self.members(address), labels_beside(address, labels)]
        if not address.lower().endswith(".hea"):
            return [address]
        found = [address]
        for name in _named_in(self.header(address), address):
            beside = _beside(address, name)
            more = self.members(beside) if name.endswith(".hea") and beside != address else [beside]
            found += [one for one in more if one not in found]
        return found

    def segments(self, header: str) -> list[str]:
        """Return the addresses of the headers that another header lists as its segments."""
        try:
            names = _named_in(self.header(header), header)
        except (RecordingError, OSError):
            return []
        return [_beside(header, name) for name in names if name.endswith(".hea")]


class Disk(Place):
    """Files of this machine, or of a file system that all machines share."""

    def files_below(self, root: str) -> list[str]:
        """Return the paths of all files below a folder; hidden ones are left out."""
        found = []
        for folder, below, names in os.walk(root):
            below[:] = sorted(name for name in below if not name.startswith("."))
            found += [str(Path(folder) / n) for n in sorted(names) if not n.startswith(".")]
        return found

    def stamp(self, files: Sequence[str]) -> tuple[int, str]:
        """Return the size of some files together, and a hash of sizes and times of change."""
        told = [Path(file).stat() for file in files]
        text = " ".join(f"{one.st_size}:{one.st_mtime_ns}" for one in told)
        return sum(one.st_size for one in told), hashlib.sha256(text.encode()).hexdigest()[:16]

    def header(self, address: str) -> bytes:
        """Return the first bytes of a small file."""
        with Path(address).open("rb") as file:
            return file.read(_LARGEST_HEADER)

    @contextmanager
    def at_hand(self, address: str, labels: str | None = None) -> Iterator[Path]:  # noqa: ARG002 - they are beside it already
        """Give the path itself."""
        yield Path(address)


class Remote(Place):
    """Files at an address, by way of fsspec.

    Raises
    ------
    InfantmonError
        If fsspec, or what it needs for this kind of address, is not installed.
    """

    def __init__(self, address: str) -> None:
        try:
            import fsspec  # noqa: PLC0415 - an extra

            self._files, _ = fsspec.core.url_to_fs(address)
        except (ImportError, ValueError) as fault:
            raise InfantmonError(
                f"recordings at {address.partition('://')[0]}:// cannot be reached ({fault}); "
                "install what is missing: pip install 'infantmon[remote]'."
            ) from fault

    def files_below(self, root: str) -> list[str]:
        """Return the addresses of all files below a folder."""
        try:
            found = self._files.find(root)
        except (OSError, ValueError) as fault:
            raise RecordingError(f"{root} cannot be listed ({fault}); check it.") from fault
        return sorted(self._files.unstrip_protocol(path) for path in found)

    def stamp(self, files: Sequence[str]) -> tuple[int, str]:
        """Return the size of some files together, and a hash of what the store tells of each."""
        told = [self._files.info(file) for file in files]
        marks = [
            [str(one.get(name)) for name in ("size", "ETag", "etag", "mtime", "LastModified")]
            for one in told
        ]
        size = sum(int(one.get("size") or 0) for one in told)
        return size, hashlib.sha256(repr(marks).encode()).hexdigest()[:16]

    def header(self, address: str) -> bytes:
        """Return the first bytes of a small file."""
        return bytes(self._files.cat_file(address)[:_LARGEST_HEADER])

    @contextmanager
    def at_hand(self, address: str, labels: str | None = None) -> Iterator[Path]:
        """Fetch the files of a recording into a folder that goes when it is done with."""
        with TemporaryDirectory(prefix="infantmon-") as folder:
            for file in self.members(address, labels):
                target = Path(folder) / PurePosixPath(file).name
                try:
                    self._files.get_file(file, str(target))
                except FileNotFoundError as fault:
                    raise RecordingError(f"{file} is not there; check the address.") from fault
            yield Path(folder) / PurePosixPath(address).name


def place_of(address: str) -> Place:
    """Return where an address leads.

    Parameters
    ----------
    address : str
        A path, or an address with its protocol.

    Raises
    ------
    InfantmonError
        If fsspec is needed and not installed.
    """
    return Remote(address) if "://" in address else Disk()


def labels_beside(address: str, ending: str) -> str:
    """Return the address of the labels of a recording: its own, with another ending.

    Parameters
    ----------
    address : str
        Of the recording.
    ending : str
        Such as "atr".
    """
    return f"{address.rpartition('.')[0]}.{ending}"


def content_sha256(paths: Sequence[Path], labels: str | None = None) -> str:
    """Return a hash of the content of a recording's files, not of their names.

    Parameters
    ----------
    paths : sequence of pathlib.Path
        Of the recording; several where it has several files with channels.
    labels : str or None
        Ending of the file of labels beside it, which is hashed too.
    """
    whole = hashlib.sha256()
    for file in [one for path in paths for one in Disk().members(str(path), labels)]:
        one = hashlib.sha256()
        with Path(file).open("rb") as opened:
            while block := opened.read(_BLOCK):
                one.update(block)
        whole.update(one.digest())
    return whole.hexdigest()


def _beside(address: str, name: str) -> str:
    return f"{address.rpartition('/')[0]}/{name}" if "/" in address else name


def _named_in(header: bytes, address: str) -> list[str]:
    """Return the files that a WFDB header names, headers of segments with their ending.

    References
    ----------
    WFDB header files (header(5)), WFDB Applications Guide, PhysioNet.
    """
    lines = [line.split() for line in header.decode("utf-8", errors="replace").splitlines()]
    lines = [words for words in lines if words and not words[0].startswith("#")]
    if not lines:
        return []
    names = [words[0] for words in lines[1:] if words[0] != "~"]
    if "/" in lines[0][0]:
        names = [f"{name}.hea" for name in names]
    if any(name != PurePosixPath(name).name or name in {".", ".."} for name in names):
        raise RecordingError(f"{address} names a file outside its folder; it was not opened.")
    return list(dict.fromkeys(names))
