"""A signal gathered piece by piece: held in memory while short, else in a temporary file."""

from __future__ import annotations

import tempfile
from typing import IO

import numpy as np

from infantmon.errors import InfantmonError
from infantmon.model.arrays import Floats
from infantmon.model.signal import Signal

HELD_SAMPLES = 4_000_000
"""A signal of up to so many samples is held in memory."""


class SpooledSignal:
    """Gathers consecutive runs of one signal, of any length in bounded memory.

    Notes
    -----
    The temporary file has no name that outlives the process, and nobody else can open it. The
    array handed out is mapped from it: only what is looked at is brought into memory.
    """

    def __init__(self) -> None:
        self._runs: list[Signal] = []
        self._first: Signal | None = None
        self._latest: Signal | None = None
        self._count = 0
        self._file: IO[bytes] | None = None

    def add(self, run: Signal) -> None:
        """Take up the next run.

        Raises
        ------
        InfantmonError
            If the temporary file cannot be written.
        """
        self._first = run if self._first is None else self._first
        self._latest = run
        self._count += len(run)
        self._runs.append(run)
        if self._count > HELD_SAMPLES:
            self._spool()

    def joined(self) -> Signal | None:
        """Return all runs as one, and end the gathering; None if there was none."""
        if self._first is None or self._latest is None:
            return None
        if self._file is None:
            return Signal.joined(self._runs)
        with self._file as file:  # what is mapped stays, and goes with the array
            file.flush()
            values: Floats = np.memmap(file, dtype=np.float64, mode="r", shape=(self._count,))
        first, latest = self._first, self._latest
        return Signal(values, first.first_tick, first.clock, latest.settled_until_s)

    def _spool(self) -> None:
        try:
            if self._file is None:
                self._file = tempfile.TemporaryFile(prefix="infantmon-")  # noqa: SIM115 - until joined
            for run in self._runs:
                self._file.write(np.ascontiguousarray(run.values, dtype=np.float64).tobytes())
        except OSError as fault:
            raise InfantmonError(
                f"a long signal is kept in a temporary file in {tempfile.gettempdir()}, and "
                f"{fault.strerror}; free space there, or set TMPDIR to another folder."
            ) from fault
        self._runs.clear()
