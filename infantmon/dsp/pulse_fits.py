"""Fits of the pulsation over the three intervals before each of many beats, all at once."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from infantmon.dsp.beat_fit import BEATS, POINTS, fit
from infantmon.dsp.beat_train import MISSED, Beat
from infantmon.dsp.kept import Kept
from infantmon.dsp.pulse_template import Heard
from infantmon.dsp.pulse_track import PulseTrack
from infantmon.model.arrays import Floats
from infantmon.model.clock import Clock

FITTED_S = 8.0  # a fit may begin this long before the output sample it is for


class Window(NamedTuple):
    """What was heard in the three intervals before a beat, and their mean."""

    heard: Heard
    interval_s: float


def fits_before(
    news: list[tuple[int, Beat]], track: PulseTrack, kept: Kept, clock: Clock
) -> list[Window | None]:
    """Fit the three intervals before each new beat, all at once; None where they are odd."""
    fits: list[Window | None] = [None] * len(news)
    windows, cycles = track.latest(len(news), BEATS + 1)
    started_s = clock.times_s(np.array([place for place, _ in news])) - FITTED_S
    longest_s = MISSED * np.array([beat.usual_s for _, beat in news])
    usable = (
        np.array([beat.trusted for _, beat in news])
        & (cycles[:, -1] - cycles[:, 0] == BEATS)
        & (windows[:, 0] >= np.maximum(started_s, clock.start_s))
        & (np.diff(windows, axis=1).max(axis=1) <= longest_s)
    )
    if usable.any():
        windows = windows[usable]
        harmonics, power, rest = fit(_resampled(windows, kept, clock))
        intervals = ((windows[:, -1] - windows[:, 0]) / BEATS).tolist()
        rows = zip(map(tuple, harmonics.tolist()), power.tolist(), rest.tolist(), strict=True)
        for index, row, interval_s in zip(np.flatnonzero(usable), rows, intervals, strict=True):
            fits[index] = Window(Heard(*row), interval_s)
    return fits


def _resampled(windows: Floats, kept: Kept, clock: Clock) -> Floats:
    """Return samples evenly spaced in phase between the beats of each row."""
    start, length = windows[:, :-1, np.newaxis], np.diff(windows, axis=1)[:, :, np.newaxis]
    times = start + length * ((np.arange(POINTS) + 0.5) / POINTS)
    exact = (times.reshape(len(windows), -1) - clock.start_s) * clock.rate_hz
    place = np.floor(exact)
    pairs = kept.windows(place.astype(np.int64).ravel(), 2).reshape(*exact.shape, 2)
    share = exact - place
    return pairs[..., 0] * (1.0 - share) + pairs[..., 1] * share
