"""Recordings out and in again: the same samples, rates, units and times; nothing written half."""

import math
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest

from infantmon.errors import ArgumentError, RecordingError
from infantmon.formats import read, write_csv, write_edf, write_wfdb
from infantmon.formats.gridding import common_frame_hz
from infantmon.formats.utc_offset import offset_words, with_offset
from infantmon.model.channel import Channel
from infantmon.model.recording import Recording

STARTED = datetime(2024, 3, 4, 5, 6, 7)  # noqa: DTZ001 - files have no UTC offset


def invented(ecg_hz=250.0, impedance_hz=50.0, seconds=20, seed=1, **told):
    rng = np.random.default_rng(seed)
    ecg = rng.normal(size=round(seconds * ecg_hz))
    impedance = 480.0 + 0.3 * rng.normal(size=round(seconds * impedance_hz))
    channels = {
        "ecg": Channel(ecg, ecg_hz, "mV", name="II"),
        "impedance": Channel(impedance, impedance_hz, "ohm", name="IMP"),
    }
    return Recording(channels, name="invented", started_at=STARTED, **told)


def written(recording, form, folder, **told):
    """Write in a format and read it again."""
    if form == "wfdb":
        write_wfdb(recording, folder, "a", **told)
        return read(folder / "a")
    path = folder / f"a.{form}"
    (write_csv if form == "csv" else write_edf)(recording, path)
    return read(path)


def on_ticks(channel):
    """Values from tick 0 on, NaN where there are none."""
    values = np.full(channel.end_tick, math.nan)
    for segment in channel.segments:
        values[segment.first_tick : segment.end_tick] = segment.values
    return values


def assert_close(again, before, bound):
    """The samples agree within `bound`, invalid ones are the same, and nothing is there beyond."""
    told, expected = on_ticks(again), on_ticks(before)
    common = min(len(told), len(expected))
    assert np.isnan(told[common:]).all()
    assert np.isnan(expected[common:]).all()
    finite = np.isfinite(expected[:common])
    np.testing.assert_array_equal(np.isfinite(told[:common]), finite)
    off = np.abs(told[:common][finite] - expected[:common][finite])
    assert np.max(off, initial=0.0) <= bound


def bound(channel, form, bits=16):
    finite = on_ticks(channel)
    finite = finite[np.isfinite(finite)]
    span = float(finite.max() - finite.min())
    if form == "csv":
        return 0.0
    if form == "wfdb":
        return 0.5001 * span / (2**bits - 8)
    return 0.5005 * span / 65535 + 1e-6


RATES = [(250, 50), (500, 125), (360, 360), (1000, 62.5), (250.35, 50.07), (125, 500)]


@pytest.mark.parametrize("form", ["csv", "wfdb", "edf"])
@pytest.mark.parametrize("rates", RATES)
def test_a_recording_comes_back(tmp_path, form, rates):
    before = invented(*rates)
    again = written(before, form, tmp_path)
    for role in ("ecg", "impedance"):
        assert again.channels[role].rate_hz == before.channels[role].rate_hz
        assert again.channels[role].unit == before.channels[role].unit
        assert again.channels[role].name == before.channels[role].name
        assert_close(
            again.channels[role], before.channels[role], bound(before.channels[role], form)
        )
    assert again.started_at == (None if form == "csv" else STARTED)


@pytest.mark.parametrize("form", ["csv", "wfdb", "edf"])
def test_invalid_samples_come_back_as_invalid(tmp_path, form):
    before = invented()
    values = before.ecg.segments[0].values.copy()
    values[[0, 7, 4999]] = math.nan
    values[100:150] = math.nan
    values[200] = math.nan if form != "csv" else math.inf
    channels = {"ecg": Channel(values, 250, "mV", name="II"), "impedance": before.impedance}
    again = written(Recording(channels), form, tmp_path)
    assert_close(again.ecg, channels["ecg"], bound(channels["ecg"], form))
    if form == "csv":
        assert again.ecg.segments[0].values[200] == math.inf


@pytest.mark.parametrize("form", ["wfdb", "edf"])
def test_infinity_is_written_as_invalid_where_a_format_has_none(tmp_path, form):
    values = [0.0, math.inf, 1.0, -math.inf] * 100
    again = written(Recording({"ecg": Channel(values, 200, "mV")}), form, tmp_path)
    told = np.isfinite(again.ecg.segments[0].values)
    np.testing.assert_array_equal(told, [True, False] * 200)


