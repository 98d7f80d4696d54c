"""What a monitor shows: rates, times since the last breath and beat, conditions, lost channels."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from infantmon.events.batch import Batch
from infantmon.model.carried import Carried
from infantmon.model.spans import Reason
from infantmon.model.usability import blocking_marks

SHOWN_AVERAGE = 8
"""Rates in `MonitorState` are means over this many intervals (project's choice, for display)."""


@dataclass(frozen=True, slots=True)
class MonitorState:
    """What a monitor knows at the time that every channel has reached.

    Attributes
    ----------
    reached_s : float
        That time, in seconds; minus infinity before the first samples.
    heart_rate_bpm, breathing_rate_bpm : float or None
        60 / mean of the last 8 intervals, a minute, across unusable time too: for display alone.
        None before two beats or breaths.
    since_breath_s, since_beat_s : float or None
        Time since the last breath and heart beat that are known, in seconds. They lag by the
        latency of the stages.
    conditions : mapping of str to str
        State of every alarm condition that is watched: it has a limit, and its channel is there.
    unusable : mapping of str to str
        Channels that cannot be used now, with the reason in words.
    behind_s : mapping of str to float
        How far each channel is behind the one furthest ahead, in seconds.
    """

    reached_s: float
    heart_rate_bpm: float | None
    breathing_rate_bpm: float | None
    since_breath_s: float | None
    since_beat_s: float | None
    conditions: Mapping[str, str]
    unusable: Mapping[str, str]
    behind_s: Mapping[str, float]


class Shown(Carried):
    """The little that `MonitorState` shows: the latest beats and breaths, and what is unusable."""

    carried: ClassVar[tuple[str, ...]] = ("beats_s", "breaths_s", "unusable")

    def __init__(self) -> None:
        self.beats_s: list[float] = []
        self.breaths_s: list[float] = []
        self.unusable: dict[str, str] = {}

    def state(
        self,
        reached_s: float,
        channel_reached_s: Mapping[str, float],
        conditions: Mapping[str, str],
    ) -> MonitorState:
        """Return what is known at the time that every channel has reached, in seconds."""
        furthest_s = max(channel_reached_s.values())
        return MonitorState(
            reached_s=reached_s,
            heart_rate_bpm=_rate(self.beats_s),
            breathing_rate_bpm=_rate(self.breaths_s),
            since_breath_s=_since(self.breaths_s, reached_s),
            since_beat_s=_since(self.beats_s, reached_s),
            conditions=dict(conditions),
            unusable=dict(self.unusable),
            behind_s={
                role: furthest_s - time_s if time_s > -math.inf else furthest_s
                for role, time_s in channel_reached_s.items()
            },
        )

    def take(self, batch: Batch) -> None:
        """Take up the findings of a batch."""
        keep = -(SHOWN_AVERAGE + 1)
        beats, breaths = batch.r_peaks.time_s[keep:], batch.breaths.time_s[keep:]
        self.beats_s = [*self.beats_s, *beats.tolist()][keep:]
        self.breaths_s = [*self.breaths_s, *breaths.tolist()][keep:]
        for role, contact in batch.contact.items():
            for mark in blocking_marks(contact)[-1:]:
                self.unusable.pop(role, None)
                if mark.opens:
                    self.unusable[role] = Reason(mark.reason).words


def _rate(times_s: list[float]) -> float | None:
    if len(times_s) < 2 or times_s[-1] <= times_s[0]:
        return None
    return 60.0 * (len(times_s) - 1) / (times_s[-1] - times_s[0])


def _since(times_s: list[float], now_s: float) -> float | None:
    return now_s - times_s[-1] if times_s else None
