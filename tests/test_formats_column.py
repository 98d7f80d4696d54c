"""Tables read block by block: equal to those that are held, in bounded memory."""

from __future__ import annotations

import dataclasses
import pickle

import numpy as np
import pytest

from infantmon.demo import demo_plan
from infantmon.errors import InfantmonError, RecordingError
from infantmon.formats import column, read, write_csv, write_parquet
from infantmon.formats.column import Column
from infantmon.model.channel import StoredSamples
from infantmon.reviewing import review
from infantmon.simulate import demo_scenario, simulate_night

LENGTHS = (0, 3, 1, 20, 0, 30)


def numbers() -> np.ndarray:
    return np.random.default_rng(2).normal(size=sum(LENGTHS))


def blocks():
    at = 0
    for length in LENGTHS:
        yield numbers()[at : at + length]
        at += length


@pytest.fixture(params=[0, 10, 10**6], ids=["all stored", "some stored", "held"])
def small(request, monkeypatch):
    """Blocks of seven rows, and so many samples that are held."""
    monkeypatch.setattr("infantmon.formats.source.HELD_SAMPLES", request.param)
    for module in ("column", "csv_table", "evenness"):
        monkeypatch.setattr(f"infantmon.formats.{module}.BLOCK_ROWS", 7)
    return request.param


def test_a_column_is_its_rows(small) -> None:
    made, whole = Column(blocks()), numbers()
    assert len(made) == len(whole)
    for first, end in ((0, len(whole)), (5, 6), (7, 7), (30, 54)):
        np.testing.assert_array_equal(made.read(first, end), whole[first:end])
    for overlap in (0, 1):
        for first, block in made.blocks(overlap):
            np.testing.assert_array_equal(block, whole[first : first + 7 + overlap])
        shown = [first for first, _ in made.blocks(overlap)]
        assert shown == list(range(0, len(whole) - overlap, 7))
    for stride in (1, 2, 5):
        part = made.part(4, 50, stride)
        assert isinstance(part, StoredSamples) == (small < len(whole))
        assert len(part) == len(whole[4:50:stride])
        read_back = part.read(1, 5) if isinstance(part, StoredSamples) else part[1:5]
        np.testing.assert_array_equal(read_back, whole[4:50:stride][1:5])
    again = pickle.loads(pickle.dumps(made))  # noqa: S301
    np.testing.assert_array_equal(again.read(0, len(whole)), whole)


@pytest.mark.usefixtures("small")
def test_nothing_is_an_empty_column() -> None:
    made = Column(iter(()))
    assert (len(made), list(made.blocks(1)), len(made.read(0, 0))) == (0, [], 0)


def test_a_full_disk_is_one_clear_error(monkeypatch) -> None:
    def no_room(**_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("infantmon.formats.source.HELD_SAMPLES", 0)
    monkeypatch.setattr("infantmon.formats.column.tempfile.TemporaryFile", no_room)
    with pytest.raises(InfantmonError, match="No space left on device; free space there, or set"):
        Column(blocks())


def stamp(time_s: float) -> str:
    return str(
        np.datetime64("2031-03-01T23:59:50.000") + np.timedelta64(round(time_s * 1000), "ms")
    )


def clock(time_s: float) -> str:
    time_s %= 86400.0
    return f"{int(time_s // 3600):02d}:{int(time_s // 60 % 60):02d}:{time_s % 60:06.3f}"


@pytest.mark.usefixtures("small")
@pytest.mark.parametrize("kind", ["seconds", "stamps", "clock"])
def test_a_table_is_read_the_same_however_it_is_cut(tmp_path, kind) -> None:
    """A hole, a slower column that starts late, an empty cell, midnight."""
    told = {"seconds": lambda t: f"{t:.3f}", "stamps": stamp, "clock": lambda t: clock(t + 86390)}
    times = [k / 50 for k in range(2000) if not 700 <= k < 900]
    lines = ["time,ecg [mV],impedance [ohm]"]
    for number, time_s in enumerate(times):
        slow = f"{480 + np.sin(time_s):.4f}" if round(time_s * 50) % 2 == 1 else ""
        lines.append(f"{told[kind](time_s)},{'' if number == 55 else np.cos(time_s)},{slow}")
    (tmp_path / "a.csv").write_text("\n".join(lines) + "\n")
    found = read(tmp_path / "a.csv")
    assert (found.ecg.rate_hz, found.impedance.rate_hz) == (50.0, 25.0)
    assert [len(segment) for segment in found.ecg.segments] == [700, 1100]
    assert [segment.first_tick for segment in found.ecg.segments] == [0, 900]
    assert [len(segment) for segment in found.impedance.segments] == [350, 550]
    ecg = np.concatenate([segment.values for segment in found.ecg.segments])
    assert np.flatnonzero(np.isnan(ecg)).tolist() == [55]
    np.testing.assert_array_equal(np.delete(ecg, 55), np.cos(np.delete(times, 55)))
    chest = np.concatenate([segment.values for segment in found.impedance.segments])
    np.testing.assert_allclose(chest, 480 + np.sin(times[1::2]), atol=1e-4)
    assert ("the times pass midnight, and go on with the next day" in found.notes) == (
        kind == "clock"
    )


@pytest.mark.usefixtures("small")
@pytest.mark.parametrize("row", [3, 6, 7, 8, 40])
def test_a_time_that_goes_back_is_told_with_its_line(tmp_path, row) -> None:
    times = [k / 50 for k in range(60)]
    times[row] = times[row - 1] - 0.004
    text = "time_s,ecg [mV]\n" + "".join(f"{t:.3f},1\n" for t in times)
    (tmp_path / "a.csv").write_text(text)
    with pytest.raises(RecordingError, match=rf"line {row + 2}: .* goes back by 0.004 s"):
        read(tmp_path / "a.csv")


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_a_review_is_equal_whether_samples_are_held_or_stored(tmp_path, monkeypatch, form) -> None:
    scenario = dataclasses.replace(demo_scenario(), duration_s=700.0)  # two blocks of a replay
    recording = simulate_night(scenario, 3).recording
    path = tmp_path / f"a.{form}"
    {"csv": write_csv, "parquet": write_parquet}[form](recording, path)
    held = review(read(path), demo_plan())
    monkeypatch.setattr("infantmon.formats.source.HELD_SAMPLES", 0)
    monkeypatch.setattr(column, "BLOCK_ROWS", 10_000)
    stored = review(read(path), demo_plan())
    assert isinstance(stored.recording.ecg.segments[0].samples, StoredSamples)
    assert isinstance(held.recording.ecg.segments[0].samples, np.ndarray)
    assert len(held.changes)
    assert stored.changes == held.changes
    for name in ("r_peaks", "breaths", "heart_rate", "cleaned"):
        assert getattr(stored, name).equals(getattr(held, name))


def test_times_further_apart_than_samples_can_be_counted_are_refused(tmp_path) -> None:
    """Found by fuzzing a Parquet file."""
    rows = [*(f"{k / 250}" for k in range(50)), "1e300"]
    (tmp_path / "a.csv").write_text("time_s,ecg\n" + "".join(f"{t},1\n" for t in rows))
    with pytest.raises(RecordingError, match="further than samples can be counted"):
        read(tmp_path / "a.csv")
