"""What marks, episodes and a confidence level must be before anything can be scored."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from infantmon.errors import ArgumentError, require_bound, require_number
from infantmon.model.arrays import Bools, Floats
from infantmon.scoring.pairing import TOLERANCE_S


def require_marks(values: npt.ArrayLike, *, name: str) -> Floats:
    """Return marks as float64 seconds, or say what is wrong with which of them.

    Raises
    ------
    ArgumentError
        If they are not one-dimensional, not finite, negative, not sorted, or not all different.
    """
    marks = _as_floats(values, name=name)
    if marks.ndim != 1:
        raise ArgumentError(
            f"{name} has shape {marks.shape}; one dimension is expected, one time in seconds a "
            "mark. Pass one list of marks at a time."
        )
    _require_times(marks, name=name)
    step = np.diff(marks)
    _refuse(step < 0.0, marks, name, "comes before the mark in front of it; sort the marks", 1)
    _refuse(step == 0.0, marks, name, "is there twice; leave one of them out", 1)
    return marks


def require_episodes(values: npt.ArrayLike, *, name: str, end_s: float) -> Floats:
    """Return episodes as float64 seconds, shape (n, 2), or say what is wrong with which of them.

    An end of infinity means that the episode had not ended; it ends at `end_s`.

    Raises
    ------
    ArgumentError
        If they are not pairs of start and end, not finite or negative, not sorted, or overlap.
    """
    episodes = _as_floats(values, name=name)
    if episodes.size == 0:
        return np.empty((0, 2))
    if episodes.ndim != 2 or episodes.shape[1] != 2:
        raise ArgumentError(
            f"{name} has shape {episodes.shape}; (n, 2) is expected: start and end in seconds, "
            "one episode a row."
        )
    if np.isposinf(episodes[:, 1]).any() and math.isinf(end_s):
        raise ArgumentError(
            f"{name} holds an episode without an end; pass end_s, the time at which it is cut off."
        )
    episodes = np.where(np.isposinf(episodes), [[math.inf, end_s]], episodes)
    start, end = episodes[:, 0], episodes[:, 1]
    _require_times(start, name=f"{name} (start)")
    _require_times(end, name=f"{name} (end)")
    _refuse(end <= start, start, name, "does not end after it starts; check start and end")
    _refuse(
        start[1:] < start[:-1], start, name, "starts before the one in front of it; sort them", 1
    )
    within = start[1:] < end[:-1] - TOLERANCE_S  # two that touch may differ by rounding
    _refuse(within, start, name, "starts before the last one ended; merge the two", 1)
    return episodes


def require_period(start_s: object, end_s: object) -> tuple[float, float]:
    """Return the scored period in seconds, or say what it must be; its end may be infinity."""
    start = require_number(start_s, name="start_s", unit="s")
    end = require_bound(end_s, name="end_s", unit="s")
    if not end > start:
        raise ArgumentError(
            f"the scored period is {start:g} to {end:g} s; it must end after it starts."
        )
    return start, end


def require_window(window_s: object) -> float:
    """Return a match window in seconds, or say what it must be."""
    window = require_number(window_s, name="window_s", unit="s")
    if window <= 0.0:
        raise ArgumentError(f"window_s is {window:g} s; a match window must be above 0 s.")
    return window


def require_level(level: object) -> float:
    """Return a confidence level, or say what it must be."""
    number = require_number(level, name="level", unit="shares of 1")
    if not 0.0 < number < 1.0:
        raise ArgumentError(f"level is {number:g}; a confidence level lies between 0 and 1.")
    return number


def _as_floats(values: npt.ArrayLike, *, name: str) -> Floats:
    if hasattr(values, "time_s"):
        raise ArgumentError(f"{name} is a {type(values).__name__}; pass its times, .time_s.")
    try:
        array = np.asarray(values)
    except ValueError as fault:  # rows of unequal length
        raise ArgumentError(f"{name} cannot be made an array of times ({fault}).") from fault
    if array.size and array.dtype.kind not in "fiu":
        raise ArgumentError(
            f"{name} has type {array.dtype}; times in seconds are expected{_hint(array)}."
        )
    return array.astype(np.float64)


def _hint(array: npt.NDArray[np.generic]) -> str:
    """Say what to pass in place of two things that are easily passed."""
    if array.dtype.kind != "O":
        return ""
    if hasattr(array.flat[0], "onset_s"):
        return ", of events (event.onset_s, event.end_s)"
    return ", infinity for an end that is not known" if None in array.ravel().tolist() else ""


def _require_times(times: Floats, *, name: str) -> None:
    finite = np.isfinite(times)
    _refuse(~finite, times, name, "is not a finite time; leave out what has no time")
    _refuse(times < 0.0, times, name, "is negative; times count from the start of the recording")


def _refuse(bad: Bools, times: Floats, name: str, why: str, offset: int = 0) -> None:
    """Raise for the first bad one; `offset` is the place of the first flag among the times."""
    if bad.any():
        k = int(np.argmax(bad)) + offset
        raise ArgumentError(f"{name}[{k}] ({times[k]:.6g} s) {why}.")
