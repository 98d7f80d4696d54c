"""What the median of three takes off a narrow complex, against a loop over samples."""

from __future__ import annotations

import numpy as np
import pytest

from infantmon.dsp.narrow_tops import heights_before_median


def slow(samples, amplitude):
    """One complex at a time, in plain words."""
    upright = [-value for value in samples] if amplitude < 0.0 else list(samples)
    mark = len(upright) // 2
    middle = {at: sorted(upright[at - 1 : at + 2])[1] for at in range(1, len(upright) - 1)}
    beside = [at for at in middle if abs(at - mark) > 2]
    noise = sum(abs(upright[at] - middle[at]) for at in beside) / len(beside)
    top = max(upright[mark - 1 : mark + 2])
    given_back = max(top - middle[mark] - 3.0 * noise, 0.0)
    return min(abs(amplitude) + given_back, 3.0 * abs(amplitude))


@pytest.mark.parametrize("half", [14, 18, 35])
@pytest.mark.parametrize("noise_mv", [0.0, 0.01, 0.1])
def test_the_same_as_one_complex_at_a_time(half, noise_mv):
    draw = np.random.default_rng(half)
    around = noise_mv * draw.standard_normal((2 * half + 1, 60))
    amplitude = 0.1 * draw.choice((-1.0, 1.0), 60)
    for row, share in ((half - 1, 0.3), (half, 1.0), (half + 1, 0.5)):
        around[row] += share * draw.uniform(1.0, 5.0, 60) * amplitude
    expected = [slow(around[:, k], amplitude[k]) for k in range(60)]
    found = heights_before_median(around, amplitude)
    np.testing.assert_allclose(found, expected, rtol=1e-9)
    assert np.any(found > 0.1), "something was given back"
    one_by_one = [heights_before_median(around[:, [k]], amplitude[[k]])[0] for k in range(60)]
    np.testing.assert_array_equal(found, one_by_one)


def complexes(*shapes, half=17):
    around = np.zeros((2 * half + 1, len(shapes)))
    for column, shape in enumerate(shapes):
        around[half - 2 : half + 3, column] = shape
    return around


def test_a_top_of_one_sample_is_given_back_whether_the_mark_is_on_it_or_beside():
    around = complexes((0.0, 0.1, 0.2, 0.1, 0.0), (0.0, 0.0, 0.1, 0.2, 0.1))
    for side in (1.0, -1.0):
        found = heights_before_median(side * around, np.array([0.1, 0.1]) * side)
        np.testing.assert_allclose(found, 0.2)


def test_a_flat_top_has_lost_nothing():
    around = complexes((0.05, 0.1, 0.1, 0.1, 0.05))
    np.testing.assert_allclose(heights_before_median(around, np.array([0.1])), 0.1)


def test_a_spike_on_something_small_triples_it_at_the_most():
    around = complexes((0.02, 0.04, 5.0, 0.04, 0.02))
    np.testing.assert_allclose(heights_before_median(around, np.array([0.04])), 0.12)


def test_noise_that_stands_out_no_further_than_beside_is_not_given_back():
    around = complexes((0.0, 0.1, 0.14, 0.1, 0.0))
    around[1:12:2] += 0.04
    around[23:34:2] += 0.04
    np.testing.assert_allclose(heights_before_median(around, np.array([0.1])), 0.1)


def test_of_none_there_are_none():
    assert len(heights_before_median(np.zeros((35, 0)), np.zeros(0))) == 0
