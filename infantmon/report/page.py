"""The review page: one HTML file that needs nothing from elsewhere and prints to A4."""

from __future__ import annotations

import os
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from infantmon.formats.files import write_whole
from infantmon.model.counting import counted
from infantmon.model.event import NOT_ASSESSABLE, Event
from infantmon.model.prescription import KINDS, Prescription
from infantmon.model.recording import ROLE_WORDS
from infantmon.model.spans import BRIDGED_S
from infantmon.recorded.event import RecordedEvent
from infantmon.recorded.judging import JudgedList
from infantmon.report.alarm import AlarmTimes, alarm_times
from infantmon.report.cautions import BLIND_SPOT, CAUTIONS, NOTICE
from infantmon.report.days import LEAST_HOURS, days_of, event_free_text
from infantmon.report.decided import decision_parts
from infantmon.report.extremes import extremes_of
from infantmon.report.identity import NAMELESS
from infantmon.report.published import published_for
from infantmon.report.recorded_strips import recorded_parts, rows_by_number, rows_of, strips_of_rows
from infantmon.report.rendering import templates_for
from infantmon.report.reviewed import Reviewed
from infantmon.report.strip import Strip, column_for, strip_of
from infantmon.report.summary import (
    JUDGEMENTS,
    channel_summaries,
    kind_summaries,
    limit_rows,
    weight_of,
)
from infantmon.report.timeline import timelines_of
from infantmon.report.what_if import Tried, what_if_of
from infantmon.report.window import LEAD_MOST_S, LEAD_S, TAIL_S
from infantmon.report.words import hours_text, share_text

SIDES = (
    ("for", "speaks for it"),
    ("against", "speaks against it"),
    (NOT_ASSESSABLE, "cannot be assessed"),
    ("beside", "told beside it"),
)
"""The sides of evidence, and the words that stand over them."""


NEEDED = ("ecg", "impedance")
"""Channels without which some kinds cannot be looked for; a second lead is welcome, not needed."""

LEFT_OUT = "Who set the limits is not shown here."

MOST_STRIPS = 500
"""With more strips than this a found event that backs a recorded one is drawn only with that."""


@dataclass(frozen=True)
class EventStrip:
    """An event that was found, its alarm, and its strip: None where a recorded event's shows it."""

    event: Event
    alarm: AlarmTimes
    strip: Strip | None


def write_review_page(
    reviewed: Reviewed,
    path: str | os.PathLike[str],
    *,
    title: str | None = None,
    least_hours: float = LEAST_HOURS,
    what_if: Tried = (),
) -> None:
    """Write a review as one HTML file.

    The file holds everything it shows: it asks nothing of the network, opens from a disk, works
    without JavaScript (which sorts, filters, orders, and takes decisions), and prints to A4.

    Parameters
    ----------
    reviewed : Reviewed
        What to show.
    path : str or path-like
        Where to write; written whole or not at all.
    title : str, optional
        The page's title; by default it names the recording.
    least_hours : float
        Usable hours that a day needs before it is called free of events; shown on the page.
    what_if : sequence of (Prescription, sequence of Event)
        Other limits and the events they give, for the what-if table; none leaves it out.

    Raises
    ------
    ArgumentError
        If `least_hours` is not between 0 and 24 h.
    ArgumentError
        If the folder does not exist, or nothing can be written to it.
    """
    text = review_page(reviewed, title=title, least_hours=least_hours, what_if=what_if)
    write_whole(path, text)


