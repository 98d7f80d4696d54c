"""Rows of small even swings without an ECG: by hand, by a slow twin, and on simulated infants."""

import math

import numpy as np
import pytest
from made_findings import told_in_pieces

import infantmon as im
from infantmon import simulate as sim
from infantmon.events.even_swings import EvenSwings

BREATHS = [(float(n), 1.0) for n in range(20)]  # one a second, of size 1; the last at 19 s


def told(*swings):
    """What is said of swings (time after the last breath, size) that follow regular breaths."""
    rows = np.array([*BREATHS, *((19.0 + after, size) for after, size in swings)])
    return EvenSwings().tell(rows[:, 0], rows[:, 1])[len(BREATHS) :].tolist()


def test_small_swings_that_are_all_alike_are_doubtful():
    row = [(1.0 + 0.4 * n, 0.45) for n in range(30)]
    assert told(*row) == [True] * 30


@pytest.mark.parametrize(("size", "doubtful"), [(0.6, True), (0.61, False)])
def test_up_to_0_6_of_the_usual_breath(size, doubtful):
    assert told((1.0, size), (1.4, size), (1.8, size)) == [doubtful] * 3


@pytest.mark.parametrize(("ratio", "doubtful"), [(1.22, True), (1.23, False)])
def test_a_swing_unlike_the_two_before_it_is_a_breath(ratio, doubtful):
    sizes = (0.3, 0.3, 0.3, 0.3 * ratio, 0.3)
    swings = [(1.0 + 0.5 * n, size) for n, size in enumerate(sizes)]
    assert told(*swings)[3:] == [doubtful, True]


@pytest.mark.parametrize(("after", "doubtful"), [(3.5, True), (3.51, False)])
def test_the_first_of_a_row_is_doubtful_only_if_it_comes_at_once(after, doubtful):
    assert told((after, 0.4), (after + 0.5, 0.4)) == [doubtful, True]


def test_a_usual_breath_ends_the_row():
    assert told((1.0, 0.4), (2.0, 1.0), (6.0, 0.4)) == [True, False, False]


def test_what_lasts_longer_than_a_minute_is_breathing_and_becomes_usual():
    row = [(1.0 + 0.5 * n, 0.4) for n in range(200)]
    assert told(*row) == [True] * 121 + [False] * 79


def test_nothing_is_usual_before_eight_breaths():
    times = np.arange(16.0)
    sizes = np.array([*np.ones(7), *np.full(9, 0.4)])
    assert not EvenSwings().tell(times, sizes)[:8].any()


class SlowTwin:
    """The same from the description, from the whole row at each breath."""

    def tell(self, time_s, size):
        others, row, found = [], [], []
        for n, (at_s, one) in enumerate(zip(time_s, size, strict=True)):
            usual = sorted(others[-30:])[len(others[-30:]) // 2] if len(others) >= 8 else 0.0
            if one > 0.6 * usual:
                others.append(one)
                row = []
                found.append(False)
                continue
            alike = any(math.exp(-0.2) <= one / before <= math.exp(0.2) for _, before in row[-2:])
            begins = len(row) < 2 and n > 0 and at_s - time_s[n - 1] <= 3.5
            row.append((at_s, one))
            if at_s - row[0][0] > 60.0:
                others += [before for _, before in row[-30:]]
                row = []
            found.append(bool(row) and (alike or begins))
        return np.array(found)


def any_swings(seed):
    chance = np.random.default_rng(seed)
    time_s = np.cumsum(chance.choice([0.4, 0.8, 1.5, 3.0], 400))
    small = np.repeat(chance.random(20) < 0.6, 20)
    return time_s, np.where(small, 0.4, 1.0) * np.exp(0.15 * chance.standard_normal(400))


@pytest.mark.parametrize("seed", range(8))
def test_the_slow_twin_says_the_same(seed):
    told_ = EvenSwings().tell(*any_swings(seed))
    assert 20 < told_.sum() < 380
    assert told_.tolist() == SlowTwin().tell(*any_swings(seed)).tolist()


@pytest.mark.parametrize("seed", range(4))
def test_however_it_is_cut_and_saved(seed):
    swings = any_swings(seed)
    assert told_in_pieces(EvenSwings, swings, seed) == EvenSwings().tell(*swings).tolist()


@pytest.mark.parametrize("share", [0.5, 0.8])
def test_apneas_without_an_ecg_are_listed_although_the_heart_moves_the_chest(share):
    pauses = tuple(sim.Pause(60.0 + 90.0 * n, 22.0) for n in range(10))
    scenario = sim.Scenario(
        980.0, 250.0, 62.5, pulsation=sim.PulsationByPhase(share), events=pauses
    )
    night = sim.simulate_night(scenario, 71)
    impedance = im.Recording({"impedance": night.recording.impedance})
    plan = im.Prescription(apnea={"limit_s": 20.0})
    events = im.review(impedance, plan).events
    truth = night.truth.pauses
    for onset_s, end_s in zip(truth.onset_s, truth.end_s, strict=True):
        assert any(e.onset_s < end_s and (e.end_s or math.inf) > onset_s for e in events)
    assert len(events) == len(pauses)
