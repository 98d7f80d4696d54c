"""WFDB records in: rates, gains, invalid samples, segments, and files that are shorter than told.

Formats as in WFDB's manual pages header(5) and signal(5).

Rows of the list of inputs that break other people's code: 21 (short files), 22 (gain 0, invalid),
23 (segments), 24 (several samples a frame).
"""

import math
import os
from pathlib import Path

import numpy as np
import pytest
from format_files import INVALID, framed, packed, wfdb_record

from infantmon.errors import RecordingError
from infantmon.formats import read
from infantmon.formats.wfdb_files import wfdb_package


def ramp(count: int, start: int = 0) -> list[int]:
    return [start + i % 90 for i in range(count)]


@pytest.mark.parametrize(
    ("frame_hz", "per_frame"),
    [(50, (1, 1)), (125, (4, 1)), (360, (1, 1)), (50, (5, 2)), (50.07, (5, 1))],
)
def test_each_channel_keeps_its_own_rate(tmp_path, frame_hz, per_frame):
    counts = {"II": ramp(60 * per_frame[0]), "RESP": ramp(60 * per_frame[1], -45)}
    wfdb_record(tmp_path, "a", counts, frame_hz=str(frame_hz), per_frame=per_frame)
    recording = read(tmp_path / "a")
    assert recording.ecg.rate_hz == pytest.approx(frame_hz * per_frame[0], rel=1e-12)
    assert recording.impedance.rate_hz == pytest.approx(frame_hz * per_frame[1], rel=1e-12)
    for role, name in (("ecg", "II"), ("impedance", "RESP")):
        [segment] = recording.channels[role].segments
        assert segment.first_tick == 0
        np.testing.assert_array_equal(segment.values, np.array(counts[name]) / 100)


