"""Simple ECGs with known R peaks, for the tests of the R-peak detector only."""

from __future__ import annotations

from itertools import pairwise

import numpy as np


def beat_times(rate_bpm, length_s, *, seed=0, first_s=0.3, spread=0.03):
    """R peaks at a constant rate (or one that depends on time), with a little variability."""
    draw = np.random.default_rng(seed)
    times, at = [], first_s
    while at < length_s - 0.1:
        times.append(at)
        rate = rate_bpm(at) if callable(rate_bpm) else rate_bpm
        at += 60.0 / rate * (1.0 + spread * float(np.clip(draw.standard_normal(), -2.5, 2.5)))
    return np.array(times)


def ecg_of(times_s, length_s, rate_hz, *, interval_s=None, t_height=0.25, p_height=0.12, p_only=()):
    """An infant-like ECG of 1 mV: P, Q, R, S and T as bells, narrower at a fast rate."""
    at = np.arange(round(length_s * rate_hz)) / rate_hz
    ecg = np.zeros(len(at))
    intervals = np.diff(times_s, prepend=times_s[:1] - 0.5) if len(times_s) else []
    for time, own in zip(times_s, intervals, strict=True):
        scale = np.clip(np.sqrt((interval_s or own) / 0.45), 0.75, 1.3)
        bells = [
            (-0.10 * scale, 0.018 * scale, p_height),
            (-0.018, 0.0075, -0.12),
            (0.0, 0.009, 1.0),
            (0.022, 0.008, -0.28),
            (0.19 * scale, 0.040 * scale, t_height),
        ]
        for centre, width, height in bells:
            _add_bell(ecg, at, time + centre, width, height)
    for time in p_only:
        _add_bell(ecg, at, time, 0.018, p_height)
    return ecg


def narrow_ecg_of(times_s, length_s, rate_hz, *, t_height, width_s=0.006):
    """Complexes of qRS shape, about 40 ms wide as a newborn's, with a T wave of some height."""
    at = np.arange(round(length_s * rate_hz)) / rate_hz
    ecg = np.zeros(len(at))
    for time in times_s:
        for lobes, height in ((-2.5, -0.4), (0.0, 1.0), (2.5, -0.8)):
            _add_bell(ecg, at, time + lobes * width_s, width_s, height)
        _add_bell(ecg, at, time + 0.16, 0.028, t_height)
    return ecg


def _add_bell(ecg, at, centre_s, width_s, height):
    near = slice(*np.searchsorted(at, (centre_s - 5 * width_s, centre_s + 5 * width_s)))
    ecg[near] += height * np.exp(-0.5 * ((at[near] - centre_s) / width_s) ** 2)


def matched(truth_s, found_s, within_s):
    """Count hits, misses and extras, each mark and each beat used once, nearest pairs in order."""
    hits, i, j = 0, 0, 0
    while i < len(truth_s) and j < len(found_s):
        off = found_s[j] - truth_s[i]
        if abs(off) <= within_s:
            hits, i, j = hits + 1, i + 1, j + 1
        elif off < 0:
            j += 1
        else:
            i += 1
    return hits, len(truth_s) - hits, len(found_s) - hits


def cut_in(samples, cuts):
    """The samples in pieces, cut at the given places; equal places give empty pieces."""
    edges = [0, *sorted(cuts), len(samples)]
    return [samples[a:b] for a, b in pairwise(edges)]
