"""Recordings made from real ones: pauses where there were none.

A seed gives the same recording again. The signals are real, what was done to them is known: pauses
are windows in which the breathing band was taken out (pulsation and noise are left).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from infantmon.errors import ArgumentError
from infantmon.labelled.database import Labelled
from infantmon.model.arrays import Bools, Floats
from infantmon.model.channel import Channel
from infantmon.model.marks import RPeaks
from infantmon.model.recording import Recording
from infantmon.scorecard.detectors import one_piece
from infantmon.stages.r_peaks import detect_r_peaks

LENGTHS_S = (10.0, 30.0)
"""A window is so long, edge to edge."""
APART_S = 25.0
"""So long the detector learns breathing before each window, and again between two."""
CLIPPED_COUNT = 5  # samples at the ends of the range: fewer are the tops of waves
AGREED_S = 0.5  # annotators' marks of one breath lie no further apart
FAST_SHARE = 0.1  # of the breaths of a window may come too fast for the band that is taken out
_TAPER_S = 0.3
HARMONICS = 3  # of the heart, between which breathing is taken out wholly
BESIDE = 0.15  # of the heart's rate, on either side of each: left to the heart
_LOWEST_HZ = 0.02


@dataclass(frozen=True, eq=False)
class MadePauses:
    """A real recording with known pauses.

    Attributes
    ----------
    labelled : Labelled
        The recording; reference breaths inside the windows are taken out.
    windows_s : numpy.ndarray, shape (n, 2)
        Where the breathing band was taken out, in seconds.
    pauses_s : numpy.ndarray, shape (n, 2)
        From the last reference breath before each window to the first after it, in seconds.
    left_out : int
        Windows that were drawn, but in which breathing could not be taken out: it is clipped (what
        is left of its shape is breathing still), or as fast as the heart.
    """

    labelled: Labelled
    windows_s: Floats
    pauses_s: Floats
    left_out: int


def with_pauses(
    labelled: Labelled,
    heart_hz: float,
    *,
    seed: int,
    wholly: bool = False,
    at_rest: bool = False,
    lengths_s: tuple[float, float] = LENGTHS_S,
    apart_s: float = APART_S,
) -> MadePauses:
    """Take the breathing band out of a real impedance in windows.

    Parameters
    ----------
    labelled : Labelled
        A recording with impedance in one piece and reference breaths. The first annotator's count;
        a window begins and ends between two breaths that all annotators mark, none between them.
    heart_hz : float
        The heart's rate, in beats a second: the band ends below it.
    seed : int
        Of the places and lengths.
    wholly : bool
        False: the band below the heart is taken out. That leaves what a steep breath has above it.
        True: what lies between the heart's harmonics is taken out, too, and the level is at rest.
    at_rest : bool
        False: down to the mean level, which makes a step of about half a breath at both edges.
        True: the level rests where it is at the edges of the window, between two breaths.
    lengths_s : tuple of float
        Least and greatest length of a window that is looked for, in seconds.
    apart_s : float
        Before the first window, and between two, in seconds.

    Raises
    ------
    ArgumentError
        If it has no impedance in one piece or no reference breaths.
    """
    channel = labelled.recording.impedance
    if channel is None or len(channel.segments) != 1 or not labelled.breaths_s:
        raise ArgumentError(
            f"{labelled.recording.name} has no impedance in one piece with reference breaths."
        )
    breaths = labelled.breaths_s[0]
    values = channel.segments[0].values.copy()
    drawn = _windows(_sure_edges(labelled.breaths_s), channel.end_s, seed, lengths_s, apart_s)
    clipped_s = np.flatnonzero(at_ends(values)) / channel.rate_hz
    keep = [
        np.count_nonzero((clipped_s > start) & (clipped_s < end)) < CLIPPED_COUNT
        and not _is_fast(breaths, start, end, (1.0 - BESIDE) * heart_hz)
        for start, end in drawn
    ]
    windows = drawn[np.array(keep, dtype=np.bool_)]
    breathing = _breathing(values, heart_hz, channel.rate_hz, HARMONICS if wholly else 1)
    time_s = np.arange(len(values)) / channel.rate_hz
    for start, end in windows:
        level = np.interp((start, end), time_s, breathing) if wholly or at_rest else np.zeros(2)
        line = np.interp(time_s, (start, end), level)
        values -= _taper(time_s, start, end) * (breathing - line)
    inside = np.zeros(len(breaths), dtype=np.bool_)
    for start, end in windows:
        inside |= (breaths > start) & (breaths < end)
    left = breaths[~inside]
    pauses = [
        (left[np.searchsorted(left, s) - 1], left[np.searchsorted(left, e)]) for s, e in windows
    ]
    channels = dict(labelled.recording.channels)
    channels["impedance"] = Channel(values, channel.rate_hz, channel.unit, name=channel.name)
    made = Labelled(
        Recording(channels, name=f"{labelled.recording.name}-pauses"),
        beats_s=labelled.beats_s,
        breaths_s=(left,),
    )
    return MadePauses(made, windows, np.array(pauses).reshape(-1, 2), len(drawn) - len(windows))


def heart_hz_of(labelled: Labelled) -> float:
    """Return the heart's usual rate, in Hz, by its R peaks."""
    ecg = one_piece(labelled.recording, "ecg")
    beats = detect_r_peaks(ecg.segments[0].values, ecg.rate_hz, unit=ecg.unit)
    return usual_hz(beats)


