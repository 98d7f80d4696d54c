"""Which beats are in a row with far smaller ones, against a loop over beats."""

from __future__ import annotations

import numpy as np
import pytest
from r_peak_inputs import cut_in

from infantmon.dsp.beat_sizes import BeatSizes


def slow(heights, alike):
    """One beat after the other, in plain words."""
    large, small, told = [0.0] * 24, [False] * 8, []
    for height, good in zip(heights, alike, strict=True):
        small.append(height < 0.45 * sorted(large[-24:])[-6])
        told.append(sum(small[-8:]) >= 3 and (small[-1] or small[-2]))
        if good:
            large.append(height)
    return told


@pytest.mark.parametrize("share", [0.0, 0.1, 0.5, 0.9])
@pytest.mark.parametrize("size", [1, 5, 1000])
def test_equals_its_slow_twin_however_cut(share, size):
    draw = np.random.default_rng(round(10 * share))
    heights = np.where(draw.random(400) < share, 0.3, 1.0) * draw.uniform(0.7, 1.3, 400)
    heights[200:260] *= 0.4
    alike = draw.random(400) < 0.8
    sizes, pieces = BeatSizes(), [*range(size, 400, size)]
    told = []
    for part, good in zip(cut_in(heights, pieces), cut_in(alike, pieces), strict=True):
        anew = BeatSizes()
        anew.restore(sizes.snapshot())
        sizes = anew
        told += sizes.push(part, good).tolist()
    assert told == slow(heights, alike)


def told_of(*heights):
    return BeatSizes().push(np.array(heights), np.ones(len(heights), dtype=bool))


def test_every_second_small_one_and_what_follows_it_cannot_be_trusted():
    told = told_of(*[1.0] * 20, *[0.3, 1.0] * 20)
    assert not told[:24].any()
    assert told[24:].all()


def test_one_or_two_small_ones_are_no_row():
    assert not told_of(*[1.0] * 20, 0.3, 1.0, 0.3, *[1.0] * 20).any()


def test_large_ones_among_usual_ones_make_these_no_small_ones():
    assert not told_of(*[1.0, 1.0, 1.0, 1.0, 2.5] * 20).any()


def test_a_heart_whose_beats_have_become_small_for_good_is_trusted_again():
    told = told_of(*[1.0] * 30, *[0.3] * 40)
    assert told[32:49].all()
    assert not told[50:].any()
