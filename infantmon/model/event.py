"""Events, the changes of alarm conditions that make them, and what speaks for and against each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

from infantmon.model.carried import record

SUPPORTED, DOUBTFUL = "supported", "doubtful"
NOT_ASSESSABLE: Final = "not assessable"
"""Judgements of an event."""

ABSENT, PENDING, ACTIVE, LATCHED = "absent", "pending", "active", "latched"
"""States of an alarm condition. Latched: cleared by itself, its indicator still on."""

Side = Literal["for", "against", "not assessable", "beside"]
"""Where a piece of evidence stands; "beside" is told, but changes no judgement."""


@record
@dataclass(frozen=True, slots=True)
class Evidence:
    """One thing that speaks for an event, against it, or only stands beside it.

    Attributes
    ----------
    text : str
        In words, with value and unit.
    side : str
        "for", "against", "not assessable" or "beside" (told, but changes no judgement).
    """

    text: str
    side: Side

    def __str__(self) -> str:
        return f"{self.side}: {self.text}"


@record
@dataclass(frozen=True, slots=True)
class UnusableStretch:
    """A stretch inside or beside an event in which the signal could not be used."""

    start_s: float
    end_s: float
    reason: str


@record
@dataclass(frozen=True, slots=True)
class Event:
    """One excursion beyond a limit that went active.

    Attributes
    ----------
    number : int
        1 for the first event of the stream, and so on in the order of going active.
    kind : str
        See `infantmon.model.prescription.KINDS`.
    onset_s, known_s : float
        When it began, and when the condition went active, in seconds from the recording's start.
    end_s : float or None
        When it ended by itself; None while it is open.
    settled_s : float or None
        When end and judgement were final; None before.
    judgement : str
        "supported", "doubtful" or "not assessable"; provisional until settled.
    reasons : tuple of Evidence
        What speaks for and against it.
    limits : mapping
        The rule, its limit with unit, averaging and delay.
    linked : tuple of int
        Numbers of the events it goes together with (an apnea names its heart-rate event).
    effort_free_s : float or None
        Of an apnea: the part from edge to edge without effort; never compared with the limit.
    lowest_bpm, highest_bpm : float or None
        Of a heart-rate event: the extremes of the averaged rate, in beats a minute. The lowest
        counts the time without a beat, too, as the rule does: it is that of the longest interval
        in the event, where this is longer than any average.
    unusable : tuple of UnusableStretch
        Stretches inside it that could not be used.
    """

    number: int
    kind: str
    onset_s: float
    known_s: float
    end_s: float | None = None
    settled_s: float | None = None
    judgement: str = DOUBTFUL
    reasons: tuple[Evidence, ...] = ()
    limits: Mapping[str, float | int | str] = field(default_factory=dict)
    linked: tuple[int, ...] = ()
    effort_free_s: float | None = None
    lowest_bpm: float | None = None
    highest_bpm: float | None = None
    unusable: tuple[UnusableStretch, ...] = ()

    @property
    def assessable(self) -> bool:
        """False where the signals do not allow a judgement."""
        return self.judgement != NOT_ASSESSABLE

    @property
    def length_s(self) -> float | None:
        """From onset to end, in seconds; None while it is open."""
        return None if self.end_s is None else self.end_s - self.onset_s

    def __repr__(self) -> str:
        length = "still open" if self.length_s is None else f"{self.length_s:.1f} s"
        what = f"{self.kind} at {self.onset_s:.1f} s, {length}, {self.judgement}"
        return f"Event({self.number}: {what}, {len(self.reasons)} reasons)"


@record
@dataclass(frozen=True, slots=True)
class Excursion:
    """A limit was passed, but not for long enough to go active."""

    kind: str
    onset_s: float
    end_s: float
    known_s: float


@record
@dataclass(frozen=True, slots=True)
class Change:
    """A change of one alarm condition, or of what is known about its event.

    Attributes
    ----------
    known_s : float
        Stream time at which it happened, in seconds.
    kind : str
        Kind of the alarm condition.
    state : str
        "absent", "pending", "active" or "latched", from now on.
    cause : str
        Why, in words.
    event : Event or None
        The event as it stands now, once the condition has been active.
    excursion : Excursion or None
        Where a pending condition ended before it went active.
    """

    known_s: float
    kind: str
    state: str
    cause: str
    event: Event | None = None
    excursion: Excursion | None = None

    @property
    def onset_s(self) -> float | None:
        """When the excursion began, in seconds; None for a reset."""
        found = self.event or self.excursion
        return None if found is None else found.onset_s
