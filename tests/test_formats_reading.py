"""The door: which format a name stands for, records joined in time, and what cannot be read."""

import os
import subprocess
import sys
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from format_files import edf_file, wfdb_record

from infantmon.errors import ArgumentError, InfantmonError, RecordingError
from infantmon.formats import read, write_edf, write_wfdb
from infantmon.model.channel import Channel
from infantmon.model.recording import Recording


def ramp(count, start=0):
    return [start + i % 90 for i in range(count)]


def record(folder, name, when, *, frames=500, roles=("II", "RESP"), **told):
    channels = {role: ramp(frames, i) for i, role in enumerate(roles)}
    return wfdb_record(folder, name, channels, when=when, **told)


@pytest.mark.parametrize("as_text", [True, False])
@pytest.mark.parametrize("name", ["a", "a.hea"])
def test_a_wfdb_record_is_named_with_or_without_its_ending(tmp_path, name, as_text):
    record(tmp_path, "a", "10:00:00 01/02/2024")
    path = tmp_path / name
    recording = read(str(path) if as_text else path)
    assert (recording.name, len(recording.ecg)) == ("a", 500)


def test_a_relative_name_is_read_from_where_we_are(tmp_path, monkeypatch):
    record(tmp_path, "a", "")
    monkeypatch.chdir(tmp_path)
    assert len(read("a").ecg) == 500


@pytest.mark.parametrize("ending", [".edf", ".EDF", ".rec.edf"])
def test_endings_are_known_in_either_case(tmp_path, ending):
    path = edf_file(tmp_path / f"a{ending}", [("ECG", "mV", np.zeros((3, 250), dtype=int))])
    assert len(read(path).ecg) == 750


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("nothing", "no recording .*nothing: neither it nor nothing.hea exists"),
        ("nothing.edf", "nothing.edf does not exist; an EDF or BDF file is expected"),
        ("nothing.csv", "nothing.csv does not exist; a table of text"),
        ("nothing.hea", "nothing.hea: neither it nor"),
        ("a.dat", "is a signal file; its header a.hea says how to read it"),
        ("notes.txt", r"is not a recording of a known format \(\.txt\)"),
        (".", r"is a folder, not a recording\. It holds the WFDB records a"),
        ("folder.edf", "folder.edf is a folder"),
        ("b", r"There is b\.edf"),
        ("pipe.csv", "is a device or a pipe"),
    ],
)
def test_a_name_that_is_no_recording_tells_what_to_pass(tmp_path, name, words):
    record(tmp_path, "a", "")
    (tmp_path / "notes.txt").write_text("hello")
    (tmp_path / "folder.edf").mkdir()
    (tmp_path / "b.edf").write_text("hello")
    os.mkfifo(tmp_path / "pipe.csv")
    with pytest.raises(RecordingError, match=words):
        read(tmp_path / name)


def test_no_name_at_all():
    with pytest.raises(ArgumentError, match="no recording was named"):
        read()


def test_records_are_joined_in_the_order_of_time_with_a_hole_between(tmp_path):
    record(tmp_path, "late", "10:00:10 01/02/2024")
    record(tmp_path, "early", "10:00:00 01/02/2024")
    recording = read(tmp_path / "late", tmp_path / "early")
    assert recording.name == "early + late"
    assert recording.started_at.isoformat() == "2024-02-01T10:00:00"
    for channel in (recording.ecg, recording.impedance):
        assert [(s.first_tick, s.end_tick) for s in channel.segments] == [(0, 500), (2500, 3000)]
        assert list(channel.holes_s()) == [(2.0, 10.0)]


def test_records_that_follow_each_other_leave_no_hole(tmp_path):
    record(tmp_path, "a", "23:59:58 31/12/2023")
    record(tmp_path, "b", "00:00:00 01/01/2024")
    assert list(read(tmp_path / "a", tmp_path / "b").ecg.holes_s()) == []


