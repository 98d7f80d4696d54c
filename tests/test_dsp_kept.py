"""The kept end of a stream."""

import numpy as np

from infantmon.dsp.kept import Kept


def test_windows_are_found_by_their_place_and_held_at_the_ends():
    kept = Kept()
    kept.push(np.arange(5.0))
    kept.push(np.arange(5.0, 10.0))
    assert kept.end == 10
    kept.forget_before(4)
    kept.forget_before(2)
    rows = kept.windows(np.array([4, 8]), 3)
    assert rows.tolist() == [[4.0, 5.0, 6.0], [8.0, 9.0, 9.0]]
    np.testing.assert_array_equal(kept.columns(np.array([4, 8]), 3).T, rows)
    np.testing.assert_array_equal(kept.columns(np.array([4, 6]), 3).T, [[4, 5, 6], [6, 7, 8]])
    np.testing.assert_array_equal(kept.windows(np.array([4, 6]), 3), [[4, 5, 6], [6, 7, 8]])
    assert kept.between(np.array([2.5, 4.0, 4.25, 9.5])).tolist() == [4.0, 4.0, 4.25, 9.0]
    kept.forget_before(99)
    assert kept.end == 10


def test_pieces_that_nobody_has_asked_for_are_forgotten_in_place_and_the_rest_is_a_copy():
    kept, pushed = Kept(), [np.arange(5.0) + 5.0 * n for n in range(4)]
    for place, piece in zip((0, 3, 12, 17), pushed, strict=True):
        kept.push(piece)
        kept.forget_before(place)
    for piece in pushed:
        piece[:] = -1.0  # whose memory it is may change it
    assert kept.end == 20
    assert kept.windows(np.array([17, 18]), 2).tolist() == [[17.0, 18.0], [18.0, 19.0]]
    many = Kept()
    for n in range(4):
        many.push(np.arange(5.0) + 5.0 * n)
    many.forget_before(17)
    np.testing.assert_array_equal(many.windows(np.array([17, 19]), 1), [[17.0], [19.0]])


def test_the_lowest_is_that_of_the_samples_that_there_are():
    kept = Kept()
    kept.push(np.array([5.0, 4.0, 7.0, 6.0, 8.0]))
    kept.forget_before(1)
    starts = np.array([[-1, 0, 1], [2, 3, 4]])
    assert kept.lowest(starts, 3).tolist() == [[4.0, 4.0, 4.0], [6.0, 6.0, 8.0]]


def test_a_snapshot_brings_back_type_and_place():
    kept, other = Kept(np.bool_), Kept(np.bool_)
    kept.push(np.array([True, False, True]))
    kept.forget_before(1)
    other.restore(kept.snapshot())
    assert other.windows(np.array([1]), 2).tolist() == [[False, True]]
    assert other.windows(np.array([1]), 2).dtype == np.bool_
