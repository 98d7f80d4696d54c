"""Recordings copied without what tells whose they are: samples as before, names and dates gone."""

import math
from datetime import date, datetime, timedelta

import numpy as np
import pyarrow as pa
import pyarrow.parquet as parquet
import pytest
from format_files import edf_file, wfdb_record

from infantmon.cli import main
from infantmon.errors import ArgumentError, RecordingError
from infantmon.formats import read
from infantmon.formats.anonymous import plain_label
from infantmon.formats.deidentifying import deidentify
from infantmon.formats.wfdb_files import wfdb_package

SECRET = "Quillfeather"  # noqa: S105 - no password
"""Stands for whatever could identify; no copy may hold it."""
START = datetime(2021, 3, 2, 4, 5, 6)  # noqa: DTZ001 - as the files have it


def ramp(count, start=0):
    return [start + i % 90 for i in range(count)]


def holds_secret(folder):
    return [
        path.name
        for path in folder.rglob("*")
        if SECRET.encode() in path.name.encode() + path.read_bytes() or b"2021" in path.read_bytes()
    ]


def same_samples(before, after):
    assert set(before.channels) == set(after.channels)
    for role, channel in before.channels.items():
        other = after.channels[role]
        assert (other.rate_hz, other.unit) == (channel.rate_hz, channel.unit)
        assert [s.first_tick for s in other.segments] == [s.first_tick for s in channel.segments]
        for mine, theirs in zip(channel.segments, other.segments, strict=True):
            np.testing.assert_array_equal(mine.values, theirs.values)


def moved_by_whole_days(before, after):
    away = after.started_at - before.started_at
    assert away % timedelta(days=1) == timedelta(0)
    assert timedelta(days=366) <= abs(away) <= timedelta(days=3652)


def spoilt_edf(path, *, bdf=False, kind="EDF+D"):
    """An EDF+ whose every free field, and an annotation, holds the secret."""
    counts = np.arange(400).reshape(4, 100) % 60
    signals = [("ECG II", "mV", counts), (f"{SECRET}", "ohm", counts[:, :50])]
    onsets = ["+0", "+1", "+7", "+8"]
    edf_file(path, signals, bdf=bdf, kind=kind, onsets=onsets, when=("02.03.21", "04.05.06"))
    data = bytearray(path.read_bytes())
    data[8:88] = f"{SECRET} F 02-MAR-2021 {SECRET}".encode().ljust(80)
    data[88:168] = f"Startdate 02-MAR-2021 {SECRET} X X".encode().ljust(80)
    data[256 + 48 : 256 + 48 + 80] = SECRET.encode().ljust(80)  # transducer of the first signal
    data[256 + 3 * 136 : 256 + 3 * 136 + 80] = f"HP:0.1Hz {SECRET}".encode().ljust(80)
    path.write_bytes(bytes(data))
    return path


@pytest.mark.parametrize("bdf", [False, True])
def test_an_edf_keeps_its_samples_and_times_and_loses_its_names(tmp_path, bdf):
    source = spoilt_edf(
        tmp_path / f"{SECRET}.{'bdf' if bdf else 'edf'}", bdf=bdf, kind="BDF+D" if bdf else "EDF+D"
    )
    out = tmp_path / "out"
    out.mkdir()
    assert SECRET.encode() in source.read_bytes()
    [done] = deidentify([source], out)
    assert [path.name for path in done.paths] == [f"recording{source.suffix}"]
    assert holds_secret(out) == []
    before = read(source, impedance=SECRET)
    after = read(done.paths[0], impedance="ch2")
    same_samples(before, after)
    moved_by_whole_days(before, after)


def test_notes_on_invalid_samples_stay_and_all_other_notes_go(tmp_path):
    source = tmp_path / "a.edf"
    counts = np.arange(400).reshape(4, 100) % 60
    notes = ["+0", f"+1\x14\x14\0+1.2\x15.3\x14{SECRET}", "+2", "+3"]
    edf_file(source, [("ECG", "mV", counts)], kind="EDF+C", onsets=["+0", "+1", "+2", "+3"])
    room = b"+2\x14\x14\0".ljust(24, b"\0")
    assert room in source.read_bytes()
    # 24 bytes a record are too few for names: the notes are spread over two records of a wide file
    wide = tmp_path / "wide.edf"
    import edfio

    signal = edfio.EdfSignal(np.arange(400.0), 100, label="ECG", physical_dimension="mV")
    marks = [
        edfio.EdfAnnotation(1.2, 0.3, "invalid samples in ECG"),
        edfio.EdfAnnotation(2.5, None, f"{SECRET} cried"),
        edfio.EdfAnnotation(3.0, 1.0, f"invalid samples in {SECRET}"),
        edfio.EdfAnnotation(3.9, 0.1, "not recorded in ECG"),
    ]
    patient = edfio.Patient(name=SECRET, birthdate=date(2021, 1, 2))
    told = edfio.Recording(startdate=date(2021, 3, 2), hospital_administration_code=SECRET)
    edfio.Edf(
        [signal], annotations=marks, patient=patient, recording=told, starttime=START.time()
    ).write(wide)
    out = tmp_path / "out"
    out.mkdir()
    [done] = deidentify([wide], out)
    assert any("2 annotations" in words for words in done.left_out)
    assert holds_secret(out) == []
    before, after = read(wide), read(done.paths[0])
    same_samples(before, after)
    assert np.isnan(after.ecg.segments[0].values).sum() == 30
    assert len(after.ecg) == 390
    assert notes  # the narrow file stays readable too
    deidentify([source], out, name="narrow")
    same_samples(read(source), read(out / "narrow.edf"))


