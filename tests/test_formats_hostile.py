"""Files that mean harm, and what every reader keeps: bounds on memory, no way out of the folder.

Names from outside never reach the file system unchecked, archives are not unpacked, and no reader
takes more than 10 times the file's size of memory.
"""

import gzip
import os
import tracemalloc
import zipfile

import numpy as np
import pyarrow as pa
import pyarrow.parquet as parquet
import pytest
from format_files import edf_file, wfdb_record

from infantmon.errors import RecordingError
from infantmon.formats import read, write_csv, write_edf, write_parquet, write_wfdb
from infantmon.formats.checks import SourceCheckError, check_source
from infantmon.formats.reading import open_source
from infantmon.formats.source import Listed, Source
from infantmon.model.channel import Channel
from infantmon.model.recording import Recording


def noise(count, seed=0):
    return np.random.default_rng(seed).integers(-100, 100, count)


def made(folder, form):
    """A recording of two channels in a format; return its name."""
    values = noise(3000)
    if form.startswith("wfdb"):
        fmt = form.partition("-")[2]
        counts = values // (50 if fmt == "8" else 1)
        wfdb_record(folder, "a", {"II": counts, "RESP": counts[::-1]}, fmt=fmt)
        return folder / "a"
    if form == "segments":
        wfdb_record(folder, "s", {"II": values, "RESP": values[::-1]})
        (folder / "a.hea").write_text("a/3 2 250 6010\ns 3000\n~ 10\ns 3000\n")
        return folder / "a"
    if form in {"edf", "bdf"}:
        signals = [("ECG", "mV", values.reshape(12, 250)), ("Resp", "ohm", values.reshape(12, 250))]
        onsets = [f"+{i if i < 6 else i + 60}" for i in range(12)]
        kind = form.upper() + "+D"
        return edf_file(folder / f"a.{form}", signals, bdf=form == "bdf", kind=kind, onsets=onsets)
    columns = {"time_s": np.arange(3000) / 250, "ecg [mV]": values / 7, "resp": values / 3}
    if form == "parquet":
        parquet.write_table(pa.table(columns), folder / "a.parquet")
        return folder / "a.parquet"
    rows = zip(*columns.values(), strict=True)
    text = ",".join(columns) + "\n" + "".join(f"{t:.3f},{x:.4f},{y:.4f}\n" for t, x, y in rows)
    (folder / "a.csv").write_text(text)
    return folder / "a.csv"


FORMS = ["wfdb-16", "wfdb-212", "wfdb-8", "wfdb-80", "wfdb-310", "wfdb-24", "segments"]
FORMS += ["edf", "bdf", "csv", "parquet"]


@pytest.mark.parametrize("held", [0, 8_000_000])
@pytest.mark.parametrize("form", FORMS)
def test_every_source_keeps_what_a_source_must_keep(tmp_path, monkeypatch, form, held):
    monkeypatch.setattr("infantmon.formats.source.HELD_SAMPLES", held)
    path = made(tmp_path, form)
    assert check_source(lambda: open_source(path)) == 5 + 2 * 8


class Wrong(Source):
    """A source that breaks one rule."""

    def __init__(self, path, fault):
        self.path, self.name, self.notes, self.started_at = path, "wrong", [], None
        self.channels = [Listed(0, "II", "mV", 250.0)] * (2 if fault == "doubled" else 1)
        self.fault = fault
        self.loads = 0

    def load(self, _):
        values = np.arange(9.0) + np.random.default_rng().normal() * (self.fault == "changing")
        if self.fault == "overlapping":
            channel = Channel(values, 250.0)
            channel.segments = (channel.segments[0], channel.segments[0])
            return channel
        if self.fault == "single":
            channel = Channel(values, 250.0)
            object.__setattr__(channel.segments[0], "samples", values.astype(np.float32))
            return channel
        return Channel(values, 250.0, "mV")


@pytest.mark.parametrize("fault", ["doubled", "changing", "overlapping", "single"])
def test_the_checks_find_a_source_that_breaks_a_rule(tmp_path, fault):
    with pytest.raises(SourceCheckError, match="this does not hold of the source"):
        check_source(lambda: Wrong(tmp_path, fault))
    assert check_source(lambda: Wrong(tmp_path, "")) == 5 + 8


