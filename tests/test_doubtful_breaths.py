"""Which breaths may be no breaths, and what an apnea makes of them: each clause in plain words."""

import numpy as np
import pytest
from made_findings import Stretch, batches_of, breaths_at, contact_of, sized

from infantmon.events.apnea import ApneaRule
from infantmon.events.batch import Latencies
from infantmon.events.doubtful_breaths import DoubtfulBreaths
from infantmon.events.isolated_swings import IsolatedSwings
from infantmon.events.silences import Silences
from infantmon.model.prescription import ApneaLimit
from infantmon.model.spans import Reason

LAG_S = 3.0


def movement(start, end):
    """Marks of a movement: opened 2 s after it began, closed half a second after its end."""
    opened = (start + 2.0, start + 2.0, start, int(Reason.MOVEMENT), False, False)
    return [opened, (end, end + 0.5, start, int(Reason.MOVEMENT), True, False)]


def doubts(breaths, *, stretches=(), noise=()):
    told = DoubtfulBreaths()
    (batch,) = batches_of([400.0], contact={"impedance": contact_of(stretches, noise)})
    told.learn(batch)
    return breaths.time_s[told.tell(breaths)].tolist()


def apneas(breaths, *, stretches=(), noise=(), limit_s=20.0):
    """Onset, end and whether it could be assessed, of each apnea."""
    contact = {"impedance": contact_of(stretches, noise)}
    rule = ApneaRule(ApneaLimit(limit_s=limit_s), Latencies(1.0, LAG_S, 0.5))
    (batch,) = batches_of([400.0], breaths=breaths, contact=contact)
    steps = [step for step in rule.push(batch) if step.end_s is not None]
    return [(step.onset_s, step.end_s, step.assessable) for step in steps]


def with_pause(*inside, onset=100.0, length=24.0, size=1.0):
    """Breathing at one a second with a pause, and swings of a size inside it."""
    before, after = np.arange(0.0, onset + 0.5), np.arange(onset + length, 200.0)
    times = np.concatenate((before, inside, after))
    sizes = np.concatenate((np.ones(len(before)), np.full(len(inside), size), np.ones(len(after))))
    return sized(times, sizes, lag_s=LAG_S)


def test_breaths_of_the_usual_size_are_beyond_doubt():
    assert doubts(with_pause(112.0)) == []


@pytest.mark.parametrize(
    ("time", "doubtful"), [(109.4, False), (109.5, True), (115.0, True), (115.1, False)]
)
def test_beside_a_movement_up_to_half_a_second_before_and_2_s_after(time, doubtful):
    """The movement is at 110 to 113 s; every breath is known 3 s after its time."""
    assert doubts(with_pause(time), noise=movement(110.0, 113.0)) == [time] * doubtful


def test_what_is_not_known_yet_doubts_nothing():
    """A breath known at once, before the movement is told, stays beyond doubt."""
    early = breaths_at([110.5], [111.9])
    assert doubts(early, noise=movement(110.0, 113.0)) == []


def test_within_2_s_after_an_unusable_stretch():
    lost = [Stretch(105.0, 106.5, 109.0, 109.5)]
    assert doubts(with_pause(110.9, 111.1), stretches=lost) == [110.9]


@pytest.mark.parametrize(
    ("last", "listed"), [(123.0, [(100.0, 130.0, False)]), (124.0, [])], ids=["up to", "longer"]
)
def test_a_row_of_swings_longer_than_0_6_of_the_pause_is_no_pause(last, listed):
    """From 105 s on, in a pause of 30 s at a limit of 20 s: 18 s and 19 s."""
    breaths = with_pause(*np.arange(105.0, last + 0.5), length=30.0)
    assert apneas(breaths, noise=movement(104.0, last - 1.0)) == listed


def test_a_breath_is_not_beside_a_disturbance_for_its_size():
    """Large and small breaths belong to ordinary breathing."""
    assert doubts(with_pause(112.0, size=4.0)) == []
    assert doubts(with_pause(112.0, size=0.3)) == []


def test_a_swing_alone_in_a_pause_leaves_it_listed_whatever_its_size():
    """12 s before it and 12 s after it, at a limit of 20 s: it may be a movement, or a breath."""
    assert apneas(with_pause(112.0)) == [(100.0, 124.0, False)]
    assert apneas(with_pause(112.0, size=4.0)) == [(100.0, 124.0, False)]
    assert apneas(with_pause(112.0, size=0.3)) == [(100.0, 124.0, False)]


@pytest.mark.parametrize(
    ("last", "listed"),
    [(117.0, [(100.0, 124.0, False)]), (117.5, [])],
    ids=["within 5 s", "longer"],
)
def test_one_short_row_of_usual_breaths_between_silences_is_passed_over(last, listed):
    """From 112 s on, in a pause of 24 s at a limit of 20 s: it may be a movement."""
    assert apneas(with_pause(*np.arange(112.0, last + 0.1, 0.5))) == listed


def test_a_short_row_after_a_short_one_is_breathing():
    """Rows of 4 s, 9 s apart, as in periodic breathing: after the first two nothing is listed."""
    rows = [start + k for start in np.arange(109.0, 150.0, 13.0) for k in range(5)]
    found = apneas(with_pause(*rows, length=56.0))
    assert found == [(100.0, 122.0, False)]


def test_two_short_rows_are_not_passed_over():
    """Three silences of 8 s, two rows of a second between them, as in periodic breathing."""
    assert apneas(with_pause(108.0, 109.0, 117.0, 118.0, length=26.0)) == []


def test_slow_breathing_has_no_silences():
    """Breaths 4.5 s apart and 4.6 s apart, a pair of them nearer: nothing is passed over."""
    apart = np.tile([4.5, 4.6, 4.5, 1.0], 12)
    breaths = sized(np.cumsum(apart), np.ones(len(apart)), lag_s=LAG_S)
    assert apneas(breaths, limit_s=9.0) == []


@pytest.mark.parametrize("size", [0.35, 3.0])
def test_what_goes_on_for_more_than_12_s_after_a_silence_is_breathing(size):
    """A pause of 8 s, and breaths of another size from then on."""
    times = np.concatenate((np.arange(0.0, 100.5), np.arange(108.0, 150.0)))
    sizes = np.where(times < 101.0, 1.0, size)
    swings = IsolatedSwings()
    breaths = sized(times, sizes, lag_s=LAG_S)
    told = times[swings.tell(breaths, Silences().tell(times))]
    assert told.tolist() == np.arange(108.0, 120.5).tolist()


def test_a_swing_of_a_movement_in_a_pause_leaves_it_listed_as_not_assessable():
    assert apneas(with_pause(112.0), noise=movement(111.0, 113.0)) == [(100.0, 124.0, False)]


def test_a_short_row_is_doubtful_as_a_whole():
    """Its first breath comes before the movement, the second, 1 s later, in it."""
    breaths = with_pause(110.0, 111.0)
    assert apneas(breaths, noise=movement(111.0, 113.0)) == [(100.0, 124.0, False)]


def test_a_pause_that_needs_no_doubt_begins_at_the_last_breath():
    """A movement at 97 to 99 s doubts the last breaths; 24 s without any breath follow them."""
    found = apneas(with_pause(), noise=movement(97.0, 99.0))
    assert found == [(100.0, 124.0, True)]
