"""Seeded randomness that can be had for any stretch of the night, and the curves made from it."""

from __future__ import annotations

import math
from enum import IntEnum

import numpy as np

from infantmon.errors import require_whole
from infantmon.model.arrays import Floats


class Source(IntEnum):
    """What a stream of random numbers is for; each has its own, so that no part disturbs another.

    The numbers are part of what makes a night reproducible: add new ones, never renumber.
    """

    BREATH_PERIOD = 1
    BREATH_SIZE = 2
    HEART_RATE = 3
    BEAT_JITTER = 4
    ECG_WHITE = 5
    ECG_WANDER = 6
    IMPEDANCE_WHITE = 7
    IMPEDANCE_DRIFT = 8
    EVENT_ECG = 9
    EVENT_IMPEDANCE = 10
    PLACING = 11
    ECG2_WHITE = 12
    ECG2_WANDER = 13
    EVENT_ECG2 = 14


def generator(seed: int, *key: int) -> np.random.Generator:
    """Return the random numbers that belong to a seed and a key, whatever was drawn before.

    Raises
    ------
    ArgumentError
        If the seed is no whole number of 0 or more.
    """
    seed = require_whole(seed, 0, 2**63, name="seed")
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=key)))


def smooth_curve(knots: Floats, spacing_s: float, start_s: float, time_s: Floats) -> Floats:
    """Return a smooth curve through evenly spaced knots (Catmull-Rom), at any times.

    Parameters
    ----------
    knots : numpy.ndarray, shape (n,)
        Values at `start_s`, `start_s` + `spacing_s`, ...; at least four.
    spacing_s, start_s : float
        Their distance and the place of the first, in seconds.
    time_s : numpy.ndarray, shape (m,)
        Where the curve is wanted, in seconds.
    """
    place = (time_s - start_s) / spacing_s
    left = np.clip(np.floor(place).astype(np.int64), 1, len(knots) - 3)
    u = place - left
    a, b, c, d = knots[left - 1], knots[left], knots[left + 1], knots[left + 2]
    cubic = 3.0 * (b - c) + d - a
    square = 2.0 * a - 5.0 * b + 4.0 * c - d
    return np.asarray(b + 0.5 * u * (c - a + u * (square + u * cubic)), dtype=np.float64)


def knot_count(length_s: float, spacing_s: float) -> int:
    """Return how many knots `smooth_curve` needs for a length (seconds), one to spare each side."""
    return max(math.ceil(length_s / spacing_s), 1) + 4


def smoothstep(x: Floats) -> Floats:
    """Return 0 below 0, 1 above 1, and a smooth rise between."""
    x = np.clip(x, 0.0, 1.0)
    return np.asarray(x * x * (3.0 - 2.0 * x), dtype=np.float64)


def envelope(time_s: Floats, start_s: float, end_s: float, edge_s: float) -> Floats:
    """Return 1 inside a stretch, 0 outside, with smooth edges inside of it (all in seconds)."""
    if edge_s <= 0.0:
        return ((time_s >= start_s) & (time_s < end_s)).astype(np.float64)
    edge = min(edge_s, 0.5 * (end_s - start_s))
    return smoothstep((time_s - start_s) / edge) * smoothstep((end_s - time_s) / edge)


def bumps(time_s: Floats, centre_s: Floats, width_s: Floats, height: Floats) -> Floats:
    """Return the sum of Gaussian bumps at evenly spaced times.

    Parameters
    ----------
    time_s : numpy.ndarray, shape (n,)
        Evenly spaced times, in seconds; at least two.
    centre_s, width_s, height : numpy.ndarray, shape (m,)
        Place and standard deviation (both in seconds) and height of each bump.

    Notes
    -----
    Bumps are cut off at 5.5 standard deviations, where a millionth of a third is left.
    """
    if not len(centre_s) or len(time_s) < 2:
        return np.zeros(len(time_s))
    period = float(time_s[-1] - time_s[0]) / (len(time_s) - 1)
    half = math.ceil(5.5 * float(np.max(width_s)) / period)
    nearest = np.round((centre_s - time_s[0]) / period).astype(np.int64)
    near = (nearest >= -half) & (nearest < len(time_s) + half)
    place = nearest[near, None] + np.arange(-half, half + 1)
    away = time_s[0] + place * period - centre_s[near, None]
    value = height[near, None] * np.exp(-0.5 * np.square(away / width_s[near, None]))
    inside = (place >= 0) & (place < len(time_s))
    total = np.bincount(place[inside], weights=value[inside], minlength=len(time_s))
    return total.astype(np.float64, copy=False)
