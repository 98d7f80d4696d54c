"""Recordings out: WFDB, EDF+, CSV and Parquet; each file is written whole or not at all.

Names of infants and other texts that could identify one are never written: a file has the channels,
their names and units, and the start time.
"""

from __future__ import annotations

import math
import os
import re

import numpy as np
import numpy.typing as npt

from infantmon.errors import ArgumentError, require_path, require_text, require_whole
from infantmon.formats.edf_file import edf_of
from infantmon.formats.files import written_whole
from infantmon.formats.gridding import Laid, gridded
from infantmon.formats.parquet_table import arrow_package
from infantmon.formats.utc_offset import offset_words
from infantmon.formats.wfdb_files import wfdb_package
from infantmon.model.recording import Recording

_LARGEST_BASELINE = 2**31 - 1
_PATH = str | os.PathLike[str]


def write_csv(recording: Recording, path: _PATH) -> None:
    """Write a recording as a table: time_s, then a column a channel with its unit in the header.

    Parameters
    ----------
    recording : Recording
        What to write.
    path : str or path
        The file; an existing one is replaced.

    Raises
    ------
    ArgumentError
        If the rates are not whole multiples of each other, or the folder does not exist.

    Notes
    -----
    Samples are written with all their digits: `read` gives the same numbers and rates back. A
    slower channel has a value in every k-th row. Stretches in which no channel was recorded are
    left out and come back as holes; a hole of one channel alone comes back as invalid samples. The
    start time is not written.
    """
    import pandas as pd  # noqa: PLC0415 - heavy

    target = require_path(path)
    table = pd.DataFrame(_table(recording))
    with written_whole(target.parent, (target.name,)) as scratch:
        table.to_csv(scratch / target.name, index=False)


def write_parquet(recording: Recording, path: _PATH) -> None:
    """Write a recording as a Parquet file: time_s, then a column a channel, as `write_csv` does.

    Parameters
    ----------
    recording : Recording
        What to write.
    path : str or path
        The file; an existing one is replaced.

    Raises
    ------
    ArgumentError
        If the rates are not whole multiples of each other, or the folder does not exist.
    InfantmonError
        If pyarrow is not installed (``pip install 'infantmon[parquet]'``).

    Notes
    -----
    As for `write_csv`; an invalid sample is an empty cell.
    """
    parquet = arrow_package()
    import pyarrow as pa  # noqa: PLC0415 - an extra

    target = require_path(path)
    columns = {
        name: pa.array(values, mask=np.isnan(values)) for name, values in _table(recording).items()
    }
    with written_whole(target.parent, (target.name,)) as scratch:
        parquet.write_table(pa.table(columns), scratch / target.name)


def _table(recording: Recording) -> dict[str, npt.NDArray[np.float64]]:
    """Return the columns of a table, times first; rows in which nothing was recorded left out."""
    grid = gridded(recording)
    rows_a_frame = max(laid.per_frame for laid in grid.channels)
    if any(rows_a_frame % laid.per_frame for laid in grid.channels):
        told = ", ".join(f"{laid.channel.rate_hz:g}" for laid in grid.channels)
        raise ArgumentError(
            f"the rates {told} Hz are not multiples of each other, so the channels cannot share "
            "the rows of one table; write WFDB or EDF, or a table a channel."
        )
    rate = grid.frame_hz * rows_a_frame
    first = round(grid.start_s * rate)
    rows = np.arange(grid.frames * rows_a_frame)
    columns: dict[str, npt.NDArray[np.float64]] = {"time_s": (first + rows) / float(rate)}
    recorded = np.zeros(len(rows), dtype=np.bool_)
    for laid in grid.channels:
        stride = rows_a_frame // laid.per_frame
        values = np.full(len(rows), math.nan)
        values[::stride] = laid.values
        recorded |= np.repeat(laid.recorded.reshape(grid.frames, -1).any(axis=1), rows_a_frame)
        unit = f" [{laid.channel.unit}]" if laid.channel.unit else ""
        columns[laid.label + unit] = values
    return {name: values[recorded] for name, values in columns.items()}