def usual_hz(beats: RPeaks) -> float:
    """Return the rate that the median interval of beats makes, in Hz."""
    return 1.0 / float(np.median(np.diff(beats.time_s)))


def at_ends(values: Floats) -> Bools:
    """Tell which samples lie at the ends of the range of all of them."""
    return np.asarray((values == values.max()) | (values == values.min()), dtype=np.bool_)


def _sure_edges(annotators: tuple[Floats, ...]) -> Floats:
    """Return the times midway between two breaths that all annotators mark, none between them."""
    breaths = annotators[0]
    sure = np.ones(len(breaths) - 1, dtype=np.bool_)
    for marks in annotators[1:]:
        first = np.searchsorted(marks, breaths - AGREED_S)
        after = np.searchsorted(marks, breaths + AGREED_S)
        agreed = after - first == 1
        sure &= agreed[:-1] & agreed[1:] & (after[1:] - first[:-1] == 2)
    midway: Floats = 0.5 * (breaths[1:] + breaths[:-1])[sure]
    return midway


def _is_fast(breaths: Floats, start: float, end: float, top_hz: float) -> bool:
    """Tell whether breaths of a window come faster than the band that is taken out reaches."""
    inside = breaths[(breaths > start) & (breaths < end)]
    return len(inside) > 1 and float(np.mean(np.diff(inside) < 1.0 / top_hz)) > FAST_SHARE


def _windows(
    midway: Floats, end_s: float, seed: int, lengths_s: tuple[float, float], apart_s: float
) -> Floats:
    """Return windows that begin and end at some of the times midway between two breaths."""
    draw = np.random.default_rng(seed)
    rows: list[tuple[float, float]] = []
    from_s = apart_s
    while True:
        start = midway[np.searchsorted(midway, from_s + draw.uniform(0.0, 10.0)) :][:1]
        wanted = draw.uniform(*lengths_s)
        if not len(start):
            break
        end = midway[np.searchsorted(midway, start[0] + wanted) :][:1]
        if not len(end) or end[0] > end_s - 10.0:
            break
        if end[0] - start[0] <= lengths_s[1] + 5.0:
            rows.append((float(start[0]), float(end[0])))
        from_s = float(end[0]) + apart_s
    return np.array(rows).reshape(-1, 2)


def _breathing(values: Floats, heart_hz: float, rate_hz: float, harmonics: int) -> Floats:
    """Return what lies below the heart's rate, and between its harmonics, by its spectrum."""
    whole = np.concatenate((values, values[::-1]))  # both ends meet: no jump is spread
    at_hz: Floats = np.fft.rfftfreq(len(whole), 1.0 / rate_hz).astype(np.float64)
    keep = np.zeros(len(at_hz))
    for harmonic in range(harmonics):
        low_hz = (harmonic + BESIDE) * heart_hz if harmonic else _LOWEST_HZ
        keep += _between(at_hz, low_hz, (harmonic + 1.0 - BESIDE) * heart_hz)
    part: Floats = np.fft.irfft(np.fft.rfft(whole) * keep, len(whole))[: len(values)]
    return part


def _between(at_hz: Floats, low_hz: float, high_hz: float) -> Floats:
    """Return 1 between two frequencies, 0 outside, with a soft upper edge, and a soft lower one."""
    soft_hz = 0.06 * high_hz
    rises = np.clip((at_hz - low_hz) / soft_hz + 0.5, 0.0, 1.0) if low_hz > _LOWEST_HZ else 1.0
    weight: Floats = np.clip((high_hz - at_hz) / soft_hz + 0.5, 0.0, 1.0) * rises
    return weight * (at_hz > _LOWEST_HZ)


def _taper(time_s: Floats, start: float, end: float) -> Floats:
    """Return 1 inside a window, 0 outside, with soft edges."""
    rising = np.clip((time_s - start) / _TAPER_S + 0.5, 0.0, 1.0)
    falling = np.clip((end - time_s) / _TAPER_S + 0.5, 0.0, 1.0)
    weight: Floats = np.sin(0.5 * np.pi * np.minimum(rising, falling)) ** 2
    return weight