@pytest.mark.parametrize("fmt", ["16", "212", "24"])
def test_a_wfdb_record_loses_names_comments_and_the_bytes_before_its_samples(tmp_path, fmt):
    header = wfdb_record(
        tmp_path,
        SECRET,
        {"II": ramp(300), f"RESP {SECRET}": ramp(300, -40)},
        fmt=fmt,
        when="04:05:06 02/03/2021",
        extra="+24",
    )
    data = tmp_path / f"{SECRET}.dat"
    data.write_bytes(SECRET.encode().ljust(24) + data.read_bytes())
    header.write_text(f"# made for {SECRET}\n" + header.read_text() + f"#Name: {SECRET}\n")
    out = tmp_path / "out"
    out.mkdir()
    [done] = deidentify([tmp_path / SECRET], out, name="r")
    assert [path.name for path in done.paths] == ["r.dat", "r.hea"]
    assert any("2 comment lines" in words for words in done.left_out)
    assert holds_secret(out) == []
    before = read(tmp_path / SECRET, impedance=f"RESP {SECRET}")
    after = read(out / "r", impedance="ch2")
    same_samples(before, after)
    moved_by_whole_days(before, after)


def test_segments_get_new_names_too(tmp_path):
    for name in (f"{SECRET}1", f"{SECRET}2"):
        wfdb_record(tmp_path, name, {"II": ramp(50), "RESP": ramp(50, -40)})
    master = f"{SECRET}/4 2 250 170 04:05:06.5 02/03/2021\n"
    master += f"{SECRET}1 50\n~ 20\n{SECRET}2 50\n{SECRET}1 50\n"
    (tmp_path / f"{SECRET}.hea").write_text(master)
    out = tmp_path / "out"
    out.mkdir()
    [done] = deidentify([tmp_path / f"{SECRET}.hea"], out)
    assert len(done.paths) == 5
    assert holds_secret(out) == []
    same_samples(read(tmp_path / SECRET), read(out / "recording"))
    moved_by_whole_days(read(tmp_path / SECRET), read(out / "recording"))


def test_a_flac_file_loses_its_tags(tmp_path):
    with wfdb_package() as wfdb:
        wfdb.wrsamp(
            *("a", 250, ["mV", "ohm"], ["II", "RESP"]),
            d_signal=np.array([ramp(9000), ramp(9000, -40)]).T,
            fmt=["516", "516"],
            adc_gain=[100.0, 100.0],
            baseline=[0, 0],
            write_dir=str(tmp_path),
        )
    data = (tmp_path / "a.dat").read_bytes()
    tag = SECRET.encode()
    block = bytes([2]) + len(tag).to_bytes(3, "big") + tag  # an application block
    first = 4 + 4 + 34
    assert data[4] & 0x7F == 0
    opened = bytes([data[4] & 0x7F]) + data[5:first]
    (tmp_path / "a.dat").write_bytes(data[:4] + opened + block + data[first:])
    out = tmp_path / "out"
    out.mkdir()
    deidentify([tmp_path / "a"], out)
    assert holds_secret(out) == []
    same_samples(read(tmp_path / "a"), read(out / "recording"))


@pytest.mark.parametrize("stamped", [False, True])
def test_a_table_keeps_its_columns_of_numbers(tmp_path, stamped):
    rows = []
    for i in range(60):
        moment = START + timedelta(milliseconds=20 * i)
        elapsed = f"{i / 50:.2f}".replace(".", ",")
        when = moment.isoformat(timespec="milliseconds") if stamped else elapsed
        rows.append(f"{when};{i % 7},5;{'' if i == 9 else i % 5};{SECRET}\n")
    source = tmp_path / f"{SECRET}.csv"
    source.write_text(f"# {SECRET}\ntime;ecg [mV];{SECRET} ;note\n" + "".join(rows))
    out = tmp_path / "out"
    out.mkdir()
    [done] = deidentify([source], out)
    assert holds_secret(out) == []
    assert any("1 columns that are not numbers" in words for words in done.left_out)
    before = read(source, impedance=SECRET)
    after = read(done.paths[0], impedance="ch3")
    same_samples(before, after)
    if stamped:
        moved_by_whole_days(before, after)


