"""Signals for the contact tests, and how they are pushed."""

import numpy as np

from infantmon.model.spans import ContactMarks
from infantmon.stages.contact import ContactDetector


def run(values, how, cuts=()):
    detector = ContactDetector(how)
    parts, at = [], 0
    for cut in cuts:
        parts.append(detector.push(values[at : at + cut]))
        at += cut
    return ContactMarks.joined([*parts, detector.push(values[at:], last=True)])


def breathing(seconds, rate_hz=50.0, *, noise=0.02, base=500.0, seed=3):
    rng = np.random.default_rng(seed)
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    return base + np.sin(2 * np.pi * 0.7 * t) + noise * rng.normal(size=len(t))
