"""Recordings in: one door for WFDB records, EDF and BDF files, and tables."""

from __future__ import annotations

import os
from collections.abc import Collection, Mapping, Sequence
from pathlib import Path

from infantmon.errors import ArgumentError, RecordingError, require_path
from infantmon.formats.csv_table import CsvSource
from infantmon.formats.edf import EdfSource
from infantmon.formats.joining import joined
from infantmon.formats.naming import choose, has_channel, has_kind
from infantmon.formats.parquet_table import ParquetSource
from infantmon.formats.source import Source
from infantmon.formats.wfdb_record import WfdbSource
from infantmon.model.recording import Recording


def read(
    *names: str | os.PathLike[str],
    ecg: str | None = None,
    ecg2: str | None = None,
    impedance: str | None = None,
) -> Recording:
    r"""Read a recording.

    Parameters
    ----------
    *names : str or path
        A WFDB record (its name, with or without .hea), an EDF or BDF file, a CSV or Parquet file.
        Several names are records of one infant, joined in time by their start times; without such
        side by side, if each holds other channels.
    ecg, ecg2, impedance : str or None
        Name of a channel in the file, to choose it. Left out, the ECG and the chest impedance are
        found by name and unit, never by position; a second lead is only taken when asked for.

    Returns
    -------
    Recording
        Its `notes` tell what had to be decided and what could not be read.

    Raises
    ------
    RecordingError
        If something is missing, damaged, or not a recording, if no channel can be found, or the
        records cannot be joined.

    Notes
    -----
    Samples keep their rate and unit. An invalid sample is NaN; a stretch in which nothing was
    recorded is a hole of the channel. A short channel is held in memory as float64; of a long one
    only what is asked for is read, from its file, or for a table from a temporary copy.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     table = Path(folder) / "night.csv"
    ...     rows = (f"{k / 100},{k % 7},{500 + k % 3}\n" for k in range(200))
    ...     _ = table.write_text("time_s,ECG [mV],impedance [ohm]\n" + "".join(rows))
    ...     recording = read(table)
    >>> recording.impedance
    Channel(impedance: 200 samples at 100 Hz, ohm, 0 to 2 s)
    """
    if not names:
        raise ArgumentError("no recording was named; pass a WFDB record, an EDF or a CSV file.")
    asked = {"ecg": ecg, "ecg2": ecg2, "impedance": impedance}
    sources = [open_source(require_path(name, name="the recording")) for name in names]
    if len(sources) == 1:
        return _recording(sources[0], asked)
    return joined([_of_several(source, sources, asked) for source in sources])


def read_csv(
    path: str | os.PathLike[str],
    *,
    rate_hz: float | None = None,
    units: Mapping[str, str] | None = None,
    separator: str | None = None,
    decimal: str | None = None,
    ecg: str | None = None,
    ecg2: str | None = None,
    impedance: str | None = None,
) -> Recording:
    """Read a table of text whose rate, units or layout may have to be told.

    Parameters
    ----------
    path : str or path
        The table: a header line, then one row a sample time. Separator and decimal sign are
        detected; units may stand in the header, as in "ecg [mV]", "impedance (ohm)", "time_s".
    rate_hz : float or None
        Rows a second, where there is no time column.
    units : mapping of str to str or None
        Units of columns by their names, as {"ecg": "mV"}, in place of those of the header.
    separator, decimal : str or None
        Between cells, and in numbers ("." or ","); detected where left out.
    ecg, ecg2, impedance : str or None
        Names of columns, as for `read`.

    Returns
    -------
    Recording
        As for `read`.

    Raises
    ------
    RecordingError
        As for `read`; for a cell that is no number, with its line, column and text.
    ArgumentError
        If a rate is told although the table has a time column, or is not above 0 Hz; if a
        unit is told for a column that is not there, or a separator or decimal sign cannot be used.
    """
    asked = {"ecg": ecg, "ecg2": ecg2, "impedance": impedance}
    source = CsvSource(
        require_path(path), rate_hz, units=units, separator=separator, decimal=decimal
    )
    return _recording(source, asked)


