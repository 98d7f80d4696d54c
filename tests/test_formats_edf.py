"""EDF, EDF+ and BDF files in: scaling, rates, true times, files that were cut or never closed.

Layout as in the published EDF and EDF+ specification (Kemp et al. 1992; Kemp and Olivan 2003).

Rows of the list of inputs that break other people's code: 14 (a clock that is off), 25
(discontinuous EDF+), 26 (record count -1, a file cut inside a record).
"""

import struct
from pathlib import Path

import numpy as np
import pytest
from format_files import edf_file, edf_values

from infantmon.errors import RecordingError
from infantmon.formats import edf_records, read


def counts(records: int, samples: int, seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).integers(-32768, 32768, (records, samples))


def both(records: int) -> list[tuple[str, str, np.ndarray]]:
    return [("ECG I", "mV", counts(records, 250)), ("Resp imp", "Ohm", counts(records, 50, 1))]


def joined_values(channel) -> np.ndarray:
    return np.concatenate([segment.values for segment in channel.segments])


@pytest.mark.parametrize("record_s", ["1", "0.5", "2", "10", "0.25"])
def test_each_channel_keeps_its_rate_scaling_and_unit(tmp_path, record_s):
    signals = both(6)
    recording = read(edf_file(tmp_path / "a.edf", signals, record_s=record_s))
    assert recording.ecg.rate_hz == 250 / float(record_s)
    assert recording.impedance.rate_hz == 50 / float(record_s)
    assert (recording.ecg.unit, recording.impedance.unit) == ("mV", "ohm")
    for channel, (_, _, whole) in zip((recording.ecg, recording.impedance), signals, strict=True):
        expected = edf_values(whole, (-100, 100), (-32768, 32767))
        np.testing.assert_allclose(joined_values(channel), expected, rtol=0, atol=1e-9)
        assert channel.start_s == 0.0
    assert recording.started_at.isoformat() == "2021-03-02T04:05:06"
    assert recording.notes == ()


def test_an_inverted_physical_range_is_kept_inverted(tmp_path):
    signals = both(2)
    path = edf_file(tmp_path / "a.edf", signals, physical=("5", "-5"), digital=("-2048", "2047"))
    expected = edf_values(signals[0][2], (5, -5), (-2048, 2047))
    np.testing.assert_allclose(joined_values(read(path).ecg), expected, atol=1e-9)


def test_bdf_has_three_bytes_a_sample(tmp_path):
    whole = np.random.default_rng(3).integers(-(2**23), 2**23, (4, 100))
    digital = (str(-(2**23)), str(2**23 - 1))
    path = edf_file(tmp_path / "a.bdf", [("ECG", "uV", whole)], bdf=True, digital=digital)
    expected = edf_values(whole, (-100, 100), (-(2**23), 2**23 - 1))
    np.testing.assert_allclose(joined_values(read(path).ecg), expected, atol=1e-9)


@pytest.mark.parametrize("bdf", [False, True])
@pytest.mark.parametrize("kind", ["D", "C"])
def test_records_stand_at_their_true_times(tmp_path, kind, bdf):
    onsets = [0, 1, 2, 13, 14, 3614, 3615, 3616]  # gaps of 10 s and of 1 h less a second
    signals = both(8)
    name = "BDF+" if bdf else "EDF+"
    texts = [f"+{onset}" for onset in onsets]
    path = edf_file(tmp_path / "a.edf", signals, onsets=texts, kind=name + kind, bdf=bdf)
    recording = read(path)
    assert [s.first_tick for s in recording.ecg.segments] == [0, 13 * 250, 3614 * 250]
    assert list(recording.ecg.holes_s()) == [(3.0, 13.0), (15.0, 3614.0)]
    assert list(recording.impedance.holes_s()) == [(3.0, 13.0), (15.0, 3614.0)]
    expected = edf_values(signals[1][2], (-100, 100), (-32768, 32767))
    np.testing.assert_allclose(joined_values(recording.impedance), expected, atol=1e-9)
    assert any("says it is continuous" in note for note in recording.notes) == (kind == "C")


def test_times_count_from_the_first_record_and_the_start_has_its_fraction(tmp_path):
    texts = ["+0.25", "+1.25", "+7.25"]
    recording = read(edf_file(tmp_path / "a.edf", both(3), onsets=texts, kind="EDF+D"))
    assert list(recording.ecg.holes_s()) == [(2.0, 7.0)]
    assert recording.started_at.isoformat() == "2021-03-02T04:05:06.250000"


def test_onsets_rounded_to_a_millisecond_make_no_holes(tmp_path):
    texts = [f"+{round(i / 3, 3)}" for i in range(60)]
    signals = [("ECG", "mV", counts(60, 100))]
    path = edf_file(tmp_path / "a.edf", signals, onsets=texts, kind="EDF+C", record_s="0.33333")
    recording = read(path)
    assert len(recording.ecg.segments) == 1
    assert recording.ecg.rate_hz == pytest.approx(300.0, rel=1e-4)