@pytest.mark.parametrize("form", ["csv", "wfdb", "edf"])
def test_holes_and_late_starts_keep_every_sample_at_its_time(tmp_path, form):
    rng = np.random.default_rng(2)
    ecg = [(0.0, rng.normal(size=1000)), (9.2, rng.normal(size=500))]
    impedance = [(1.0, rng.normal(size=150)), (9.0, rng.normal(size=50))]
    before = Recording(
        {
            "ecg": Channel.joined(ecg, 250, "mV", "II"),
            "impedance": Channel.joined(impedance, 50, "ohm", "IMP"),
        }
    )
    again = written(before, form, tmp_path)
    for role in ("ecg", "impedance"):
        assert_close(
            again.channels[role], before.channels[role], bound(before.channels[role], form)
        )
    if form == "csv":
        assert list(again.ecg.holes_s()) == [(4.0, 9.0)]


@pytest.mark.parametrize("bits", [16, 24, 32])
@pytest.mark.parametrize("level", [0.0, 480.0, -3e6, 1e-5])
def test_wfdb_bits_divide_the_range_of_each_channel(tmp_path, bits, level):
    values = level + np.random.default_rng(3).normal(size=1000) * 0.2
    channel = Channel(values, 100, "ohm", name="IMP")
    again = written(Recording({"impedance": channel}), "wfdb", tmp_path, bits=bits)
    # a baseline has 31 bits: far from zero the step is that of the level, not of the range
    step = max(2 * bound(channel, "wfdb", bits), abs(level) / (2**31 - 1) * 1.0001)
    assert_close(again.impedance, channel, 0.5 * step + 4 * np.spacing(abs(level)))


@pytest.mark.parametrize("form", ["csv", "wfdb", "edf"])
@pytest.mark.parametrize("value", [0.0, 0.5, -1234.5, math.nan])
def test_a_constant_channel_comes_back(tmp_path, form, value):
    values = np.full(500, value)
    channel = Channel(values, 100, "ohm", name="IMP")
    again = written(Recording({"impedance": channel}), form, tmp_path)
    told = again.impedance.segments[0].values
    np.testing.assert_allclose(told, values, rtol=1e-4, atol=1e-4)
    assert len(np.unique(told[np.isfinite(told)])) <= 1


@pytest.mark.parametrize("form", ["csv", "wfdb", "edf"])
def test_what_cannot_be_told_by_its_name_is_named_so_that_it_can(tmp_path, form):
    channels = {
        "ecg": Channel(np.arange(500.0), 100, "uV", name="Direct_1"),
        "ecg2": Channel(np.arange(500.0) + 1, 100, "uV"),
        "impedance": Channel(np.arange(500.0) + 2, 100, None, name="c3"),
    }
    again = written(Recording(channels), form, tmp_path)
    assert again.ecg.name in {"ECG Direct_1", "ECG 2"}
    assert again.impedance.name == "IMPEDANCE c3"
    assert again.impedance.unit is None
    chosen = read(tmp_path / {"wfdb": "a"}.get(form, f"a.{form}"), ecg="ECG Direct_1", ecg2="ECG 2")
    np.testing.assert_allclose(chosen.ecg.segments[0].values, np.arange(500.0), atol=0.01)
    np.testing.assert_allclose(chosen.ecg2.segments[0].values, np.arange(500.0) + 1, atol=0.01)


@pytest.mark.parametrize("form", ["wfdb", "edf"])
@pytest.mark.parametrize(
    ("started_at", "expected"),
    [
        (STARTED.replace(microsecond=250_000), STARTED.replace(microsecond=250_000)),
        (datetime(2024, 3, 4, 5, 6, 7, tzinfo=UTC), datetime(2024, 3, 4, 5, 6, 7, tzinfo=UTC)),
        (None, None),
    ],
)
def test_start_times(tmp_path, form, started_at, expected):
    recording = Recording(invented().channels, started_at=started_at)
    assert written(recording, form, tmp_path).started_at == expected


