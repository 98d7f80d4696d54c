"""Tables out while they are made, in bounded memory."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from infantmon.errors import ArgumentError, require_path
from infantmon.formats.files import written_whole
from infantmon.formats.streamed import Chunks, StreamedChannel, whole_records
from infantmon.model.arrays import Floats

_PATH = str | os.PathLike[str]
_CSV_ROWS = 4_000
_TIME_DIGITS = 9


def stream_csv(chunks: Chunks, channels: Sequence[StreamedChannel], path: _PATH) -> Path:
    """Write a table: time_s, then a column a channel; return the path.

    Parameters
    ----------
    chunks : iterable of mapping of str to numpy.ndarray
        Consecutive samples by role; NaN where invalid.
    channels : sequence of StreamedChannel
        Their rates must be whole parts of the fastest.
    path : str or path
        The file; an existing one is replaced.

    Raises
    ------
    ArgumentError
        If the rates do not fit, or the folder does not exist.

    Notes
    -----
    Values are rounded to six decimals. A slower channel has a value in every k-th row.
    """
    rate = max(channel.rate_hz for channel in channels)
    ratios = [rate / channel.rate_hz for channel in channels]
    if any(ratio != round(ratio) for ratio in ratios):
        told = ", ".join(f"{channel.rate_hz:g}" for channel in channels)
        raise ArgumentError(
            f"the rates {told} Hz are not whole parts of the fastest, so the channels cannot share "
            "the rows of one table; write WFDB or EDF."
        )
    target = require_path(path)
    strides = [round(ratio) for ratio in ratios]
    rows = _CSV_ROWS * math.lcm(*strides)
    head = ["time_s", *(f"{channel.name} [{channel.unit}]" for channel in channels)]
    lines = _Lines(strides, rate)
    with (
        written_whole(target.parent, (target.name,)) as scratch,
        (scratch / target.name).open("w", encoding="utf-8", newline="") as file,
    ):
        file.write(",".join(head) + "\n")
        counts = [rows // stride for stride in strides]
        for number, record in enumerate(whole_records(chunks, channels, counts)):
            file.write(lines.of(record, number * rows))
    return target


class _Lines:
    """Turns samples into the lines of a table, many at a time by one format.

    Parameters
    ----------
    strides : list of int
        In every how manieth row each channel has a value.
    rate_hz : float
        Rows a second.
    """

    def __init__(self, strides: list[int], rate_hz: float) -> None:
        self.strides, self.rate_hz = strides, rate_hz
        self.cycle = math.lcm(*strides)
        exact = [d for d in range(_TIME_DIGITS) if (10**d / rate_hz).is_integer()]
        self.time = f"%.{exact[0] if exact else _TIME_DIGITS}f"
        cells = [["%.6f" if k % s == 0 else "" for s in strides] for k in range(self.cycle)]
        self.form = "".join(",".join([self.time, *row]) + "\n" for row in cells)

    def of(self, record: Sequence[Floats], first_row: int) -> str:
        """Return the lines of a record whose first row has a number; nothing where NaN."""
        rows = max(
            (len(values) - 1) * stride + 1
            for values, stride in zip(record, self.strides, strict=True)
        )
        cycles = math.ceil(rows / self.cycle)
        columns = [(first_row + np.arange(cycles * self.cycle)) / self.rate_hz]
        for values, stride in zip(record, self.strides, strict=True):
            fill = np.full(cycles * (self.cycle // stride) - len(values), math.nan)
            columns.append(np.concatenate([values, fill]))
        each = [column.reshape(cycles, -1) for column in columns]
        order = [
            array[:, k // stride]
            for k in range(self.cycle)
            for array, stride in zip(each, [1, *self.strides], strict=True)
            if k % stride == 0
        ]
        flat = np.stack(order, axis=1).ravel().tolist()
        text = (self.form * cycles % tuple(flat)).replace("nan", "")
        spare = cycles * self.cycle - rows
        return text if not spare else "".join(text.splitlines(keepends=True)[:-spare])
