"""Samples as frames, one JSON object a line, into a monitor; and a recording out as frames.

For replay and bench use only, not on an infant.

A frame is a JSON object with the time of its first sample and the samples of one or more channels::

    {"time_s": 12.0, "ecg": [0.01, 0.02], "impedance": [512.3, null]}

`time_s` counts seconds from the start of the stream. Samples that were not recorded are null. What
is missing between two frames is a gap; what a frame says again is left out, told and counted. A
frame that begins within 1.5 samples of the end of what has come goes on there: a source that rounds
its times loses nothing. A line that is no such frame is told, counted and skipped.
"""

from __future__ import annotations

import json
import math
import time
from collections.abc import Callable, Iterator, Mapping
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from infantmon.errors import (
    ArgumentError,
    InfantmonError,
    require_between,
    require_kind,
    require_mapping,
    require_number,
    require_rate,
)
from infantmon.model.arrays import Floats, as_samples
from infantmon.model.event import Change
from infantmon.model.recording import ROLES, Recording

LONGEST_LINE = 1 << 20
"""Bytes of the longest line that is read as a frame; of a longer one nothing is kept."""
LONGEST_GAP_S = 3600.0
"""A frame that lies further ahead than this, in seconds, is skipped: its time may be wrong. It is
right if another one goes on from it, within `SILENT_S`."""
LONGEST_SILENCE_S = 604800.0
"""But no silence lasts longer than a week (in seconds)."""
SILENT_S = 60.0
"""A channel this far behind the others, in seconds, has fallen silent: that is told as a gap."""
SLACK = 1.5
"""A frame that begins so many samples off the end of what has come goes on there: a source may
round the number of its samples up or down (1), and its times to the nearest (0.5)."""
_HOLE_STEP_S = 30.0


class Pushed(Protocol):
    """What frames are given to: a monitor, or a recorder on disk."""

    @property
    def arrived(self) -> dict[str, int]:
        """How many samples of each channel have been taken."""

    def push(
        self,
        *,
        ecg: npt.ArrayLike | None = None,
        impedance: npt.ArrayLike | None = None,
        ecg2: npt.ArrayLike | None = None,
    ) -> list[Change]:
        """Take samples."""

    def gap(self, channel: str, *, until_s: float) -> list[Change]:
        """Take a hole."""


class Lines(Protocol):
    """What lines are read from: a pipe, a file."""

    def readline(self, most: int, /) -> bytes:
        """Return the next line with its end, or its first `most` bytes; nothing at the end."""