def test_a_date_that_edf_cannot_hold_is_left_out(tmp_path):
    recording = Recording(invented().channels, started_at=STARTED.replace(year=2512))
    assert written(recording, "edf", tmp_path).started_at is None
    assert written(recording, "wfdb", tmp_path).started_at == STARTED.replace(year=2512)


def test_nothing_that_could_identify_is_written(tmp_path):
    recording = Recording(
        invented().channels, name="Doe, J.", notes=("ward 7, bed 2",), started_at=STARTED
    )
    write_wfdb(recording, tmp_path, "a")
    write_edf(recording, tmp_path / "a.edf")
    write_csv(recording, tmp_path / "a.csv")
    written = list(tmp_path.iterdir())
    assert {path.suffix for path in written} == {".hea", ".dat", ".edf", ".csv"}
    for path in written:
        content = path.read_bytes()
        assert b"Doe" not in content
        assert b"ward" not in content


def test_common_frames():
    assert common_frame_hz([500.0, 125.0]) == 125
    assert common_frame_hz([256.0, 100.0]) == 4
    assert float(common_frame_hz([250.35, 50.07])) == 50.07
    assert float(common_frame_hz([62.5, 250.0])) == 62.5
    with pytest.raises(ArgumentError, match="have no common frame"):
        common_frame_hz([250.0, 50.00000001])


def test_rates_that_share_no_rows_are_refused_for_a_table(tmp_path):
    with pytest.raises(ArgumentError, match="256, 100 Hz are not multiples"):
        write_csv(invented(256, 100), tmp_path / "a.csv")
    assert list(tmp_path.iterdir()) == []
    again = written(invented(256, 100), "wfdb", tmp_path)
    assert (again.ecg.rate_hz, again.impedance.rate_hz) == (256.0, 100.0)


@pytest.mark.parametrize("name", ["", "a b", "../a", "a.b", "a/b", "ä"])
def test_a_name_that_wfdb_does_not_allow_is_refused(tmp_path, name):
    with pytest.raises(ArgumentError, match="cannot name a WFDB record"):
        write_wfdb(invented(), tmp_path, name)
    with pytest.raises(ArgumentError, match="bits is 12"):
        write_wfdb(invented(), tmp_path, "a", bits=12)


@pytest.mark.parametrize("form", ["csv", "wfdb", "edf"])
def test_a_folder_that_is_not_there_is_told(tmp_path, form):
    with pytest.raises(ArgumentError, match="missing does not exist; make it first"):
        written(invented(), form, tmp_path / "missing")


@pytest.mark.parametrize("form", ["csv", "wfdb", "edf"])
def test_a_failure_leaves_the_old_file_and_no_scraps(tmp_path, form, monkeypatch):
    written(invented(seed=1), form, tmp_path)
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    if form == "csv":
        monkeypatch.setattr("pandas.DataFrame.to_csv", _half_written)
    elif form == "wfdb":
        monkeypatch.setattr("wfdb.wrsamp", _half_written)
    else:
        monkeypatch.setattr("edfio.Edf.write", _half_written)
    with pytest.raises(OSError, match="disk is full"):
        written(invented(seed=2), form, tmp_path)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before


def _half_written(_self, *args, **told):
    path = told.get("write_dir") or args[0]
    if told.get("write_dir"):
        path = f"{path}/a.dat"
    with open(path, "wb") as file:  # noqa: PTH123
        file.write(b"half")
    raise OSError("disk is full")


def test_a_value_too_large_for_an_edf_header_is_told(tmp_path):
    recording = Recording({"ecg": Channel([0.0, 1e12] * 100, 100)})
    with pytest.raises(ArgumentError, match="does not fit into the eight characters"):
        write_edf(recording, tmp_path / "a.edf")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("invalid", [0, 30])
def test_what_fills_up_the_last_edf_record_is_not_read_back(tmp_path, invalid):
    """It was not recorded, other than invalid samples at the end; each channel has an end."""
    ecg = np.arange(2550.0)
    ecg[2550 - invalid :] = math.nan
    channels = {
        "ecg": Channel(ecg, 250, "mV", name="II"),
        "impedance": Channel(np.arange(400.0), 62.5, "ohm", name="IMP"),
    }
    again = written(Recording(channels), "edf", tmp_path)
    assert (len(again.ecg), len(again.impedance)) == (2550, 400)
    assert (tmp_path / "a.edf").stat().st_size > 2 * 11 * 252  # whole records all the same
    values = on_ticks(again.ecg)
    assert np.isfinite(values[: 2550 - invalid]).all()
    assert np.isnan(values[2550 - invalid :]).all()


