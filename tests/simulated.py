"""Short simulated recordings, and what events change in them."""

import numpy as np

from infantmon.simulate import (
    Scenario,
    simulate_night,
)


def scenario(*events, duration_s=120.0, **parts):
    return Scenario(duration_s, 250.0, 62.5, events=events, **parts)


def samples(night, role):
    (segment,) = night.recording.channels[role].segments
    return segment.values, np.arange(len(segment.values)) / night.recording.channels[role].rate_hz


def differences(*events, seed=4, **parts):
    """Return what events change, per channel: {role: (difference, time)}."""
    plain, spoilt = (simulate_night(scenario(*e, **parts), seed) for e in ((), events))
    return {
        role: (samples(spoilt, role)[0] - samples(plain, role)[0], samples(plain, role)[1])
        for role in ("ecg", "impedance")
    }
