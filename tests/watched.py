"""Rules of a prescription over findings made by hand, in as many batches as asked for."""

import numpy as np
from made_findings import Stretch, batches_of

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
