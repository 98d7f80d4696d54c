"""Annotations in and out: WFDB and EDF+, our own and those of others, sample for sample."""

import math
from datetime import datetime

import numpy as np
import pytest
from format_files import edf_file, wfdb_record
from hypothesis import given, settings
from hypothesis import strategies as st

from infantmon.cli import main
from infantmon.demo import demo_plan
from infantmon.errors import ArgumentError, RecordingError
from infantmon.formats import write_wfdb
from infantmon.formats.edf_annotations import TimedNote, read_edf_notes, write_edf_notes
from infantmon.formats.marking import (
    BEAT,
    BREATH,
    EventNote,
    beat_annotations,
    breath_annotations,
    event_annotations,
    timed_notes,
    write_marks,
)
from infantmon.formats.wfdb_annotations import (
    NORMAL,
    NOTE,
    UNCLASSIFIED,
    Annotation,
    read_annotations,
    write_annotations,
)
from infantmon.formats.wfdb_files import wfdb_package
from infantmon.reviewing import review
from infantmon.simulate import demo_scenario, simulate_night

MARKS = st.builds(
    Annotation,
    sample=st.integers(0, 2**33),
    code=st.integers(1, 49),
    text=st.text(st.characters(blacklist_characters="\0", codec="utf-8"), max_size=40),
    subtype=st.integers(-128, 127),
    channel=st.integers(0, 255),
    number=st.integers(-128, 127),
)


@given(marks=st.lists(MARKS, max_size=12), rate_hz=st.sampled_from([250.0, 62.5, 1000.0, 128.2]))
@settings(max_examples=60, deadline=None)
def test_any_marks_out_and_in_again(tmp_path_factory, marks, rate_hz):
    ordered = sorted(marks, key=lambda mark: mark.sample)
    path = tmp_path_factory.mktemp("marks") / "a.atr"
    write_annotations(ordered, path, rate_hz=rate_hz)
    again = read_annotations(path)
    assert (list(again), again.rate_hz) == (ordered, rate_hz)
    np.testing.assert_array_equal(again.time_s, [mark.sample / rate_hz for mark in ordered])


def test_the_wfdb_package_reads_what_is_written(tmp_path):
    marks = [
        Annotation(5, NORMAL),
        Annotation(5, NOTE, "breath", 3, 2, 1),
        Annotation(3_000_000_000, UNCLASSIFIED, "", -1, 2, 1),
    ]
    write_annotations(marks, tmp_path / "a.qrs", rate_hz=62.5)
    with wfdb_package() as wfdb:
        told = wfdb.rdann(str(tmp_path / "a"), "qrs")
    assert told.fs == 62.5
    assert told.sample.tolist() == [mark.sample for mark in marks]
    assert told.symbol == ["N", '"', "Q"]
    assert told.aux_note == ["", "breath", ""]
    assert told.subtype.tolist() == [0, 3, -1]
    assert told.chan.tolist() == [0, 2, 2]
    assert told.num.tolist() == [0, 1, 1]


def test_what_the_wfdb_package_writes_is_read(tmp_path):
    samples = np.array([7, 700, 70_000, 7_000_000])
    with wfdb_package() as wfdb:
        wfdb.wrann(
            "a",
            "atr",
            samples,
            symbol=["N", "V", "+", '"'],
            subtype=np.array([0, 2, 0, 0]),
            chan=np.array([0, 1, 1, 0]),
            num=np.array([0, 0, 3, 3]),
            aux_note=["", "", "(AFIB", "odd"],
            fs=360,
            write_dir=str(tmp_path),
        )
    told = read_annotations(tmp_path / "a.atr")
    assert told.rate_hz == 360.0
    assert list(told) == [
        Annotation(7, 1),
        Annotation(700, 5, "", 2, 1),
        Annotation(70_000, 28, "(AFIB", 0, 1, 3),
        Annotation(7_000_000, 22, "odd", 0, 0, 3),
    ]


