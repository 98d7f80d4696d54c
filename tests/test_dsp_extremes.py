"""The dominant extreme of a complex: straight line off, no jumping, either polarity."""

import numpy as np

from infantmon.dsp.extremes import DominantExtreme, baselines, off_baseline, refined, smoothed

AT = np.arange(41) - 20.0


def complexes(r_heights, s_heights):
    up = np.exp(-0.5 * ((AT + 3.0) / 2.0) ** 2)
    down = np.exp(-0.5 * ((AT - 4.0) / 2.0) ** 2)
    return np.outer(r_heights, up) - np.outer(s_heights, down)


def test_the_larger_extreme_is_taken_with_its_height():
    column, height = DominantExtreme().push(complexes([1.0, 1.0], [0.3, 0.3]))
    assert column.tolist() == [17, 17]
    np.testing.assert_allclose(height, 1.0, atol=0.01)


def test_nearly_equal_extremes_do_not_alternate():
    draw = np.random.default_rng(0)
    r, s = 1.0 + 0.05 * draw.standard_normal((2, 200))
    column, _ = DominantExtreme().push(complexes(r, s))
    assert len(set(column[20:].tolist())) == 1


def test_a_beat_of_clearly_other_polarity_is_marked_at_its_own_extreme():
    column, height = DominantExtreme().push(complexes([1, 1, 1, 0.2, 1], [0.2, 0.2, 0.2, 1.5, 0.2]))
    assert column.tolist() == [17, 17, 17, 24, 17]
    assert height[3] < -1.0


def test_inverted_gives_the_same_columns_and_one_by_one_gives_the_same():
    draw = np.random.default_rng(1)
    rows = complexes(draw.uniform(0.2, 1.5, 100), draw.uniform(0.2, 1.5, 100))
    rows += 0.05 * draw.standard_normal(rows.shape)
    column, height = DominantExtreme().push(rows)
    inverted, depth = DominantExtreme().push(-rows)
    np.testing.assert_array_equal(inverted, column)
    np.testing.assert_array_equal(depth, -height)
    single = DominantExtreme()
    parts = [single.push(row[np.newaxis]) for row in rows]
    np.testing.assert_array_equal(np.concatenate([p[0] for p in parts]), column)
    np.testing.assert_array_equal(np.concatenate([p[1] for p in parts]), height)


def test_a_broken_line_through_three_means_is_taken_off():
    slope = np.arange(12.0)[:, np.newaxis] * np.array([1.0, -2.0]) + 5.0
    means = baselines(slope, 4, 4)
    np.testing.assert_allclose(means, [[6.5, 10.5, 14.5], [2.0, -6.0, -14.0]])
    rows = np.array([[0.0, 1.0, 2.0, 1.0, 0.0]])
    level = off_baseline(rows, np.array([[0.0, 2.0, 0.0]]), 2)
    np.testing.assert_allclose(level, np.zeros((1, 5)))


def test_smoothing_and_refining():
    rows = np.array([[0.0, 0.0, 9.0, 0.0, 3.0, 4.0, 3.0, 0.0]])
    means = smoothed(rows, 3)
    np.testing.assert_allclose(means, [[3.0, 3.0, 4.0, 7.0 / 3.0, 10.0 / 3.0, 7.0 / 3.0]])
    column, height = refined(rows, np.array([4]), np.array([True]), 1)
    assert (column[0], height[0]) == (5, 4.0)
    column, height = refined(-rows, np.array([4]), np.array([False]), 2)
    assert (column[0], height[0]) == (2, -9.0)
