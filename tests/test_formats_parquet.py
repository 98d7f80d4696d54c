"""Parquet files in and out: times, units, empty cells, files that are damaged or claim too much."""

import math
import sys
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pyarrow as pa
import pyarrow.parquet as parquet
import pytest

from infantmon.errors import ArgumentError, InfantmonError, RecordingError
from infantmon.formats import read, read_csv, read_parquet, write_csv, write_parquet
from infantmon.model.channel import Channel
from infantmon.model.recording import Recording


def table(path, columns, **kinds):
    """Write columns; a kind is the arrow type of a column."""
    made = {name: pa.array(values, type=kinds.get(name)) for name, values in columns.items()}
    parquet.write_table(pa.table(made), path)
    return path


def columns(count=200, rate_hz=125.0):
    return {
        "time_s": np.arange(count) / rate_hz,
        "ecg [mV]": np.sin(np.arange(count)),
        "impedance [ohm]": np.cos(np.arange(count)),
    }


def test_a_table_with_times_gives_rate_units_and_samples(tmp_path):
    made = columns()
    recording = read(table(tmp_path / "a.parquet", made))
    assert (recording.ecg.rate_hz, recording.ecg.unit, recording.impedance.unit) == (
        125.0,
        "mV",
        "ohm",
    )
    np.testing.assert_array_equal(recording.ecg.segments[0].values, made["ecg [mV]"])
    np.testing.assert_array_equal(recording.impedance.segments[0].values, made["impedance [ohm]"])


@pytest.mark.parametrize("kind", [pa.int16(), pa.int64(), pa.uint8(), pa.float32(), pa.float64()])
def test_numbers_of_every_kind_and_empty_cells(tmp_path, kind):
    made = {"time_s": [i / 50 for i in range(20)], "ecg": [1, None, 3, *range(17)]}
    values = read(table(tmp_path / "a.parquet", made, ecg=kind)).ecg.segments[0].values
    np.testing.assert_array_equal(values, [1, math.nan, 3, *range(17)])


@pytest.mark.parametrize("unit", ["ms", "us", "ns"])
@pytest.mark.parametrize("zone", [None, "UTC", "+05:30"])
def test_timestamps_give_rate_and_start(tmp_path, unit, zone):
    start = datetime(2021, 3, 28, 0, 59, 58, 500_000, tzinfo=UTC if zone else None)
    made = columns(500)
    made["time_s"] = [start + timedelta(milliseconds=8 * i) for i in range(500)]
    path = table(tmp_path / "a.parquet", made, time_s=pa.timestamp(unit, tz=zone))
    recording = read(path)
    assert recording.ecg.rate_hz == 125.0
    assert recording.started_at == start
    if zone == "+05:30":
        assert recording.started_at.utcoffset() == timedelta(hours=5, minutes=30)


def test_iso_texts_are_times_too(tmp_path):
    zone = timezone(timedelta(hours=1))
    start = datetime(2021, 3, 28, 0, 59, 58, 500_000, tzinfo=zone)
    made = columns(50)
    made["time_s"] = [(start + timedelta(milliseconds=8 * i)).isoformat() for i in range(50)]
    recording = read(table(tmp_path / "a.parquet", made))
    assert (recording.ecg.rate_hz, recording.started_at) == (125.0, start)
    made["time_s"][7] = "noon"
    with pytest.raises(RecordingError, match="no ISO timestamp"):
        read(table(tmp_path / "a.parquet", made))


def test_a_unit_may_stand_in_the_metadata_of_a_column(tmp_path):
    made = columns()
    fields = [
        pa.field("time_s", pa.float64()),
        pa.field("ecg", pa.float64(), metadata={"unit": "uV"}),
    ]
    arrays = [made["time_s"], made["ecg [mV]"]]
    parquet.write_table(pa.table(arrays, schema=pa.schema(fields)), tmp_path / "a.parquet")
    assert read(tmp_path / "a.parquet").ecg.unit == "uV"


