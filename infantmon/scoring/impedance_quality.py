"""The published quality index of an impedance signal, window by window: an offline check."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from infantmon.errors import ArgumentError, require_between, require_number, require_rate
from infantmon.model.arrays import Floats, as_samples

WINDOW_S = 32.0
LENGTHS_S = (0.5, 4.0)
"""Shortest and longest breath that counts: 15 to 120 a minute (published for adults: 1 to 15 s)."""
LEAST_COVERED, MOST_ODD, MOST_VARIATION, LEAST_ALIKE = 0.6, 0.15, 0.25, 0.75
ODD = (0.5, 1.5)  # of the median length: shorter and longer breaths are odd
POINTS = 40  # to which each breath is resampled for the template


@dataclass(frozen=True, slots=True)
class WindowQuality:
    """What the index says of one window.

    Attributes
    ----------
    start_s, end_s : float
        The window, in seconds.
    covered : float
        Share of the window in breaths of a valid length; good above 0.6.
    odd : float
        Share of breaths shorter than half or longer than one and a half of the median length; good
        below 0.15.
    variation : float
        Standard deviation of their lengths over the mean; good below 0.25.
    alike : float
        Mean correlation of the breaths with their mean, each stretched to one length; good from
        0.75. NaN where there are fewer than two breaths.
    """

    start_s: float
    end_s: float
    covered: float
    odd: float
    variation: float
    alike: float

    @property
    def good(self) -> bool:
        """Whether all four are good."""
        return (
            self.covered > LEAST_COVERED
            and self.odd < MOST_ODD
            and self.variation < MOST_VARIATION
            and self.alike >= LEAST_ALIKE
        )


def impedance_quality(
    impedance: npt.ArrayLike,
    rate_hz: float,
    breath_s: npt.ArrayLike,
    *,
    window_s: float = WINDOW_S,
    lengths_s: tuple[float, float] = LENGTHS_S,
) -> list[WindowQuality]:
    """Return the published quality index of each window of an impedance.

    Parameters
    ----------
    impedance : array_like, shape (n,)
        Samples in any unit; NaN where one is missing.
    rate_hz : float
        Sampling rate, in Hz.
    breath_s : array_like, shape (m,)
        Breaths, in seconds from the first sample, in order.
    window_s : float
        Length of a window, in seconds; a last one that is shorter is left out.
    lengths_s : tuple of float
        Shortest and longest breath that counts, in seconds.

    Returns
    -------
    list of WindowQuality
        One a window, in order.

    Raises
    ------
    ArgumentError
        If the rate, the window or the lengths cannot be used, or breaths are not in order.

    Notes
    -----
    The four figures and their limits are those of [1]_, found there on impedance of adults. What is
    ours: breaths of 0.5 to 4 s count, as infants breathe, and breaths are those that are passed.
    A window without breathing is not good by this index, and an apnea is no fault of a signal: it
    is a check of signals for the rate of breathing, not for pauses.

    References
    ----------
    .. [1] P. H. Charlton et al., Biomed Signal Process Control 65:102339, 2021.
    """
    samples = as_samples(impedance, name="impedance")
    rate_hz = require_rate(rate_hz)
    window_s = require_between(window_s, 4.0, 3600.0, name="window_s", unit="s")
    marks = as_samples(breath_s, name="breath_s")
    if np.any(np.diff(marks) < 0.0):
        raise ArgumentError("breath_s is not one row of times in order; sort it.")
    ends = [require_number(end_s, name="lengths_s", unit="s") for end_s in _pair(lengths_s)]
    lengths_s = (ends[0], ends[1])
    if not 0.0 < lengths_s[0] < lengths_s[1]:
        raise ArgumentError(f"lengths_s is {lengths_s} s; give the shorter one first, above 0.")
    count = int(len(samples) / rate_hz / window_s + 1e-9)
    return [
        _window(samples, rate_hz, marks, (k * window_s, (k + 1) * window_s), lengths_s)
        for k in range(count)
    ]


def _pair(lengths_s: object) -> Sequence[object]:
    if not isinstance(lengths_s, (tuple, list)) or len(lengths_s) != 2:
        raise ArgumentError(
            f"lengths_s is {lengths_s!r}; the shortest and the longest are expected."
        )
    return lengths_s


def _window(
    samples: Floats,
    rate_hz: float,
    marks: Floats,
    window: tuple[float, float],
    lengths_s: tuple[float, float],
) -> WindowQuality:
    inside = marks[(marks >= window[0]) & (marks < window[1])]
    lengths = np.diff(inside)
    if not len(lengths):
        return WindowQuality(*window, 0.0, 0.0, 0.0, float("nan"))
    valid = (lengths >= lengths_s[0]) & (lengths <= lengths_s[1])
    covered = float(lengths[valid].sum()) / (window[1] - window[0])
    usual = float(np.median(lengths))
    odd = float(np.mean((lengths < ODD[0] * usual) | (lengths > ODD[1] * usual)))
    variation = float(np.std(lengths) / np.mean(lengths))
    return WindowQuality(*window, covered, odd, variation, _alike(samples, rate_hz, inside))


def _alike(samples: Floats, rate_hz: float, marks: Floats) -> float:
    """Return the mean correlation of breaths with their mean."""
    phase = np.arange(POINTS) / POINTS
    times = marks[:-1, np.newaxis] + np.diff(marks)[:, np.newaxis] * phase
    breaths = np.interp(times * rate_hz, np.arange(len(samples)), samples)
    breaths = breaths[np.isfinite(breaths).all(axis=1)]
    if len(breaths) < 2:
        return float("nan")
    breaths = breaths - breaths.mean(axis=1, keepdims=True)
    template = breaths.mean(axis=0)
    size = np.linalg.norm(breaths, axis=1) * np.linalg.norm(template)
    alike = np.divide(breaths @ template, size, out=np.zeros(len(size)), where=size > 0.0)
    return float(alike.mean())