def test_a_parquet_file_keeps_its_columns_of_numbers(tmp_path):
    made = {
        "timestamp": pa.array(
            [START + timedelta(milliseconds=20 * i) for i in range(60)], type=pa.timestamp("ns")
        ),
        "ecg [mV]": [math.sin(i) for i in range(60)],
        SECRET: [i % 5 for i in range(60)],
        "note": [SECRET] * 60,
    }
    source = tmp_path / "a.parquet"
    whole = pa.table(made).replace_schema_metadata({"infant": SECRET})
    parquet.write_table(whole, source)
    assert SECRET.encode() in source.read_bytes()
    out = tmp_path / "out"
    out.mkdir()
    [done] = deidentify([source], out)
    assert SECRET.encode() not in done.paths[0].read_bytes()
    assert parquet.read_schema(done.paths[0]).names == ["time", "ecg [mV]", "ch3"]
    before, after = read(source, impedance=SECRET), read(done.paths[0], impedance="ch3")
    same_samples(before, after)
    moved_by_whole_days(before, after)


def test_records_of_one_infant_stay_apart_by_the_right_time_and_the_shift_is_drawn_anew(tmp_path):
    for number, hour in enumerate((4, 9)):
        when = f"{hour:02d}:05:06 0{number + 1}/03/2021"
        wfdb_record(tmp_path, f"n{number}", {"II": ramp(300), "RESP": ramp(300)}, when=when)
    starts = []
    for trial in ("one", "two", "three"):
        out = tmp_path / trial
        out.mkdir()
        deidentify([tmp_path / "n0", tmp_path / "n1"], out, name="x")
        first, second = read(out / "x-1").started_at, read(out / "x-2").started_at
        assert second - first == timedelta(days=1, hours=5)
        starts.append(first)
    assert len(set(starts)) > 1  # three equal draws of 3287: once in ten million


@pytest.mark.parametrize(
    ("label", "stays"),
    [
        ("ECG II", True),
        ("II", True),
        ("ecg_lead_V5", True),
        ("Resp. Imp", True),
        ("SpO2", True),
        ("Abdomen_3", True),
        ("EDF Annotations", False),
        (SECRET, False),
        (f"ECG {SECRET}", False),
        ("ECG 19991231", False),
        ("ECG 12.03.99", True),
        ("", False),
        ("ÄCG", False),
    ],
)
def test_only_labels_made_of_usual_words_stay(label, stays):
    assert plain_label(label, 4) == (label if stays else "ch4")


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (" 250 ", f" 250;{SECRET} ", "the sampling rate is|cannot be read|sampling rate of"),
        ("04:05:06", f"04:05:06{SECRET}", "the time of the start is|cannot be read"),
        ("02/03/2021", "99/99/2021", "no date|cannot be read"),
        (" 12 0 0", f" {SECRET} 0 0", "a number of a signal is|cannot be read|not of the form"),
    ],
)
def test_a_header_field_of_another_form_stops_it_and_nothing_is_written(tmp_path, old, new, words):
    counts = {"II": ramp(50), "RESP": ramp(50)}
    header = wfdb_record(tmp_path, "a", counts, when="04:05:06 02/03/2021")
    text = header.read_text()
    assert old in text
    header.write_text(text.replace(old, new, 1))
    out = tmp_path / "out"
    out.mkdir()
    with pytest.raises(RecordingError, match=words):
        deidentify([tmp_path / "a"], out)
    assert not list(out.iterdir())


@pytest.mark.parametrize("name", ["a", "copy"])
def test_copies_never_lie_among_originals(tmp_path, name):
    originals, linked = tmp_path / "originals", tmp_path / "linked"
    originals.mkdir()
    linked.mkdir()
    wfdb_record(originals, "a", {"II": ramp(50)})
    (linked / "a.hea").symlink_to(originals / "a.hea")
    before = sorted(originals.iterdir())
    for path in (originals / "a", linked / "a.hea"):
        with pytest.raises(ArgumentError, match="copies would lie among originals"):
            deidentify([path], originals / ".." / "originals", name=name)
    assert sorted(originals.iterdir()) == before


def test_no_copy_replaces_another(tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    for name in ("a", "b"):
        wfdb_record(tmp_path, name, {"II": ramp(50)})
    deidentify([tmp_path / "a"], out, name="copy-2")
    before = {path: path.read_bytes() for path in out.iterdir()}
    with pytest.raises(ArgumentError, match=r"copy-2\.hea is there already"):
        deidentify([tmp_path / "a", tmp_path / "b"], out, name="copy")
    assert {path: path.read_bytes() for path in out.iterdir()} == before


def test_what_cannot_be_copied_is_told(tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    wfdb_record(tmp_path, "a", {"II": ramp(50)})
    with pytest.raises(ArgumentError, match="cannot name a recording"):
        deidentify([tmp_path / "a"], out, name="../a")
    with pytest.raises(RecordingError, match="no recording"):
        deidentify([tmp_path / "b"], out)


def test_the_command_writes_copies_and_says_what_it_left_out(tmp_path, capsys):
    spoilt_edf(tmp_path / "a.edf")
    assert main(["deidentify", str(tmp_path / "a.edf"), "--out", str(tmp_path / "out")]) == 0
    told = capsys.readouterr().out
    assert "recording.edf" in told
    assert "left out: patient, recording" in told
    assert "no program can promise" in told
    assert holds_secret(tmp_path / "out") == []
    assert main(["deidentify", str(tmp_path / "b"), "--out", str(tmp_path / "out")]) == 2
