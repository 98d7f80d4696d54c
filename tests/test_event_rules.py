"""Each rule against its slow, obvious twin, on random findings, and however they are cut."""

import numpy as np
import pytest
from made_findings import (
    batches_of,
    beats_at,
    breaths_at,
    contact_of,
    random_cuts,
    random_noise,
    random_stretches,
    random_times,
)
from slow_rules import SlowPause, SlowRate, SlowRow, SlowTechnical

from infantmon.events.apnea import ApneaRule
from infantmon.events.batch import Latencies
from infantmon.events.contact_loss import ContactLossRule, SignalUnusableRule
from infantmon.events.heart_rate_limits import HighHeartRateRule, LowHeartRateRule
from infantmon.events.no_heart_beat import NoHeartBeatRule
from infantmon.events.periodic_breathing import PeriodicBreathingRule
from infantmon.model.prescription import (
    ApneaLimit,
    ContactLossLimit,
    HeartRateLimit,
    NoHeartBeatLimit,
    PeriodicBreathingLimit,
)

REACHED_S = 180.0
CASES = 14
LAGS_S = (0.125, 1.25, 3.5)


def transitions(rule, batches):
    """What a rule says, as plain rows."""
    return [
        (step.known_s, step.state, step.onset_s, step.end_s, step.assessable)
        for batch in batches
        for step in rule.push(batch)
    ]


def compare(chance, rule_of, twin_of, mark, role, *, noises=4, share_off=0.0, **pace):
    """One random case: the rule equals its twin, and equals itself however it is cut."""
    lag = float(chance.choice(LAGS_S))
    count = int(chance.choice([0, 1, 2, 6]))
    stretches = random_stretches(chance, REACHED_S, count, share_off=share_off)
    times, known = random_times(chance, REACHED_S, lag=lag, **pace)
    noise = random_noise(chance, REACHED_S, noises)
    marks = {role: contact_of(stretches, noise)}
    findings = {mark: (beats_at if mark == "beats" else breaths_at)(times, known)}

    def told(cuts):
        return transitions(rule_of(lag), batches_of(cuts, contact=marks, **findings))

    given = list(zip(times, known, strict=True)), stretches, REACHED_S, lag, noise
    slow = twin_of(*given).run()
    whole = told([REACHED_S])
    assert whole == slow
    assert told(random_cuts(chance, REACHED_S)) == whole
    assert [row[0] for row in whole] == sorted(row[0] for row in whole)
    return len(whole)


BREATHS = {"steps": [6, 8, 10, 14], "share_long": 0.06, "long_steps": [30, 79, 80, 81, 120, 200]}


@pytest.mark.parametrize("seed", range(5))
def test_apnea_equals_its_slow_twin(seed):
    chance = np.random.default_rng(seed)
    limit = ApneaLimit(limit_s=10)
    steps = 0
    for _ in range(CASES):
        steps += compare(
            chance,
            lambda lag: ApneaRule(limit, Latencies(1.0, lag, 0.5)),
            lambda *given: SlowPause(*given, limit=10.0, of_breaths=True),
            "breaths",
            "impedance",
            **BREATHS,
        )
    assert steps > CASES


BURSTS = {"steps": [4, 6, 8], "share_long": 0.35, "long_steps": [24, 38, 39, 40, 41, 56, 72, 88]}


@pytest.mark.parametrize("seed", range(5))
def test_apnea_equals_its_slow_twin_among_short_rows_of_doubtful_breaths(seed):
    chance = np.random.default_rng(50 + seed)
    limit = ApneaLimit(limit_s=10)
    for _ in range(CASES):
        compare(
            chance,
            lambda lag: ApneaRule(limit, Latencies(1.0, lag, 0.5)),
            lambda *given: SlowPause(*given, limit=10.0, of_breaths=True),
            "breaths",
            "impedance",
            noises=12,
            **BURSTS,
        )


