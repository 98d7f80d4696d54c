"""Reliability of beats, against a loop; and what it means."""

import numpy as np
import pytest

from infantmon.dsp.beat_reliability import BeatReliability


def slow_twin(likeness, between):
    scores, reliable = [], []
    for like, busy in zip(likeness, between, strict=True):
        scores.append(like - 0.04 * busy)
        latest = sorted(scores[-8:], reverse=True)
        rank = -(-3 * len(latest) // 8)
        reliable.append(latest[rank - 1] > 0.78)
    return reliable


@pytest.mark.parametrize("size", [1, 3, 100])
def test_equals_its_slow_twin_however_cut(size):
    draw = np.random.default_rng(4)
    likeness, between = draw.uniform(0.5, 1.0, 100), draw.integers(0, 4, 100)
    reliability, found = BeatReliability(), []
    for start in range(0, 100, size):
        some = slice(start, start + size)
        found += reliability.push(likeness[some], between[some]).tolist()
        reliability.push(likeness[:0], between[:0])
    assert found == slow_twin(likeness, between)
    assert 10 < sum(found) < 90


def test_single_odd_beats_stay_reliable_and_lucky_ones_in_noise_are_not():
    alike, odd = np.full(40, 0.97), np.full(40, 0.6)
    alike[::3] = 0.1
    odd[::8] = 0.97
    none = np.zeros(40, dtype=np.int64)
    assert BeatReliability().push(alike, none)[1:].all()
    assert not BeatReliability().push(odd, none)[8:].any()
    assert not BeatReliability().push(np.full(40, 0.97), none + 5)[8:].any()
