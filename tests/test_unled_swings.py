"""Small swings while R peaks do not lead may be the heart's: each clause in plain words."""

import numpy as np
import pytest
from made_findings import batches_of, beats_at, breaths_at, random_cuts, sized

from infantmon.events.apnea import ApneaRule
from infantmon.events.batch import Latencies
from infantmon.events.unled_swings import UnledSwings
from infantmon.model.marks import Pulsations
from infantmon.model.prescription import ApneaLimit

END_S = 200.0
LAG_S = 3.0


def pulsation(*lost, size=0.2):
    """Once a second: pulsation of a size, but for the stretches in which no R peaks lead."""
    time_s = np.arange(0.0, END_S)
    led = np.ones(len(time_s), dtype=bool)
    for since, until in lost:
        led &= (time_s < since) | (time_s >= until)
    taken = np.where(led, size, 0.0)
    locked = np.zeros(len(time_s), dtype=bool)
    return Pulsations(time_s, time_s + 2.0, taken, np.ones(len(time_s)), led, locked, locked)


def swings(inside, size, *, onset=100.0, length=40.0):
    """Breaths of size 1, one a second; in a stretch of time only swings of another size."""
    breaths = [time for time in np.arange(0.0, END_S) if not onset < time < onset + length]
    sizes = [1.0] * len(breaths) + [size] * len(inside)
    order = np.argsort([*breaths, *inside])
    return sized(np.array([*breaths, *inside])[order], np.array(sizes)[order], lag_s=LAG_S)


def doubted(breaths, found, beats=None):
    told = UnledSwings()
    (batch,) = batches_of([END_S + 9.0], breaths=breaths, pulsation=found, beats=beats)
    told.learn(batch)
    return breaths.time_s[told.tell(breaths)].tolist()


def apneas(breaths, found, cuts=(END_S + 9.0,)):
    rule = ApneaRule(ApneaLimit(limit_s=20.0), Latencies(1.0, LAG_S, 0.5))
    batches = batches_of(cuts, breaths=breaths, pulsation=found)
    steps = [step for batch in batches for step in rule.push(batch) if step.end_s is not None]
    return [(step.onset_s, step.end_s, step.assessable) for step in steps]


INSIDE = (110.0, 111.0)


@pytest.mark.parametrize(("size", "doubtful"), [(0.7, True), (0.71, False)])
def test_up_to_0_7_of_a_usual_breath_where_the_pulsation_may_be_so_large(size, doubtful):
    found = pulsation((95.0, 150.0), size=0.3)
    assert doubted(swings(INSIDE, size), found) == list(INSIDE) * doubtful


@pytest.mark.parametrize(("size", "doubtful"), [(0.4, True), (0.41, False)])
def test_up_to_four_times_the_pulsation_that_was_taken_out_before(size, doubtful):
    found = pulsation((95.0, 150.0), size=0.1)
    assert doubted(swings(INSIDE, size), found) == list(INSIDE) * doubtful


def test_not_while_r_peaks_lead():
    assert doubted(swings(INSIDE, 0.3), pulsation()) == []


def test_but_not_where_beats_are_found_although_they_have_nothing_to_take_out():
    """A heart that does not show in the impedance: R peaks are there, and never lead."""
    unled = pulsation((0.0, END_S))
    assert doubted(swings(INSIDE, 0.3), unled, beats_at(np.arange(0.0, END_S, 0.5))) == []
    assert doubted(swings(INSIDE, 0.3), unled, beats_at(np.array([101.0]))) == []
    assert doubted(swings(INSIDE, 0.3), unled, beats_at(np.array([100.9]))) == [INSIDE[1]]


@pytest.mark.parametrize("every_s", [0.5, 1.0, 2.0])
def test_breaths_one_a_beat_in_the_first_10_s_are_doubtful_but_the_first_two(every_s):
    """A strip may begin in a pause: its first swings are the heart's, of which nothing is known."""
    unled, beats = pulsation((0.0, END_S)), beats_at(np.arange(0.2, END_S, every_s))
    told = doubted(swings(INSIDE, 1.0), unled, beats)
    assert told == (list(np.arange(2.0, 11.0)) if every_s == 1.0 else [])


def test_where_they_have_never_led_only_an_even_row_is_doubtful():
    """See tests/test_even_swings.py: the first swing comes too late after the breath before it."""
    assert doubted(swings(INSIDE, 0.3), pulsation((0.0, 150.0))) == [INSIDE[1]]


@pytest.mark.parametrize(("back", "doubtful"), [(104.0, False), (107.0, True)])
def test_until_r_peaks_have_led_again_for_5_s(back, doubtful):
    found = pulsation((95.0, back))
    assert doubted(swings(INSIDE, 0.3), found) == list(INSIDE) * doubtful


