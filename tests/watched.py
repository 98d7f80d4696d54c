"""Rules of a prescription over findings made by hand, in as many batches as asked for."""

import numpy as np
from made_findings import (
    Stretch,
    batches_of,
    beats_at,
    breaths_at,
    contact_of,
    random_stretches,
    random_times,
)

from infantmon.events.batch import Latencies
from infantmon.events.log import fold
from infantmon.events.watch import Watch
from infantmon.model.prescription import Prescription

LATENCIES = Latencies(beats_s=1.25, breaths_s=3.5, contact_s=0.5)
ROLES = ("ecg", "impedance")
APNEA = {"limit_s": 20}


def regular(start_s, end_s, every_s):
    """Times from start up to, not with, the end."""
    return np.arange(start_s, end_s - 1e-9, every_s)


def changes_of(plan, end_s, *, cuts=(), roles=ROLES, **findings):
    watch = Watch(plan, LATENCIES, roles)
    batches = batches_of([*cuts, end_s], **findings)
    return [change for batch in batches for change in watch.push(batch)]


def events_of(plan, end_s, **given):
    return fold(changes_of(plan, end_s, **given))[0]


def low(limit_bpm, hold_off_s=0.0, **averaging):
    limit = {"limit_bpm": limit_bpm, "hold_off_s": hold_off_s}
    return Prescription(low_heart_rate=limit | (averaging or {"average_beats": 1}))


def high(limit_bpm, hold_off_s=0.0, **averaging):
    limit = {"limit_bpm": limit_bpm, "hold_off_s": hold_off_s}
    return Prescription(high_heart_rate=limit | (averaging or {"average_beats": 1}))


def spans(events):
    return [(event.kind, event.onset_s, event.end_s) for event in events]


def lost(since, end, *, missing=False):
    return Stretch(since, since + 1.125, end, end + 0.5, missing)


FULL = Prescription(
    apnea={"limit_s": 10},
    low_heart_rate={"limit_bpm": 80, "hold_off_s": 2, "average_beats": 3},
    high_heart_rate={"limit_bpm": 180, "hold_off_s": 3, "average_s": 4},
    no_heart_beat={"limit_s": 4},
    contact_loss={"delay_s": 5},
    periodic_breathing={"pause_s": 3, "count": 3, "gap_s": 30},
)


def random_night(seed, reached=400.0):
    """A plan that watches everything, and findings at random times."""
    chance = np.random.default_rng(seed)
    times, known = random_times(chance, reached, [3, 4, 5], 0.04, [7, 8, 33, 60], 1.25)
    beats = beats_at(times, known)
    times, known = random_times(chance, reached, [6, 8, 10], 0.08, [24, 26, 81, 200], 3.5)
    contact = {
        role: contact_of(random_stretches(chance, reached, int(chance.choice([0, 2, 5]))))
        for role in ROLES
    }
    return FULL, {"beats": beats, "breaths": breaths_at(times, known), "contact": contact}
