"""One-to-one matching of marks: its twin, its properties, a peer, and what it refuses."""

import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from infantmon.errors import ArgumentError
from infantmon.model.marks import HeartRates
from infantmon.scoring.marks import match_marks, score_marks
from infantmon.scoring.tallies import Tally


def slow_best(reference, test, window):
    """Return count and total distance of the best pairing, from the full table of all pairs."""
    distance = np.abs(np.subtract.outer(reference, test))
    gain = np.where(distance <= window + 1e-9, 1e6 - distance, 0.0)
    rows, columns = linear_sum_assignment(gain, maximize=True)
    paired = gain[rows, columns] > 0
    return int(paired.sum()), float(distance[rows, columns][paired].sum())


def marks(limit=60, largest=400):
    """Sorted, different marks on a grid of 10 ms, often closer than the window."""
    grid = st.sets(st.integers(0, largest), max_size=limit)
    return grid.map(lambda ticks: np.array(sorted(ticks)) / 100.0)


windows = st.integers(1, 60).map(lambda ticks: ticks / 100.0)


@given(marks(), marks(), windows)
@settings(deadline=None, max_examples=300)
def test_as_many_pairs_as_possible_and_the_smallest_distance(reference, test, window):
    match = match_marks(reference, test, window)
    count, distance = slow_best(reference, test, window)
    assert len(match) == count
    assert np.abs(match.error_s).sum() == pytest.approx(distance, abs=1e-6)


@given(marks(), marks(), windows)
@settings(deadline=None)
def test_pairs_are_one_to_one_in_order_and_within_the_window(reference, test, window):
    match = match_marks(reference, test, window)
    assert (np.diff(match.reference_index) > 0).all()
    assert (np.diff(match.test_index) > 0).all()
    assert (np.abs(match.error_s) <= window + 1e-9).all()
    tally = match.tally
    assert tally.reference_count == len(reference)
    assert tally.test_count == len(test)
    assert len(match.missed_s) == tally.false_negatives
    assert len(match.extra_s) == tally.false_positives


@given(marks(), marks(), windows)
@settings(deadline=None)
def test_swapping_reference_and_test_swaps_the_two_figures(reference, test, window):
    there = match_marks(reference, test, window).tally
    back = match_marks(test, reference, window).tally
    assert there.sensitivity == back.positive_predictivity
    assert there.positive_predictivity == back.sensitivity
    assert there.f1 == back.f1


@given(marks(), marks(), windows, st.integers(0, 10**7))
@settings(deadline=None)
def test_shifting_both_changes_nothing(reference, test, window, shift):
    there = match_marks(reference, test, window)
    moved = match_marks(reference + shift, test + shift, window)
    assert there.tally == moved.tally


@given(marks(), marks(), windows, windows)
@settings(deadline=None)
def test_windows_nest(reference, test, one, other):
    narrow, wide = sorted((one, other))
    in_narrow = len(match_marks(reference, test, narrow))
    assert in_narrow <= len(match_marks(reference, test, wide))


@given(st.integers(2, 50), st.data())
@settings(deadline=None)
def test_removing_one_hit_raises_the_misses_by_one(count, data):
    reference = np.cumsum(np.full(count, 0.6))
    test = reference + 0.01
    gone = data.draw(st.integers(0, count - 1))
    before = match_marks(reference, test, 0.15).tally
    after = match_marks(reference, np.delete(test, gone), 0.15).tally
    assert after == Tally(before.true_positives - 1, before.false_negatives + 1, 0)


def test_three_marks_near_one_beat_are_one_hit_and_two_extras():
    match = match_marks([5.0], [4.95, 5.01, 5.1], 0.15)
    assert match.tally == Tally(1, 0, 2)
    assert match.extra_s.tolist() == [4.95, 5.1]


def test_all_at_one_place_in_a_window_wider_than_everything():
    rng = np.random.default_rng(4)
    reference, test = np.sort(rng.random(150)), np.sort(rng.random(180))
    match = match_marks(reference, test, 2.0)
    count, distance = slow_best(reference, test, 2.0)
    assert len(match) == count == 150
    assert np.abs(match.error_s).sum() == pytest.approx(distance, abs=1e-6)