def write_wfdb(recording: Recording, folder: _PATH, name: str, *, bits: int = 16) -> None:
    """Write a recording as a WFDB record, each channel at its own rate.

    Parameters
    ----------
    recording : Recording
        What to write.
    folder : str or path
        Where the header and the signal file go; files of that name are replaced.
    name : str
        Of the record: letters, digits, hyphens and underscores.
    bits : {16, 24, 32}
        Bits a sample: how finely the range of each channel is divided.

    Raises
    ------
    ArgumentError
        If the name or bits cannot be used, the rates have no common frame, or the folder does not
        exist.

    Notes
    -----
    A sample comes back within half of 1.0001 * (largest - smallest) / (2**bits - 8). Invalid
    samples and holes come back as invalid samples. WFDB has no place for the UTC offset of the
    start time: it is written as a header comment, "UTC+01:00" for one, from which `read` restores
    it.
    """
    if not re.fullmatch(r"[A-Za-z0-9_-]{1,200}", require_text(name, name="name")):
        raise ArgumentError(
            f"{name!r} cannot name a WFDB record; use up to 200 letters, digits, hyphens and "
            "underscores."
        )
    if require_whole(bits, 1, 64, name="bits", unit="bits") not in {16, 24, 32}:
        raise ArgumentError(f"bits is {bits}; a WFDB sample can have 16, 24 or 32 bits here.")
    grid = gridded(recording)
    stored = [_digital(laid, bits) for laid in grid.channels]
    started_at = grid.started_at(recording)
    offset = offset_words(started_at)
    names = (f"{name}.dat", f"{name}.hea")
    with (
        written_whole(require_path(folder, name="folder"), names) as scratch,
        wfdb_package() as wfdb,
    ):
        wfdb.wrsamp(
            name,
            fs=float(grid.frame_hz),
            units=[re.sub(r"[^\w%/^-]", "", laid.channel.unit or "NU") for laid in grid.channels],
            sig_name=[laid.label for laid in grid.channels],
            e_d_signal=[digital for digital, _, _ in stored],
            fmt=[str(bits)] * len(stored),
            adc_gain=[gain for _, gain, _ in stored],
            baseline=[baseline for _, _, baseline in stored],
            samps_per_frame=[laid.per_frame for laid in grid.channels],
            base_datetime=started_at.replace(tzinfo=None) if started_at else None,
            comments=[offset] if offset else [],
            write_dir=str(scratch),
        )


def _digital(laid: Laid, bits: int) -> tuple[npt.NDArray[np.int64], float, int]:
    """Return whole numbers with their gain and baseline; the lowest number stands for invalid."""
    finite = np.isfinite(laid.values)
    low, high = laid.ends
    middle = (low + high) / 2.0
    gain = (2 ** (bits - 1) - 4) / ((high - low) / 2.0 if high > low else 1.0)
    if abs(middle) * gain > _LARGEST_BASELINE:
        gain = _LARGEST_BASELINE / abs(middle)
    gain = float(f"{gain * (1.0 - 1e-5):.6g}")  # rounded, and never upwards
    baseline = -round(middle * gain)
    digital = np.full(len(laid.values), -(2 ** (bits - 1)), dtype=np.int64)
    digital[finite] = np.rint(laid.values[finite] * gain).astype(np.int64) + baseline
    return digital, gain, baseline


def write_edf(recording: Recording, path: _PATH) -> None:
    """Write a recording as an EDF+ file, each channel at its own rate.

    Parameters
    ----------
    recording : Recording
        What to write.
    path : str or path
        The file; an existing one is replaced.

    Raises
    ------
    ArgumentError
        If the rates, or they and the length, fit into no common data record, a value does not fit
        into EDF, or the folder does not exist.

    Notes
    -----
    A sample comes back within half of 1.001 * (largest - smallest) / 65535, where largest and
    smallest are first rounded outwards to the eight characters of a header, and to 1e-4 where they
    are smaller than that. EDF has no invalid samples: they, and holes, are written as the lowest
    value and named by an annotation, from which `read` restores them as invalid samples. What
    follows the last sample of a channel is filled in the same way and left out by `read`. Dates
    outside 1985 to 2084 cannot be written and are left out. EDF+ has no place for the UTC offset of
    the start time: it is written among the additional words of the recording's identification,
    "UTC+01:00" for one, from which `read` restores it.
    """
    target = require_path(path)
    file = edf_of(recording)
    with written_whole(target.parent, (target.name,)) as scratch:
        file.write(scratch / target.name)
