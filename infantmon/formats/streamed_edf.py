"""EDF+ out while it is made: record by record, in bounded memory."""

from __future__ import annotations

import math
import os
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from infantmon.errors import ArgumentError, require_path
from infantmon.formats.edf import INVALID_TEXT, UNRECORDED_TEXT
from infantmon.formats.files import written_whole
from infantmon.formats.streamed import Chunks, StreamedChannel, whole_records
from infantmon.model.arrays import Bools, Floats

LONGEST_RECORD_S = 60
NOTE_SAMPLES = 120  # two bytes each, kept in every record for its time and for invalid stretches
LOWEST, MOST = -32768, 32767
EDFPLUS_UNDATED = "Startdate X X X X"


def stream_edf(
    chunks: Chunks, channels: Sequence[StreamedChannel], path: str | os.PathLike[str]
) -> Path:
    """Write an EDF+ file of 16 bits a sample; return the path.

    Parameters
    ----------
    chunks : iterable of mapping of str to numpy.ndarray
        Consecutive samples by role; NaN where invalid.
    channels : sequence of StreamedChannel
        In the order of the file.
    path : str or path
        The file; an existing one is replaced.

    Raises
    ------
    ArgumentError
        If the rates fit into no record of up to 60 whole seconds, or the folder does not exist.

    Notes
    -----
    A value comes back within half of (high - low) / 65534. Invalid samples are written as the
    lowest value and named by annotations, from which `read` restores them; where a record has too
    many invalid stretches to name, they are named as one. The last record is filled in the same
    way; `read` leaves out what was not recorded.
    """
    record_s = _record_s(channels)
    counts = [round(channel.rate_hz * record_s) for channel in channels]
    target = require_path(path)
    with (
        written_whole(target.parent, (target.name,)) as scratch,
        (scratch / target.name).open("w+b") as file,
    ):
        file.write(_header(channels, counts, record_s, -1))
        number = -1
        for number, record in enumerate(whole_records(chunks, channels, counts)):
            for channel, values, count in zip(channels, record, counts, strict=True):
                fill = np.full(count - len(values), math.nan)
                file.write(_digital(channel, np.concatenate([values, fill])).tobytes())
            file.write(_notes(channels, record, counts, number * record_s))
        file.seek(0)
        file.write(_header(channels, counts, record_s, number + 1))
    return target


def _record_s(channels: Sequence[StreamedChannel]) -> int:
    for seconds in range(1, LONGEST_RECORD_S + 1):
        if all(float(channel.rate_hz * seconds).is_integer() for channel in channels):
            return seconds
    told = ", ".join(f"{channel.rate_hz:g}" for channel in channels)
    raise ArgumentError(
        f"the rates {told} Hz give whole numbers of samples in no EDF record of up to "
        f"{LONGEST_RECORD_S} s; write WFDB instead."
    )


def _digital(
    channel: StreamedChannel, values: Floats
) -> np.ndarray[tuple[int], np.dtype[np.int16]]:
    low, high = _ends(channel)
    share = (np.clip(values, low, high) - low) / (high - low)
    digital = np.rint(share * (MOST - (LOWEST + 1))) + LOWEST + 1
    return np.where(np.isnan(digital), LOWEST, digital).astype("<i2")


def _ends(channel: StreamedChannel) -> tuple[float, float]:
    """Return the ends of the range as the header can state them, rounded outwards."""
    return float(_short(channel.low, math.floor)), float(_short(channel.high, math.ceil))


def _short(value: float, rounding: object) -> str:
    for decimals in range(4, -1, -1):
        scaled = rounding(round(value * 10**decimals, 6))  # type: ignore[operator]
        text = f"{scaled / 10**decimals:.{decimals}f}"
        text = text.rstrip("0").rstrip(".") if decimals else text
        if len(text) <= 8:
            return text
    raise ArgumentError(
        f"the value {value:g} does not fit into the eight characters of an EDF header; "
        "use a larger unit, or write WFDB."
    )


def _header(
    channels: Sequence[StreamedChannel], counts: Sequence[int], record_s: int, records: int
) -> bytes:
    signals = len(channels) + 1
    fixed = [
        ("0", 8),
        ("X X X X", 80),
        (EDFPLUS_UNDATED, 80),
        ("01.01.85", 8),
        ("00.00.00", 8),
        (str(256 * (signals + 1)), 8),
        ("EDF+C", 44),
        (str(records), 8),
        (str(record_s), 8),
        (str(signals), 4),
    ]
    ends = [(_short(c.low, math.floor), _short(c.high, math.ceil)) for c in channels]
    # the physical range goes with digital -32767 to 32767: the lowest stands for invalid
    columns: list[tuple[int, list[str]]] = [
        (16, [*(c.name[:16] for c in channels), "EDF Annotations"]),
        (80, [""] * signals),
        (8, [*(c.unit[:8] for c in channels), ""]),
        (8, [*(low for low, _ in ends), "-1"]),
        (8, [*(high for _, high in ends), "1"]),
        (8, [*(str(LOWEST + 1) for _ in channels), str(LOWEST)]),
        (8, [str(MOST)] * signals),
        (80, [""] * signals),
        (8, [*(str(count) for count in counts), str(NOTE_SAMPLES)]),
        (32, [""] * signals),
    ]
    text = "".join(value.ljust(width) for value, width in fixed)
    text += "".join(value.ljust(width) for width, values in columns for value in values)
    return text.encode("ascii", "replace")


def _notes(
    channels: Sequence[StreamedChannel], record: list[Floats], counts: Sequence[int], start_s: int
) -> bytes:
    """Return a record's annotations: its time, and where samples are invalid or filled up.

    They tell it as exactly as there is room for.
    """
    room = 2 * NOTE_SAMPLES
    time = f"+{start_s}\x14\x14\x00".encode()
    notes = time
    for named in (_each_run, _one_run, _one_run_and_filling):
        notes = time + b"".join(
            _list(channel, first, end, text, start_s)
            for channel, values, count in zip(channels, record, counts, strict=True)
            for first, end, text in named(values, count)
        )
        if len(notes) <= room:
            break
    return notes.ljust(room, b"\x00")


_Named = list[tuple[int, int, str]]


def _each_run(values: Floats, count: int) -> _Named:
    return [(*run, INVALID_TEXT) for run in _runs(np.isnan(values))] + _filling(values, count)


def _one_run(values: Floats, count: int) -> _Named:
    places = np.flatnonzero(np.isnan(values)).tolist()
    invalid = [(places[0], places[-1] + 1, INVALID_TEXT)] if places else []
    return invalid + _filling(values, count)


def _one_run_and_filling(values: Floats, count: int) -> _Named:
    named = _one_run(values, count)
    return [(named[0][0], named[-1][1], INVALID_TEXT)] if named else []


def _filling(values: Floats, count: int) -> _Named:
    return [(len(values), count, UNRECORDED_TEXT)] if len(values) < count else []


def _list(channel: StreamedChannel, first: int, end: int, text: str, start_s: int) -> bytes:
    onset_s = start_s + first / channel.rate_hz
    length_s = (end - first) / channel.rate_hz
    told = f"+{onset_s:.6f}\x15{length_s:.6f}\x14{text}{channel.name[:16]}\x14\x00"
    return told.encode("ascii", "replace")


def _runs(invalid: Bools) -> Iterator[tuple[int, int]]:
    """Yield first and end of each run of invalid samples."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], invalid, [False]])))
    yield from zip(edges[0::2].tolist(), edges[1::2].tolist(), strict=True)
