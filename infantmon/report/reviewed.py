"""What the report needs to know of a review: attributes to read, nothing to compute with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

from infantmon.model.event import Change, Event
from infantmon.model.signal import Signal
from infantmon.model.spans import Spans
from infantmon.recorded.decisions import Decisions
from infantmon.recorded.judging import JudgedList
from infantmon.recorded.reviewed import Reviewed as ReviewedSignals


class Reviewed(ReviewedSignals, Protocol):
    """A recording judged against a prescription, ready to be shown."""

    @property
    def changes(self) -> Sequence[Change]:
        """All changes of alarm conditions, in the order of being known."""

    @property
    def contact(self) -> Mapping[str, Spans]:
        """Stretches by role that could not be used, or only with care."""

    @property
    def usable_s(self) -> Mapping[str, float]:
        """Usable time by role, in seconds."""

    @property
    def recorded_s(self) -> float:
        """Length of the recording, in seconds."""

    @property
    def latencies_s(self) -> Mapping[str, float]:
        """Stated worst-case delay by kind of event, in seconds."""

    @property
    def missing_roles(self) -> tuple[str, ...]:
        """Roles for which no channel was recorded."""

    @property
    def recorded(self) -> JudgedList | None:
        """Events that another device recorded, judged; None where no list was given."""

    @property
    def decisions(self) -> Decisions:
        """What readers decided, beside the judgement."""

    @property
    def version(self) -> str:
        """Version of the library that made the review."""


def cleaned_impedance(reviewed: Reviewed) -> Signal | None:
    """Return the impedance after the heart's pulsation was taken out, where the review kept it.

    A review may offer it as the attribute ``cleaned``; without it the page leaves that row out.
    """
    cleaned = getattr(reviewed, "cleaned", None)
    return cleaned if isinstance(cleaned, Signal) else None


def linked_events(event: Event, reviewed: Reviewed) -> list[Event]:
    """Return the events that an event names as going together with it, or that name it."""
    return [
        other
        for other in reviewed.events
        if other.number != event.number
        and (other.number in event.linked or event.number in other.linked)
    ]
