"""Fits of the pulsation over the three intervals before each of many beats, all at once.

In come new beats and the samples kept so far; out comes a fit for each beat, or nothing where the
intervals before it are odd.
"""

from __future__ import annotations

import numpy as np

from infantmon.dsp.beat_fit import BEATS, POINTS, fit
from infantmon.dsp.beat_train import MISSED, Beat
from infantmon.dsp.kept import Kept
from infantmon.dsp.neighbours import steps
from infantmon.dsp.pulse_template import Heard
from infantmon.dsp.pulse_track import PulseTrack
from infantmon.model.arrays import Floats
from infantmon.model.clock import Clock

# Intervals are uneven if (project's choice, on simulated seeds)
UNEVEN = 0.8  # one is less than this share of the one before: a beat came early,
OVERDUE = 4.0  # or one was missed; in usual intervals: what is longer is a standstill
FITTED_S = 8.0  # a fit may begin this long before the output sample it is for


def fits_before(
    news: list[tuple[int, Beat]], track: PulseTrack, kept: Kept, clock: Clock
) -> tuple[list[Heard | None], list[bool]]:
    """Fit the three intervals before each new beat, all at once; None where they are odd.

    Beside the fits come, as many, whether the intervals are uneven, though no beat is long overdue:
    one came early, or was missed.
    """
    windows, cycles = track.latest(len(news), BEATS + 1)
    started_s = clock.times_s(np.array([place for place, _ in news])) - FITTED_S
    usual_s = np.array([beat.usual_s for _, beat in news])
    apart = steps(windows)
    longest_s = apart.max(axis=1)
    near = np.array([beat.trusted for _, beat in news])
    near &= windows[:, 0] >= np.maximum(started_s, clock.start_s)
    near &= apart[:, 0] > 0.0  # else no beats are kept from so far back
    whole = near & (cycles[:, -1] - cycles[:, 0] == BEATS) & (longest_s <= MISSED * usual_s)
    uneven = ~whole | (apart[:, 1:] < UNEVEN * apart[:, :-1]).any(axis=1)
    uneven &= near & (longest_s <= OVERDUE * usual_s)
    fits: list[Heard | None] = [None] * len(news)
    if whole.any():
        windows = windows[whole]
        harmonics, power, rest = (part.tolist() for part in fit(_resampled(windows, kept, clock)))
        intervals = ((windows[:, -1] - windows[:, 0]) / BEATS).tolist()
        heard = zip(zip(*harmonics, strict=True), power, rest, intervals, strict=True)
        for index, each in zip(np.flatnonzero(whole).tolist(), heard, strict=True):
            fits[index] = each
    return fits, uneven.tolist()


def _resampled(windows: Floats, kept: Kept, clock: Clock) -> Floats:
    """Return samples evenly spaced in phase between the beats, one column for each row of beats."""
    start, length = windows[:, :-1].T, steps(windows).T
    phase = ((np.arange(POINTS) + 0.5) / POINTS)[:, np.newaxis]
    times = start[:, np.newaxis] + length[:, np.newaxis] * phase
    exact = (times.reshape(BEATS * POINTS, -1) - clock.start_s) * clock.rate_hz
    return kept.between(exact)
