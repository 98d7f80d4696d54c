"""ANSI/AAMI EC57 (1998, R2008; 2012), as openly licensed WFDB tools have it: one test a clause."""

import numpy as np
import pytest

from infantmon.scoring.episodes import match_episodes
from infantmon.scoring.marks import match_marks, score_marks
from infantmon.scoring.tallies import Tally, average, gross, percent

RECORDS = {  # record: (TP, FN, FP), Se and +P in percent; WFDB's expected output for sumstats
    200: ((2139, 29, 41), "98.66", "98.12"),
    201: ((1471, 50, 0), "96.71", "100.00"),
    202: ((1867, 4, 0), "99.79", "100.00"),
    203: ((2466, 15, 32), "99.40", "98.72"),
}


@pytest.mark.parametrize("record", RECORDS)
def test_sensitivity_and_positive_predictivity_of_a_record(record):
    """Se = TP / (TP + FN), +P = TP / (TP + FP). Source: WFDB's bxb manual page."""
    counts, sensitivity, predictivity = RECORDS[record]
    tally = Tally(*counts)
    assert percent(tally.sensitivity) == sensitivity
    assert percent(tally.positive_predictivity) == predictivity


def test_gross_figures_pool_the_counts():
    """EC57 3.5.2. Source: WFDB's sumstats manual page and expected output."""
    tally = gross(Tally(*counts) for counts, _, _ in RECORDS.values())
    assert tally == Tally(7943, 98, 73)
    assert percent(tally.sensitivity) == "98.78"
    assert percent(tally.positive_predictivity) == "99.09"


def test_average_figures_weigh_records_alike():
    """EC57 3.5.3. Source: WFDB's sumstats manual page and expected output."""
    tallies = [Tally(*counts) for counts, _, _ in RECORDS.values()]
    assert percent(average(t.sensitivity for t in tallies)) == "98.64"
    assert percent(average(t.positive_predictivity for t in tallies)) == "99.21"


def test_records_without_a_denominator_are_left_out_of_the_average():
    """EC57 3.5.3. Source: WFDB's sumstats manual page."""
    tallies = [Tally(1, 1, 0), Tally(0, 0, 5)]
    assert average(t.sensitivity for t in tallies) == 0.5
    assert average(t.sensitivity for t in [Tally(0, 0, 5)]) is None


def test_a_zero_denominator_is_printed_as_a_dash():
    """Source: WFDB's sumstats manual page: "-", not 0 or 100."""
    nothing = Tally()
    assert nothing.sensitivity is None
    assert nothing.positive_predictivity is None
    assert nothing.f1 is None
    assert percent(nothing.sensitivity) == "-"


def test_the_tie_of_two_beats_in_reach_of_one_mark():
    """Window of 37 samples (150 ms at 250 Hz): 96-128 and 160-185 pair. Source: bxb's history."""
    match = match_marks([96, 160], [128, 185], 37)
    assert match.reference_index.tolist() == [0, 1]
    assert match.test_index.tolist() == [0, 1]
    assert match.tally == Tally(2, 0, 0)


def test_the_match_window_is_150_ms_inclusive():
    """|dt| <= 150 ms. Source: the bxb manual page."""
    beats = np.arange(1, 4001) * 0.25
    assert match_marks(beats, beats + 0.150, 0.150).tally == Tally(4000, 0, 0)
    assert match_marks([1.0], [1.151], 0.150).tally == Tally(0, 1, 1)


def test_the_learning_period_is_not_scored():
    """The first 5 min are left out. Source: Evaluating ECG Analyzers."""
    score = score_marks([10.0, 299.9, 300.0, 400.0], [20.0, 300.05, 500.0], 0.15, start_s=300.0)
    assert score.tally == Tally(1, 1, 1)


def test_a_mark_across_the_edge_of_the_scored_period_is_no_extra():
    score = score_marks([299.98], [300.02], 0.15, start_s=300.0)
    assert score.tally == Tally()


def test_any_overlap_of_episodes_is_a_match():
    """AF and VF. Source: WFDB's epicmp manual page."""
    match = match_episodes([[10, 20], [30, 40], [50, 60]], [[19, 31], [70, 80]])
    assert match.reference_found.tolist() == [True, True, False]
    assert match.test_right.tolist() == [True, False]


def test_hits_over_reference_and_over_test_episodes_may_differ():
    """TPs and TPp. Source: WFDB's epicmp source."""
    tally = match_episodes([[10, 20], [30, 40], [50, 60]], [[19, 31], [70, 80]]).tally
    assert (tally.found, tally.missed, tally.right, tally.false) == (2, 1, 1, 1)
    assert tally.sensitivity == pytest.approx(2 / 3)
    assert tally.positive_predictivity == 0.5


def test_half_of_an_st_episode_must_be_covered():
    """Of the reference for Se, of the test for +P. Source: WFDB's epicmp manual page."""
    match = match_episodes([[0, 10], [20, 30]], [[4, 10], [26, 29]], least_share=0.5)
    assert match.reference_found.tolist() == [True, False]
    assert match.test_right.tolist() == [True, True]


def test_duration_sensitivity_and_predictivity():
    """Overlap over the reference's and over the test's total. Source: WFDB's epicmp."""
    tally = match_episodes([[0, 10], [20, 30]], [[5, 25]]).tally
    assert tally.duration_sensitivity == 0.5
    assert tally.duration_positive_predictivity == 0.5


def test_episodes_are_clipped_to_the_scored_period():
    """Edge rule. Source: WFDB's epicmp."""
    match = match_episodes([[100, 310], [400, 420]], [[305, 320]], start_s=300, end_s=400)
    assert match.reference_s.tolist() == [[300, 310]]
    assert match.tally.reference_s == 10.0


def test_an_unterminated_episode_ends_with_the_record():
    """Edge rule. Source: WFDB's epicmp."""
    match = match_episodes([[100, np.inf]], [[150, 160]], end_s=200.0)
    assert match.reference_s.tolist() == [[100, 200]]