def test_formats_may_be_mixed(tmp_path):
    record(tmp_path, "a", "10:00:00 01/02/2024")
    signals = [("II", "mV", np.zeros((4, 250), dtype=int))]
    path = edf_file(tmp_path / "b.edf", signals, when=("01.02.24", "10.01.00"))
    recording = read(path, tmp_path / "a")
    assert list(recording.ecg.holes_s()) == [(2.0, 60.0)]
    assert recording.impedance.end_s == 2.0
    assert "no impedance in b" in recording.notes


def test_an_overlap_within_the_rounding_of_whole_seconds_is_put_after_and_told(tmp_path):
    record(tmp_path, "a", "10:00:00 01/02/2024", frames=650)
    record(tmp_path, "b", "10:00:02 01/02/2024")
    recording = read(tmp_path / "a", tmp_path / "b")
    assert list(recording.ecg.holes_s()) == []
    assert len(recording.ecg) == 1150
    assert any("b begins 0.600 s before a ends" in note for note in recording.notes)


@pytest.mark.parametrize("when", ["10:00:01 01/02/2024", "10:00:01.9 01/02/2024"])
def test_records_that_overlap_are_one_clear_error(tmp_path, when):
    record(tmp_path, "a", "10:00:00 01/02/2024")
    record(tmp_path, "b", when)
    with pytest.raises(RecordingError, match="before a ends; records of one infant must not"):
        read(tmp_path / "a", tmp_path / "b")


@pytest.mark.parametrize("form", ["wfdb", "edf"])
def test_a_start_time_that_is_rounded_overlaps_nothing(tmp_path, form):
    """At 360 Hz a piece seldom begins at a whole microsecond."""
    values, zero = np.sin(np.arange(9_000) / 50.0), datetime.fromisoformat("2024-02-01T10:00:00.5")
    places = [0, 2_345, 4_561, 9_000]
    paths = []
    for number, (first, end) in enumerate(pairwise(places)):
        channel = Channel(values[first:end], 360.0, "mV", name="II")
        start = zero + timedelta(seconds=first / 360.0)
        piece = Recording({"ecg": channel}, name=f"p{number}", started_at=start)
        paths.append(tmp_path / (f"p{number}.edf" if form == "edf" else f"p{number}"))
        if form == "edf":
            write_edf(piece, paths[-1])
        else:
            write_wfdb(piece, tmp_path, f"p{number}")
    ecg = read(*paths).ecg
    assert [(s.first_tick, s.end_tick) for s in ecg.segments] == list(pairwise(places))
    np.testing.assert_allclose(ecg.between(0.0, 25.0)[1], values, atol=1e-4)


def test_a_record_without_a_start_time_cannot_be_joined(tmp_path):
    record(tmp_path, "a", "10:00:00 01/02/2024")
    record(tmp_path, "b", "10:00:30")
    with pytest.raises(RecordingError, match="b has no start date and time"):
        read(tmp_path / "a", tmp_path / "b")


@pytest.mark.parametrize("change", [{"frame_hz": "125"}, {"gain": "100/uV"}, {"frame_hz": "250.1"}])
def test_records_of_other_rates_or_units_cannot_be_joined(tmp_path, change):
    record(tmp_path, "a", "10:00:00 01/02/2024")
    record(tmp_path, "b", "11:00:00 01/02/2024", **change)
    with pytest.raises(RecordingError, match="only equal rates and units can be joined"):
        read(tmp_path / "a", tmp_path / "b")


def test_another_lead_in_the_next_record_is_told(tmp_path):
    record(tmp_path, "a", "10:00:00 01/02/2024")
    record(tmp_path, "b", "11:00:00 01/02/2024", roles=("V", "RESP"))
    assert "ecg is V in b, II before" in read(tmp_path / "a", tmp_path / "b").notes


def one_channel(folder, name, role, when="", **more):
    record(folder, name, when, roles=(role,), **more)
    return folder / name


