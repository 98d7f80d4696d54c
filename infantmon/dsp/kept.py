"""The latest samples of a stream, found by their place in it.

In come samples; out come, when asked for, windows of those that have not been forgotten. Places are
counted from the start of the stream, so nobody has to know what has been dropped.
"""

from __future__ import annotations

from typing import Any, ClassVar

import numpy as np
import numpy.typing as npt

from infantmon.dsp.neighbours import neighbours, sliding
from infantmon.model.arrays import Ints
from infantmon.model.carried import Carried

_FEW = 4096  # samples up to which looking each up is quicker than making sure of whole rows


class Kept(Carried):
    """Keeps samples until they are told to be forgotten, and gathers windows from them.

    Parameters
    ----------
    dtype : numpy dtype
        Type of the samples.
    """

    carried: ClassVar[tuple[str, ...]] = ("_first", "_values")

    def __init__(self, dtype: npt.DTypeLike = np.float64) -> None:
        self._first = 0  # place of the first kept sample in the stream
        self._values: npt.NDArray[Any] = np.empty(0, dtype=dtype)
        self._waiting: list[npt.NDArray[Any]] = []  # pushed, not joined yet

    @property
    def end(self) -> int:
        """Place after the last sample, which is the number of samples pushed so far."""
        return self._first + len(self._joined())

    def push(self, values: npt.NDArray[Any]) -> None:
        """Take up more samples."""
        if len(values):
            self._waiting.append(values)

    def forget_before(self, place: int) -> None:
        """Let go of the samples before a place in the stream."""
        while self._waiting and self._first + len(self._values) <= place:
            self._first += len(self._values)  # what nobody has asked for goes without being joined
            self._values = self._waiting.pop(0)
        values = self._joined()
        surplus = min(place - self._first, len(values))
        if surplus > 0:
            self._values = values[surplus:].copy()
            self._first += surplus

    def snapshot(self) -> dict[str, Any]:
        """Return the kept samples as plain data that shares no memory with this object."""
        self._joined()
        return super().snapshot()

    def _joined(self) -> npt.NDArray[Any]:
        if self._waiting:
            self._values = np.concatenate((self._values, *self._waiting))
            self._waiting = []
        return self._values

    def windows(self, starts: Ints, width: int) -> npt.NDArray[Any]:
        """Return one row of `width` samples from each start; ends of the stream are held."""
        values, places = self._joined(), starts - self._first
        many = len(places) * width > _FEW
        if many and places.min() >= 0 and places.max() + width <= len(values):
            rows: npt.NDArray[Any] = neighbours(values, width)[places]
            return rows
        within = places[:, np.newaxis] + np.arange(width)
        held: npt.NDArray[Any] = values.take(within, mode="clip")
        return held

    def columns(self, starts: Ints, width: int) -> npt.NDArray[Any]:
        """Return one column of `width` samples from each start: `windows`, laid out for sums."""
        within = (starts - self._first) + np.arange(width)[:, np.newaxis]
        columns: npt.NDArray[Any] = self._joined().take(within, mode="clip")
        return columns

    def lowest(self, starts: Ints, width: int) -> npt.NDArray[Any]:
        """Return the smallest of `width` samples from each start, of those that there are.

        All kept samples are gone through: for many starts.
        """
        beyond = np.full(width - 1, np.inf)
        values = np.concatenate((beyond, self._joined(), beyond))
        return sliding(np.minimum, values, width).take(starts - self._first + len(beyond))

    def between(self, exact: npt.NDArray[np.float64]) -> npt.NDArray[Any]:
        """Return samples at places between them, on straight lines; ends of the stream are held."""
        whole = np.floor(exact)
        values, places = self._joined(), whole.astype(np.int64) - self._first
        before, after = values.take(places, mode="clip"), values.take(places + 1, mode="clip")
        return np.asarray(before + (exact - whole) * (after - before))
