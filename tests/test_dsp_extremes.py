"""The dominant extreme of a complex: straight line off, no jumping, either polarity."""

import numpy as np

from infantmon.dsp.extremes import DominantExtreme

AT = np.arange(41) - 20.0


def complexes(r_heights, s_heights, slope=0.0):
    up = np.exp(-0.5 * ((AT + 3.0) / 2.0) ** 2)
    down = np.exp(-0.5 * ((AT - 4.0) / 2.0) ** 2)
    return np.outer(r_heights, up) - np.outer(s_heights, down) + slope * AT + 7.0


def test_the_larger_extreme_is_taken_with_its_height_over_the_line():
    column, height = DominantExtreme().push(complexes([1.0, 1.0], [0.3, 0.3], slope=0.05))
    assert column.tolist() == [17, 17]
    np.testing.assert_allclose(height, 1.0, atol=0.1)


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