@pytest.mark.parametrize("fmt", sorted(INVALID))
@pytest.mark.parametrize("length", [1, 2, 3, 4, 5, 6, 7, 100])
def test_every_format_gives_what_was_packed_and_nan_where_invalid(tmp_path, fmt, length):
    counts = ramp(length)
    counts[length // 2] = INVALID[fmt]
    other = ramp(length, -40)
    wfdb_record(tmp_path, "a", {"II": counts, "V": other}, fmt=fmt, gain="0")
    recording = read(tmp_path / "a", ecg2="V")
    expected = np.where(np.array(counts) == INVALID[fmt], math.nan, np.array(counts) / 200)
    np.testing.assert_array_equal(recording.ecg.segments[0].values, expected)
    np.testing.assert_array_equal(recording.ecg2.segments[0].values, np.array(other) / 200)
    assert recording.ecg.unit == "mV"


def test_format_8_is_summed_from_differences(tmp_path):
    wfdb_record(tmp_path, "a", {"II": [1, 2, -3, 4]}, fmt="8", gain="1/mV")
    assert read(tmp_path / "a").ecg.segments[0].values.tolist() == [1, 3, 0, 4]


def test_gain_0_means_200_and_a_whole_number_gain_does_not_overflow(tmp_path):
    counts = [32767, -32767, -32768, 0]
    wfdb_record(tmp_path, "a", {"II": counts}, gain="0(32767)/mV")
    values = read(tmp_path / "a").ecg.segments[0].values
    np.testing.assert_array_equal(values, [0, -65534 / 200, math.nan, -32767 / 200])
    wfdb_record(tmp_path, "b", {"II": counts}, gain="1/mV")
    np.testing.assert_array_equal(
        read(tmp_path / "b").ecg.segments[0].values, [32767, -32767, math.nan, 0]
    )


def test_a_channel_without_one_valid_sample_is_all_nan(tmp_path):
    wfdb_record(tmp_path, "a", {"II": [-32768] * 50, "RESP": ramp(50)})
    recording = read(tmp_path / "a")
    assert np.isnan(recording.ecg.segments[0].values).all()
    assert len(recording.ecg) == 50
    assert np.isfinite(recording.impedance.segments[0].values).all()


@pytest.mark.parametrize("fmt", ["212", "16", "24", "310", "311", "80", "61", "32"])
@pytest.mark.parametrize("per_frame", [(1, 1), (4, 1), (1, 3)])
@pytest.mark.parametrize("cut", [1, 2, 3, 100])
def test_a_file_cut_short_is_told_and_never_shifts_a_channel(tmp_path, fmt, per_frame, cut):
    counts = {"II": ramp(120 * per_frame[0]), "RESP": ramp(120 * per_frame[1], -90)}
    whole = len(packed(framed(list(counts.values()), per_frame), fmt))
    wfdb_record(tmp_path, "a", counts, fmt=fmt, per_frame=per_frame, cut=cut)
    recording = read(tmp_path / "a")
    frames = len(recording.ecg) // per_frame[0]
    # no whole frame of which all bytes are there is lost (a block of 310 or 311 holds 3 samples)
    bytes_a_frame = whole / 120
    assert frames >= math.floor((whole - cut - 4) / bytes_a_frame)
    assert frames <= (whole - cut) / bytes_a_frame + 1e-9
    np.testing.assert_array_equal(
        recording.ecg.segments[0].values, np.array(counts["II"][: len(recording.ecg)]) / 100
    )
    np.testing.assert_array_equal(
        recording.impedance.segments[0].values,
        np.array(counts["RESP"][: frames * per_frame[1]]) / 100,
    )
    told = [note for note in recording.notes if "shorter than its header" in note]
    assert len(told) == (frames < 120)
    assert all(f"{frames} of 120 frames" in note for note in told)


def test_cutting_every_byte_off_is_one_clear_error(tmp_path):
    wfdb_record(tmp_path, "a", {"II": ramp(100)}, fmt="212", cut=150)
    with pytest.raises(RecordingError, match=r"channel II \(mV, 250 Hz\) holds no samples"):
        read(tmp_path / "a")


def test_a_short_file_does_not_shorten_the_channel_of_another_file(tmp_path):
    (tmp_path / "e.dat").write_bytes(packed(ramp(100), "16"))
    (tmp_path / "z.dat").write_bytes(packed(ramp(40), "16"))
    (tmp_path / "a.hea").write_text(
        "a 2 250 100\ne.dat 16 100/mV 16 0 0 0 0 II\nz.dat 16 100/ohm 16 0 0 0 0 RESP\n"
    )
    recording = read(tmp_path / "a")
    assert (len(recording.ecg), len(recording.impedance)) == (100, 40)
    assert any("z.dat is shorter" in note for note in recording.notes)


@pytest.mark.parametrize("per_frame", [1, 3])
@pytest.mark.parametrize("cut", [0, 60])
def test_skew_is_taken_off_and_the_end_it_leaves_is_invalid(tmp_path, per_frame, cut):
    frames, skew = 50, 4
    resp = ramp(frames * per_frame, -90)
    counts = {"II": ramp(frames), "RESP": resp}
    header = wfdb_record(tmp_path, "a", counts, per_frame=(1, per_frame), cut=cut)
    many = f"x{per_frame}" if per_frame > 1 else ""
    text = header.read_text()
    header.write_text(
        text[: text.rindex("a.dat")] + f"a.dat 16{many}:{skew} 100/mV 16 0 0 0 0 RESP\n"
    )
    recording = read(tmp_path / "a")
    left = (2 * frames * (1 + per_frame) - cut) // (2 * (1 + per_frame))
    shifted = np.array(resp[skew * per_frame : left * per_frame]) / 100
    values = recording.impedance.segments[0].values
    np.testing.assert_array_equal(values[: len(shifted)], shifted)
    assert np.isnan(values[len(shifted) :]).all()
    kept = frames if not cut else left - skew
    assert (len(recording.ecg), len(values)) == (kept, kept * per_frame)
    assert any("shorter" in note for note in recording.notes) == bool(cut)


def test_a_record_of_unstated_length_is_as_long_as_its_file(tmp_path):
    wfdb_record(tmp_path, "a", {"II": ramp(77), "RESP": ramp(77)}, length="")
    assert len(read(tmp_path / "a").impedance) == 77


def test_a_header_that_claims_a_trillion_samples_takes_no_memory_for_them(tmp_path):
    wfdb_record(tmp_path, "a", {"II": ramp(100)}, length=str(10**12))
    recording = read(tmp_path / "a")
    assert len(recording.ecg) == 100
    assert any("100 of 1000000000000 frames" in note for note in recording.notes)


def test_flac_is_read_and_a_claim_beyond_its_end_is_bounded(tmp_path):
    counts = np.array([ramp(500), ramp(500, -40)]).T
    with wfdb_package() as wfdb:
        wfdb.wrsamp(
            *("a", 250, ["mV", "ohm"], ["II", "RESP"]),
            d_signal=counts,
            fmt=["516", "516"],
            adc_gain=[100.0, 100.0],
            baseline=[0, 0],
            write_dir=str(tmp_path),
        )
    whole = read(tmp_path / "a")
    np.testing.assert_array_equal(whole.impedance.segments[0].values, counts[:, 1] / 100)
    header = tmp_path / "a.hea"
    header.write_text(header.read_text().replace("250 500", f"250 {10**12}"))
    recording = read(tmp_path / "a")
    np.testing.assert_array_equal(recording.impedance.segments[0].values, counts[:, 1] / 100)
    assert any("shorter" in note for note in recording.notes)


@pytest.mark.parametrize("share", [0.99, 0.5, 0.3])
def test_a_flac_file_cut_short_gives_what_can_be_decoded(tmp_path, share):
    counts = np.random.default_rng(3).integers(-900, 900, (20_000, 2))
    with wfdb_package() as wfdb:
        wfdb.wrsamp(
            *("a", 250, ["mV", "ohm"], ["II", "RESP"]),
            d_signal=counts,
            fmt=["516", "516"],
            adc_gain=[100.0, 100.0],
            baseline=[0, 0],
            write_dir=str(tmp_path),
        )
    data = (tmp_path / "a.dat").read_bytes()
    (tmp_path / "a.dat").write_bytes(data[: int(len(data) * share)])
    recording = read(tmp_path / "a")
    there = len(recording.ecg)
    assert share * 20_000 - 5_000 < there <= share * 20_000
    np.testing.assert_array_equal(recording.ecg.segments[0].values, counts[:there, 0] / 100)
    np.testing.assert_array_equal(recording.impedance.segments[0].values, counts[:there, 1] / 100)
    assert any(f"{there} of 20000 frames" in note for note in recording.notes)
    (tmp_path / "a.dat").write_bytes(data[:50])
    with pytest.raises(RecordingError, match=r"holds no samples|cannot be read"):
        read(tmp_path / "a")


def test_a_record_may_use_one_segment_several_times(tmp_path):
    wfdb_record(tmp_path, "s", {"II": ramp(50), "RESP": ramp(50, -40)})
    (tmp_path / "m.hea").write_text("m/4 2 250 130\ns 50\n~ 20\ns 50\ns 10\n")
    recording = read(tmp_path / "m")
    places = [(s.first_tick, s.end_tick) for s in recording.ecg.segments]
    assert places == [(0, 50), (70, 120), (120, 130)]
    for segment in recording.ecg.segments:
        expected = np.array(ramp(50))[: len(segment)] / 100
        np.testing.assert_array_equal(segment.values, expected)


@pytest.mark.parametrize(
    ("fmt", "skews"),
    [(f, s) for f in [*sorted(INVALID), "160"] for s in [(0, 0), (3, 0), (0, 4)]] + [("8", (0, 0))],
)
def test_every_format_read_in_blocks_is_what_wfdb_gives(tmp_path, monkeypatch, fmt, skews):
    """Any stretch of any format, skewed or not, with several samples a frame, block by block."""
    monkeypatch.setattr("infantmon.formats.wfdb_signals.AT_ONCE", 40)
    monkeypatch.setattr("infantmon.formats.source.HELD_SAMPLES", 0)
    rng = np.random.default_rng(len(fmt) + sum(skews))
    counts = {
        "II": rng.integers(-99, 99, 202).tolist(),
        "RESP": rng.integers(-99, 99, 101).tolist(),
    }
    counts["II"][7] = INVALID.get(fmt, 3)
    made = "16" if fmt == "160" else fmt
    header = wfdb_record(tmp_path, "a", counts, fmt=made, per_frame=(2, 1), gain="0(7)/mV")
    if fmt == "160":
        words = np.frombuffer((tmp_path / "a.dat").read_bytes(), "<i2").astype(int) + 32768
        (tmp_path / "a.dat").write_bytes(words.astype("<u2").tobytes())
    lines = header.read_text().splitlines()
    for number, (skew, spf) in enumerate(zip(skews, ("x2", ""), strict=True), start=1):
        lines[number] = lines[number].replace(f" {made}{spf} ", f" {fmt}{spf}:{skew} ")
    header.write_text("\n".join(lines) + "\n")
    with wfdb_package() as wfdb:
        whole = wfdb.rdrecord(str(tmp_path / "a"), smooth_frames=False)
    recording = read(tmp_path / "a")
    for channel, expected in zip(
        (recording.ecg, recording.impedance), whole.e_p_signal, strict=True
    ):
        [segment] = channel.segments
        assert not isinstance(segment.samples, np.ndarray)
        valid = len(expected) - max(skews) * (2 if channel is recording.ecg else 1)
        np.testing.assert_array_equal(segment.values[:valid], expected[:valid])
        for first, end in ((0, 0), (0, 1), (13, 77), (50, 101)):
            np.testing.assert_array_equal(segment.read(first, end), segment.values[first:end])


def test_a_skewed_signal_of_differences_counts_from_the_first_of_the_file(tmp_path):
    wfdb_record(
        tmp_path, "a", {"II": [1, 2, -3, 4], "V": [1] * 4}, fmt="8", extra=":2", gain="1/mV"
    )
    rewrite(tmp_path / "a.hea", "8:2 1/mV 12 0 0 0 0 V", "8 1/mV 12 0 10 0 0 V")
    recording = read(tmp_path / "a", ecg2="V")
    np.testing.assert_array_equal(recording.ecg.segments[0].values, [0, 4, math.nan, math.nan])
    np.testing.assert_array_equal(recording.ecg2.segments[0].values, [11, 12, 13, 14])


def test_a_file_that_changes_while_it_is_in_use_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr("infantmon.formats.source.HELD_SAMPLES", 0)
    wfdb_record(tmp_path, "a", {"II": ramp(50), "RESP": ramp(50, -40)})
    recording = read(tmp_path / "a")
    (tmp_path / "a.dat").write_bytes(b"\0" * 40)
    with pytest.raises(RecordingError, match="has changed since it was opened"):
        recording.ecg.between(0.0, 0.1)
    (tmp_path / "a.dat").unlink()
    with pytest.raises(RecordingError, match="can no longer be read"):
        recording.ecg.between(0.0, 0.1)


def segments(folder: Path, *, layout: bool) -> None:
    """A record of 100 + 60 (nothing) + 80 (no RESP) + 40 frames at 125 frames a second."""
    wfdb_record(
        folder, "s1", {"II": ramp(400), "RESP": ramp(100, 5)}, frame_hz="125", per_frame=(4, 1)
    )
    wfdb_record(folder, "s2", {"II": ramp(320, 1)}, frame_hz="125", per_frame=(4,))
    wfdb_record(
        folder, "s3", {"RESP": ramp(40, 7), "II": ramp(160, 2)}, frame_hz="125", per_frame=(1, 4)
    )
    lines = ["s1 100", "~ 60", "s2 80", "s3 40"]
    if layout:
        lines = ["top 0", *lines]
        (folder / "top.hea").write_text(
            "top 2 125 0\n~ 0x4 100/mV 12 0 0 0 0 II\n~ 0 100/mV 12 0 0 0 0 RESP\n"
        )
    (folder / "m.hea").write_text(
        f"m/{len(lines)} 2 125 280 10:00:00 03/04/2020\n" + "\n".join(lines) + "\n"
    )


@pytest.mark.parametrize("layout", [True, False])
def test_a_null_segment_and_a_missing_channel_are_exact_holes(tmp_path, layout):
    segments(tmp_path, layout=layout)
    recording = read(tmp_path / "m")
    places = [(s.first_tick, s.end_tick) for s in recording.ecg.segments]
    assert places == [(0, 400), (640, 960), (960, 1120)]
    assert list(recording.ecg.holes_s()) == [(0.8, 1.28)]
    places = [(s.first_tick, s.end_tick) for s in recording.impedance.segments]
    assert places == [(0, 100), (240, 280)]
    assert list(recording.impedance.holes_s()) == [(0.8, 1.92)]
    np.testing.assert_array_equal(
        recording.impedance.segments[1].values, np.array(ramp(40, 7)) / 100
    )
    np.testing.assert_array_equal(recording.ecg.segments[2].values, np.array(ramp(160, 2)) / 100)
    assert recording.started_at.isoformat() == "2020-04-03T10:00:00"


def test_a_lead_that_only_the_layout_has_is_not_offered(tmp_path):
    segments(tmp_path, layout=True)
    rewrite(tmp_path / "top.hea", "top 2 125", "top 3 125")
    text = (tmp_path / "top.hea").read_text() + "~ 0 100/mV 12 0 0 0 0 MLII\n"
    (tmp_path / "top.hea").write_text(text.replace(" II\n", " I\n"))
    recording = read(tmp_path / "m")
    assert recording.ecg.name == "II"
    assert not any("MLII" in note for note in recording.notes)


def test_a_record_of_empty_segments_is_one_clear_error(tmp_path):
    (tmp_path / "m.hea").write_text("m/2 2 125 280\n~ 200\n~ 80\n")
    with pytest.raises(RecordingError, match="lists no signals"):
        read(tmp_path / "m")


def test_a_short_segment_is_told_and_leaves_a_hole_not_a_shift(tmp_path):
    segments(tmp_path, layout=True)
    data = (tmp_path / "s1.dat").read_bytes()
    (tmp_path / "s1.dat").write_bytes(data[:505])  # 50 frames and a half
    recording = read(tmp_path / "m")
    assert [(s.first_tick, s.end_tick) for s in recording.impedance.segments] == [
        (0, 50),
        (240, 280),
    ]
    assert sum("s1.dat is shorter" in note for note in recording.notes) == 1


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda f: (f / "s2.hea").unlink(), "s2.hea does not exist"),
        (lambda f: (f / "s2.dat").unlink(), "s2.dat does not exist"),
        (lambda f: rewrite(f / "s2.hea", " 125 ", " 250 "), "250 frames a second"),
        (lambda f: rewrite(f / "s2.hea", "x4", "x2"), "must keep its rate and unit"),
        (lambda f: rewrite(f / "s2.hea", "/mV", "/uV"), "must keep its rate and unit"),
        (lambda f: rewrite(f / "m.hea", "m/5", "m/6"), "promises 6 segments and lists 5"),
        (lambda f: rewrite(f / "m.hea", "s3 40", "m 40"), "has segments itself"),
    ],
)
def test_segments_that_do_not_fit_are_one_clear_error(tmp_path, change, words):
    segments(tmp_path, layout=True)
    change(tmp_path)
    with pytest.raises(RecordingError, match=words):
        read(tmp_path / "m")