@pytest.mark.parametrize("seed", range(5))
def test_no_heart_beat_equals_its_slow_twin(seed):
    chance = np.random.default_rng(100 + seed)
    limit = NoHeartBeatLimit(limit_s=4)
    pace = {"steps": [3, 4, 5], "share_long": 0.03, "long_steps": [15, 31, 32, 33, 60, 100]}
    steps = 0
    for _ in range(CASES):
        steps += compare(
            chance,
            lambda lag: NoHeartBeatRule(limit, Latencies(lag, 1.0, 0.5)),
            lambda *given: SlowPause(*given, limit=4.0, of_breaths=False),
            "beats",
            "ecg",
            share_off=0.6,
            **pace,
        )
    assert steps > CASES


AVERAGING = [
    {"average_beats": 1},
    {"average_beats": 3},
    {"average_beats": 8},
    {"average_s": 1.0},
    {"average_s": 5.0},
]


@pytest.mark.parametrize("averaging", AVERAGING, ids=str)
@pytest.mark.parametrize("hold_off_s", [0.0, 2.0])
@pytest.mark.parametrize("rule", [LowHeartRateRule, HighHeartRateRule])
def test_heart_rate_equals_its_slow_twin(rule, averaging, hold_off_s):
    chance = np.random.default_rng(7)
    low = rule is LowHeartRateRule
    limit_bpm = 80.0 if low else 120.0  # intervals of 0.75 s and 0.5 s: whole ticks
    limit = HeartRateLimit(limit_bpm=limit_bpm, hold_off_s=hold_off_s, **averaging)
    pace = {
        "steps": [4, 5, 6, 7] if low else [3, 4, 5],
        "share_long": 0.03,
        "long_steps": [6, 7, 12, 33, 60],
    }
    steps = 0
    for _ in range(CASES // 2):
        steps += compare(
            chance,
            lambda lag: rule(limit, Latencies(lag, 1.0, 0.5)),
            lambda *given: SlowRate(
                *given,
                limit=limit_bpm,
                sign=-1 if low else 1,
                hold_off=hold_off_s,
                beats=limit.average_beats,
                seconds=limit.average_s,
            ),
            "beats",
            "ecg",
            **pace,
        )
    assert steps > CASES


@pytest.mark.parametrize("seed", range(5))
def test_periodic_breathing_equals_its_slow_twin(seed):
    chance = np.random.default_rng(200 + seed)
    count = 2 + seed % 3
    limit = PeriodicBreathingLimit(pause_s=3, count=count, gap_s=20)
    pace = {"steps": [6, 8, 10], "share_long": 0.12, "long_steps": [23, 24, 25, 40, 110]}
    steps = 0
    for _ in range(CASES):
        steps += compare(
            chance,
            lambda lag: PeriodicBreathingRule(limit, Latencies(1.0, lag, 0.5)),
            lambda *given: SlowRow(*given, pause=3.0, count=count, gap=20.0),
            "breaths",
            "impedance",
            **pace,
        )
    assert steps > CASES


@pytest.mark.parametrize("rule", [ContactLossRule, SignalUnusableRule])
@pytest.mark.parametrize("delay_s", [0.0, 1.5, 3.0, 10.0])
def test_technical_conditions_equal_their_slow_twin(rule, delay_s):
    chance = np.random.default_rng(int(300 + delay_s))
    limit = ContactLossLimit(delay_s=delay_s)
    steps = 0
    for _ in range(25):
        roles = {
            role: random_stretches(chance, REACHED_S, int(chance.choice([1, 2, 6])))
            for role in ("ecg", "ecg2", "impedance")[: int(chance.integers(1, 4))]
        }
        for stretch in (stretch for stretches in roles.values() for stretch in stretches):
            stretch.off = bool(chance.random() < 0.5)
        marks = {
            role: contact_of(stretches, random_noise(chance, REACHED_S))
            for role, stretches in roles.items()
        }

        def told(cuts, marks=marks):
            made = rule(limit, Latencies(1.0, 3.0, 0.5))
            return transitions(made, batches_of(cuts, contact=marks))

        twin = SlowTechnical(roles, REACHED_S, delay_s, 0.5, rule is ContactLossRule)
        whole = told([REACHED_S])
        assert whole == twin.run()
        assert told(random_cuts(chance, REACHED_S)) == whole
        steps += len(whole)
    assert steps > 25