@pytest.mark.parametrize("seed", range(20))
def test_agrees_with_mir_eval(seed):
    """mir_eval.util.match_events finds a largest set of pairs too (it leaves open which one)."""
    mir_eval = pytest.importorskip("mir_eval")
    rng = np.random.default_rng(seed)
    reference = np.unique(np.sort(rng.uniform(0, 100, rng.integers(1, 300))))
    test = np.unique(np.sort(rng.uniform(0, 100, rng.integers(1, 300))))
    window = float(rng.choice([0.05, 0.15, 0.5, 1.0]))
    peer = mir_eval.util.match_events(reference, test, window)
    assert len(match_marks(reference, test, window)) == len(peer)


def test_bias_and_spread():
    score = score_marks([1.0, 2.0, 3.0], [1.01, 2.03, 9.0], 0.15)
    assert score.tally == Tally(2, 1, 1)
    assert score.bias_s == pytest.approx(0.02)
    assert score.spread_s == pytest.approx(0.01)
    nothing = score_marks([], [1.0], 0.15)
    assert nothing.bias_s is None
    assert nothing.spread_s is None


@pytest.mark.slow
def test_time_grows_with_the_number_of_marks_not_its_square():
    """A ratio within one run: ten times the marks, at most thirty times the time."""
    rng = np.random.default_rng(2)

    def seconds(count):
        reference = np.cumsum(rng.uniform(0.2, 0.4, count))
        test = np.unique(np.abs(reference + rng.normal(0, 0.08, count)))[::3]
        begin = time.process_time()
        match_marks(reference, test, 0.15)
        return time.process_time() - begin

    seconds(1000)
    small = min(seconds(20_000) for _ in range(3))
    assert seconds(200_000) < 30.0 * small


@pytest.mark.parametrize(
    ("reference", "words"),
    [
        ([1.0, 3.0, 2.0], r"reference_s\[2\] \(2 s\) comes before the mark in front of it; sort"),
        ([1.0, 1.0], r"reference_s\[1\] \(1 s\) is there twice"),
        ([-0.5, 1.0], r"reference_s\[0\] \(-0.5 s\) is negative"),
        ([1.0, np.nan], r"reference_s\[1\] \(nan s\) is not a finite time"),
        ([[1.0, 2.0]], r"reference_s has shape \(1, 2\); one dimension"),
        (["1.0"], r"reference_s has type <U3; times in seconds"),
    ],
)
def test_marks_that_cannot_be_scored(reference, words):
    with pytest.raises(ArgumentError, match=words):
        match_marks(reference, [1.0], 0.15)


@pytest.mark.parametrize(
    ("window", "words"),
    [(0.0, "must be above 0 s"), (-1, "must be above 0 s"), (np.nan, "finite"), ("1", "a number")],
)
def test_windows_that_cannot_be_used(window, words):
    with pytest.raises(ArgumentError, match=words):
        match_marks([1.0], [1.0], window)


def test_what_is_easily_passed_is_told_how_to_pass():
    marks = np.array([1.0, 2.0])
    beats = HeartRates(marks, marks, marks, marks)
    with pytest.raises(ArgumentError, match=r"test_s is a HeartRates; pass its times, \.time_s"):
        match_marks(marks, beats, 0.15)


def test_a_period_that_ends_before_it_starts():
    with pytest.raises(ArgumentError, match="it must end after it starts"):
        score_marks([1.0], [1.0], 0.15, start_s=10.0, end_s=5.0)
    with pytest.raises(ArgumentError, match="end_s is '5'; a number in s"):
        score_marks([1.0], [1.0], 0.15, end_s="5")


def test_nothing_against_nothing():
    assert match_marks([], [], 0.15).tally == Tally()
    assert match_marks([], [1.0], 0.15).tally == Tally(0, 0, 1)
    assert match_marks([1.0], [], 0.15).tally == Tally(0, 1, 0)


def test_a_comparison_is_one_line_in_a_terminal():
    tally = "Tally(true_positives=900, false_negatives=0, false_positives=0)"
    marks = np.arange(900.0)
    assert repr(match_marks(marks, marks, 0.15)) == f"MarkMatch({tally}, within 0.15 s)"


def test_inputs_are_not_changed():
    reference, test = np.array([1.0, 2.0]), np.array([1.1, 2.1])
    match_marks(reference, test, 0.15)
    assert reference.tolist() == [1.0, 2.0]
    assert test.tolist() == [1.1, 2.1]
