"""Episodes: overlap, errors of onset and length, sums, and what is refused."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from infantmon.errors import ArgumentError
from infantmon.events.log import EventLog
from infantmon.model.event import Event
from infantmon.scoring.episodes import EpisodeTally, match_episodes


def episodes():
    edges = st.sets(st.integers(0, 300), max_size=24)

    def rows(ticks):
        ordered = sorted(ticks)[: len(ticks) // 2 * 2]
        return np.array(ordered, dtype=float).reshape(-1, 2)

    return edges.map(rows)


def slow_match(reference, test):
    """All against all."""
    overlap = np.array(
        [[max(0.0, min(r[1], t[1]) - max(r[0], t[0])) for t in test] for r in reference]
    ).reshape(len(reference), len(test))
    return overlap.sum(axis=1) > 0, overlap.sum(axis=0) > 0, overlap


@given(episodes(), episodes())
def test_equals_all_against_all(reference, test):
    found, right, overlap = slow_match(reference, test)
    match = match_episodes(reference, test)
    assert match.reference_found.tolist() == found.tolist()
    assert match.test_right.tolist() == right.tolist()
    assert match.tally.overlap_s == overlap.sum()
    for k in np.flatnonzero(found):
        assert match.partner[k] == int(np.argmax(overlap[k]))


@given(episodes(), episodes())
def test_swapping_swaps_the_figures(reference, test):
    there, back = match_episodes(reference, test).tally, match_episodes(test, reference).tally
    assert there.sensitivity == back.positive_predictivity
    assert there.duration_sensitivity == back.duration_positive_predictivity


@given(episodes(), episodes(), st.integers(0, 10**6))
def test_shifting_both_changes_nothing(reference, test, shift):
    there = match_episodes(reference, test).tally
    assert there == match_episodes(reference + shift, test + shift).tally


def test_onset_and_length_errors():
    match = match_episodes([[10, 30], [50, 70], [90, 110]], [[10.5, 31], [48, 49], [51, 69]])
    assert match.partner.tolist() == [0, 2, -1]
    assert match.onset_error_s.tolist() == [0.5, 1.0]
    assert match.length_error_s.tolist() == [0.5, -2.0]


def test_touching_is_not_overlapping():
    assert not match_episodes([[10, 20]], [[20, 30]]).reference_found.any()


def test_touching_does_not_hang_on_rounding():
    """0.1 * 3 lies 6e-17 above 0.3; on a grid of tenths both are the same instant."""
    touching = match_episodes([[0.1, 0.1 * 3]], [[0.3, 0.5]]).tally
    assert (touching.found, touching.missed, touching.right, touching.false) == (0, 1, 0, 1)
    assert match_episodes([[0.1, 0.1 * 3], [0.3, 0.5]], []).tally.missed == 2


@pytest.mark.parametrize("share", [0.25, 0.5, 0.75, 1.0])
def test_a_share_that_is_just_covered_is_enough(share):
    """On a grid of tenths, wherever the episode lies: 0.1 + 0.2 is not 0.3 in binary."""
    for start in range(40):
        episode = [[0.1 * start, 0.1 * (start + 4)]]
        parts = [[0.1 * k, 0.1 * (k + 1)] for k in range(start, start + round(4 * share))]
        assert match_episodes(episode, parts, least_share=share).tally.found == 1
        assert match_episodes(parts, episode, least_share=share).tally.right == 1


def test_the_partner_is_the_one_that_overlaps_longest():
    assert match_episodes([[10, 30]], [[8, 12], [15, 25]]).partner.tolist() == [1]


def test_a_comparison_is_one_line_in_a_terminal():
    match = match_episodes([[k, k + 0.5] for k in range(500)], [])
    assert repr(match) == f"EpisodeMatch({match.tally!r})"


def test_tallies_add_up():
    one = match_episodes([[10, 20]], [[15, 25]]).tally
    two = match_episodes([[10, 20], [30, 40]], []).tally
    total = one + two
    assert (total.found, total.missed, total.right, total.false) == (1, 2, 1, 0)
    assert total.reference_s == 30.0
    assert total.sensitivity == pytest.approx(1 / 3)
    assert total.positive_predictivity_interval() == pytest.approx((0.2065, 1.0), abs=5e-5)


def test_undefined_is_none():
    tally = EpisodeTally()
    assert tally.sensitivity is None
    assert tally.positive_predictivity is None
    assert tally.duration_sensitivity is None
    assert tally.duration_positive_predictivity is None
    assert tally.sensitivity_interval() is None
    empty = match_episodes([], [])
    assert len(empty.onset_error_s) == len(empty.length_error_s) == 0


@pytest.mark.parametrize(
    ("reference", "words"),
    [
        ([[5, 5]], "does not end after it starts"),
        ([[5, 4]], "does not end after it starts"),
        ([[5, 6], [1, 2]], "starts before the one in front of it; sort them"),
        ([[5, 8], [7, 9]], "starts before the last one ended; merge the two"),
        ([[-5, 8]], "is negative"),
        ([[np.nan, 8]], "is not a finite time"),
        ([5, 8, 9], r"\(n, 2\) is expected"),
        ([[5, np.inf]], "an episode without an end; pass end_s"),
    ],
)
def test_episodes_that_cannot_be_scored(reference, words):
    with pytest.raises(ArgumentError, match=words):
        match_episodes(reference, [[1, 2]])


def test_what_is_easily_passed_is_told_how_to_pass():
    events = EventLog([Event(1, "apnea", 10.0, 30.0, 32.0)])
    with pytest.raises(ArgumentError, match=r"of events \(event.onset_s, event.end_s\)"):
        match_episodes([[10, 32]], events)
    with pytest.raises(ArgumentError, match="infinity for an end that is not known"):
        match_episodes([[10, None]], [])


def test_settings_that_cannot_be_used():
    with pytest.raises(ArgumentError, match="it must end after it starts"):
        match_episodes([], [], start_s=5.0, end_s=5.0)
    with pytest.raises(ArgumentError, match="start_s is '0'; a number in s"):
        match_episodes([], [], start_s="0")
    with pytest.raises(ArgumentError, match="end_s is None; a number in s"):
        match_episodes([], [], end_s=None)
    with pytest.raises(ArgumentError, match="least_share is 50"):
        match_episodes([], [], least_share=50)