def test_without_times_the_rate_must_be_told(tmp_path):
    made = columns()
    del made["time_s"]
    path = table(tmp_path / "a.parquet", made)
    with pytest.raises(RecordingError, match=r"never assumed.*read_parquet\(path, rate_hz"):
        read(path)
    assert read_parquet(path, rate_hz=125).ecg.rate_hz == 125.0
    with pytest.raises(ArgumentError, match="leave rate_hz out"):
        read_parquet(table(path, columns()), rate_hz=125)


def recording_with_everything():
    values = np.random.default_rng(1).normal(size=900)
    values[[3, 700]] = math.nan
    pieces = [(0.0, values[:500]), (4.0, values[500:])]
    slow = [(0.0, values[:100] * 7), (4.0, values[200:280])]
    return Recording(
        {
            "ecg": Channel.joined(pieces, 250.0, "mV", "II"),
            "impedance": Channel.joined(slow, 50.0, "ohm", "RESP"),
        }
    )


def test_a_round_trip_is_exact_and_equal_to_that_of_csv(tmp_path):
    before = recording_with_everything()
    write_parquet(before, tmp_path / "a.parquet")
    write_csv(before, tmp_path / "a.csv")
    for again in (read(tmp_path / "a.parquet"), read_csv(tmp_path / "a.csv")):
        for role, channel in before.channels.items():
            other = again.channels[role]
            assert (other.rate_hz, other.unit, other.name) == (
                channel.rate_hz,
                channel.unit,
                channel.name,
            )
            assert [s.first_tick for s in other.segments] == [
                s.first_tick for s in channel.segments
            ]
            for mine, theirs in zip(channel.segments, other.segments, strict=True):
                np.testing.assert_array_equal(mine.values, theirs.values)


def test_without_pyarrow_one_error_says_how_to_get_it(tmp_path, monkeypatch):
    path = table(tmp_path / "a.parquet", columns())
    monkeypatch.setitem(sys.modules, "pyarrow.parquet", None)
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    for call in (lambda: read(path), lambda: write_parquet(recording_with_everything(), path)):
        with pytest.raises(InfantmonError, match=r"pip install 'infantmon\[parquet\]'"):
            call()


@pytest.mark.parametrize("cut", [0, 1, 4, 100, 0.5, -1, -8])
def test_a_damaged_file_is_one_clear_error(tmp_path, cut):
    path = table(tmp_path / "a.parquet", columns())
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * cut) if isinstance(cut, float) else cut])
    with pytest.raises(RecordingError, match=r"a\.parquet"):
        read(path)


def test_a_file_that_packs_more_rows_than_a_recording_can_is_not_read(tmp_path):
    made = {"time_s": pa.array(np.zeros(10**7)), "ecg": pa.array(np.zeros(10**7))}
    parquet.write_table(pa.table(made), tmp_path / "a.parquet")
    with pytest.raises(RecordingError, match="claims 10000000 rows"):
        read(tmp_path / "a.parquet")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"ecg [mV]": ["a"] * 200}, "of type string; numbers are expected"),
        ({"time_s": np.zeros(200)}, "no rate can be measured"),
        ({"time_s": np.arange(200)[::-1] / 50}, "row 2: the time in column 'time' goes back"),
        ({"time_s": [None] + [i / 50 for i in range(199)]}, "row 1: the time .* holds no time"),
    ],
)
def test_what_cannot_be_used_is_told_with_its_place(tmp_path, change, words):
    with pytest.raises(RecordingError, match=words):
        read(table(tmp_path / "a.parquet", columns() | change))


def test_units_may_be_told(tmp_path):
    path = table(tmp_path / "a.parquet", columns())
    assert read_parquet(path, units={"ecg": "uV"}).ecg.unit == "uV"
    with pytest.raises(ArgumentError, match="a unit is told for 'heart'"):
        read_parquet(path, units={"heart": "mV"})