@pytest.mark.parametrize("when", ["", "10:00:00 01/02/2024"])
def test_records_of_other_channels_lie_side_by_side(tmp_path, when):
    lead = one_channel(tmp_path, "lead", "II", when)
    chest = one_channel(tmp_path, "chest", "RESP", when, frame_hz="50", frames=100)
    recording = read(lead, chest)
    assert (recording.ecg.rate_hz, recording.impedance.rate_hz) == (250.0, 50.0)
    assert (recording.ecg.start_s, recording.impedance.start_s) == (0.0, 0.0)
    together = "lead, chest have no start times; they are taken to begin together"
    assert (together in recording.notes) == (not when)
    assert not [note for note in recording.notes if "no ecg" in note or "no chest" in note]


def test_one_of_other_channels_lies_where_its_start_time_says(tmp_path):
    one_channel(tmp_path, "a", "II", "10:00:00 01/02/2024", frames=2500)
    one_channel(tmp_path, "b", "RESP", "10:00:01.5 01/02/2024", frames=2500)
    one_channel(tmp_path, "c", "II", "10:00:20 01/02/2024")
    recording = read(*(tmp_path / name for name in "abc"))
    assert recording.impedance.start_s == 1.5
    assert list(recording.ecg.holes_s()) == [(10.0, 20.0)]
    assert "no impedance in c" in recording.notes


def test_records_without_start_times_are_not_joined_if_a_channel_is_in_two(tmp_path):
    record(tmp_path, "a", "")
    chest = one_channel(tmp_path, "b", "RESP")
    with pytest.raises(RecordingError, match="cannot be joined with others that hold the same"):
        read(tmp_path / "a", chest)


def test_a_name_is_asked_only_of_the_records_that_have_such_a_channel(tmp_path):
    lead, chest = one_channel(tmp_path, "a", "V"), one_channel(tmp_path, "b", "belly")
    assert read(lead, chest, ecg="V", impedance="belly").impedance.name == "belly"
    with pytest.raises(RecordingError, match=r"a\.hea has no channel 'W' to take as ecg"):
        read(lead, chest, ecg="W", impedance="belly")
    other = one_channel(tmp_path, "c", "II")
    with pytest.raises(RecordingError, match=r"c\.hea has no channel 'V' to take as ecg"):
        read(lead, other, ecg="V")


def test_importing_the_formats_loads_no_heavy_package():
    code = (
        "import sys, infantmon.formats; "
        "print([m for m in ('wfdb', 'pandas', 'matplotlib', 'edfio') if m in sys.modules])"
    )
    root = Path(__file__).parents[1]
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=root, capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("seed", range(60))
@pytest.mark.parametrize("name", ["a", "b.edf", "c.csv"])
def test_a_damaged_file_is_read_in_part_or_one_error_of_ours(tmp_path, name, seed):
    rng = np.random.default_rng(seed)
    record(tmp_path, "a", "10:00:00 01/02/2024", frames=60)
    counts = rng.integers(-999, 999, (3, 50))
    edf_file(tmp_path / "b.edf", [("ECG", "mV", counts)], onsets=["+0", "+1", "+9"], kind="EDF+D")
    rows = "".join(f"{i / 50},{i % 7}\n" for i in range(60))
    (tmp_path / "c.csv").write_text("time_s,ecg [mV]\n" + rows)
    target = tmp_path / ("a.hea" if name == "a" else name)
    data = bytearray(target.read_bytes())
    for _ in range(rng.integers(1, 6)):
        place = int(rng.integers(len(data)))
        if rng.random() < 0.3:
            del data[place : place + int(rng.integers(1, 40))]
        else:
            data[place] = int(rng.choice([rng.integers(256), ord("9"), ord("-"), 0, ord(" "), 10]))
        data = data or bytearray(b"x")
    target.write_bytes(bytes(data))
    try:
        recording = read(tmp_path / name)
    except InfantmonError:
        return
    assert sum(len(c) for c in recording.channels.values()) <= 10 * max(len(data), 300)
