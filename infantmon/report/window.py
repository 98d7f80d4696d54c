"""Which stretch of the recording a strip shows, and where each moment stands on the paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from infantmon.model.arrays import Floats
from infantmon.report.scale import Scale, Tick, nice_step
from infantmon.report.words import time_text

LEAD_S = 10.0
"""Time shown before the onset."""
LEAD_MOST_S = 20.0
"""Time shown before the onset where a linked event begins earlier."""
TAIL_S = 10.0
"""Time shown after the end."""
LONGEST_S = 60.0
"""A longer window is shown as a first and a last part."""
LEAST_LEFT_OUT_S = 15.0
"""For less than this no break is made."""
FIRST_S, LAST_S = 25.0, 15.0
"""Of a long event: how much of its beginning and of its end is shown."""
BREAK_WIDTH = 26.0
"""Room for the break between the parts, in drawing units."""


class Stretch(Protocol):
    """What a window is made for: an event that was found, or one that was recorded."""

    @property
    def onset_s(self) -> float:
        """Where it begins, in seconds of the recording."""

    @property
    def end_s(self) -> float | None:
        """Where it ends; None where it is open."""


@dataclass(frozen=True)
class Part:
    """One unbroken stretch of a window.

    Attributes
    ----------
    start_s, end_s : float
        The stretch, in seconds of the recording.
    left, right : float
        Where it stands, in drawing units.
    """

    start_s: float
    end_s: float
    left: float
    right: float

    @property
    def scale(self) -> Scale:
        """From seconds to drawing units."""
        return Scale(self.start_s, self.end_s, self.left, self.right)

    @property
    def width(self) -> float:
        """Width in drawing units."""
        return self.right - self.left

    def x(self, times_s: Floats) -> Floats:
        """Return where times stand, in drawing units."""
        return self.scale.places(times_s)

    def holds(self, time_s: float) -> bool:
        """Tell whether a moment is shown in this part."""
        return self.start_s <= time_s <= self.end_s

    def overlap(self, start_s: float, end_s: float) -> tuple[float, float] | None:
        """Return left and right end of what a stretch of time takes up here, if anything."""
        if end_s < self.start_s or start_s > self.end_s:
            return None
        low, high = self.x(np.array([start_s, end_s]))
        return float(low), float(high)


@dataclass(frozen=True)
class Window:
    """The stretch that a strip shows: one part, or two with a break between them."""

    parts: tuple[Part, ...]

    @property
    def start_s(self) -> float:
        """Where it begins, in seconds."""
        return self.parts[0].start_s

    @property
    def end_s(self) -> float:
        """Where it ends, in seconds."""
        return self.parts[-1].end_s

    @property
    def left_out_s(self) -> float:
        """How many seconds the break leaves out."""
        return self.parts[1].start_s - self.parts[0].end_s if len(self.parts) > 1 else 0.0

    def x(self, time_s: float) -> float | None:
        """Return where a moment stands, or None where it is not shown."""
        for part in self.parts:
            if part.holds(time_s):
                return part.scale.place(time_s)
        return None

    def ticks(self) -> tuple[Tick, ...]:
        """Return round times of the recording, as hours:minutes:seconds, and their places."""
        shown_s = sum(part.end_s - part.start_s for part in self.parts)
        step = max(nice_step(shown_s / 13), 1.0)
        ticks: list[Tick] = []
        for part in self.parts:
            first, last = np.ceil(part.start_s / step), np.floor(part.end_s / step)
            seconds: list[float] = (np.arange(first, last + 1) * step).tolist()
            ticks += [
                Tick(part.scale.place(second), time_text(second, tenths=False))
                for second in seconds
            ]
        return tuple(ticks)


def window_of(
    event: Stretch, linked: Sequence[Stretch], recorded_s: float, *, left: float, right: float
) -> Window:
    """Return the window for an event.

    Parameters
    ----------
    event : Stretch
        The event to show.
    linked : sequence of Stretch
        Events it goes together with; one that begins earlier widens the window.
    recorded_s : float
        Length of the recording, in seconds; an open event is shown up to here.
    left, right : float
        Ends of the paper, in drawing units.
    """
    end_s = recorded_s if event.end_s is None else event.end_s
    earliest_s = min([event.onset_s, *(other.onset_s for other in linked)])
    lead_s = min(max(LEAD_S, event.onset_s - earliest_s + LEAD_S / 2), LEAD_MOST_S)
    first_s = max(event.onset_s - lead_s, 0.0)
    last_s = max(min(end_s + TAIL_S, recorded_s), first_s + 1.0)
    left_out_s = end_s - LAST_S - (event.onset_s + FIRST_S)
    if last_s - first_s <= LONGEST_S or left_out_s < LEAST_LEFT_OUT_S:
        return Window((Part(first_s, last_s, left, right),))
    return _in_two(first_s, event.onset_s + FIRST_S, end_s - LAST_S, last_s, (left, right))


def _in_two(
    first_s: float, break_s: float, again_s: float, last_s: float, ends: tuple[float, float]
) -> Window:
    left, right = ends
    before_s, after_s = break_s - first_s, last_s - again_s
    room = right - left - BREAK_WIDTH
    middle = left + room * before_s / (before_s + after_s)
    return Window(
        (
            Part(first_s, break_s, left, middle),
            Part(again_s, last_s, middle + BREAK_WIDTH, right),
        )
    )
