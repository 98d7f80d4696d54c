"""Quick swings that become alike, without an ECG: by hand, by a slow twin, on invented infants."""

import math

import numpy as np
import pytest
from made_findings import told_in_pieces

import infantmon as im
from infantmon import simulate as sim
from infantmon.events.quick_swings import QuickSwings

RIDING = [0.7, 0.8, 0.4, 0.25, 0.32, 0.45, 0.55]  # sizes of a heart's swings on a slow breath
BEFORE = [(0.43 * n, RIDING[n % 7]) for n in range(42)]
END_S = BEFORE[-1][0]


def told(*swings, before=BEFORE):
    """What is said of swings (time after the last of those before, size)."""
    end_s = before[-1][0]
    rows = np.array([*before, *((end_s + after, size) for after, size in swings)])
    return QuickSwings().tell(rows[:, 0], rows[:, 1])[len(before) :].tolist()


def row(count, *, every_s=0.43, size=0.5):
    return [(every_s * (n + 1), size) for n in range(count)]


def test_quick_swings_that_become_alike_are_doubtful_whatever_their_size():
    assert told(*row(30)) == [True] * 30
    assert told(*row(30, size=2.0)) == [False] + [True] * 29


@pytest.mark.parametrize(("every_s", "doubtful"), [(0.599, True), (0.601, False)])
def test_a_row_begins_at_100_a_minute(every_s, doubtful):
    assert told(*row(10, every_s=every_s))[1:] == [doubtful] * 9


@pytest.mark.parametrize(("longer", "doubtful"), [(1.24, True), (1.26, False)])
def test_a_heart_may_slow_by_a_quarter_from_beat_to_beat(longer, doubtful):
    after_s = np.cumsum([0.43, 0.43, 0.43 * longer, 0.43 * longer**2])
    assert told(*((at_s, 0.5) for at_s in after_s))[2:3] == [doubtful]


@pytest.mark.parametrize(("ratio", "doubtful"), [(1.4, True), (1.45, False)])
def test_one_swing_unlike_the_row_is_a_breath(ratio, doubtful):
    swings = row(10)
    swings[7] = (swings[7][0], 0.5 * ratio)
    assert told(*swings)[6:9] == [True, doubtful, True]


def test_quick_even_breathing_is_breathing():
    before = [(0.5 * n, 0.5 + 0.02 * (n % 3)) for n in range(42)]
    before[20] = (before[20][0], 1.5)  # a sigh
    assert not any(told(*row(60, every_s=0.5), before=before))


def test_what_goes_on_for_more_than_a_minute_is_breathing():
    said = told(*row(300))
    assert said == [True] * (1 + math.floor(60.0 / 0.43)) + [False] * (
        299 - math.floor(60.0 / 0.43)
    )
    after = [*row(200), (200 * 0.43 + 0.3, 1.5), *((200 * 0.43 + 0.3 + t, s) for t, s in row(20))]
    assert not any(told(*after)[201:])


class SlowTwin:
    """The same from the description, with the whole past at hand at each swing."""

    def tell(self, time_s, size):
        apart = np.diff(time_s, prepend=-math.inf)
        flags, rows, found = [], [], []
        for n in range(len(size)):
            near = [size[m] for m in (n - 1, n - 2) if m >= 0]
            ok = any(math.exp(-0.2) <= size[n] / one <= math.exp(0.2) for one in near)
            if len(rows) >= 5:
                middle = sorted(size[rows[-40:]])[len(rows[-40:]) // 2]
                ok |= math.exp(-0.35) <= size[n] / middle <= math.exp(0.35)
            if rows:
                past = [apart[m] for m in (n - 1, n - 2) if m >= 0]
                ok &= any(0.9 * one <= apart[n] <= 1.25 * one for one in past)
            else:
                ok &= apart[n] <= 0.6
            if ok:
                rows.append(n)
            else:
                flags += [True] * len(rows[-40:]) + [False]
                rows = []
            last = flags[-40:]
            uneven = len(last) >= 12 and sum(last) <= 0.75 * len(last)
            found.append(bool(rows) and uneven and time_s[n] - time_s[rows[0]] <= 60.0)
        return np.array(found)


def any_swings(seed):
    chance = np.random.default_rng(seed)
    even = np.repeat(chance.random(20) < 0.5, 40)
    apart = np.where(even, 0.43, chance.choice([0.4, 0.5, 0.8], 800))
    spread = np.where(even, 0.06, 0.5)
    noise = chance.standard_normal((2, 800))
    return np.cumsum(apart * np.exp(0.03 * noise[0])), 0.5 * np.exp(spread * noise[1])


@pytest.mark.parametrize("seed", range(8))
def test_the_slow_twin_says_the_same(seed):
    said = QuickSwings().tell(*any_swings(seed))
    assert 40 < said.sum() < 760
    assert said.tolist() == SlowTwin().tell(*any_swings(seed)).tolist()


@pytest.mark.parametrize("seed", range(4))
def test_however_it_is_cut_and_saved(seed):
    swings = any_swings(seed)
    assert told_in_pieces(QuickSwings, swings, seed) == QuickSwings().tell(*swings).tolist()


def test_apneas_in_slow_breathing_without_an_ecg_are_listed_although_the_heart_is_counted():
    pauses = tuple(sim.Pause(60.0 + 90.0 * n, 24.0) for n in range(10))
    night = sim.simulate_night(
        sim.Scenario(
            980.0,
            250.0,
            62.5,
            breathing=sim.Breathing(20.0),
            pulsation=sim.PulsationInTime(0.8),
            events=pauses,
        ),
        72,
    )
    impedance = im.Recording({"impedance": night.recording.impedance})
    events = im.review(impedance, im.Prescription(apnea={"limit_s": 20.0})).events
    truth = night.truth.pauses
    for onset_s, end_s in zip(truth.onset_s, truth.end_s, strict=True):
        assert any(e.onset_s < end_s and (e.end_s or math.inf) > onset_s for e in events)
    assert "supported" not in {event.judgement for event in events}


@pytest.mark.parametrize("pulsation", [0.0, 0.3])
@pytest.mark.parametrize("rate_per_min", [25.0, 45.0, 60.0])
def test_breathing_without_an_ecg_is_not_taken_for_a_heart(rate_per_min, pulsation):
    infant = {
        "breathing": sim.Breathing(rate_per_min),
        "pulsation": sim.PulsationByPhase(pulsation),
    }
    for seed in (100, 101):
        night = sim.simulate_night(sim.Scenario(1200.0, 250.0, 62.5, **infant), seed)
        impedance = im.Recording({"impedance": night.recording.impedance})
        assert not im.review(impedance, im.Prescription(apnea={"limit_s": 20.0})).events