def test_a_rate_is_never_assumed(tmp_path):
    path = tmp_path / "a.atr"
    path.write_bytes(bytes([5, 1 << 2, 0, 0]))
    with pytest.raises(RecordingError, match="none is assumed"):
        read_annotations(path)
    assert read_annotations(path, rate_hz=50).time_s.tolist() == [0.1]
    wfdb_record(tmp_path, "a", {"II": [1] * 50}, frame_hz="125")
    assert read_annotations(path).time_s.tolist() == [0.04]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "without its end mark after 0 marks"),
        (b"\x05\x04", "without its end mark after 1 marks"),
        (b"\x05\x04\x07\xfcab", "ends inside a comment"),
        (b"\x02\xfcab\0\0", "no annotation file in the MIT format"),
        (b"\x05\x04\x00\xec\x01", r"cannot be read|without its end mark"),
        (b"\x05\x04\x00\xe0\0\0", "damaged .at byte 2"),
    ],
)
def test_a_damaged_file_is_one_clear_error(tmp_path, data, words):
    (tmp_path / "a.atr").write_bytes(data)
    with pytest.raises(RecordingError, match=words):
        read_annotations(tmp_path / "a.atr", rate_hz=250)


@pytest.mark.parametrize(
    ("mark", "words"),
    [
        (Annotation(1, 50), "the code 50"),
        (Annotation(1, 0), "the code 0"),
        (Annotation(1, 1, "x" * 256), "the text"),
        (Annotation(1, 1, "a\0b"), "the text"),
        (Annotation(1, 1, "", 128), "the subtype 128"),
        (Annotation(1, 1, "", 0, 256), "the channel 256"),
        (Annotation(1, 1, "", 0, 0, -129), "the number -129"),
    ],
)
def test_what_the_format_cannot_hold_is_refused(tmp_path, mark, words):
    with pytest.raises(ArgumentError, match=words):
        write_annotations([mark], tmp_path / "a.atr", rate_hz=250)
    assert not list(tmp_path.iterdir())


NOTES = st.builds(
    TimedNote,
    onset_s=st.floats(-1e9, 1e9, allow_subnormal=False),
    length_s=st.none() | st.floats(0, 1e9, allow_subnormal=False),
    text=st.text(
        st.characters(blacklist_characters="\0\x14\x15", codec="utf-8"), min_size=1, max_size=30
    ),
)


@given(notes=st.lists(NOTES, max_size=12))
@settings(max_examples=60, deadline=None)
def test_any_notes_out_and_in_again(tmp_path_factory, notes):
    path = tmp_path_factory.mktemp("notes") / "a.edf"
    write_edf_notes(notes, path)
    assert read_edf_notes(path) == sorted(notes, key=lambda note: note.onset_s)


def test_other_packages_read_the_notes(tmp_path):
    import edfio
    import pyedflib

    notes = [TimedNote(0.5, None, "breath"), TimedNote(12.25, 3.125, "event 1: apnea µ")]
    path = write_edf_notes(notes, tmp_path / "a.edf", started_at=datetime(2021, 3, 2, 4, 5, 6))  # noqa: DTZ001
    told = edfio.read_edf(path)
    assert [(a.onset, a.duration, a.text) for a in told.annotations] == [
        (note.onset_s, note.length_s, note.text) for note in notes
    ]
    assert str(told.startdatetime) == "2021-03-02 04:05:06"
    with pyedflib.EdfReader(str(path)) as other:
        onsets, lengths, texts = other.readAnnotations()
    assert onsets.tolist() == [0.5, 12.25]
    assert lengths.tolist() == [-1.0, 3.125]
    assert texts.tolist() == ["breath", "event 1: apnea µ"]


def test_many_notes_are_spread_over_records(tmp_path):
    notes = [TimedNote(i / 7, None, BEAT) for i in range(20_000)]
    write_edf_notes(notes, tmp_path / "a.edf")
    assert (tmp_path / "a.edf").stat().st_size > 120_000
    assert read_edf_notes(tmp_path / "a.edf") == notes


def test_notes_beside_signals_count_from_the_first_record(tmp_path):
    counts = np.zeros((2, 50), dtype=int)
    path = edf_file(tmp_path / "a.edf", [("ECG", "mV", counts)], onsets=["+5", "+6"], kind="EDF+D")
    data = path.read_bytes().replace(b"+6\x14\x14\0" + bytes(8), b"+6\x14\x14\0+6.5\x14hi\x14")
    path.write_bytes(data)
    assert read_edf_notes(path) == [TimedNote(1.5, None, "hi")]


