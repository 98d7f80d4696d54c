"""Large swings alone in a silence: by hand, against a slow twin, and however they are cut."""

import math
from itertools import pairwise

import numpy as np
import pytest

from infantmon.events.isolated_swings import IsolatedSwings
from infantmon.events.silences import Silences
from infantmon.model.marks import Breaths


def breaths(time_s, size):
    time_s, size = np.asarray(time_s, dtype=float), np.asarray(size, dtype=float)
    edge = np.full(len(time_s), math.nan)
    return Breaths(
        time_s, time_s + 3.0, np.rint(50 * time_s).astype(np.int64), size, edge, edge, size < 0.5
    )


REGULAR = np.arange(1.0, 21.0)  # twenty breaths of size 1, the last at 20 s


class Pair:
    """Both stages of it: silences, and the swings after them."""

    def __init__(self):
        self.silences, self.swings = Silences(), IsolatedSwings()

    def tell(self, part):
        return self.swings.tell(part, self.silences.tell(part.time_s))


def told(times, sizes):
    """What is said of breaths after the regular ones."""
    whole = breaths([*REGULAR, *times], [*np.ones(len(REGULAR)), *sizes])
    return Pair().tell(whole)[len(REGULAR) :].tolist()


def test_a_large_swing_in_a_silence_and_what_follows_it_at_once_are_doubtful():
    assert told([30.0, 31.0, 31.9, 45.0], [3.0, 1.0, 1.0, 1.0]) == [True, True, True, False]


def test_breathing_that_begins_anew_with_a_gasp_is_doubtful_for_two_seconds_only():
    times = np.arange(30.0, 40.0)
    assert told(times, [3.0, *np.ones(9)]) == [True] * 3 + [False] * 7


def test_a_sigh_among_breaths_and_breaths_of_usual_size_are_not():
    assert told([21.0, 22.0, 28.0], [3.0, 1.0, 1.0]) == [False] * 3
    assert told([30.0, 31.0, 32.0], [1.0, 1.7, 1.0]) == [False] * 3


def test_small_swings_are_doubtful_until_an_ordinary_breath_comes():
    assert (
        told([30.0, 33.0, 36.0, 37.0, 38.0], [5.0, 0.5, 0.7, 0.8, 0.5]) == [True] * 3 + [False] * 2
    )
    assert told([30.0, 31.0, 32.0], [0.4, 0.4, 1.0]) == [True, True, False]


def test_a_large_swing_soon_in_the_row_is_doubtful_whatever_came_before_it():
    assert told([30.0, 31.0, 34.0], [1.0, 1.0, 3.0]) == [False, False, True]
    assert told([30.0, 31.0, 34.1], [1.0, 1.0, 3.0]) == [False] * 3


def test_before_twelve_breaths_are_known_nothing_is_told():
    few = breaths([1.0, 2.0, 10.0, 11.0], [1.0, 1.0, 9.0, 9.0])
    assert not Pair().tell(few).any()


def test_a_silence_is_longer_than_3_5_s_and_than_1_6_usual_intervals():
    assert Silences().tell(np.array([*REGULAR, 23.4, 26.9])).tolist() == [False] * 21 + [True]
    slow = np.cumsum([3.0] * 20 + [4.7, 3.0, 4.9])
    assert np.flatnonzero(Silences().tell(slow)).tolist() == [22]
    assert np.flatnonzero(Silences().tell(np.array([4.0, 5.0]))).tolist() == [0]


def slow_twin(time_s, size):
    found, row, large, usual, doubted = [], -math.inf, -math.inf, 0.0, False
    marks = [0.0, *time_s]
    for k, at in enumerate(time_s):
        gaps = np.diff(marks[: k + 1])[-12:]
        silence = max(3.5, 1.6 * float(np.median(gaps)) if len(gaps) else 0.0)
        if at - marks[k] >= silence:
            before = size[max(0, k - 30) : k]
            doubted = len(before) >= 12
            row = at if doubted else -math.inf
            usual = float(np.median(before)) if len(before) else 0.0
            large = -math.inf
        is_large = size[k] >= 1.8 * usual and (doubted or at <= row + 4.0)
        if is_large:
            large = at
        is_small = doubted and size[k] <= 0.7 * usual
        follows = (doubted or is_large) and at <= large + 2.0
        doubted = (is_large or is_small or follows) and at <= row + 12.0
        found.append(doubted)
    return found


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("pieces", [1, 7, 400])
def test_equals_its_slow_twin_however_it_is_cut(seed, pieces):
    draw = np.random.default_rng(seed)
    gaps = np.where(
        draw.random(400) < 0.1, draw.uniform(4.0, 12.0, 400), draw.uniform(0.4, 2.0, 400)
    )
    time_s, size = np.cumsum(gaps), draw.lognormal(0.0, 0.5, 400)
    whole, stage = breaths(time_s, size), Pair()
    edges = np.linspace(0, 400, pieces + 1).astype(int)
    parts = [stage.tell(whole.rows(a, b)) for a, b in pairwise(edges)]
    wanted = slow_twin(time_s, size)
    np.testing.assert_array_equal(np.concatenate(parts), wanted)
    assert 10 < sum(wanted) < 300


def test_saved_and_restored_it_goes_on_the_same():
    whole = breaths([*REGULAR, 30.0, 31.0], [*np.ones(len(REGULAR)), 3.0, 1.0])
    one, other = Pair(), Pair()
    one.tell(whole.rows(0, 21))
    other.swings.restore(one.swings.snapshot())
    other.silences.restore(one.silences.snapshot())
    assert other.tell(whole.rows(21, 22)).tolist() == [True]
