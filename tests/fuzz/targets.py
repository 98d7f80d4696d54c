"""What is fuzzed: for each reader how bytes become files, seeds that it can read, and its rules.

An input is one or more files, cut at `CUT`. A reader may raise the library's own errors and nothing
else, must answer within 5 s, and may take no more memory than 10 times the files (beside a fixed
allowance for what the libraries underneath take for any file).
"""

from __future__ import annotations

import math
import sys
import tempfile
import tracemalloc
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from format_files import edf_file, wfdb_record

from infantmon.errors import InfantmonError
from infantmon.formats.edf_annotations import TimedNote, read_edf_notes, write_edf_notes
from infantmon.formats.reading import read, read_csv, read_parquet
from infantmon.formats.wfdb_annotations import (
    NOTE,
    Annotation,
    read_annotations,
    write_annotations,
)

CUT = b"\xfe\xfd\xfc"
ALLOWANCE_BYTES = 4_000_000
MOST_TIMES = 10
LONGEST_S = 5


@dataclass(frozen=True)
class Target:
    """One reader.

    Attributes
    ----------
    names : tuple of str
        Files that an input is cut into, in order; the last takes the rest.
    read : callable
        Reads what is in a folder, whole.
    seeds : callable
        Makes readable files in a folder; yields the folder for each.
    words : tuple of str
        What the format is made of, for the fuzzer's dictionary.
    """

    names: tuple[str, ...]
    read: Callable[[Path], object]
    seeds: Callable[[Path], Iterator[None]]
    words: tuple[str, ...]

    def unpacked(self, data: bytes, folder: Path) -> None:
        """Write the files of an input."""
        parts = data.split(CUT, len(self.names) - 1)
        for name, part in zip(self.names, parts, strict=False):
            (folder / name).write_bytes(part)

    def packed_seeds(self, folder: Path) -> list[bytes]:
        """Return the seeds as inputs."""
        made = []
        for _ in self.seeds(folder):
            paths = [folder / name for name in self.names]
            made.append(CUT.join(path.read_bytes() if path.exists() else b"" for path in paths))
            for path in paths:
                path.unlink(missing_ok=True)
        return made


def run_once(target: Target, data: bytes) -> None:
    """Read one input; raise for whatever breaks a rule."""
    home = "/dev/shm" if Path("/dev/shm").is_dir() else None  # noqa: S108 - a faster scratch
    with tempfile.TemporaryDirectory(dir=home) as scratch, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        target.unpacked(data, Path(scratch))
        if tracemalloc.is_tracing():
            before, _ = tracemalloc.get_traced_memory()
            tracemalloc.reset_peak()
        try:
            target.read(Path(scratch))
        except InfantmonError as told:
            if not str(told).strip():
                raise AssertionError("an error without words") from told
        if tracemalloc.is_tracing():
            taken = tracemalloc.get_traced_memory()[1] - before
            most = ALLOWANCE_BYTES + MOST_TIMES * len(data)
            if taken > most:
                raise MemoryError(f"{taken} bytes were taken for files of {len(data)} bytes")


def _whole(recording: object) -> None:
    for channel in recording.channels.values():  # type: ignore[attr-defined]
        count = sum(len(segment.values) for segment in channel.segments)
        if count != channel.sample_count or not math.isfinite(channel.rate_hz):
            raise AssertionError(f"{channel!r} holds {count} samples")


# --- WFDB ---


def _read_wfdb(folder: Path) -> None:
    _whole(read(folder / "a"))


def _wfdb_seeds(folder: Path) -> Iterator[None]:
    ramp = [i % 50 for i in range(60)]
    for fmt in ("16", "212", "80", "310", "311", "24", "32", "61", "8"):
        wfdb_record(folder, "a", {"II": ramp, "RESP": ramp}, fmt=fmt, when="12:00:00 01/02/2021")
        yield
    wfdb_record(folder, "a", {"II": ramp * 2, "RESP": ramp}, per_frame=(2, 1), frame_hz="50")
    yield
    wfdb_record(folder, "a", {"II": ramp, "RESP": ramp}, extra=":3+4", gain="200(5)/mV")
    yield
    wfdb_record(folder, "b", {"II": ramp, "RESP": ramp})
    (folder / "a.hea").write_text("a/3 2 250 140\nb 60\n~ 20\nb 60\n")
    yield
    wfdb_record(folder, "b", {"II": ramp, "RESP": ramp}, per_frame=(2, 1), length="")
    (folder / "a.hea").write_text("a/1 2 250 30\nb 30\n")
    yield


# --- EDF and BDF ---


def _edf_counts(records: int, samples: int) -> np.ndarray:
    return np.arange(records * samples).reshape(records, samples) % 99


def _read_edf(folder: Path) -> None:
    _whole(read(folder / "a.edf"))


def _edf_seeds(folder: Path) -> Iterator[None]:
    signals = [("ECG II", "mV", _edf_counts(4, 25)), ("Impedance", "ohm", _edf_counts(4, 5))]
    path = folder / "a.edf"
    edf_file(path, signals)
    yield
    edf_file(path, signals, records=-1)
    yield
    edf_file(path, signals, kind="EDF+C", onsets=["+0", "+1", "+2", "+3"])
    yield
    edf_file(path, signals, kind="EDF+D", onsets=["+0", "+1", "+12", "+3600.5"])
    yield
    edf_file(path, signals, bdf=True, kind="BDF+C", onsets=["+0", "+1", "+2", "+3"])
    yield


# --- tables of text ---


def _read_csv(folder: Path) -> None:
    try:
        _whole(read(folder / "a.csv"))
    except InfantmonError as told:
        if "never assumed" not in str(told):
            raise
        _whole(read_csv(folder / "a.csv", rate_hz=250.0))