@pytest.mark.parametrize(("rate_hz", "seconds"), [(62.5, 4779), (62.5, 17414), (62.48, 14422)])
def test_hours_at_a_rate_that_fits_into_no_second_are_written(tmp_path, rate_hz, seconds):
    """The library that writes compares lengths of signals more closely than float64 tells hours."""
    count = round(seconds * rate_hz)
    channels = {"impedance": Channel(np.arange(count) % 50.0, rate_hz, "ohm", name="IMP")}
    again = written(Recording(channels), "edf", tmp_path).impedance
    assert (len(again), again.rate_hz) == (count, pytest.approx(rate_hz, rel=1e-9))


def test_a_rate_and_a_length_that_suit_no_edf_record_are_told(tmp_path):
    channels = {"impedance": Channel(np.zeros(189_410), 33.3, "ohm")}
    with pytest.raises(ArgumentError, match="suits a recording of this length; write WFDB"):
        write_edf(Recording(channels), tmp_path / "a.edf")
    assert list(tmp_path.iterdir()) == []


def test_edf_files_of_one_night_join_as_they_were_cut(tmp_path):
    """Each begins when the one before ends, whatever fills up its last record."""
    whole = invented(250.0, 62.5, seconds=120, seed=4)
    paths = []
    for number in range(3):
        start_s = 40.0 * number
        channels = {
            role: Channel(c.between(start_s, start_s + 40.0)[1], c.rate_hz, c.unit, name=c.name)
            for role, c in whole.channels.items()
        }
        paths.append(tmp_path / f"{number}.edf")
        begins = STARTED + timedelta(seconds=start_s)
        write_edf(Recording(channels, name=str(number), started_at=begins), paths[-1])
    again = read(*paths)
    assert again.notes == ()
    for role, channel in whole.channels.items():
        assert len(again.channels[role]) == len(channel)
        assert_close(again.channels[role], channel, bound(channel, "edf"))


@pytest.mark.recordings
def test_a_real_record_comes_back_through_every_format(recordings, tmp_path):
    before = read(recordings / "mimicdb" / "03700181")
    for form in ("csv", "wfdb", "edf"):
        again = written(before, form, tmp_path)
        for role in ("ecg", "impedance"):
            channel = before.channels[role]
            assert again.channels[role].rate_hz == channel.rate_hz
            assert_close(again.channels[role], channel, bound(channel, form))


def test_a_written_recording_without_its_signal_file_is_one_error(tmp_path):
    write_wfdb(invented(), tmp_path, "a")
    (tmp_path / "a.dat").unlink()
    with pytest.raises(RecordingError, match=r"a\.dat does not exist"):
        read(tmp_path / "a")


@pytest.mark.parametrize("minutes", [0, 60, -570, 825, None])
@pytest.mark.parametrize("form", ["wfdb", "edf"])
def test_the_utc_offset_of_the_start_comes_back(tmp_path, form, minutes):
    zone = None if minutes is None else timezone(timedelta(minutes=minutes))
    start = datetime(2031, 3, 30, 1, 59, 30, tzinfo=zone)
    channels = {"ecg": Channel(np.arange(500.0), 250.0, "mV", 0.0, "II")}
    recording = Recording(channels, started_at=start)
    if form == "wfdb":
        write_wfdb(recording, tmp_path, "a")
    else:
        write_edf(recording, tmp_path / "a.edf")
    back = read(tmp_path / ("a" if form == "wfdb" else "a.edf"))
    assert back.started_at == start
    assert back.started_at.utcoffset() == start.utcoffset()


@pytest.mark.parametrize("words", ["UTC+25:00", "UTC+1:00", "XUTC+01:00", "UTC+01:60", ""])
def test_words_that_are_no_offset_change_nothing(words):
    start = datetime(2031, 3, 1)  # noqa: DTZ001 - local time
    assert with_offset(start, words) == start
    assert with_offset(None, "UTC+01:00") is None
    assert offset_words(start.replace(tzinfo=timezone(timedelta(seconds=90)))) is None
