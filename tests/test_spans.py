"""Which times and stretches lie in spans: equal to a slow twin, whatever the spans, and quick."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import pytest

from infantmon.model.spans import Reason, Spans


def spans_of(start_s, end_s) -> Spans:
    return Spans(start_s, end_s, np.full(len(start_s), int(Reason.MOVEMENT)))


def slow_touch(spans: Spans, start_s, end_s) -> list[bool]:
    """Pair by pair."""
    return [
        any(begin < b and end > a for begin, end in zip(spans.start_s, spans.end_s, strict=True))
        for a, b in zip(start_s, end_s, strict=True)
    ]


@pytest.mark.parametrize("seed", range(40))
def test_touch_equals_its_slow_twin(seed) -> None:
    """Spans in any order, apart, within each other or empty; stretches too, even turned round."""
    chance = np.random.default_rng(seed)
    start_s = chance.integers(0, 60, int(chance.integers(0, 12))).astype(float)
    spans = spans_of(start_s, start_s + chance.integers(0, 9, len(start_s)))
    a = chance.integers(0, 70, 50).astype(float)
    b = a + chance.integers(-2, 9, 50)
    assert spans.touch(a, b).tolist() == slow_touch(spans, a, b)


@pytest.mark.parametrize("seed", range(10))
def test_a_time_is_inside_from_the_first_instant_to_before_the_end(seed) -> None:
    chance = np.random.default_rng(seed)
    start_s = chance.integers(0, 30, 6).astype(float)
    end_s = start_s + chance.integers(0, 5, 6)
    at = np.arange(40.0)
    expected = [bool(np.any((start_s <= t) & (t < end_s))) for t in at]
    assert spans_of(start_s, end_s).inside(at).tolist() == expected


def test_nothing_is_inside_no_span() -> None:
    assert Spans.none().inside(np.arange(3.0)).tolist() == [False] * 3
    assert Spans.none().inside(np.empty(0)).tolist() == []


def test_many_spans_are_not_compared_pair_by_pair() -> None:
    """A ratio within one run."""
    start_s = np.arange(3000.0)
    spans, at = spans_of(start_s, start_s + 0.5), np.linspace(0.0, 3000.0, 3000)

    def pair_by_pair() -> object:
        return ((at[:, np.newaxis] >= spans.start_s) & (at[:, np.newaxis] < spans.end_s)).any(1)

    assert np.array_equal(spans.inside(at), pair_by_pair())
    assert 5.0 * least_s(lambda: spans.inside(at)) < least_s(pair_by_pair)


def least_s(work: Callable[[], object]) -> float:
    took = []
    for _ in range(5):
        began = time.perf_counter()
        work()
        took.append(time.perf_counter() - began)
    return min(took)
