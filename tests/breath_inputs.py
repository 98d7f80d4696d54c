"""An invented infant for the breath tests: a plain twin of nothing in the library."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from infantmon.model.marks import Breaths, RPeaks

Array = np.ndarray


class Infant(NamedTuple):
    impedance: Array
    rate_hz: float
    beat_s: Array
    breath_s: Array  # true inspiratory peaks
    pauses: list[tuple[float, float]]  # true marks around each pause


def breath_shape(phase: Array, inspired: float = 0.42) -> Array:
    """One breath over its cycle: up by half a cosine, down by another, then rest."""
    rise = 0.5 - 0.5 * np.cos(np.pi * phase / inspired)
    fall = 0.5 + 0.5 * np.cos(np.pi * np.minimum((phase - inspired) / (0.85 - inspired), 1.0))
    return np.where(phase < inspired, rise, fall)


def infant(
    seed: int,
    seconds: float,
    *,
    rate_hz: float = 62.5,
    breaths_per_min: float = 45.0,
    heart_bpm: float = 140.0,
    pulsation: float = 0.3,
    pauses: tuple[tuple[float, float], ...] = (),
    heart_in_pause_bpm: float | None = None,
    fall_s: float = 5.0,
    noise: float = 0.02,
    step: float = 0.0,
    rebound: float = 0.0,
    sizes: tuple[float, ...] = (1.0,),
    in_time: bool = False,
    breath_spread: float = 0.1,
    early_beats: tuple[float, float] = (0.0, 0.0),
) -> Infant:
    """Breaths with pauses (begin after this time, length mark to mark), beats, their pulsation.

    The heart falls in the pauses from 4 s on; a rate of 0 is a standstill. The pulsation stretches
    with the interval, or (`in_time`) is fixed in time after the beat, so that pulses run together
    when beats are close. Of the beats a share comes early, by a share of the interval; never two in
    a row.
    """
    rng = np.random.default_rng(seed)
    time_s = np.arange(round(seconds * rate_hz)) / rate_hz
    usual_s = 60.0 / breaths_per_min
    start_s, length_s, peak_s, around = _breaths(rng, seconds, usual_s, pauses, breath_spread)
    values = np.zeros(len(time_s))
    for number, (start, length) in enumerate(zip(start_s, length_s, strict=True)):
        inside = slice(*np.searchsorted(time_s, (start, start + length)))
        size = sizes[number % len(sizes)] * np.exp(0.1 * rng.standard_normal())
        values[inside] += size * breath_shape((time_s[inside] - start) / length)
    for onset, end in around:
        since_out_s, since_in_s = (np.maximum(time_s - t, 0.0) for t in (onset + 0.8, end))
        values += rebound * (np.exp(-since_in_s) - np.exp(-since_out_s))
    beat_s = _beats(rng, seconds, heart_bpm, around, heart_in_pause_bpm, fall_s)
    beat_s = _some_early(beat_s, seed, *early_beats)
    pulse = _pulse_in_time(time_s, beat_s, heart_bpm) if in_time else _pulse(time_s, beat_s)
    values += pulsation * pulse
    values += noise * rng.standard_normal(len(time_s))
    if step:
        values = np.round(values / step) * step
    return Infant(values, rate_hz, beat_s, np.array(peak_s), around)


def _breaths(rng, seconds, usual, pauses, spread):
    start_s, length_s, peak_s, around = [], [], [], []
    now, waiting = 0.7, list(pauses)
    while now < seconds - 3.0:
        length = usual * np.exp(spread * rng.standard_normal())
        if waiting and now > waiting[0][0] and peak_s:
            now = peak_s[-1] + waiting.pop(0)[1] - 0.42 * length
            around.append((peak_s[-1], now + 0.42 * length))
        start_s.append(now)
        length_s.append(length)
        peak_s.append(now + 0.42 * length)
        now += length
    return start_s, length_s, peak_s, around


def _beats(rng, seconds, usual_bpm, around, in_pause_bpm, fall_s):
    beat_s = [0.2]
    while beat_s[-1] < seconds:
        now, rate = beat_s[-1], usual_bpm
        for onset, end in around:
            if in_pause_bpm is not None and onset - 1.0 < now < end + 8.0:
                share = np.interp(
                    now, [onset + 4, onset + 4 + fall_s, end, end + 6], [0.0, 1.0, 1.0, 0.0]
                )
                rate = usual_bpm + share * (in_pause_bpm - usual_bpm)
                if in_pause_bpm == 0.0 and onset + 4.0 < now < end:
                    now, rate = end, usual_bpm
        beat_s.append(now + 60.0 / rate * np.exp(0.02 * rng.standard_normal()))
    return np.array(beat_s)


def _some_early(beat_s, seed, share, by):
    early = np.random.default_rng(seed).random(len(beat_s)) < share
    early[1:] &= ~early[:-1]
    return beat_s - np.where(early, by * np.gradient(beat_s), 0.0)


def _pulse(time_s, beat_s):
    at = np.clip(np.searchsorted(beat_s, time_s, side="right") - 1, 0, len(beat_s) - 2)
    length = beat_s[at + 1] - beat_s[at]
    phase = (time_s - beat_s[at]) / length
    wave = np.cos(2 * np.pi * (phase - 0.3)) + 0.3 * np.cos(4 * np.pi * (phase - 0.25))
    return np.where((length < 2.0) & (phase >= 0.0), wave / 2.2, 0.0)


def _pulse_in_time(time_s, beat_s, usual_bpm):
    def shape(since_s):
        x = np.maximum(since_s - 0.05, 0.0) / 0.12
        return x**2 * np.exp(-2.0 * (x - 1.0))

    lag_s = np.arange(0.0, 60.0 / usual_bpm, 0.002)[:, None] + 60.0 / usual_bpm * np.arange(8)
    wave = np.zeros(len(time_s))
    for beat in beat_s:
        first, after = np.searchsorted(time_s, (beat, beat + 2.0))
        wave[first:after] += shape(time_s[first:after] - beat)
    return wave / np.ptp(shape(lag_s).sum(axis=1))


def r_peaks(beat_s: Array, latency_s: float = 1.2, end_s: float = np.inf) -> RPeaks:
    """R peaks as a detector with this latency gives them."""
    known = np.minimum(beat_s + latency_s, end_s)
    count = len(beat_s)
    return RPeaks(beat_s, known, np.zeros(count, np.int64), np.ones(count), np.ones(count, bool))


def matched(reference: Array, found: Array, within_s: float) -> int:
    """Pairs of one reference and one found mark, each used once, in order of time."""
    pairs, i, j = 0, 0, 0
    while i < len(reference) and j < len(found):
        if abs(found[j] - reference[i]) <= within_s:
            pairs, i, j = pairs + 1, i + 1, j + 1
        elif found[j] < reference[i]:
            j += 1
        else:
            i += 1
    return pairs


def longest_near(breaths: Breaths, onset_s: float, end_s: float) -> tuple[float, float]:
    """Onset and length of the longest gap between marks around a pause."""
    near = breaths.between(onset_s - 3.0, end_s + 3.0).time_s
    gap = np.diff(near)
    at = int(np.argmax(gap))
    return float(near[at]), float(gap[at])