def rewrite(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


@pytest.mark.parametrize(
    ("header", "words"),
    [
        ("", "is empty"),
        ("# only a comment\n", "is empty"),
        ("a\n", "header cannot be read"),
        ("a 1\na.dat 16 100/mV 16 0 0 0 0 II\n", "states no sampling rate"),
        ("a 1 0 50\na.dat 16 100/mV 16 0 0 0 0 II\n", "rate of 0 Hz; it must be above 0 Hz"),
        ("a 2 250 50\na.dat 16 100/mV 16 0 0 0 0 II\n", "promises 2 signals and describes 1"),
        ("a 1 250 50\na.dat 99 100/mV 16 0 0 0 0 II\n", "signal format 99 is not known"),
        ("a 1 250 50\nb.dat 16 100/mV 16 0 0 0 0 II\n", r"b\.dat does not exist"),
        ("a 1 250 50\n../a.dat 16 100/mV 16 0 0 0 0 II\n", "header cannot be read"),
        ("a 0 250 50\n", "lists no signals"),
        ("a 1 250 50 99:99:99 40/40/1999\na.dat 16 100/mV 16 0 0 0 0 II\n", "cannot be read"),
    ],
)
def test_a_header_that_cannot_be_used_is_one_clear_error(tmp_path, header, words):
    (tmp_path / "a.dat").write_bytes(packed(ramp(50), "16"))
    (tmp_path / "a.hea").write_text(header)
    with pytest.raises(RecordingError, match=words):
        read(tmp_path / "a")


def test_a_signal_file_that_leads_out_of_the_folder_is_not_opened(tmp_path):
    inner = tmp_path / "inner"
    inner.mkdir()
    wfdb_record(inner, "a", {"II": ramp(50)})
    (inner / "a.dat").rename(tmp_path / "elsewhere.dat")
    (inner / "a.dat").symlink_to(tmp_path / "elsewhere.dat")
    with pytest.raises(RecordingError, match="leads out of its folder; it was not opened"):
        read(inner / "a")


def test_a_pipe_instead_of_a_signal_file_is_not_opened(tmp_path):
    wfdb_record(tmp_path, "a", {"II": ramp(50)})
    (tmp_path / "a.dat").unlink()
    os.mkfifo(tmp_path / "a.dat")
    with pytest.raises(RecordingError, match="is a device or a pipe"):
        read(tmp_path / "a")


def test_signals_of_one_file_that_stand_apart_are_refused(tmp_path):
    (tmp_path / "x.dat").write_bytes(packed(ramp(100), "16"))
    (tmp_path / "y.dat").write_bytes(packed(ramp(50), "16"))
    lines = [
        f"{f}.dat 16 100/mV 16 0 0 0 0 {n}" for f, n in (("x", "II"), ("y", "ABP"), ("x", "RESP"))
    ]
    (tmp_path / "a.hea").write_text("a 3 250 50\n" + "\n".join(lines) + "\n")
    with pytest.raises(RecordingError, match="do not stand together"):
        read(tmp_path / "a")


def test_a_unit_with_a_micro_sign_is_not_taken_for_volts(tmp_path):
    wfdb_record(tmp_path, "a", {"II": ramp(50), "IMP": ramp(50)}, gain="100/µV")
    assert read(tmp_path / "a").ecg.unit == "uV"
    wfdb_record(tmp_path, "b", {"IMP": ramp(50)}, gain="100/Ω")
    assert read(tmp_path / "b").impedance.unit == "ohm"


def test_an_unstated_unit_is_mv_for_an_ecg_and_unknown_for_an_impedance(tmp_path):
    wfdb_record(tmp_path, "a", {"II": ramp(50), "RESP": ramp(50)}, gain="100")
    recording = read(tmp_path / "a")
    assert (recording.ecg.unit, recording.impedance.unit) == ("mV", None)


@pytest.mark.recordings
def test_mimicdb_has_each_channel_at_its_own_rate(recordings):
    path = recordings / "mimicdb" / "03700181"
    recording = read(path)
    with wfdb_package() as wfdb:
        record = wfdb.rdrecord(str(path), smooth_frames=False)
    assert (recording.ecg.rate_hz, recording.impedance.rate_hz) == (500.0, 125.0)
    assert (recording.ecg.name, recording.impedance.name) == ("MCL1", "RESP")
    np.testing.assert_array_equal(recording.ecg.segments[0].values, record.e_p_signal[0])
    np.testing.assert_array_equal(recording.impedance.segments[0].values, record.e_p_signal[2])
    assert recording.started_at.isoformat() == "1994-08-15T17:27:45"


@pytest.mark.recordings
@pytest.mark.parametrize(
    ("name", "roles"),
    [
        ("mitdb/101", {"ecg": 0}),
        ("challenge2015/b187l", {"ecg": 0, "impedance": 3}),
        ("challenge2015/b349l", {"ecg": 0, "impedance": 3}),
        ("aami-ec13/aami3a", {"ecg": 0}),
        ("nstdb/118e24", {"ecg": 0}),
    ],
)
def test_readings_equal_those_of_the_wfdb_package(recordings, name, roles):
    recording = read(recordings / name)
    with wfdb_package() as wfdb:
        record = wfdb.rdrecord(str(recordings / name))
    assert set(recording.channels) == set(roles)
    for role, column in roles.items():
        [segment] = recording.channels[role].segments
        np.testing.assert_array_equal(segment.values, record.p_signal[:, column])
        assert recording.channels[role].rate_hz == record.fs


def test_a_rate_that_no_channel_can_have_is_told_with_its_file(tmp_path):
    wfdb_record(tmp_path, "a", {"II": np.arange(100)})
    header = tmp_path / "a.hea"
    lines = header.read_text().splitlines()
    words = lines[0].split()
    lines[0] = " ".join([*words[:2], "2000000", *words[3:]])
    header.write_text("\n".join(lines) + "\n")
    with pytest.raises(RecordingError, match=r"a\.hea: rate_hz is 2e\+06 Hz"):
        read(tmp_path / "a")
