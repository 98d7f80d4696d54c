"""A hole of hours is passed over at once, with the same result as sample by sample."""

from __future__ import annotations

import math
import time
from collections.abc import Callable

import numpy as np
import pytest

from infantmon.dsp.anchored import Anchored
from infantmon.dsp.bursts import BlockRanges, BurstEdges
from infantmon.dsp.mains import MainsEdges
from infantmon.dsp.moving_spread import MovingSpread
from infantmon.model.carried import encode

RATE_HZ = 62.5
BLOCK = 16


def bursts() -> BurstEdges:
    return BurstEdges(1, 2, block_ticks=BLOCK, ratio=3.0)


def breathing(seconds: float, seed: int) -> np.ndarray:
    """Breaths with a burst of movement now and then."""
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    rng = np.random.default_rng(seed)
    signal = np.sin(2 * np.pi * 0.7 * time_s) + 0.01 * rng.standard_normal(len(time_s))
    for start_s in rng.uniform(0.0, seconds, max(1, round(seconds / 30.0))):
        signal[(time_s > start_s) & (time_s < start_s + 4.0)] *= 6.0
    return signal


def holed(seed: int) -> np.ndarray:
    """Holes of any length, that begin and end anywhere in a block and a window."""
    rng = np.random.default_rng(seed)
    parts = []
    for _ in range(6):
        parts.append(breathing(rng.uniform(5.0, 60.0), int(rng.integers(1000))))
        parts.append(np.full(int(rng.integers(1, 4000)), math.nan))
    return np.concatenate(parts)


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("make", [bursts, lambda: MainsEdges(1, 250.0)], ids=["bursts", "mains"])
def test_what_is_passed_over_leaves_the_state_it_would_have_left(make, seed) -> None:
    """In one push no part is passed over; in short ones, whole pushes are."""
    signal = holed(seed)
    whole, cut = make(), make()
    edges = whole.push(signal, np.isfinite(signal))
    parts = []
    for first in range(0, len(signal), 3 * BLOCK + 5):
        part = signal[first : first + 3 * BLOCK + 5]
        parts += cut.push(part, np.isfinite(part))
    assert parts == edges
    assert encode(cut.snapshot()) == encode(whole.snapshot())


@pytest.mark.parametrize("before", range(BLOCK))
def test_a_block_that_a_hole_cuts_short_counts_if_half_of_it_was_seen(before) -> None:
    """The hole begins with a push; a block of 16 samples needs 8 that are finite."""
    seen, hole = breathing(1.0, 1)[:before], np.full(100, math.nan)
    signal = np.concatenate((seen, hole))
    whole = BlockRanges(BLOCK).push(signal, np.isfinite(signal))
    cut = BlockRanges(BLOCK)
    parts = [cut.push(part, np.isfinite(part)) for part in (seen, hole[:2], hole[2:])]
    for together, pieces in zip(whole, zip(*parts, strict=True), strict=True):
        assert np.array_equal(np.concatenate(pieces), together, equal_nan=True)
    assert math.isnan(whole[0][0]) == (before < BLOCK / 2)


@pytest.mark.parametrize("seed", range(5))
def test_spreads_of_a_hole_still_tell_what_is_led(seed) -> None:
    rng = np.random.default_rng(seed)
    signal = holed(seed)
    valid = np.isfinite(signal).astype(float)
    led = (rng.random(len(signal)) < 0.3).astype(float)
    samples = np.array((np.nan_to_num(signal), valid, led))
    whole, cut = MovingSpread(62, 15.625, 0.5), MovingSpread(62, 15.625, 0.5)
    expected = whole.push(samples)
    found = [cut.push(samples[:, first : first + 200]) for first in range(0, len(signal), 200)]
    for column, together in zip(zip(*found, strict=True), expected, strict=True):
        assert np.array_equal(np.concatenate(column), together, equal_nan=True)
    assert np.isnan(expected.spread).any()
    assert np.isfinite(expected.spread).any()


def test_a_hole_is_held_at_the_last_level() -> None:
    stage = Anchored()
    before, _ = stage.push(np.array([5.0, 7.0]))
    hole, lost = stage.push(np.full(3, math.nan))
    after, _ = stage.push(np.array([6.0]))
    assert before.tolist() == [0.0, 2.0]
    assert hole.tolist() == [2.0, 2.0, 2.0]
    assert lost.all()
    assert after.tolist() == [1.0]


def test_a_hole_costs_less_than_a_signal() -> None:
    """A ratio within one run; it was three to one the other way round."""
    signal = breathing(300.0, 1)
    hole = np.full(len(signal), math.nan)

    def took_s(values: np.ndarray) -> float:
        finite = np.isfinite(values)
        return least_s(lambda: bursts().push(values, finite))

    assert took_s(hole) < took_s(signal)


def least_s(work: Callable[[], object]) -> float:
    took = []
    for _ in range(10):
        began = time.perf_counter()
        work()
        took.append(time.perf_counter() - began)
    return min(took)