@pytest.mark.parametrize("off", [1.0014, 0.9986, 1.00002])
def test_a_clock_that_is_off_is_measured_from_the_onsets(tmp_path, off):
    records = 400
    texts = [f"+{i * off:.6f}" for i in range(records)]
    signals = [("ECG", "mV", counts(records, 250))]
    recording = read(edf_file(tmp_path / "a.edf", signals, onsets=texts, kind="EDF+C"))
    assert recording.ecg.rate_hz == pytest.approx(250 / off, rel=1e-7)
    assert len(recording.ecg.segments) == 1
    assert recording.ecg.end_s == pytest.approx(records * off, abs=0.001)
    assert any("measured rate is used" in note for note in recording.notes)


def test_a_clock_set_forward_by_half_a_second_is_a_hole_and_times_stay_true(tmp_path):
    texts = [f"+{i + (0.5 if i >= 20 else 0)}" for i in range(40)]
    signals = [("ECG", "mV", counts(40, 250))]
    recording = read(edf_file(tmp_path / "a.edf", signals, onsets=texts, kind="EDF+D"))
    assert list(recording.ecg.holes_s()) == [(20.0, 20.5)]


@pytest.mark.parametrize(
    ("texts", "words"),
    [
        (["+0", "+1", "+1.2"], r"data record 3 begins at 1\.2 s, 0\.800 s before"),
        (["+0", "+5", "+1"], "data record 3 begins at 1 s"),
        (["+0", "oops", "+2"], "data record 2 of 3 does not say when it begins"),
    ],
)
def test_records_that_cannot_be_placed_are_one_clear_error(tmp_path, texts, words):
    path = edf_file(tmp_path / "a.edf", both(3), onsets=texts, kind="EDF+D")
    with pytest.raises(RecordingError, match=words):
        read(path)


def test_a_recording_that_was_never_closed_is_read_and_told(tmp_path):
    recording = read(edf_file(tmp_path / "a.edf", both(5), records=-1))
    assert len(recording.ecg) == 1250
    assert any("never closed: 5 records" in note for note in recording.notes)