def read_parquet(
    path: str | os.PathLike[str],
    *,
    rate_hz: float | None = None,
    units: Mapping[str, str] | None = None,
    ecg: str | None = None,
    ecg2: str | None = None,
    impedance: str | None = None,
) -> Recording:
    """Read a Parquet file whose rate may have to be told.

    Parameters
    ----------
    path : str or path
        The file: one row a sample time. Units may stand in the column names, as in "ecg [mV]", or
        in the metadata of a column under "unit".
    rate_hz : float or None
        Rows a second, where there is no time column.
    units : mapping of str to str or None
        Units of columns by their names, where the file states none or wrong ones.
    ecg, ecg2, impedance : str or None
        Names of columns, as for `read`.

    Returns
    -------
    Recording
        As for `read`.

    Raises
    ------
    RecordingError
        As for `read`.
    ArgumentError
        If a rate is told although the table has a time column, or is not above 0 Hz.
    InfantmonError
        If pyarrow is not installed (``pip install 'infantmon[parquet]'``).
    """
    asked = {"ecg": ecg, "ecg2": ecg2, "impedance": impedance}
    return _recording(ParquetSource(require_path(path), rate_hz, units=units), asked)


def _of_several(
    source: Source, others: Sequence[Source], asked: Mapping[str, str | None]
) -> Recording:
    """Read one of several: it is not asked for channels of a kind that only another one has."""
    elsewhere = {
        role
        for role, name in asked.items()
        if any(_may_fill(other, role, name) for other in others)
        and not _may_fill(source, role, name)
    }
    return _recording(source, {**asked, **dict.fromkeys(elsewhere)}, elsewhere)


def _may_fill(source: Source, role: str, name: str | None) -> bool:
    named = name is not None and has_channel(source.channels, name)
    return named or has_kind(source.channels, role)


def _recording(
    source: Source, asked: Mapping[str, str | None], elsewhere: Collection[str] = ()
) -> Recording:
    chosen, notes = choose(source.channels, asked, source.path, elsewhere)
    try:
        channels = {role: source.load(listed) for role, listed in chosen.items()}
    except ArgumentError as fault:  # the file states what no channel can have, such as its rate
        raise RecordingError(f"{source.path}: {fault}") from fault
    return Recording(
        channels,
        name=source.name,
        started_at=source.started_at,
        notes=tuple(source.notes + notes),
    )


def open_source(path: Path) -> Source:
    """Return the source for a name, by its ending.

    Raises
    ------
    RecordingError
        If it is missing, damaged, or not a recording.
    """
    ending = path.suffix.casefold()
    if ending in {".edf", ".bdf"}:
        return EdfSource(path)
    if ending in {".csv", ".tsv"}:
        return CsvSource(path)
    if ending in {".parquet", ".pq"}:
        return ParquetSource(path)
    header = path if ending == ".hea" else path.parent / f"{path.name}.hea"
    if path.name and header.exists():
        return WfdbSource(header)
    raise RecordingError(_not_a_recording(path, ending))


def _not_a_recording(path: Path, ending: str) -> str:
    known = (
        "Pass a WFDB record name (with NAME.hea beside its signal files), .edf, .bdf, .csv or "
        ".parquet."
    )
    if path.is_dir():
        records = sorted(p.stem for p in path.glob("*.hea"))[:5]
        there = f" It holds the WFDB records {', '.join(records)}." if records else ""
        return f"{path} is a folder, not a recording.{there} {known}"
    if not path.exists():
        like = sorted(p.name for p in path.parent.glob(f"{path.name}.*"))[:5] if path.name else []
        there = f" There is {', '.join(like)}." if like and path.parent.is_dir() else ""
        return f"no recording {path}: neither it nor {path.name}.hea exists.{there} {known}"
    if ending in {".dat", ".mat"}:
        return f"{path} is a signal file; its header {path.stem}.hea says how to read it. {known}"
    return f"{path} is not a recording of a known format ({ending or 'no ending'}). {known}"
