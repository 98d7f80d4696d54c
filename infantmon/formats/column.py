"""A column of a table, read block by block: held while short, else in a temporary file."""

from __future__ import annotations

import tempfile
import weakref
from collections.abc import Iterable, Iterator
from typing import IO

import numpy as np

from infantmon.errors import InfantmonError
from infantmon.formats import source
from infantmon.model.arrays import NO_FLOATS, Floats
from infantmon.model.channel import StoredSamples

BLOCK_ROWS = 1_000_000
"""So many rows are looked at at once."""
_BYTES = 8


class Column:
    """Numbers of the rows of a table.

    Parameters
    ----------
    blocks : iterable of numpy.ndarray, shape (n,)
        Consecutive rows. They are taken one by one, so any number of rows fits into memory: a long
        column is kept in a temporary file without a name, which goes with the last that uses it.

    Raises
    ------
    InfantmonError
        If the temporary file cannot be written.
    """

    def __init__(self, blocks: Iterable[Floats]) -> None:
        self._file: IO[bytes] | None = None
        self._count = 0
        held: list[Floats] = []
        for block in blocks:
            self._count += len(block)
            held.append(block)
            if self._count > source.HELD_SAMPLES:
                self._spool(held)
        if self._file is not None:
            self._spool(held)
            held = []
        self._held = held[0] if len(held) == 1 else np.concatenate([NO_FLOATS, *held])

    def __len__(self) -> int:
        return self._count

    def read(self, first: int, end: int) -> Floats:
        """Return the rows from `first` up to, not with, `end`; both lie within them."""
        if self._file is None:
            return self._held[first:end]
        self._file.seek(first * _BYTES)
        told = bytearray(self._file.read((end - first) * _BYTES))
        return np.frombuffer(told, dtype=np.float64)

    def blocks(self, overlap: int = 0) -> Iterator[tuple[int, Floats]]:
        """Yield the rows block by block, with the number of the first row of each.

        Parameters
        ----------
        overlap : int
            So many rows of the block before stand in front of each block but the first.
        """
        for first in range(0, max(self._count - overlap, 0), BLOCK_ROWS):
            yield first, self.read(first, min(first + BLOCK_ROWS + overlap, self._count))

    def part(self, first: int, end: int, stride: int = 1) -> Floats | StoredSamples:
        """Return every `stride`-th row from `first` on, held or stored as the column is."""
        if self._file is None:
            return self._held[first:end:stride]
        return _Part(self, first, end, stride)

    def __reduce__(self) -> tuple[type[Column], tuple[list[Floats]]]:
        """Copy with all rows: the temporary file belongs to this process alone."""
        return Column, ([block for _, block in self.blocks()],)

    def _spool(self, held: list[Floats]) -> None:
        """Move what is held to the temporary file."""
        try:
            if self._file is None:
                self._file = file = tempfile.TemporaryFile(prefix="infantmon-")  # noqa: SIM115
                weakref.finalize(self, file.close)
            for block in held:
                self._file.write(np.ascontiguousarray(block, dtype=np.float64).tobytes())
        except OSError as fault:
            raise InfantmonError(
                f"a long table is kept in a temporary file in {tempfile.gettempdir()}, and "
                f"{fault.strerror}; free space there, or set TMPDIR to another folder."
            ) from fault
        held.clear()


class _Part(StoredSamples):
    """Every so manieth row of a stored column."""

    def __init__(self, column: Column, first: int, end: int, stride: int) -> None:
        self._column, self._stride = column, stride
        self._rows = range(first, end, stride)

    def __len__(self) -> int:
        return len(self._rows)

    def read(self, first: int, end: int) -> Floats:
        """Return some of the samples."""
        rows = self._rows[first:end]
        if not len(rows):
            return NO_FLOATS
        values = self._column.read(rows[0], rows[-1] + 1)[:: self._stride]
        return np.ascontiguousarray(values)
