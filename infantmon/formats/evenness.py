"""Times of rows turned into a measured rate and runs of evenly spaced rows."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from infantmon.errors import RecordingError
from infantmon.formats.column import BLOCK_ROWS, Column

USUAL_ROWS = 1_000_000
"""From so many rows the usual step is measured; it is the same in all that follow."""
MOST_TICKS = 2.0**52
"""Up to here every tick of a clock is a number of its own in float64."""
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


def measured_rows(times: Column, where: str) -> EvenRows:
    """Measure the rate of rows and find the holes between them.

    A step is a hole if it is longer than one and a half usual steps (and the coarseness of the
    times); the rate is that of all other steps together, so that rounded times do not bias it.

    Parameters
    ----------
    times : Column
        Times of the rows in seconds, finite, none before the one before it.
    where : str
        What they belong to, for messages.

    Raises
    ------
    RecordingError
        If there are fewer than two rows, they are not evenly spaced, or reach too far.

    Notes
    -----
    What is usual is measured from the steps of the first `USUAL_ROWS` rows; all else goes over the
    rows block by block.
    """
    steps = np.diff(times.read(0, min(len(times), USUAL_ROWS)))
    if not len(steps):
        raise RecordingError(f"{where} has {len(times)} rows; no rate can be measured from them.")
    low, high = np.percentile(steps, [5.0, 95.0])
    usual = float(np.mean(steps[(steps >= low) & (steps <= high)]))
    if usual <= 0.0:
        raise RecordingError(
            f"{where}: the same time stands in most rows, so no rate can be measured. "
            "Write the times with more decimals, or leave them out and tell the rate."
        )
    coarse = float(high - low)
    runs, span, even_steps, largest = _runs(times, 1.5 * usual + coarse)
    rate = even_steps / span
    rounding = coarse + 8.0 * np.finfo(np.float64).eps * largest
    rate_hz = _roundest(rate, rate * rounding / span)
    if runs[-1].start_s * rate_hz > MOST_TICKS:
        raise RecordingError(
            f"{where}: the times reach from 0 to {runs[-1].start_s:g} s at {rate_hz:g} Hz, further "
            "than samples can be counted. Correct the times."
        )
    off = max(_off_s(times, run, rate_hz) for run in runs)
    if off > UNEVEN_S + coarse:
        raise RecordingError(
            f"{where}: the rows are up to {off:.3f} s off an even clock of {rate_hz:.6g} Hz. "
            "Only evenly sampled signals can be read; resample them, or correct the times."
        )
    return EvenRows(rate_hz, runs, off, coarse)


def _runs(times: Column, longest_s: float) -> tuple[tuple[Run, ...], float, int, float]:
    """Return the runs, the length and number of their steps, and the time furthest from zero."""
    edges, spans, count, largest = [0], [], 0, 0.0
    for first, block in times.blocks(overlap=1):
        steps = np.diff(block)
        hole = steps > longest_s
        edges += (first + 1 + np.flatnonzero(hole)).tolist()
        spans.append(float(np.sum(steps[~hole])))
        count += int(np.count_nonzero(~hole))
        largest = max(largest, float(np.max(np.abs(block))))
    edges.append(len(times))
    zero_s = float(times.read(0, 1)[0])
    runs = (
        Run(first, end, float(times.read(first, first + 1)[0]) - zero_s)
        for first, end in pairwise(edges)
    )
    return tuple(runs), math.fsum(spans), count, largest


def _roundest(rate_hz: float, within_hz: float) -> float:
    """Return the value of fewest decimals that the measurement cannot tell from `rate_hz`."""
    for decimals in range(13):
        told = round(rate_hz, decimals)
        if told > 0.0 and abs(told - rate_hz) <= within_hz:
            return told
    return rate_hz


def _off_s(times: Column, run: Run, rate_hz: float) -> float:
    """Return how far the times of a run are from an even clock at most."""
    off_s, zero_s = 0.0, float(times.read(run.first, run.first + 1)[0])
    for first in range(run.first, run.end, BLOCK_ROWS):
        block = times.read(first, min(first + BLOCK_ROWS, run.end))
        even = zero_s + np.arange(first - run.first, first - run.first + len(block)) / rate_hz
        off_s = max(off_s, float(np.max(np.abs(block - even))))
    return off_s
