"""Three channels with holes, cut and interleaved anyhow, saved and resumed anywhere: equal."""

from functools import cache

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from infantmon.model.prescription import Prescription
from infantmon.monitor import Monitor
from infantmon.simulate import (
    Bradycardia,
    EcgLead,
    LooseElectrode,
    Pause,
    Scenario,
    SlowingInPause,
    simulate_night,
)

LENGTH_S = 120.0
RATES = {"ecg": 125.0, "ecg2": 100.0, "impedance": 31.25}
HOLES = {"ecg": (30.0, 44.0), "ecg2": (70.0, 73.0), "impedance": (85.04, 93.04)}
RESET_S = 75.0
PLAN = Prescription(
    apnea={"limit_s": 10},
    low_heart_rate={"limit_bpm": 90, "hold_off_s": 3, "average_beats": 4},
    no_heart_beat={"limit_s": 4},
    contact_loss={"delay_s": 5},
)


@cache
def samples():
    events = (
        Pause(12.0, 13.5, SlowingInPause()),
        Bradycardia(50.0, 60.0, hold_s=8.0),
        LooseElectrode(98.0, 8.0),
        Pause(107.0, 11.0),
    )
    made = {}
    for role, rate_hz in RATES.items():
        ecg_hz = rate_hz if role != "impedance" else RATES["ecg"]
        scenario = Scenario(
            LENGTH_S, ecg_hz, RATES["impedance"], events=events, lead2=EcgLead(r_mv=0.5)
        )
        made[role] = simulate_night(scenario, seed=23).recording.channels[role].segments[0].values
    return made


def monitor():
    rates = {f"{role}_hz": rate for role, rate in RATES.items()}
    made = Monitor(PLAN, ecg_unit="mV", impedance_unit="ohm", ahead_s=130.0, **rates)
    made.reset(at_s=RESET_S)
    return made


def given_until(made, role, until_s):
    """Give one channel up to a time, its hole told as a gap; return the changes."""
    rate, (start, end) = RATES[role], (round(t * RATES[role]) for t in HOLES[role])
    until, found = round(min(until_s, LENGTH_S) * rate), []
    while (at := made.arrived[role]) < until:
        if start <= at < end:
            found += made.gap(role, until_s=min(until, end) / rate)
        else:
            stop = min(until, start) if at < start else until
            found += made.push(**{role: samples()[role][at:stop]})
    return found


@cache
def wanted():
    made, found = monitor(), []
    for role in RATES:
        found += given_until(made, role, LENGTH_S)
    return found + made.finish()


def test_there_is_something_to_say():
    said = {(change.kind, change.state) for change in wanted()}
    assert {("apnea", "active"), ("low heart rate", "active")} <= said
    assert any(change.cause == "reset" for change in wanted())
    assert any(kind in ("contact loss", "signal unusable") for kind, _ in said)


STEPS = st.lists(
    st.tuples(
        st.sampled_from(tuple(RATES)),
        st.one_of(st.sampled_from([0.0, 0.008, 0.04]), st.floats(0.1, 30.0)),
        st.sampled_from([False, False, False, True]),
    ),
    max_size=60,
)


@given(steps=STEPS)
@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)
def test_any_interleaving_cutting_and_saving_gives_equal_changes(steps):
    made, found = monitor(), []
    for role, length_s, saved in steps:
        found += given_until(made, role, made.arrived[role] / RATES[role] + length_s)
        if saved:
            made = Monitor.resume(made.save(), PLAN)
    for role in RATES:
        found += given_until(made, role, LENGTH_S)
    assert found + made.finish() == wanted()


def test_the_state_shows_how_far_each_channel_is_behind():
    made = monitor()
    given_until(made, "ecg", 50.0)
    given_until(made, "impedance", 20.0)
    given_until(made, "ecg2", 35.0)
    behind = made.state.behind_s
    np.testing.assert_allclose(
        [behind[role] for role in RATES], [0.0, 15.0, 30.0], atol=1.0 / RATES["impedance"]
    )
    assert abs(made.state.reached_s - 20.0) < 0.04


def test_a_save_with_a_backlog_is_a_mebibyte_and_the_backlog():
    rates = {"ecg_hz": 250.0, "impedance_hz": 62.5}
    made = Monitor(PLAN, ecg_unit="mV", **rates)
    draw = np.random.default_rng(1)
    made.push(impedance=draw.standard_normal(1000))
    made.push(ecg=draw.standard_normal(round(600 * 250.0)))
    waiting = made.arrived["ecg"] - round(made.state.reached_s * 250.0)
    assert waiting > 140_000
    blob = made.save()
    assert len(blob) < 2**20 + 8 * waiting
    again = Monitor.resume(blob, PLAN)
    rest = draw.standard_normal(round(500 * 62.5))
    assert again.push(impedance=rest) + again.finish() == made.push(impedance=rest) + made.finish()
