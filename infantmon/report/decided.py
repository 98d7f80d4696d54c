"""What readers decided, in the words of the page: beside the library's judgement, never over it."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import datetime
from typing import Any

from infantmon.model.event import Event
from infantmon.recorded.decisions import DECISIONS, FORMAT, Decision, Decisions, key_of
from infantmon.recorded.event import RecordedEvent
from infantmon.report.words import time_text


def decision_text(made: Decision) -> str:
    """Return a decision in a line: what, by whom, when, and the note.

    Parameters
    ----------
    made : Decision
        One reader's decision.

    Examples
    --------
    >>> decision_text(Decision("apnea", 480.0, 503.0, "", "real", "reader A", "steady before"))
    'real, by reader A; note: steady before'
    """
    text = f"{made.decision}, by {made.by}"
    text += f" on {_date_text(made.decided_at_utc)}" if made.decided_at_utc else ""
    return f"{text}; note: {made.note}" if made.note else text


def decided_texts(decisions: Decisions, event: Event | RecordedEvent) -> list[str]:
    """Return all decisions of an event in words, and that readers differ where they do."""
    made = decisions.of(event)
    texts = [decision_text(one) for one in made]
    differ = len({one.decision for one in made}) > 1
    return [*texts, "the decisions differ; none is put over another"] if differ else texts


def decided_briefly(decisions: Decisions, event: Event | RecordedEvent) -> list[str]:
    """Return all decisions of an event, each in a few words."""
    return [f"{one.decision} ({one.by})" for one in decisions.of(event)]


def key_text(event: Event | RecordedEvent) -> str:
    """Return what tells an event from others as JSON, as it stands in a file of decisions."""
    recording, kind, onset_s, end_s = key_of(event)
    told = {"kind": kind, "onset_s": onset_s, "end_s": end_s, "recording": recording}
    return json.dumps(told, allow_nan=False)


def conflict_texts(decisions: Decisions) -> tuple[str, ...]:
    """Return in words each event of which decisions differ, with all of them."""
    return tuple(
        f"{_event_text(some[0])}: {'; '.join(f'{one.by}: {one.decision}' for one in some)}"
        for some in decisions.conflicts
    )


def about_other_events(
    decisions: Decisions, events: Iterable[Event | RecordedEvent]
) -> tuple[str, ...]:
    """Return in words the decisions that are about none of some events: they are told, not lost."""
    known = {key_of(event) for event in events}
    return tuple(
        f"{_event_text(made)}: {decision_text(made)}" for made in decisions if made.key not in known
    )


def decision_parts(decisions: Decisions, events: Iterable[Event | RecordedEvent]) -> dict[str, Any]:
    """Return what the pages' templates need of readers' decisions.

    Parameters
    ----------
    decisions : Decisions
        As they are to be shown.
    events : iterable of Event or RecordedEvent
        Those on the page.
    """
    return {
        "decisions": decisions,
        "conflicts": conflict_texts(decisions),
        "other_decisions": about_other_events(decisions, events),
        "decision_words": DECISIONS,
        "decisions_format": FORMAT,
    }


def _date_text(decided_at_utc: str) -> str:
    return f"{datetime.fromisoformat(decided_at_utc):%Y-%m-%d %H:%M} UTC"


def _event_text(made: Decision) -> str:
    where = f"excerpt {made.recording}, " if made.recording else ""
    when = "a time not given" if made.onset_s is None else time_text(made.onset_s)
    return f"{where}{made.kind} at {when}"