class FrameReader:
    """Gives frames to a monitor, and tells lines that are none.

    Parameters
    ----------
    monitor : Monitor or DiskRecorder
        What takes the samples.
    rates_hz : mapping of str to float
        Sampling rate of each channel, in Hz.
    tell : callable or None
        Called with the number of each line or push (from 1) that was skipped, or of which samples
        were left out, and why.

    Attributes
    ----------
    lines, frames, skipped : int
        Lines and pushes so far; those that were frames, and those that were none.
    missing_s : dict of str to float
        Seconds of each channel that were told as gaps.
    repeated_s : dict of str to float
        Seconds of each channel that were left out, because they had come already.

    Raises
    ------
    ArgumentError
        If the rates are no rates by channel, or there is no monitor.

    Notes
    -----
    Memory is bounded by the longest line and by what one channel may be ahead of another.
    """

    def __init__(
        self,
        monitor: Pushed,
        rates_hz: Mapping[str, float],
        tell: Callable[[int, str], None] | None = None,
    ) -> None:
        if not callable(getattr(monitor, "push", None)):
            raise ArgumentError(
                f"monitor is a {type(monitor).__name__}; pass a Monitor or a DiskRecorder."
            )
        self._monitor = monitor
        called = "rates in Hz by channel, such as monitor.rates_hz"
        told = require_mapping(rates_hz, name="rates_hz", called=called)
        self._rates = {role: require_rate(rate, name=f"{role}_hz") for role, rate in told.items()}
        self._tell = tell
        self.lines = 0
        self.frames = 0
        self.skipped = 0
        self.missing_s = dict.fromkeys(self._rates, 0.0)
        self.repeated_s = dict.fromkeys(self._rates, 0.0)
        self._far_s = math.inf  # time of the latest frame, if it was skipped as too far ahead

    def take(self, line: bytes) -> list[Change]:
        """Take one line; return the changes that are known with it.

        Parameters
        ----------
        line : bytes
            With or without its end. An empty one is passed over.

        Returns
        -------
        list of Change
        """
        require_kind(line, bytes, name="line", called="bytes")
        self.lines += 1
        if not line.strip():
            return []
        try:
            start_s, samples = self._parsed(line)
        except _FrameError as fault:
            return self._skip(fault)
        return self._take(start_s, samples)

    def push(
        self,
        time_s: float,
        *,
        ecg: npt.ArrayLike | None = None,
        impedance: npt.ArrayLike | None = None,
        ecg2: npt.ArrayLike | None = None,
    ) -> list[Change]:
        """Take the samples of a frame that came otherwise than as a line; return the changes.

        Parameters
        ----------
        time_s : float
            Time of the first sample, in seconds from the start of the stream.
        ecg, impedance, ecg2 : array_like, shape (n,), optional
            Samples of each channel, NaN where one was not recorded.

        Returns
        -------
        list of Change

        Raises
        ------
        ArgumentError
            If the time is no finite number, a channel was not announced, or its samples are not
            one row of real numbers. What lies too far ahead or brings nothing new does not raise:
            it is told, counted and skipped, as in a line.
        """
        start_s = require_number(time_s, name="time_s", unit="s")
        given = {"ecg": ecg, "impedance": impedance, "ecg2": ecg2}
        samples = {r: as_samples(v, name=r) for r, v in given.items() if v is not None}
        if unknown := [role for role in samples if role not in self._rates]:
            raise ArgumentError(
                f"channels {unknown}; {', '.join(self._rates)} are expected: give the rate of "
                "others from the start to use them."
            )
        self.lines += 1
        return self._take(start_s, samples)

    def _take(self, start_s: float, samples: Mapping[str, Floats]) -> list[Change]:
        try:
            ticks = self._ticks(start_s, samples)
            news = self._news(samples, ticks)
        except _FrameError as fault:
            return self._skip(fault)
        self.frames += 1
        return self._given(news, ticks)

    def _skip(self, fault: _FrameError) -> list[Change]:
        self.skipped += 1
        self._say(f"skipped: {fault}")
        return []

    def changes(self, stream: Lines) -> Iterator[Change]:
        """Read a stream to its end, line by line, and yield the changes.

        Parameters
        ----------
        stream : binary file
            A pipe, a file. A line longer than `LONGEST_LINE` is skipped without being held.

        Yields
        ------
        Change
        """
        while line := stream.readline(LONGEST_LINE):
            if len(line) == LONGEST_LINE and not line.endswith(b"\n"):
                while (rest := stream.readline(LONGEST_LINE)) and not rest.endswith(b"\n"):
                    pass
            yield from self.take(line)

    def _parsed(self, line: bytes) -> tuple[float, dict[str, Floats]]:
        if len(line) >= LONGEST_LINE:
            raise _FrameError(f"longer than {LONGEST_LINE} bytes")
        try:
            frame = json.loads(line)
        except (ValueError, RecursionError) as fault:
            raise _FrameError(f"not JSON ({str(fault)[:80]})") from fault
        if not isinstance(frame, dict) or "time_s" not in frame:
            raise _FrameError('not an object with "time_s"')
        start_s = frame.pop("time_s")
        if not _is_number(start_s) or not -1e9 < start_s < 1e9:
            raise _FrameError("time_s is not a number of seconds")
        unknown = [str(role)[:20] for role in frame if role not in self._rates]
        if unknown or not frame:
            raise _FrameError(f"channels {unknown}; {', '.join(self._rates)} are expected")
        return float(start_s), {role: _samples(role, values) for role, values in frame.items()}

    def _ticks(self, start_s: float, samples: Mapping[str, Floats]) -> dict[str, int]:
        """Return where each channel's samples begin, or say why they cannot begin there."""
        far_s, self._far_s = self._far_s, math.inf
        most_s = LONGEST_SILENCE_S if 0.0 < start_s - far_s <= SILENT_S else LONGEST_GAP_S
        arrived = self._monitor.arrived
        ticks = {}
        for role in samples:
            exact = start_s * self._rates[role]
            ahead = exact - arrived[role]
            ahead_s = ahead / self._rates[role]
            if ahead_s > most_s:
                self._far_s = start_s
                raise _FrameError(f"{role} begins {ahead_s:g} s ahead; {most_s:g} s at most")
            ticks[role] = arrived[role] if abs(ahead) <= SLACK + 1e-6 else round(exact)
        return ticks

    def _news(self, samples: Mapping[str, Floats], ticks: dict[str, int]) -> dict[str, Floats]:
        """Return what has not come yet, and let `ticks` be where that begins.

        Raises
        ------
        _FrameError
            If nothing of it is new.
        """
        arrived = self._monitor.arrived
        early = {r: arrived[r] - tick for r, tick in ticks.items() if tick < arrived[r]}
        news = {role: values[early.get(role, 0) :] for role, values in samples.items()}
        if not early:
            return news
        said = "; ".join(self._early_text(role, count) for role, count in early.items())
        if not any(len(values) for values in news.values()):
            raise _FrameError(said)
        for role, count in early.items():
            ticks[role] = arrived[role]
            self.repeated_s[role] += min(count, len(samples[role])) / self._rates[role]
        self._say(f"left out in part: {said}")
        return news

    def _early_text(self, role: str, count: int) -> str:
        rate = self._rates[role]
        return (
            f"{role} begins {count / rate:g} s before the end of what has come; "
            f"check time_s and the rate, {rate:g} Hz"
        )

    def _say(self, what: str) -> None:
        if self._tell is not None:
            self._tell(self.lines, what)

    def _given(self, samples: Mapping[str, Floats], ticks: Mapping[str, int]) -> list[Change]:
        changes: list[Change] = []
        for role, tick in ticks.items():
            changes += self._hole(role, tick / self._rates[role])
        for role, values in samples.items():
            step = max(1, round(_HOLE_STEP_S * self._rates[role]))
            for first in range(0, len(values), step):
                part = values[first : first + step]
                changes += self._silence((ticks[role] + first + len(part)) / self._rates[role])
                changes += self._monitor.push(**{role: part})
        return sorted(changes, key=lambda change: (change.known_s, change.kind))

    def _hole(self, role: str, until_s: float) -> list[Change]:
        """Tell a hole piece by piece, so that no other channel is left too far behind."""
        changes: list[Change] = []
        while (ended_s := self._ended_s(role)) < until_s - 0.5 / self._rates[role]:
            piece_s = min(until_s, ended_s + _HOLE_STEP_S)
            changes += self._silence(piece_s)
            changes += self._gap(role, piece_s)
        return changes

    def _silence(self, furthest_s: float) -> list[Change]:
        """Tell channels that have fallen silent, before another one moves on."""
        changes: list[Change] = []
        for role, rate in self._rates.items():
            until_s = furthest_s - SILENT_S
            if self._ended_s(role) < until_s - 0.5 / rate:
                changes += self._gap(role, until_s)
        return changes

    def _gap(self, role: str, until_s: float) -> list[Change]:
        self.missing_s[role] += until_s - self._ended_s(role)
        return self._monitor.gap(role, until_s=until_s)

    def _ended_s(self, role: str) -> float:
        return self._monitor.arrived[role] / self._rates[role]


