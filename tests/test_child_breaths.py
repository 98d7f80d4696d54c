"""Breaths of children: how they are counted from the slope, and how pauses are put in."""

import numpy as np
import pytest

from benchmarks.child_breaths import RATE_HZ, beats_of, breaths_of, measured, scene_of

COUNT, PERIOD_S = 40, 3.0
OVER = COUNT - 1  # of the last one the end is not seen


def slope(depths=(1.0,) * COUNT):
    """In for a third and out for two thirds of each breath, as half waves."""
    ticks = round(PERIOD_S * RATE_HZ)
    inward = ticks // 3
    up = np.sin(np.pi * (np.arange(inward) + 0.5) / inward)
    down = np.sin(np.pi * (np.arange(ticks - inward) + 0.5) / (ticks - inward))
    breath = np.concatenate((up / up.sum(), -down / down.sum())) * RATE_HZ
    return np.concatenate([depth * breath for depth in depths])


@pytest.mark.parametrize(("depth", "counted"), [(0.3, True), (0.2, False)])
def test_a_breath_counts_from_a_quarter_of_the_usual_volume(depth, counted):
    depths = [1.0] * COUNT
    depths[10] = depth
    peaks, sizes, ends = breaths_of(slope(depths))
    assert len(peaks) == len(sizes) == OVER - (not counted)
    assert np.all(np.diff(peaks) > 0)
    assert np.all(ends > peaks)
    assert (sizes.min() == pytest.approx(depth, abs=0.02)) == counted


@pytest.mark.parametrize("speed", [1.0, 2.0])
def test_a_pause_stands_behind_every_eighth_breath_and_nothing_moves_in_it(speed):
    scene = scene_of(slope(), speed, np.random.default_rng(3))
    assert len(scene.pauses_s) == len(scene.still_s) == 4
    assert len(scene.breaths_s) == OVER
    time_s = np.arange(len(scene.volume)) / scene.rate_hz
    for (before_s, after_s), (start_s, end_s) in zip(scene.pauses_s, scene.still_s, strict=True):
        assert before_s < start_s < end_s < after_s
        assert 12.0 <= end_s - start_s <= 30.0
        assert np.ptp(scene.volume[(time_s > start_s) & (time_s < end_s)]) < 1e-9
        assert not np.any((scene.breaths_s > before_s) & (scene.breaths_s < after_s))
    at = np.rint(scene.breaths_s * scene.rate_hz).astype(int)
    assert np.all(scene.volume[at] > np.median(scene.volume))


def test_the_heart_slows_in_pauses_alone_and_only_if_told_to():
    scene = scene_of(slope(), 1.0, np.random.default_rng(3))
    for slows, lowest_bpm in ((False, 115.0), (True, 55.0)):
        beats_s = beats_of(scene, slows, np.random.default_rng(4))
        rates, at_s = 60.0 / np.diff(beats_s), beats_s[:-1]
        still = np.zeros(len(at_s), dtype=bool)
        for start_s, end_s in scene.still_s:
            still |= (at_s > start_s) & (at_s < end_s + 4.0)
        assert np.all(rates[~still] > 120.0)
        assert lowest_bpm < rates.min() < lowest_bpm + 15.0


def test_marks_are_compared_with_breaths_and_pauses():
    scene = scene_of(slope(), 1.0, np.random.default_rng(3))
    whole = measured(scene, scene.breaths_s)
    assert whole["found"] == whole["pauses"] == 4
    assert whole["missed"] == whole["extra"] == whole["other_pauses"] == 0
    inside = np.sort(np.append(scene.breaths_s, scene.still_s[1].mean()))
    assert measured(scene, inside) == whole | {"found": 3, "extra": 1}
    fewer = np.delete(scene.breaths_s, slice(17, 21))
    assert measured(scene, fewer) == whole | {"missed": 4, "other_pauses": 1}
