"""A recording laid out for a file: every channel from the same start to the same end."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction

import numpy as np

from infantmon.errors import ArgumentError, require_kind
from infantmon.formats.naming import role_label
from infantmon.model.arrays import Bools, Floats
from infantmon.model.channel import Channel
from infantmon.model.recording import ROLES, Recording

MOST_SAMPLES_A_FRAME = 100_000


@dataclass(frozen=True)
class Laid:
    """One channel laid out.

    Attributes
    ----------
    label : str
        Its name in the file.
    per_frame : int
        Samples in each frame.
    values : numpy.ndarray, shape (frames * per_frame,)
        NaN where a sample is invalid or nothing was recorded.
    recorded : numpy.ndarray of bool, same shape
        False where nothing was recorded.
    """

    role: str
    label: str
    channel: Channel
    per_frame: int
    values: Floats
    recorded: Bools

    @property
    def ends(self) -> tuple[float, float]:
        """The smallest and the largest value, in the channel's unit; 0 where none is finite."""
        finite = self.values[np.isfinite(self.values)]
        return (float(np.min(finite)), float(np.max(finite))) if len(finite) else (0.0, 0.0)


@dataclass(frozen=True)
class Grid:
    """A recording laid out in frames that hold a whole number of samples of every channel.

    Attributes
    ----------
    frame_hz : Fraction
        Frames a second.
    frames : int
        How many there are.
    start_s : float
        Time of the first frame: 0, or earlier where a channel begins before 0.
    """

    frame_hz: Fraction
    frames: int
    start_s: float
    channels: tuple[Laid, ...]

    def started_at(self, recording: Recording) -> datetime | None:
        """Return the wall-clock time of the first frame, where it is known."""
        if recording.started_at is None:
            return None
        return recording.started_at + timedelta(seconds=self.start_s)


def gridded(recording: Recording, *, frames_at_a_time: int = 1) -> Grid:
    """Lay a recording out.

    Parameters
    ----------
    recording : Recording
        What is to be written.
    frames_at_a_time : int
        The number of frames becomes a multiple of this; the rest is filled as not recorded.

    Raises
    ------
    ArgumentError
        If the rates have no common frame, or this is no recording.
    """
    require_kind(recording, Recording, name="recording", called="an infantmon.Recording")
    filled = [(r, recording.channels[r]) for r in ROLES if r in recording.channels]
    filled = [(role, channel) for role, channel in filled if channel.sample_count]
    frame_hz = common_frame_hz([channel.rate_hz for _, channel in filled])
    earliest = min(min(channel.start_s, 0.0) for _, channel in filled)
    first = math.floor(earliest * frame_hz)
    end = max(
        math.ceil(channel.end_tick / rational(channel.rate_hz) * frame_hz) for _, channel in filled
    )
    frames = -(-(end - first) // frames_at_a_time) * frames_at_a_time
    labels = [role_label(channel.name, role) for role, channel in filled]
    doubled = len(set(labels)) < len(labels)
    laid = [
        _laid(role, role_label("", role) if doubled else label, channel, frame_hz, first, frames)
        for (role, channel), label in zip(filled, labels, strict=True)
    ]
    return Grid(frame_hz, frames, float(first / frame_hz), tuple(laid))


def common_frame_hz(rates_hz: Sequence[float]) -> Fraction:
    """Return the highest rate of frames that hold a whole number of samples of every channel.

    Raises
    ------
    ArgumentError
        If a frame would have to hold more than `MOST_SAMPLES_A_FRAME` samples of a channel.
    """
    rates = [rational(rate) for rate in rates_hz]
    numerator = math.gcd(*(rate.numerator for rate in rates))
    frame_hz = Fraction(numerator, math.lcm(*(rate.denominator for rate in rates)))
    # exact for fractions in lowest terms: gcd(a/b, c/d) = gcd(a, c) / lcm(b, d)
    if max(rates) / frame_hz > MOST_SAMPLES_A_FRAME:
        told = ", ".join(f"{rate:g}" for rate in rates_hz)
        raise ArgumentError(
            f"the rates {told} Hz have no common frame of at most {MOST_SAMPLES_A_FRAME} samples; "
            "write the channels to files of their own, or resample one."
        )
    return frame_hz


def rational(rate_hz: float) -> Fraction:
    """Return a rate as the fraction that its decimal text stands for."""
    return Fraction(repr(float(rate_hz)))


def _laid(
    role: str, label: str, channel: Channel, frame_hz: Fraction, first: int, frames: int
) -> Laid:
    per_frame = int(rational(channel.rate_hz) / frame_hz)
    values = np.full(frames * per_frame, math.nan)
    recorded = np.zeros(len(values), dtype=np.bool_)
    for segment in channel.segments:
        begin = segment.first_tick - first * per_frame
        values[begin : begin + len(segment)] = segment.values
        recorded[begin : begin + len(segment)] = True
    return Laid(role, label, channel, per_frame, values, recorded)
