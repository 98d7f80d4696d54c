"""Our detectors on signals that another simulator made, and the peers' adapters."""

import warnings

import numpy as np
import pytest

from benchmarks import second_source
from infantmon.scorecard import peers
from infantmon.selftest.drawing import ECG_HZ, at_rate, drawn

pytestmark = pytest.mark.peers

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    pytest.importorskip("neurokit2")


@pytest.mark.parametrize("rate_bpm", [60, 140, 220])
def test_beats_of_another_simulator_are_found(rate_bpm):
    """Within 50 ms; one beat cut off by the end of the record may be missed."""
    made = second_source.made_ecg(rate_bpm, 0.05, seed=2)
    assert len(made.marks_s) == pytest.approx(rate_bpm * second_source.LENGTH_S / 60.0, abs=1)
    score = second_source.score_beats(made)
    assert score["false_negatives"] <= 1
    assert score["false_positives"] == 0


@pytest.mark.parametrize("rate_per_min", [20, 45, 80])
def test_breaths_of_another_simulator_are_found(rate_per_min):
    made = second_source.made_breathing(rate_per_min, "sinusoidal", 0.05, seed=2)
    score = second_source.score_breaths(made)
    assert score["false_negatives"] == 0
    assert score["false_positives"] == 0


@pytest.mark.parametrize("name", peers.BEATS)
def test_the_adapters_give_beats_in_seconds(name):
    detect, package = peers.BEATS[name]
    pytest.importorskip(package)
    ecg = drawn(at_rate(100.0, 40.0), 40.0)
    found = detect(ecg.samples_mv, ECG_HZ)
    assert len(found) == pytest.approx(len(ecg.beat_s), abs=4)
    off = np.min(np.abs(found[:, None] - ecg.beat_s), axis=1)
    assert np.median(off) < 0.05


@pytest.mark.parametrize("name", peers.BREATHS)
def test_the_adapters_give_breaths_in_seconds(name):
    detect, package = peers.BREATHS[name]
    pytest.importorskip(package)
    made = second_source.made_breathing(20, "sinusoidal", 0.02, seed=2)
    found = detect(made.values, made.rate_hz)
    assert len(found) == pytest.approx(len(made.marks_s), rel=0.2)