def _csv_seeds(folder: Path) -> Iterator[None]:
    def rows(form: str, sep: str = ",") -> str:
        return "".join(f"{form.format(i / 100)}{sep}{i % 7}{sep}{i % 5}\n" for i in range(30))

    told = (
        "time_s,ecg [mV],impedance [ohm]\n" + rows("{:.2f}"),
        "time;ecg;impedance\ns;mV;ohm\n" + rows("{:.2f}", ";").replace(".", ","),
        "timestamp,ecg_mV,resp\n" + rows("2021-03-04T05:06:{:06.3f}+01:00"),
        "time,ecg,resp\n" + rows("05:06:{:06.3f}"),
        "# made by hand\n\necg\tresp\n" + "1\t2\n" * 20,
        "ecg,resp\n1.5,2\n,3\nnan,4\n",
        'time_s,"ecg [mV]",resp\n' + rows("{:.2f}").replace(",3,", ',"3",'),
    )
    for text in told:
        (folder / "a.csv").write_text(text, encoding="utf-8")
        yield
    (folder / "a.csv").write_bytes(told[0].encode("utf-16"))
    yield


# --- Parquet ---


def _read_parquet(folder: Path) -> None:
    try:
        _whole(read(folder / "a.parquet"))
    except InfantmonError as told:
        if "never assumed" not in str(told):
            raise
        _whole(read_parquet(folder / "a.parquet", rate_hz=250.0))


def _parquet_seeds(folder: Path) -> Iterator[None]:
    import pyarrow as pa
    from pyarrow import parquet

    made = {"time_s": [i / 50 for i in range(40)], "ecg [mV]": [i % 7 for i in range(40)]}
    kinds = ("snappy", "none", "gzip", "zstd")
    for compression in kinds:
        parquet.write_table(pa.table(made), folder / "a.parquet", compression=compression)
        yield
    made["time_s"] = pa.array([i * 20 for i in range(40)], type=pa.timestamp("ms", tz="UTC"))
    made["resp"] = pa.array([None, 2.5] * 20)
    parquet.write_table(pa.table(made), folder / "a.parquet", use_dictionary=False)
    yield
    made["time_s"] = [f"2021-03-04T05:06:07.{i * 20:03d}Z" for i in range(40)]
    parquet.write_table(pa.table(made), folder / "a.parquet", version="1.0")
    yield


# --- annotations ---


def _read_marks(folder: Path) -> None:
    marks = read_annotations(folder / "a.atr", rate_hz=250.0)
    if len(list(marks)) != len(marks.time_s):
        raise AssertionError("marks and times differ in number")


def _marks_seeds(folder: Path) -> Iterator[None]:
    marks = [Annotation(9, 1), Annotation(2000, NOTE, "breath", 2, 3, 4), Annotation(2**20, 5)]
    write_annotations(marks, folder / "a.atr", rate_hz=250.0)
    yield
    (folder / "a.atr").write_bytes(bytes([5, 4, 0, 0xEC, 1, 0, 2, 0, 9, 4, 0, 0]))
    yield


def _read_notes(folder: Path) -> None:
    for note in read_edf_notes(folder / "a.edf"):
        if not math.isfinite(note.onset_s) or not note.text:
            raise AssertionError(f"{note!r}")


def _notes_seeds(folder: Path) -> Iterator[None]:
    signals = [("ECG II", "mV", _edf_counts(4, 25))]
    edf_file(
        folder / "a.edf", signals, kind="EDF+D", onsets=["+0", "+1", "+2\x14\x14\0+2.5\x14a", "+9"]
    )
    yield
    write_edf_notes([TimedNote(1.5, 2.0, "event"), TimedNote(3.0, None, "b")], folder / "a.edf")
    short = (folder / "a.edf").read_bytes()[: 512 + 60]
    (folder / "a.edf").write_bytes(short.replace(b"30000   ", b"30      "))
    yield


TARGETS = {
    "wfdb": Target(
        ("a.hea", "a.dat", "b.hea", "b.dat"),
        _read_wfdb,
        _wfdb_seeds,
        ("a.dat", "b.dat", "a/2", " 212", "16x2:1+8", "(0)/mV", "RESP", "II", "~ 10", "516", "311",
         "0", "-1", "1e9", "250/100(5)", "../a", "#", "12:00:00", "01/02/2021"),
    ),
    "edf": Target(
        ("a.edf",),
        _read_edf,
        _edf_seeds,
        ("EDF+C", "EDF+D", "EDF Annotations", "BDF Annotations", "\\xffBIOSEMI", "+0\\x14\\x14",
         "\\x15", "-1      ", "99999999", "Startdate 02-MAR-2021", "invalid samples in ", "nan"),
    ),
    "csv": Target(
        ("a.csv",),
        _read_csv,
        _csv_seeds,
        ("time_s", "time", "ecg", "[mV]", "impedance", "[ohm]", "T05:06:07", "+01:00", "nan", "inf",
         "1e400", "\\\"", ";", "\\x09", "\\x00", "\\xff\\xfe", "\\xef\\xbb\\xbf", "#", "0,5"),
    ),
    "parquet": Target(("a.parquet",), _read_parquet, _parquet_seeds, ("PAR1", "time_s", "ecg")),
    "wfdb-marks": Target(
        ("a.atr",), _read_marks, _marks_seeds, ("## time resolution: ", "\\x00\\xec", "\\x00\\xfc")
    ),
    "edf-notes": Target(
        ("a.edf",),
        _read_notes,
        _notes_seeds,
        ("EDF+C", "EDF+D", "EDF Annotations", "+0\\x14\\x14", "\\x15", "\\x14\\x00", "-1      "),
    ),
}  # fmt: skip
"""Every reader, by name."""
