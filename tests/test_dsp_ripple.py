"""A ripple stands between large swings, again and again; breathing that has waned does not."""

from __future__ import annotations

import pytest

from infantmon.dsp.ripple import Ripple

RATE = 25.0


def told_after(shares: list[float]) -> bool:
    ripple = Ripple(RATE)
    for number, share in enumerate(shares):
        ripple.note(round(number * RATE), share)
    return ripple.is_there


@pytest.mark.parametrize("small", [0.2, 0.45])
def test_small_even_swings_between_large_ones_are_a_ripple(small):
    assert told_after([1.0, small, small, small] * 8)


@pytest.mark.parametrize("small", [0.2, 0.45])
def test_small_even_swings_after_many_large_ones_are_breathing_that_has_waned(small):
    assert not told_after([1.0] * 24 + [small] * 14)