@pytest.mark.parametrize("cut", [1, 2, 3, 100, 599, 600, 601, 1300])
@pytest.mark.parametrize("records", [None, -1])
def test_a_file_cut_inside_a_record_gives_the_whole_ones_and_tells(tmp_path, cut, records):
    signals = both(5)
    path = edf_file(tmp_path / "a.edf", signals, records=records)
    path.write_bytes(path.read_bytes()[:-cut])
    recording = read(path)
    whole = 5 - -(-cut // 600)
    expected = edf_values(signals[1][2][:whole], (-100, 100), (-32768, 32767))
    np.testing.assert_allclose(joined_values(recording.impedance), expected, atol=1e-9)
    words = "never closed" if records == -1 else f"{whole} of 5 data records"
    assert any(words in note for note in recording.notes)
    left = -cut % 600
    assert any(f"{left} bytes after" in note for note in recording.notes) == bool(left)


def test_records_beyond_the_declared_ones_are_left_and_told(tmp_path):
    recording = read(edf_file(tmp_path / "a.edf", both(5), records=3))
    assert len(recording.ecg) == 750
    assert any("1200 bytes after the last whole data record" in n for n in recording.notes)


def test_a_header_that_claims_a_hundred_million_records_takes_no_memory(tmp_path):
    recording = read(edf_file(tmp_path / "a.edf", both(2), records=10**7))
    assert len(recording.ecg) == 500


def patched(path: Path, place: int, text: str, size: int = 8) -> Path:
    data = bytearray(path.read_bytes())
    data[place : place + size] = text.encode("latin-1").ljust(size)
    path.write_bytes(bytes(data))
    return path


@pytest.mark.parametrize(
    ("place", "text", "words"),
    [
        (0, "1", "is not an EDF or BDF file"),
        (184, "512", "'512' as its header bytes; 768 is expected"),
        (184, "x", "'x' as its header bytes"),
        (236, "many", "'many' as its record count"),
        (236, "-2", "'-2' as its record count"),
        (244, "0", "'0' s as the length of a data record"),
        (244, "nan", "'nan' s as the length"),
        (252, "0", "'0' as its signals"),
        (252, "9999", "'9999' as its signals"),
        (252, "-1", "'-1' as its signals"),
        (256 + 2 * 216, "1e3", "'1e3' samples in a data record"),
        (256 + 2 * 216, "99999999", "holds no whole data record"),
    ],
)
def test_a_damaged_header_is_one_clear_error(tmp_path, place, text, words):
    path = edf_file(tmp_path / "a.edf", both(3))
    patched(path, place, text, 4 if place == 252 else 8)
    with pytest.raises(RecordingError, match=words):
        read(path)


@pytest.mark.parametrize("size", [0, 1, 255, 256, 700, 768, 1367])
def test_a_file_that_ends_before_its_first_record_is_one_clear_error(tmp_path, size):
    path = edf_file(tmp_path / "a.edf", both(3))
    path.write_bytes(path.read_bytes()[:size])
    with pytest.raises(RecordingError, match=r"a\.edf"):
        read(path)


def test_a_file_of_annotations_only_is_not_a_recording(tmp_path):
    path = edf_file(tmp_path / "a.edf", both(2), onsets=["+0", "+1"], kind="EDF+C")
    for place in (256, 272):
        patched(path, place, "EDF Annotations", 16)
    with pytest.raises(RecordingError, match="holds only annotations"):
        read(path)


def test_a_label_that_two_readers_could_understand_differently_shifts_no_channel(tmp_path):
    path = edf_file(tmp_path / "a.edf", both(2), onsets=["+0", "+1"], kind="EDF+C")
    patched(path, 256, "EDF Annotations\0", 16)
    with pytest.raises(RecordingError, match=r"labels are damaged|does not say when"):
        read(path)


@pytest.mark.parametrize("physical", [("0", "0"), ("abc", "1"), ("nan", "1")])
def test_an_unusable_scaling_gives_counts_without_a_unit_and_tells(tmp_path, physical):
    signals = both(2)
    recording = read(edf_file(tmp_path / "a.edf", signals, physical=physical))
    assert recording.ecg.unit is None
    np.testing.assert_array_equal(joined_values(recording.ecg), signals[0][2].ravel())
    assert any("ECG I has no usable scaling" in note for note in recording.notes)


def test_a_date_that_cannot_be_read_is_told(tmp_path):
    recording = read(edf_file(tmp_path / "a.edf", both(2), when=("99.99.99", "00.00.00")))
    assert recording.started_at is None
    assert any("no start date and time that can be used" in note for note in recording.notes)


@pytest.mark.parametrize(
    ("when", "recorded", "expected"),
    [
        (("01.01.85", "00.00.00"), "Startdate X X X X", None),
        (("02.03.21", "04.05.06"), "Startdate X X X X", "2021-03-02T04:05:06"),
        (("02.03.85", "04:05:06"), "", "1985-03-02T04:05:06"),
        (("02.03.70", "04.05.06"), "", "2070-03-02T04:05:06"),
        (("02.03.yy", "04.05.06"), "Startdate 02-MAR-2101 X X X", "2101-03-02T04:05:06"),
        (("02.03.21", "25.05.06"), "Startdate 02-MAR-2021 X X X", None),
    ],
)
def test_the_start_is_that_of_the_header(tmp_path, when, recorded, expected):
    path = patched(edf_file(tmp_path / "a.edf", both(2), when=when), 88, recorded, 80)
    started_at = read(path).started_at
    assert (started_at and started_at.isoformat()) == expected


def test_a_micro_sign_in_latin_1_is_understood(tmp_path):
    path = edf_file(tmp_path / "a.edf", [("ECG", "µV", counts(2, 100))])
    assert read(path).ecg.unit == "uV"


@pytest.mark.recordings
@pytest.mark.parametrize("name", ["r01", "r04", "r07"])
def test_adfecgdb_equals_a_plain_decoding(recordings, name):
    path = recordings / "adfecgdb" / f"{name}.edf"
    recording = read(path, ecg="Direct_1", ecg2="Abdomen_3")
    for role, label in (("ecg", "Direct_1"), ("ecg2", "Abdomen_3")):
        channel = recording.channels[role]
        assert (channel.rate_hz, channel.unit, channel.name) == (1000.0, "uV", label)
        np.testing.assert_allclose(joined_values(channel), plainly_decoded(path, label), atol=1e-9)


def plainly_decoded(path: Path, label: str) -> np.ndarray:
    data = path.read_bytes()
    total = int(data[252:256])
    table = data[256 : 256 * (total + 1)]
    labels = [table[16 * i : 16 * i + 16].decode().strip() for i in range(total)]
    place = labels.index(label)

    def number(before: int) -> float:
        return float(table[before * total + 8 * place : before * total + 8 * place + 8])

    widths = [int(table[216 * total + 8 * i : 216 * total + 8 * i + 8]) for i in range(total)]
    body = data[256 * (total + 1) :]
    records = int(data[236:244])
    values = []
    for record in range(records):
        first = 2 * (record * sum(widths) + sum(widths[:place]))
        values += struct.unpack_from(f"<{widths[place]}h", body, first)
    ends = (number(104), number(112)), (number(120), number(128))
    return edf_values(np.array(values), *ends)


def test_records_that_are_not_looked_through_for_notes_hold_none() -> None:
    """Every list of five bytes of those that matter, and random longer ones."""
    letters = np.frombuffer(b"\x00\x14\x15+1a", dtype=np.uint8)
    short = np.stack(np.meshgrid(*[letters] * 5), axis=-1).reshape(-1, 5)
    tails = np.zeros((len(short), 1), dtype=np.uint8)
    heads = np.broadcast_to(np.frombuffer(b"+0", dtype=np.uint8), (len(short), 2))
    chance = np.random.default_rng(3)
    for cut in (np.hstack([heads, short, tails]), chance.choice(letters, (20_000, 12))):
        looked_at = edf_records._may_hold_notes(cut)
        assert 0 < np.count_nonzero(looked_at) < len(cut)
        assert not any(list(edf_records.list_notes(bytes(row))) for row in cut[~looked_at])