@pytest.mark.parametrize(
    ("note", "words"),
    [
        (TimedNote(math.nan, None, "x"), "onset_s of a note is nan s"),
        (TimedNote(0.0, -1.0, "x"), "length_s of a note is -1 s"),
        (TimedNote(0.0, None, "a\x14b"), "0x14"),
        (TimedNote(0.0, None, ""), "a text without"),
        (TimedNote(0.0, None, "x" * 60_000), "Shorten it"),
    ],
)
def test_a_note_that_cannot_be_written_is_refused(tmp_path, note, words):
    with pytest.raises(ArgumentError, match=words):
        write_edf_notes([note], tmp_path / "a.edf")
    assert not list(tmp_path.iterdir())


def test_a_plain_edf_has_no_notes(tmp_path):
    path = edf_file(tmp_path / "a.edf", [("ECG", "mV", np.zeros((2, 50), dtype=int))])
    with pytest.raises(RecordingError, match="only EDF\\+ has annotations"):
        read_edf_notes(path)


@pytest.fixture(scope="module")
def reviewed():
    return review(simulate_night(demo_scenario(), 5).recording, demo_plan())


def test_what_a_review_found_comes_back_exactly(tmp_path, reviewed):
    paths = write_marks(reviewed, tmp_path)
    assert [path.name for path in paths] == [
        "review.beats",
        "review.breaths",
        "review.events",
        "review.edf",
    ]
    beats, breaths, events = (read_annotations(path) for path in paths[:3])
    np.testing.assert_array_equal(beats.sample, reviewed.r_peaks.sample)
    np.testing.assert_array_equal(beats.time_s, reviewed.r_peaks.time_s)
    assert list(beats) == beat_annotations(reviewed.r_peaks)
    assert list(breaths) == breath_annotations(reviewed.breaths)
    assert list(events) == event_annotations(reviewed.events)
    told = [EventNote.parsed(mark.text) for mark in events]
    assert sorted((n for n in told if n), key=lambda n: n.number) == [
        EventNote.of(event) for event in reviewed.events
    ]
    assert len(reviewed.events) > 3
    notes = read_edf_notes(paths[3])
    assert notes == timed_notes(reviewed)
    assert [n.onset_s for n in notes if n.text.endswith(BREATH)] == reviewed.breaths.time_s.tolist()


def test_the_command_writes_marks_when_asked(tmp_path, capsys):
    recording = simulate_night(demo_scenario(), 5).recording
    write_wfdb(recording, tmp_path, "night")
    (tmp_path / "limits.toml").write_text("[apnea]\nlimit_s = 20\n")
    told = ["review", str(tmp_path / "night"), "--prescription", str(tmp_path / "limits.toml")]
    assert main([*told, "--out", str(tmp_path / "plain")]) == 0
    assert main([*told, "--out", str(tmp_path / "marked"), "--marks"]) == 0
    more = {p.name for p in (tmp_path / "marked").iterdir()}
    more -= {p.name for p in (tmp_path / "plain").iterdir()}
    assert more == {"review.beats", "review.breaths", "review.events", "review.edf"}
    assert "review.beats" in capsys.readouterr().out
    assert len(read_annotations(tmp_path / "marked" / "review.beats")) > 3000


@pytest.mark.recordings
def test_outside_annotations_equal_those_of_the_wfdb_package(recordings):
    """Every annotation file of the shared recordings, field by field."""
    found = sorted(
        path
        for folder in ("mitdb", "nstdb", "adfecgdb", "picsdb", "mimicdb", "bidmc")
        for ending in ("*.atr", "*.qrs", "*.gqrsh", "*.gqrsl", "*.sqrs", "*.breath")
        for path in (recordings / folder).rglob(ending)
    )
    assert len(found) >= 30
    for path in found:
        mine = read_annotations(path, rate_hz=None if path.with_suffix(".hea").exists() else 250.0)
        with wfdb_package() as wfdb:
            told = wfdb.rdann(
                str(path.with_suffix("")), path.suffix[1:], return_label_elements=["label_store"]
            )
        more = len(mine) - len(told.sample)  # the package keeps no comments on the file itself
        assert all((m.sample, m.code) == (0, NOTE) for m in list(mine)[:more])
        np.testing.assert_array_equal(mine.sample[more:], told.sample)
        np.testing.assert_array_equal(mine.code[more:], told.label_store)
        np.testing.assert_array_equal(mine.subtype[more:], told.subtype)
        np.testing.assert_array_equal(mine.channel[more:], told.chan)
        np.testing.assert_array_equal(mine.number[more:], told.num)
        texts = [mark.text for mark in mine][more:]
        assert texts == [text.rstrip("\0") for text in told.aux_note]
