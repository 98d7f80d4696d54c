"""The R-peak detector as a stream: cut anywhere, known when it says so, saved and resumed."""

from __future__ import annotations

import pickle

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from r_peak_inputs import beat_times, cut_in, ecg_of, narrow_ecg_of

from infantmon.errors import StateError
from infantmon.model.marks import RPeaks
from infantmon.stages.r_peaks import RPeakDetector, RPeakSettings, detect_r_peaks

RATE_HZ = 250.0


def rough_ecg(length_s=30.0, rate_hz=RATE_HZ, seed=7):
    """An ECG with noise, a burst, a gap, a spike and a pause: every path is taken."""
    draw = np.random.default_rng(seed)
    times = beat_times(150, length_s, seed=seed)
    times = times[(times < 18.0) | (times > 24.0)]
    ecg = ecg_of(times, length_s, rate_hz, interval_s=0.4)
    ecg += 0.05 * draw.standard_normal(len(ecg))
    burst = slice(round(5 * rate_hz), round(8 * rate_hz))
    ecg[burst] += draw.standard_normal(burst.stop - burst.start)
    ecg[round(10 * rate_hz) : round(11 * rate_hz)] = np.nan
    ecg[round(3 * rate_hz)] = np.inf
    ecg[round(4 * rate_hz)] += 20.0
    return ecg + 100.0


def pushed(pieces, rate_hz=RATE_HZ, unit=None):
    stage = RPeakDetector(RPeakSettings(rate_hz, start_s=3.0, unit=unit))
    parts = [stage.push(piece) for piece in pieces]
    return RPeaks.joined([*parts, stage.push([], last=True)])


@pytest.mark.parametrize("rate_hz", [100.0, 250.0, 1000.0])
@pytest.mark.parametrize("size", [1, 7, 25, 9999])
def test_chunks_of_any_size_give_the_same(rate_hz, size):
    ecg = rough_ecg(9.0 if size == 1 else 30.0, rate_hz)
    whole = pushed([ecg], rate_hz)
    assert len(whole) > 10
    assert pushed(cut_in(ecg, range(size, len(ecg), size)), rate_hz).equals(whole)


@pytest.mark.parametrize("size", [1, 7, 9999])
def test_chunks_of_any_size_give_the_same_where_heights_are_about_the_floor(size):
    times = beat_times(150, 9.0, seed=2)
    ecg = 0.22 * narrow_ecg_of(times, 9.0, RATE_HZ, t_height=0.2, width_s=0.0045)
    ecg += 0.01 * np.random.default_rng(2).standard_normal(len(ecg))
    whole = pushed([ecg], unit="mV")
    assert 5 < len(whole) < len(times)
    assert pushed(cut_in(ecg, range(size, len(ecg), size)), unit="mV").equals(whole)


WHOLE = pushed([rough_ecg()])


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(0, 7500), max_size=30))
def test_cut_anywhere_gives_the_same(cuts):
    assert pushed(cut_in(rough_ecg(), cuts)).equals(WHOLE)


@pytest.mark.parametrize("rate_hz", [100.0, 250.0])
def test_each_beat_comes_exactly_when_it_says(rate_hz):
    ecg = rough_ecg(12.0, rate_hz)
    stage = RPeakDetector(RPeakSettings(rate_hz, start_s=3.0))
    count = 0
    for index, sample in enumerate(ecg):
        found = stage.push([sample])
        now_s = 3.0 + index / rate_hz
        count += len(found)
        assert found.known_s.tolist() == pytest.approx([now_s] * len(found))
        assert np.all(found.time_s <= now_s)
        assert np.all(found.time_s >= now_s - stage.latency_s - 1e-9)
        assert found.settled_until_s == pytest.approx(now_s - stage.latency_s)
    final = stage.push([], last=True)
    assert count > 10
    assert np.all(final.known_s <= 3.0 + (len(ecg) - 1) / rate_hz)
    assert final.settled_until_s == np.inf


def test_nothing_settled_is_added_later():
    ecg, stage = rough_ecg(), RPeakDetector(RPeakSettings(RATE_HZ))
    frontier, count = -np.inf, 0
    for piece in cut_in(ecg, range(40, len(ecg), 40)):
        found = stage.push(piece)
        assert np.all(found.time_s >= frontier)
        frontier = found.settled_until_s
        count += len(found)
    assert count > 10


def test_known_never_decreases_and_latency_is_bounded():
    for rate_hz in (62.5, 100.0, 250.0, 360.0, 1000.0):
        stage = RPeakDetector(RPeakSettings(rate_hz))
        peaks = stage.push(rough_ecg(30.0, rate_hz), last=True)
        assert stage.latency_s <= 1.2
        assert np.all(np.diff(peaks.known_s) >= 0.0)
        assert np.all(np.diff(peaks.time_s) > 0.0)
        assert np.all(peaks.known_s - peaks.time_s <= stage.latency_s)


@pytest.mark.parametrize("at", [0, 1, 1001, 3000, 4001])
def test_saved_and_resumed_gives_the_same(at):
    ecg = rough_ecg()
    first = RPeakDetector(RPeakSettings(RATE_HZ, start_s=3.0))
    parts = [first.push(ecg[:at])]
    second = RPeakDetector.resume(first.save())
    third = pickle.loads(pickle.dumps(second))  # noqa: S301 - our own bytes
    parts.append(third.push(ecg[at:], last=True))
    assert RPeaks.joined(parts).equals(WHOLE)


def test_batch_is_the_stream():
    ecg = rough_ecg(400.0)
    stage = RPeakDetector(RPeakSettings(RATE_HZ))
    assert detect_r_peaks(ecg, RATE_HZ).equals(stage.push(ecg, last=True))


def test_a_push_after_the_last_is_refused():
    stage = RPeakDetector(RPeakSettings(RATE_HZ))
    stage.push([], last=True)
    with pytest.raises(StateError, match="after its last push"):
        stage.push([1.0])
