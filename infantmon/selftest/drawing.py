"""ECGs drawn for the bench: beats at given times, in given shapes, with a little noise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from infantmon.model.arrays import Bools, Floats
from infantmon.simulate.ecg import EcgLead, EcgShape
from infantmon.simulate.heart import Beats
from infantmon.simulate.noise import generator

ECG_HZ = 250.0
NOISE_MV = 0.008
PLAIN = EcgLead(r_mv=1.0, breathing_share=0.0)
"""An infant's beat of 1 mV, QRS 50 ms."""


@dataclass(frozen=True, eq=False)
class Ecg:
    """A drawn ECG and its truth.

    Attributes
    ----------
    samples_mv : numpy.ndarray, shape (n,)
        At `ECG_HZ`.
    beat_s : numpy.ndarray, shape (m,)
        Where its beats are, in seconds.
    """

    samples_mv: Floats
    beat_s: Floats

    def with_added(self, wave_mv: Floats) -> Ecg:
        """Return the same with something added, in mV."""
        return replace(self, samples_mv=self.samples_mv + wave_mv)

    @property
    def time_s(self) -> Floats:
        """Times of the samples, in seconds."""
        return np.arange(len(self.samples_mv)) / ECG_HZ


def drawn(
    beat_s: Floats,
    duration_s: float,
    *,
    lead: EcgLead = PLAIN,
    others: Sequence[tuple[Bools, EcgLead]] = (),
    seed: int = 1,
) -> Ecg:
    """Return an ECG with beats at given times.

    Parameters
    ----------
    beat_s : numpy.ndarray, shape (m,)
        The beats, in seconds; they may begin before 0 and end after the duration.
    duration_s : float
        Length, in seconds.
    lead : EcgLead
        How a beat looks.
    others : sequence of (numpy.ndarray of bool, EcgLead)
        Which beats look otherwise, and how.
    seed : int
        Of the noise.
    """
    time_s = np.arange(round(duration_s * ECG_HZ)) / ECG_HZ
    usual_s = float(np.median(np.diff(beat_s))) if len(beat_s) > 1 else 0.5
    beats = Beats.at(beat_s, usual_s)
    shape = EcgShape(lead, beats, np.zeros(len(beat_s)), others)
    noise = NOISE_MV * generator(seed, 1).standard_normal(len(time_s))
    inside = (beat_s >= 0.0) & (beat_s < duration_s)
    return Ecg(shape.mv(time_s) + noise, beat_s[inside])


def at_rate(rate_bpm: float, until_s: float, *, start_s: float = 0.3, seed: int = 1) -> Floats:
    """Return beats at a rate (a minute), with 1 % of an interval of jitter, up to a time (s)."""
    rr_s = 60.0 / rate_bpm
    beat_s = start_s + rr_s * np.arange(int((until_s - start_s) / rr_s) + 1)
    jitter = generator(seed, 2).standard_normal(len(beat_s))
    return np.asarray(beat_s + 0.01 * rr_s * np.clip(jitter, -2.0, 2.0))


def in_cycles(intervals_s: Sequence[float], until_s: float) -> Floats:
    """Return beats whose intervals (s) go round and round, up to a time (s)."""
    rounds = int(until_s / sum(intervals_s)) + 2
    return np.asarray(0.3 + np.concatenate([[0.0], np.cumsum(np.tile(intervals_s, rounds))]))
