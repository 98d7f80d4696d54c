"""The data records of EDF and BDF files, read some at a time: samples, onsets, annotations.

References
----------
Kemp B, Olivan J, Clinical Neurophysiology 114:1755-1761, 2003 (EDF+ and its annotation lists).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from infantmon.errors import RecordingError
from infantmon.formats.edf_layout import EdfLayout
from infantmon.formats.files import Unchanged, told_clearly
from infantmon.model.arrays import Floats
from infantmon.model.channel import StoredSamples

AT_ONCE_BYTES = 1_000_000
"""Bytes of records that are read together, at most (or one record)."""
_ENDS_A_TEXT = 0x14
_ONSET = re.compile(rb"[+-]\d+(?:\.\d*)?(?=[\x14\x15])")
# onset, length where there is one, texts; each text ends with 0x14, the list with 0
_LIST = re.compile(rb"([+-]\d+(?:\.\d*)?)(?:\x15(\d+(?:\.\d*)?))?\x14((?:[^\x00\x14]*\x14)+)\x00")

Bytes = npt.NDArray[np.uint8]


@dataclass(frozen=True)
class RecordRun:
    """Records that follow each other without a gap.

    Attributes
    ----------
    first, count : int
        The first record, and how many there are.
    start_s : float
        When the first begins, in seconds from the first record of the file.
    """

    first: int
    count: int
    start_s: float


@dataclass(frozen=True, slots=True)
class RecordNote:
    """One annotation: onset and length in seconds as the file has them, and its text."""

    onset_s: float
    length_s: float | None
    text: str


class EdfSamples(StoredSamples):
    """One signal over one run of records.

    Parameters
    ----------
    layout : EdfLayout
        Of the file.
    place : int
        Place of the signal among all signals.
    run : RecordRun
        The records.
    invalid : sequence of (int, int)
        First sample, and first sample after, of stretches that are invalid.
    count : int
        How many of the samples were recorded; the last record may be filled up.
    """

    def __init__(
        self,
        layout: EdfLayout,
        place: int,
        run: RecordRun,
        invalid: Sequence[tuple[int, int]],
        count: int,
    ) -> None:
        self._layout = layout
        self._place = place
        self._run = run
        self._count = count
        self._invalid = np.asarray(invalid, dtype=np.int64).reshape(-1, 2)
        self._unchanged = Unchanged(layout.path)

    def __len__(self) -> int:
        return self._count

    def read(self, first: int, end: int) -> Floats:
        """Return the samples from `first` up to, not with, `end`, in the signal's unit."""
        values = np.empty(max(end - first, 0), dtype=np.float64)
        self._unchanged.check()
        each = self._layout.samples[self._place]
        begin, stop = first // each, -(-end // each)
        for at, raw in read_records(self._layout, self._run.first + begin, self._run.first + stop):
            block = self._scaled(_whole_numbers(self._layout, raw, self._place))
            start = (at - self._run.first) * each
            low, high = max(first, start), min(end, start + len(block))
            values[low - first : high - first] = block[low - start : high - start]
        near = (self._invalid[:, 0] < end) & (self._invalid[:, 1] > first)
        for low, high in self._invalid[near]:
            values[max(low - first, 0) : max(high - first, 0)] = math.nan
        return values

    def _scaled(self, counts: npt.NDArray[np.signedinteger]) -> Floats:
        scale = self._layout.scale(self._place)
        values = counts.astype(np.float64)
        if scale is not None:
            values += scale.offset
            values *= scale.gain
        return values


def read_records(layout: EdfLayout, first: int, end: int) -> Iterator[tuple[int, Bytes]]:
    """Yield the number of a record with the bytes of it and some more, shape (records, bytes).

    Raises
    ------
    RecordingError
        If the file is shorter than it was.
    """
    size = sum(layout.samples) * layout.sample_bytes
    step = max(AT_ONCE_BYTES // size, 1)
    with told_clearly(layout.path, "the data records"), layout.path.open("rb") as file:
        file.seek(layout.header_bytes + first * size)
        for at in range(first, end, step):
            count = min(step, end - at)
            raw = file.read(count * size)
            if len(raw) < count * size:
                raise RecordingError(f"{layout.path} has become shorter while it was read.")
            yield at, np.frombuffer(raw, dtype=np.uint8).reshape(count, size)


def _whole_numbers(layout: EdfLayout, raw: Bytes, place: int) -> npt.NDArray[np.signedinteger]:
    """Return the samples of one signal in some records, as whole numbers."""
    cut = np.ascontiguousarray(raw[:, layout.bytes_of(place)])
    if layout.sample_bytes == 2:
        return cut.view("<i2").ravel()
    wide = np.zeros((cut.size // 3, 4), dtype=np.uint8)
    wide[:, 1:] = cut.reshape(-1, 3)
    return wide.view("<i4").ravel() >> 8


def onsets_s(layout: EdfLayout) -> Floats:
    """Return when each record begins, in seconds, as its first annotation tells.

    Raises
    ------
    RecordingError
        If a record of an EDF+ file has no readable onset.
    """
    places = layout.annotation_places
    if not layout.plus or not places:
        return np.arange(layout.records, dtype=np.float64) * layout.record_s
    onsets = np.empty(layout.records)
    for at, raw in read_records(layout, 0, layout.records):
        heads = raw[:, layout.bytes_of(places[0])][:, :64]
        for number, head in enumerate(map(bytes, heads), start=at):
            match = _ONSET.match(head)
            if match is None:
                raise RecordingError(
                    f"{layout.path}: data record {number + 1} of {layout.records} does not say "
                    f"when it begins (found {head[:12]!r}, expected a time such as +0); its "
                    "samples cannot be placed in time. The file is damaged."
                )
            onsets[number] = float(match.group())
    return onsets


def record_notes(layout: EdfLayout) -> Iterator[RecordNote]:
    """Yield the annotations of an EDF+ or BDF+ file, in the order of the file.

    The empty ones, which only keep the time of a record, are left out.
    """
    places = layout.annotation_places
    if not layout.plus or not places:
        return
    for _, raw in read_records(layout, 0, layout.records):
        for place in places:
            cut = raw[:, layout.bytes_of(place)]
            for lists in map(bytes, cut[_may_hold_notes(cut)]):
                yield from list_notes(lists)


def _may_hold_notes(cut: Bytes) -> npt.NDArray[np.bool_]:
    """Tell which records hold more than their onset: most do not, and are not looked through.

    An onset alone ends with two marks, side by side; a text of its own would need one between.
    """
    marks = cut == _ENDS_A_TEXT
    alone: npt.NDArray[np.bool_] = np.count_nonzero(marks, axis=1) == 2
    alone &= (marks[:, 1:] & marks[:, :-1]).any(axis=1)
    return ~alone


def list_notes(lists: bytes) -> Iterator[RecordNote]:
    """Yield the annotations of one annotation signal of one record."""
    for match in _LIST.finditer(lists):
        onset, length, texts = match.groups()
        for text in texts[:-1].split(b"\x14"):
            if text:
                yield RecordNote(
                    float(onset),
                    None if length is None else float(length),
                    text.decode("utf-8", "replace"),
                )