@pytest.mark.parametrize("held", [0, 10**9])
@pytest.mark.parametrize(
    "form", ["16", "212", "8", "80", "310", "32", "edf", "bdf", "csv", "parquet"]
)
def test_no_reader_takes_more_than_ten_times_the_file(tmp_path, monkeypatch, form, held):
    monkeypatch.setattr("infantmon.formats.source.HELD_SAMPLES", held)
    values = noise(600_000)
    if form in {"edf", "bdf"}:
        signals = [("ECG", "mV", values.reshape(2400, 250))]
        path = edf_file(tmp_path / "a.edf", signals, bdf=form == "bdf")
    elif form == "csv":
        times = np.arange(150_000) / 250
        rows = "".join(f"{t:.3f},{x}\n" for t, x in zip(times, values, strict=False))
        path = tmp_path / "a.csv"
        path.write_text("time_s,ecg\n" + rows)
    elif form == "parquet":
        path = tmp_path / "a.parquet"
        floats = np.random.default_rng(0).normal(size=len(values))
        table = pa.table({"time_s": np.arange(len(values)) / 250, "ecg": floats})
        parquet.write_table(table, path, use_dictionary=False)
    else:
        wfdb_record(tmp_path, "a", {"II": (values // 50 if form == "8" else values)}, fmt=form)
        path = tmp_path / "a"
    size = sum(file.stat().st_size for file in tmp_path.iterdir())
    made_small = tmp_path / "small"
    made_small.mkdir()
    read(made(made_small, form if form in {"edf", "bdf", "csv", "parquet"} else f"wfdb-{form}"))
    tracemalloc.start()
    try:
        [segment] = read(path).ecg.segments
        for first in range(0, len(segment), 75_000):
            segment.read(first, min(first + 75_000, len(segment)))
        _, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    allowance = 16_000_000  # blocks that are read together, whatever the size of the file
    assert most <= 10 * size + allowance


def test_a_segment_named_by_a_way_out_of_the_folder_is_not_opened(tmp_path):
    inner = tmp_path / "inner"
    inner.mkdir()
    wfdb_record(tmp_path, "s", {"II": noise(50)})
    for name in ("../s", str(tmp_path / "s"), "inner/../../s"):
        (inner / "m.hea").write_text(f"m/1 1 250 50\n{name} 50\n")
        with pytest.raises(RecordingError, match=r"leads out of its folder|cannot be read"):
            read(inner / "m")
    (inner / "link.hea").symlink_to(tmp_path / "s.hea")
    (inner / "m.hea").write_text("m/1 1 250 50\nlink 50\n")
    with pytest.raises(RecordingError, match="leads out of its folder"):
        read(inner / "m")


@pytest.mark.parametrize("ending", [".edf", ".bdf", ".csv", ".parquet", ".hea"])
def test_devices_pipes_and_folders_are_not_read(tmp_path, ending):
    path = tmp_path / f"a{ending}"
    os.mkfifo(path)
    with pytest.raises(RecordingError, match="is a device or a pipe"):
        read(path)
    path.unlink()
    path.symlink_to("/dev/zero")
    with pytest.raises(RecordingError, match="is a device or a pipe"):
        read(path)
    path.unlink()
    path.mkdir()
    with pytest.raises(RecordingError, match="is a folder"):
        read(path)


def test_archives_are_not_unpacked(tmp_path):
    path = made(tmp_path, "csv")
    with gzip.open(tmp_path / "b.csv.gz", "wb") as file:
        file.write(path.read_bytes())
    with pytest.raises(RecordingError, match=r"not a recording of a known format \(\.gz\)"):
        read(tmp_path / "b.csv.gz")
    (tmp_path / "c.csv").write_bytes((tmp_path / "b.csv.gz").read_bytes())
    with pytest.raises(RecordingError):
        read(tmp_path / "c.csv")
    with zipfile.ZipFile(tmp_path / "d.zip", "w") as archive:
        archive.write(path, "../../evil.csv")
    with pytest.raises(RecordingError, match=r"known format \(\.zip\)"):
        read(tmp_path / "d.zip")


@pytest.mark.parametrize("form", ["edf", "csv", "parquet", "wfdb"])
def test_writing_over_a_link_replaces_the_link_and_not_what_it_leads_to(tmp_path, form):
    precious = tmp_path / "precious"
    precious.write_text("untouched")
    out = tmp_path / "out"
    out.mkdir()
    recording = Recording({"ecg": Channel(np.arange(500.0), 250.0, "mV", 0.0, "II")})
    name = "a.hea" if form == "wfdb" else f"a.{form}"
    (out / name).symlink_to(precious)
    if form == "wfdb":
        write_wfdb(recording, out, "a")
    else:
        write = {"edf": write_edf, "csv": write_csv, "parquet": write_parquet}[form]
        write(recording, out / name)
    assert precious.read_text() == "untouched"
    assert not (out / name).is_symlink()
    assert len(read(out / "a" if form == "wfdb" else out / name).ecg) == 500


def test_a_claim_of_a_million_million_samples_takes_no_memory(tmp_path):
    wfdb_record(tmp_path, "a", {"II": noise(100)}, length=str(10**12))
    (tmp_path / "m.hea").write_text(f"m/2 1 250 {2 * 10**12}\na {10**12}\na {10**12}\n")
    tracemalloc.start()
    try:
        for name in ("a", "m"):
            recording = read(tmp_path / name)
            assert recording.ecg.sample_count == 100 * (1 + (name == "m"))
        _, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert most < 60_000_000
