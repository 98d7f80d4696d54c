"""What is measured of an event: its effort-free part, its extreme rate, what was unusable in it.

In comes a `Case`: the event, and all findings known by the time it is looked at. None of these
measures is compared with a limit; they stand beside the event, for who reads it.
"""

from __future__ import annotations

import dataclasses

import numpy as np

from infantmon.events.case import BEFORE_S, HAIR_S, Case
from infantmon.model.event import Event, UnusableStretch
from infantmon.model.interval_average import IntervalAverage
from infantmon.model.spans import BLOCKING, Reason


def unusable_inside(case: Case) -> tuple[UnusableStretch, ...]:
    """Return the stretches of the event's channel that could not be used, inside the event."""
    role = "impedance" if case.event.kind in ("apnea", "periodic breathing") else "ecg"
    spans = case.history.spans(role, case.known_s, BLOCKING)
    inside = (spans.end_s > case.event.onset_s) & (spans.start_s < case.until_s)
    return tuple(
        UnusableStretch(
            float(spans.start_s[row]), float(spans.end_s[row]), Reason(int(spans.reason[row])).words
        )
        for row in np.flatnonzero(inside)
    )


def effort_free_s(case: Case) -> float | None:
    """Return the part of a pause without effort, from the last breath's end to the next's start."""
    event = case.event
    if event.end_s is None:
        return None
    around = case.history.breaths(event.onset_s - HAIR_S, event.end_s + HAIR_S, case.known_s)
    return around.effort_free_s(0, -1) if len(around) > 1 else None


def with_extreme_rate(
    event: Event, case: Case, averaging: tuple[int | None, float | None]
) -> Event:
    """Return a heart-rate event with the extreme rate inside it."""
    spans = case.history.spans("ecg", case.known_s, BLOCKING)
    beats = case.history.beats(event.onset_s - 2 * BEFORE_S, case.until_s + HAIR_S, case.known_s)
    time_s = beats.time_s[~spans.inside(beats.time_s)]
    mean_s = IntervalAverage(*averaging).push(time_s, spans.end_s)[time_s >= event.onset_s]
    mean_s = mean_s[np.isfinite(mean_s)]
    if event.kind == "high heart rate":
        highest = 60.0 / float(mean_s.min()) if len(mean_s) else None
        return dataclasses.replace(event, highest_bpm=highest)
    # between beats the open interval counts, as in the rule, but not over an unusable stretch
    ends_s = np.append(time_s[1:], case.until_s)[: len(time_s)]
    counts = (ends_s > event.onset_s) & ~spans.touch(time_s, ends_s)
    slowest_s = max(*mean_s.tolist(), *(ends_s - time_s)[counts].tolist(), 0.0, 0.0)
    return dataclasses.replace(event, lowest_bpm=60.0 / slowest_s if slowest_s > 0 else None)
