"""What handling of the electrodes leaves of the breaths that follow, and of an early pause."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.handling import KINDS, LENGTH_S, disturb, ecg_reviewed, handled, paused, reviewed


def test_breathing_is_found_again_after_disturbances_far_larger_than_breaths():
    of, found = np.sum([handled(seed) for seed in range(1000, 1030)], axis=0)
    assert of > 4000
    assert found >= 0.97 * of


@pytest.mark.parametrize("seed", [1020, 1061, 1090])
def test_breathing_that_comes_back_far_smaller_supports_no_apnea(seed):
    """Even swings of many times a breath were taken for breathing, and stopped."""
    listed, supported, lasting_s = reviewed(seed)
    assert listed >= 1
    assert supported == 0
    assert lasting_s < 120.0


def test_a_jolt_among_the_first_beats_supports_no_slow_or_stopped_heart():
    listed, supported, _ = np.sum([ecg_reviewed(seed) for seed in range(2000, 2030)], axis=0)
    assert listed >= 1
    assert supported == 0


def test_a_pause_near_the_start_is_not_filled_by_what_lets_breathing_come_back():
    of, kept = np.sum([paused(seed) for seed in range(1300, 1330)], axis=0)
    assert (of, kept) == (30, 30)


@pytest.mark.parametrize("kind", KINDS)
def test_no_kind_of_disturbance_changes_the_samples_before_it_begins(kind, monkeypatch):
    monkeypatch.setattr("benchmarks.handling.KINDS", (kind,))
    calm = np.sin(np.arange(round(LENGTH_S * 62.5)) / 20.0)
    values, lasting = disturb(calm, 62.5, np.random.default_rng(3))
    changed = ~(np.isclose(values, calm, atol=1e-3))
    assert changed.any()
    time_s = np.arange(len(calm)) / 62.5
    before = time_s < min(start for start, _ in lasting)
    assert not changed[before].any()
