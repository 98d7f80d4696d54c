"""Times of rows turned into a measured rate and runs of evenly spaced rows."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from infantmon.errors import RecordingError
from infantmon.model.arrays import Bools, Floats

UNEVEN_S = 0.1
"""Rows further than this from an even clock are refused (project rule)."""


@dataclass(frozen=True)
class Run:
    """Rows that follow each other evenly.

    Attributes
    ----------
    first, end : int
        First row, and first row after.
    start_s : float
        Time of the first row, in seconds after row 0.
    """

    first: int
    end: int
    start_s: float


@dataclass(frozen=True)
class EvenRows:
    """A measured rate with the runs of rows on it.

    Attributes
    ----------
    rate_hz : float
        Rows a second, as measured from their times.
    runs : tuple of Run
        Between runs nothing was recorded.
    off_s : float
        How far a row's time is from this even clock at most, in seconds.
    coarse_s : float
        How coarse the times are written, in seconds.
    """

    rate_hz: float
    runs: tuple[Run, ...]
    off_s: float
    coarse_s: float


def measured_rows(times_s: Floats, where: str) -> EvenRows:
    """Measure the rate of rows and find the holes between them.

    A step is a hole if it is longer than one and a half usual steps (and the coarseness of the
    times); the rate is that of all other steps together, so that rounded times do not bias it.

    Parameters
    ----------
    times_s : numpy.ndarray, shape (n,)
        Times of the rows in seconds, finite, none before the one before it.
    where : str
        What they belong to, for messages.

    Raises
    ------
    RecordingError
        If there are fewer than two rows, or they are not evenly spaced.
    """
    steps = np.diff(times_s)
    if not len(steps):
        raise RecordingError(f"{where} has {len(times_s)} rows; no rate can be measured from them.")
    low, high = np.percentile(steps, [5.0, 95.0])
    usual = float(np.mean(steps[(steps >= low) & (steps <= high)]))
    if usual <= 0.0:
        raise RecordingError(
            f"{where}: the same time stands in most rows, so no rate can be measured. "
            "Write the times with more decimals, or leave them out and tell the rate."
        )
    coarse = float(high - low)
    hole = steps > 1.5 * usual + coarse
    span = float(np.sum(steps[~hole]))
    rate = np.count_nonzero(~hole) / span
    rounding = coarse + 8.0 * np.finfo(np.float64).eps * float(np.max(np.abs(times_s)))
    rate_hz = _roundest(rate, rate * rounding / span)
    runs = _runs(times_s, hole)
    off = max(_off_s(times_s[run.first : run.end], rate_hz) for run in runs)
    if off > UNEVEN_S + coarse:
        raise RecordingError(
            f"{where}: the rows are up to {off:.3f} s off an even clock of {rate_hz:.6g} Hz. "
            "Only evenly sampled signals can be read; resample them, or correct the times."
        )
    return EvenRows(rate_hz, runs, off, coarse)


def _runs(times_s: Floats, hole: Bools) -> tuple[Run, ...]:
    edges = [0, *(np.flatnonzero(hole) + 1).tolist(), len(times_s)]
    return tuple(
        Run(first, end, float(times_s[first] - times_s[0])) for first, end in pairwise(edges)
    )


def _roundest(rate_hz: float, within_hz: float) -> float:
    """Return the value of fewest decimals that the measurement cannot tell from `rate_hz`."""
    for decimals in range(13):
        told = round(rate_hz, decimals)
        if told > 0.0 and abs(told - rate_hz) <= within_hz:
            return told
    return rate_hz


def _off_s(times_s: Floats, rate_hz: float) -> float:
    even = times_s[0] + np.arange(len(times_s)) / rate_hz
    return float(np.max(np.abs(times_s - even)))
