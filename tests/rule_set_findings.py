"""Findings by hand for the published rule sets."""

from dataclasses import dataclass

import numpy as np
from made_findings import Stretch, batches_of, beats_at, breaths_at, contact_of

from infantmon.events.batch import Batch


@dataclass(frozen=True)
class Stored:
    whole: Batch


def stored(*, breaths=(), beats=(), reached=400.0, unusable=()):
    """Findings of a recording with ECG and impedance; `unusable` stretches are of both."""
    stretches = [Stretch(start, start + 1.0, end, end) for start, end in unusable]
    contact = {role: contact_of(stretches) for role in ("ecg", "impedance")}
    found = batches_of(
        [reached],
        beats=beats_at(np.asarray(beats)),
        breaths=breaths_at(np.asarray(breaths)),
        contact=contact,
    )
    return Stored(found[0])


def breathing(*pauses, interval=1.0, until=400.0, start=0.0):
    """Breaths at an even interval, but for pauses given as (onset, length), mark to mark."""
    times, at = [], start
    for onset, length in pauses:
        times += [*np.arange(at, onset - 1e-06, interval).tolist(), onset]
        at = onset + length
    return np.array([*times, *np.arange(at, until, interval)])


def heart(*slow, rate=120.0, until=400.0):
    """Beats at a rate, but for stretches given as (start, rate, beats) of that many intervals."""
    usual, times, at = 60.0 / rate, [], 0.0
    for start, slower, count in slow:
        times += [*np.arange(at, start - 1e-06, usual).tolist(), start]
        times += [start + (k + 1) * 60.0 / slower for k in range(count - 1)]
        at = start + count * 60.0 / slower
    return np.array([*times, *np.arange(at, until, usual)])


def told(episodes):
    return [(e.what, round(e.start_s, 3), round(e.length_s, 3)) for e in episodes.episodes]