@pytest.mark.parametrize(("size", "doubtful"), [(0.35, True), (0.36, False)])
def test_up_to_0_35_of_a_usual_breath_however_small_the_pulsation_was(size, doubtful):
    found = pulsation((95.0, 150.0), size=0.02)
    assert doubted(swings(INSIDE, size), found) == list(INSIDE) * doubtful


@pytest.mark.parametrize("strange_of_four", [2, 3])
def test_where_most_r_peaks_are_not_reliable_they_do_not_lead(strange_of_four):
    """Half of them still do; the stretch of strange beats begins at 90 s."""
    times = np.arange(0.0, END_S, 0.5)
    beats = beats_at(times)
    strange = (np.arange(len(times)) % 4 < strange_of_four) & (times > 90.0)
    np.copyto(beats.reliable, ~strange)
    doubtful = strange_of_four == 3
    assert doubted(swings(INSIDE, 0.3), pulsation(), beats) == list(INSIDE) * doubtful


def test_a_pause_full_of_pulsation_is_listed_as_not_assessable():
    """However long: the swings go on for 40 s without R peaks. With R peaks they are breaths."""
    breaths = swings(np.arange(101.0, 140.0, 0.5), 0.4)
    assert apneas(breaths, pulsation((95.0, 150.0))) == [(100.0, 140.0, False)]
    assert apneas(breaths, pulsation()) == []


def test_one_usual_breath_among_them_ends_it():
    inside = [*np.arange(101.0, 117.5, 0.5), *np.arange(118.5, 137.0, 0.5)]
    breaths = swings(inside, 0.4, length=18.0)
    assert apneas(breaths, pulsation((95.0, 150.0))) == []


def test_what_goes_on_for_more_than_a_minute_is_breathing_and_becomes_usual():
    """At 0.4 of a breath, with a pulsation of 0.1: of that breathing it would be 0.25."""
    inside = np.arange(101.0, 190.0)
    breaths = swings(inside, 0.4, length=90.0)
    assert doubted(breaths, pulsation((95.0, END_S), size=0.02)) == []
    found = pulsation((95.0, END_S), size=0.1)
    assert doubted(breaths, found) == inside[inside <= 161.0].tolist()


def test_a_usual_breath_or_r_peaks_that_lead_begin_the_minute_anew():
    inside = np.arange(101.0, 190.0)
    found = pulsation((95.0, END_S), size=0.1)
    with_breath = sized(
        np.array([*inside[:40], 140.5, *inside[40:]]),
        np.array([*np.full(40, 0.4), 1.0, *np.full(len(inside) - 40, 0.4)]),
        lag_s=LAG_S,
    )
    before = swings([], 0.4, onset=100.0, length=END_S)
    joined = sized(
        np.concatenate((before.time_s, with_breath.time_s)),
        np.concatenate((before.size, with_breath.size)),
        lag_s=LAG_S,
    )
    assert doubted(joined, found) == inside.tolist()
    led_between = pulsation((95.0, 130.0), (138.0, END_S), size=0.1)
    late = [time for time in doubted(swings(inside, 0.4, length=90.0), led_between) if time > 140.0]
    assert late == inside[inside > 140.0].tolist()


@pytest.mark.parametrize("length", [40.0, 95.0])
@pytest.mark.parametrize("seed", range(6))
def test_however_it_is_cut(seed, length):
    chance = np.random.default_rng(seed)
    inside = np.sort(chance.uniform(101.0, 99.0 + length, round(1.5 * length)))
    breaths = swings(inside, 0.4, length=length)
    found = pulsation((95.0, 98.0), (101.0, float(chance.uniform(105.0, 190.0))), (192.0, 198.0))
    whole = apneas(breaths, found)
    assert apneas(breaths, found, random_cuts(chance, END_S + 9.0)) == whole


def test_what_it_remembers_is_bounded_although_no_breath_comes():
    told = UnledSwings()
    for k in range(400):  # R peaks come and go every 20 s, for two hours and more
        time_s = np.arange(20.0 * k, 20.0 * k + 20.0)
        led = time_s % 20.0 < 12.0
        size, locked = np.full(20, 0.2), np.zeros(20, dtype=bool)
        found = Pulsations(time_s, time_s + 2.0, size, size, led, locked, locked)
        (batch,) = batches_of([time_s[-1] + 3.0], pulsation=found)
        told.learn(batch)
        told.tell(breaths_at([]))
    assert len(told.snapshot()["_changes"]) < 12


def test_nothing_without_breaths():
    assert doubted(breaths_at([]), pulsation((10.0, 20.0))) == []