def frames_of(
    recording: Recording, *, step_s: float = 1.0, pace: float | None = None
) -> Iterator[bytes]:
    """Yield a recording as frames: at once, at real pace (1), or N times as fast.

    Parameters
    ----------
    recording : Recording
        What to replay.
    step_s : float
        Length of a frame, in seconds.
    pace : float or None
        Seconds of the recording a second; None does not wait.

    Yields
    ------
    bytes
        One line. A frame comes when its last sample would have been recorded.

    Raises
    ------
    ArgumentError
        If the step or the pace cannot be used, or this is no recording.
    """
    require_kind(recording, Recording, name="recording", called="an infantmon.Recording")
    if pace is not None:
        pace = require_between(pace, 1e-3, 1e6, name="pace", unit="seconds a second")
    begun = time.monotonic()
    for start_s, samples in chunks_of(recording, step_s=step_s):
        if pace is not None:
            due = begun + (start_s + step_s) / pace
            time.sleep(max(0.0, due - time.monotonic()))
        for first_s, role, values in samples:
            told = [value if math.isfinite(value) else None for value in values.tolist()]
            yield json.dumps({"time_s": first_s, role: told}).encode() + b"\n"


def chunks_of(
    recording: Recording, *, step_s: float
) -> Iterator[tuple[float, list[tuple[float, str, Floats]]]]:
    """Yield a recording step by step: its time (s), and start (s), role and samples of each run.

    Parameters
    ----------
    recording : Recording
        What to cut.
    step_s : float
        Length of a step, in seconds, at least 0.01.

    Yields
    ------
    (float, list of (float, str, numpy.ndarray))

    Raises
    ------
    ArgumentError
        If the step cannot be used.
    """
    step_s = require_between(step_s, 0.01, 600.0, name="step_s", unit="s")
    count = math.ceil(recording.end_s / step_s)
    for place in range(count):
        runs: list[tuple[float, str, Floats]] = []
        for role in ROLES:
            channel = recording.channels.get(role)
            if channel is None:
                continue
            rate = channel.rate_hz
            low, high = round(place * step_s * rate), round((place + 1) * step_s * rate)
            for segment in channel.segments:
                first, after = max(low, segment.first_tick), min(high, segment.end_tick)
                if first < after:
                    runs.append((first / rate, role, segment.read(first, after)))
        yield place * step_s, runs


class _FrameError(InfantmonError):
    """A line that cannot be used, with the reason."""


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _samples(role: str, values: Any) -> Floats:
    if not isinstance(values, list):
        raise _FrameError(f"{role} is not a list of numbers")
    if not all(value is None or _is_number(value) for value in values):
        raise _FrameError(f"{role} holds something that is neither a number nor null")
    try:
        return np.array([math.nan if value is None else value for value in values], np.float64)
    except (OverflowError, ArgumentError) as fault:
        raise _FrameError(f"{role} holds a number that is too large") from fault
