"""A night for the tests of the monitor: its samples in pushes, however cut, and its review."""

from functools import cache

import numpy as np

from infantmon.model.channel import Channel
from infantmon.model.prescription import Prescription
from infantmon.model.recording import Recording
from infantmon.monitor import Monitor
from infantmon.reviewing import review
from infantmon.simulate import Bradycardia, LooseElectrode, Pause, Scenario, simulate_night

ECG_HZ, IMPEDANCE_HZ = 125.0, 31.25
PLAN = Prescription(
    apnea={"limit_s": 10},
    low_heart_rate={"limit_bpm": 90, "hold_off_s": 3, "average_beats": 4},
    high_heart_rate={"limit_bpm": 200, "hold_off_s": 3, "average_s": 4},
    no_heart_beat={"limit_s": 4},
    contact_loss={"delay_s": 5},
    periodic_breathing={"pause_s": 3, "count": 3, "gap_s": 20},
)


@cache
def night():
    """Four minutes: a pause, a slow heart, a lost ECG, a loose electrode; channels of two rates."""
    scenario = Scenario(
        duration_s=240.0,
        ecg_hz=ECG_HZ,
        impedance_hz=IMPEDANCE_HZ,
        events=(
            Pause(60.0, 14.0),
            Bradycardia(95.0, 60.0, hold_s=12.0),
            LooseElectrode(150.0, 25.0),
            Pause(200.0, 13.0),
        ),
    )
    made = simulate_night(scenario, seed=17).recording
    ecg = made.ecg.segments[0].values.copy()
    ecg[round(130 * ECG_HZ) : round(138 * ECG_HZ)] = np.nan
    channels = {
        "ecg": Channel(ecg, ECG_HZ, "mV"),
        "impedance": Channel(made.impedance.segments[0].values, IMPEDANCE_HZ, "ohm"),
    }
    return Recording(channels)


@cache
def reviewed(roles=("ecg", "impedance")):
    return review(only(roles), PLAN)


def only(roles):
    return Recording({role: night().channels[role] for role in roles})


def samples(role):
    return night().channels[role].segments[0].values


def monitor(roles=("ecg", "impedance"), **settings):
    rates = {"ecg": {"ecg_hz": ECG_HZ, "ecg_unit": "mV"}}
    rates["impedance"] = {"impedance_hz": IMPEDANCE_HZ, "impedance_unit": "ohm"}
    given = {name: value for role in roles for name, value in rates[role].items()}
    return Monitor(PLAN, **given, **settings)


def pushes(step_s, roles=("ecg", "impedance")):
    """Chunks of so many seconds of each channel."""
    for start_s in np.arange(0.0, 240.0, step_s):
        yield {
            role: samples(role)[
                round(start_s * night().channels[role].rate_hz) : round(
                    (start_s + step_s) * night().channels[role].rate_hz
                )
            ]
            for role in roles
        }


def random_pushes(seed):
    """Chunks of any length, channels in any order, one up to a minute ahead of the other."""
    chance = np.random.default_rng(seed)
    given = dict.fromkeys(("ecg", "impedance"), 0)
    while any(given[role] < len(samples(role)) for role in given):
        ended = {role: given[role] / night().channels[role].rate_hz for role in given}
        role = min(ended, key=ended.get) if chance.random() < 0.6 else str(chance.choice([*given]))
        count = int(chance.choice([0, 1, 7, 500, 2500]))
        room = min(ended.values()) + 60.0 - ended[role]
        count = min(count, int(room * night().channels[role].rate_hz))
        yield {role: samples(role)[given[role] : given[role] + count]}
        given[role] = min(given[role] + count, len(samples(role)))


def changes_of(made, chunks):
    return [*(c for chunk in chunks for c in made.push(**chunk)), *made.finish()]


def latched_time(kind="low heart rate"):
    return next(c.known_s for c in reviewed().changes if (c.kind, c.state) == (kind, "latched"))


def through(made, until_s, from_s=0.0):
    """Push both channels from one time up to another."""
    return made.push(
        ecg=samples("ecg")[round(from_s * ECG_HZ) : round(until_s * ECG_HZ)],
        impedance=samples("impedance")[
            round(from_s * IMPEDANCE_HZ) : round(until_s * IMPEDANCE_HZ)
        ],
    )
