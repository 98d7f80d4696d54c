"""Signals gathered in a temporary file, and findings that are held once."""

import pickle

import numpy as np
import pytest

from infantmon.demo import demo_plan
from infantmon.errors import InfantmonError
from infantmon.formats import read, write_edf, write_wfdb
from infantmon.model.channel import StoredSamples
from infantmon.model.clock import Clock
from infantmon.model.signal import Signal
from infantmon.model.spooled import SpooledSignal
from infantmon.reviewing import review, sweep
from infantmon.simulate import demo_scenario, simulate_night


def runs(lengths):
    values, at = np.random.default_rng(0).normal(size=sum(lengths)), 0
    for length in lengths:
        yield Signal(values[at : at + length], 7 + at, Clock(31.25, 0.5), (at + length) / 31.25)
        at += length


@pytest.mark.parametrize("held", [0, 5, 40, 10**6])
def test_a_spooled_signal_is_the_signal(monkeypatch, held):
    monkeypatch.setattr("infantmon.model.spooled.HELD_SAMPLES", held)
    spooled = SpooledSignal()
    for run in runs([0, 3, 0, 20, 1, 30, 0]):
        spooled.add(run)
    joined = spooled.joined()
    del spooled  # the array outlives what made it
    assert joined.equals(Signal.joined(list(runs([0, 3, 0, 20, 1, 30, 0]))))
    assert isinstance(joined.values, np.memmap) == (held < 50)
    assert pickle.loads(pickle.dumps(joined)).equals(joined)  # noqa: S301


def test_nothing_gathered_is_nothing():
    assert SpooledSignal().joined() is None


def test_a_full_disk_is_one_clear_error(monkeypatch):
    def no_room(**_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("infantmon.model.spooled.HELD_SAMPLES", 0)
    monkeypatch.setattr("infantmon.model.spooled.tempfile.TemporaryFile", no_room)
    with pytest.raises(InfantmonError, match="No space left on device; free space there, or set"):
        SpooledSignal().add(next(runs([5])))


@pytest.fixture(scope="module")
def recording():
    return simulate_night(demo_scenario(), 3).recording


def test_a_review_is_equal_whether_the_cleaned_signal_is_held_or_not(recording, monkeypatch):
    held = review(recording, demo_plan())
    monkeypatch.setattr("infantmon.model.spooled.HELD_SAMPLES", 0)
    spooled = review(recording, demo_plan())
    assert spooled.cleaned.equals(held.cleaned)
    assert isinstance(spooled.cleaned.values, np.memmap)
    assert spooled.changes == held.changes


def test_findings_are_held_once(recording):
    found = review(recording, demo_plan()).findings
    for batch in found.batches:
        assert batch.effort is None
        for name in ("r_peaks", "breaths", "pulsation"):
            part, whole = getattr(batch, name), getattr(found.whole, name)
            assert not len(part) or np.shares_memory(part.time_s, whole.time_s)
    assert sum(len(batch.r_peaks) for batch in found.batches) == len(found.whole.r_peaks)
    [(_, events)] = sweep(found, [demo_plan()])
    assert list(events) == list(review(recording, demo_plan()).events)


@pytest.mark.parametrize("form", ["wfdb", "edf"])
def test_a_review_is_equal_whether_samples_are_held_or_stay_in_their_file(
    recording, tmp_path, monkeypatch, form
):
    write_wfdb(recording, tmp_path, "a")
    write_edf(recording, tmp_path / "a.edf")
    path = tmp_path / ("a" if form == "wfdb" else "a.edf")
    held = review(read(path), demo_plan())
    monkeypatch.setattr("infantmon.formats.source.HELD_SAMPLES", 0)
    stored = review(read(path), demo_plan())
    assert isinstance(stored.recording.ecg.segments[0].samples, StoredSamples)
    assert isinstance(held.recording.ecg.segments[0].samples, np.ndarray)
    assert stored.changes == held.changes
    for name in ("r_peaks", "breaths", "heart_rate", "cleaned"):
        assert getattr(stored, name).equals(getattr(held, name))