def review_page(
    reviewed: Reviewed,
    *,
    title: str | None = None,
    least_hours: float = LEAST_HOURS,
    what_if: Tried = (),
) -> str:
    """Return the text of the review page; see `write_review_page`.

    Parameters
    ----------
    reviewed : Reviewed
        A review, as it is to be shown.
    title, least_hours, what_if
        As in `write_review_page`.
    """
    events = list(reviewed.events)
    ordered = sorted(events, key=lambda event: weight_of(event, reviewed))
    days = days_of(reviewed, least_hours)
    listed = reviewed.recorded
    judged = listed or JudgedList(())
    rows = rows_of(judged)
    backed = rows_by_number(judged)
    count = len(events) + len(rows)
    column = column_for(count)
    elsewhere = backed.keys() if count > MOST_STRIPS else ()
    known: list[Event | RecordedEvent] = [*events, *(one.recorded for one in judged.judged)]
    return (
        templates_for(reviewed)
        .get_template("page.html")
        .render(
            reviewed=reviewed,
            title=title or _title(reviewed),
            facts=_facts(reviewed),
            cautions=CAUTIONS,
            notice=NOTICE,
            judgements=JUDGEMENTS,
            kinds=kind_summaries(reviewed),
            channels=channel_summaries(reviewed),
            missing=[ROLE_WORDS[role] for role in NEEDED if role in reviewed.missing_roles],
            limits=limit_rows(reviewed.plan, reviewed.latencies_s),
            who_set=LEFT_OUT if is_nameless(reviewed) else who_set_text(reviewed.plan),
            extremes=extremes_of(reviewed),
            published=published_for(
                tuple(kind for kind in KINDS if kind not in reviewed.plan.not_watched)
            ),
            days=days,
            event_free=event_free_text(days),
            blind_spot=BLIND_SPOT[0].upper() + BLIND_SPOT[1:],
            what_if=what_if_of(reviewed.plan, events, what_if),
            timelines=timelines_of(reviewed),
            events=events,
            events_drawn=bool(events),
            version=reviewed.version,
            started_at=reviewed.recording.started_at,
            strips=_strips(reviewed, ordered, column, elsewhere),
            listed=listed,
            rows_by_number=backed,
            beside=[("", event) for event in judged.beside],
            recorded_strips=strips_of_rows(reviewed, rows, column),
            **recorded_parts(judged, rows),
            **decision_parts(reviewed.decisions, known),
            sides=SIDES,
            bridged_s=BRIDGED_S,
            lead_s=LEAD_S,
            lead_most_s=LEAD_MOST_S,
            tail_s=TAIL_S,
        )
    )


def _strips(
    reviewed: Reviewed, ordered: Sequence[Event], column: float, elsewhere: Collection[int]
) -> Iterator[EventStrip] | tuple[()]:
    """Return the strips one by one, or nothing; `elsewhere` are numbers of events drawn before."""
    if not ordered:
        return ()
    alarms = alarm_times(reviewed.changes)

    def shown(event: Event) -> EventStrip:
        alarm = alarms.get(event.number) or AlarmTimes(event.known_s)
        if event.number in elsewhere:
            return EventStrip(event, alarm, None)
        return EventStrip(event, alarm, strip_of(reviewed, event, alarm=alarm, column=column))

    return (shown(event) for event in ordered)


def is_nameless(reviewed: Reviewed) -> bool:
    """Tell whether the review is shown without whose it is.

    Parameters
    ----------
    reviewed : Reviewed
        A review, as it is to be shown.
    """
    recording = reviewed.recording
    named = recording.name != NAMELESS or recording.started_at is not None
    return not named and reviewed.plan.prescriber is None


def _title(reviewed: Reviewed) -> str:
    name = reviewed.recording.name
    return "Review of a recording" if name == NAMELESS else f"Review of {name}"


def _facts(reviewed: Reviewed) -> list[str]:
    """Say in a line what, when and how long, as far as it is given."""
    recording, infant = reviewed.recording, reviewed.plan.infant
    facts = [f"{hours_text(reviewed.recorded_s)} recorded"]
    if recording.started_at is not None:
        facts.append(f"from {recording.started_at:%Y-%m-%d %H:%M:%S}")
    if infant is not None:
        facts += [infant.label] if infant.label else []
        facts += [f"born on {infant.born_on}"] if infant.born_on else []
        weeks = infant.postmenstrual_age_weeks
        facts += [f"{weeks:g} weeks postmenstrual age"] if weeks is not None else []
    facts += _usable_texts(reviewed)
    facts.append(counted(len(reviewed.events), "event"))
    if is_nameless(reviewed):
        facts.append("shown without names and dates")
    return facts


def _usable_texts(reviewed: Reviewed) -> list[str]:
    """Say how much of each channel could be used: a count of events means little without."""
    return [
        f"no {ROLE_WORDS[role]} recorded"
        if role in reviewed.missing_roles
        else f"{share_text(reviewed.usable_s[role], reviewed.recorded_s)} of the {words} usable"
        for role, words in ROLE_WORDS.items()
        if role in (*reviewed.usable_s, *reviewed.missing_roles)
    ]


def who_set_text(plan: Prescription) -> str:
    """Say who set the limits, as far as it is given.

    Parameters
    ----------
    plan : Prescription
        The limits in force.
    """
    prescriber = plan.prescriber
    if prescriber is None or not (prescriber.name or prescriber.prescribed_on or prescriber.note):
        return "Who set the limits is not given."
    text = f"Limits set by {prescriber.name or 'a prescriber whose name is not given'}"
    if prescriber.prescribed_on:
        text += f" on {prescriber.prescribed_on}"
    return f"{text}. Note: {prescriber.note}." if prescriber.note else f"{text}."
