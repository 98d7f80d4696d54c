"""How a recording, an event list and a review show themselves in a notebook: a table, a picture."""

from __future__ import annotations

from collections.abc import Sequence

from infantmon.model.counting import counted
from infantmon.model.event import Event
from infantmon.model.recording import ROLE_WORDS, Recording
from infantmon.report.cautions import BLIND_SPOT, NOTICE
from infantmon.report.drawing import draw_day
from infantmon.report.glance import event_glance, recording_glance
from infantmon.report.rendering import templates
from infantmon.report.reviewed import Reviewed
from infantmon.report.summary import JUDGEMENTS, kind_summaries
from infantmon.report.words import (
    hours_text,
    length_text,
    main_reason,
    time_text,
)

MOST_ROWS = 20
"""A longer event list is cut after so many rows, and says so."""


def review_html(reviewed: Reviewed) -> str:
    """Return a review as a small table of events by kind, and a drawing of its first day."""
    rows = [
        (
            summary.kind,
            str(summary.total) if summary.total else summary.none_found,
            *(str(count) if summary.total else "" for count in summary.counts),
            summary.longest,
        )
        for summary in kind_summaries(reviewed)
    ]
    not_watched = ", ".join(reviewed.plan.not_watched) or "nothing"
    return _rendered(
        f"Review of {reviewed.recording.name}, {hours_text(reviewed.recorded_s)}",
        ("kind", "events", *JUDGEMENTS, "longest"),
        rows,
        notes=(f"Not watched: {not_watched}. {BLIND_SPOT[0].upper()}{BLIND_SPOT[1:]}.", NOTICE),
        svg=draw_day(reviewed, 1).svg,
    )


def recording_html(recording: Recording) -> str:
    """Return a recording as a small table of its channels, and a drawing of each at a glance."""
    rows = [
        (
            ROLE_WORDS.get(role, role),
            channel.name or "unnamed",
            f"{channel.rate_hz:g} Hz",
            channel.unit or "not known",
            f"{time_text(channel.start_s)} to {time_text(channel.end_s)}",
        )
        for role, channel in recording.channels.items()
        if channel.sample_count
    ]
    started = recording.started_at
    what = f"{recording.name}, {hours_text(recording.end_s)}"
    return _rendered(
        what if started is None else f"{what} from {started:%Y-%m-%d %H:%M:%S}",
        ("signal", "channel", "rate", "unit", "time"),
        rows,
        notes=recording.notes,
        svg=recording_glance(recording).svg,
    )


def events_html(events: Sequence[Event]) -> str:
    """Return an event list as a small table, and a drawing of when the events were."""
    rows = [
        (
            str(event.number),
            time_text(event.onset_s),
            length_text(event.length_s),
            event.kind,
            event.judgement,
            main_reason(event),
        )
        for event in events[:MOST_ROWS]
    ]
    more = len(events) - len(rows)
    notes = [f"{more} more; to_frame() has them all."] if more > 0 else []
    if not events:
        notes = ["An empty list says nothing about what was watched or could be used."]
    return _rendered(
        counted(len(events), "event"),
        ("event", "onset", "length", "kind", "judgement", "main reason"),
        rows,
        notes=notes,
        svg=event_glance(events).svg if events else "",
    )


def _rendered(
    title: str,
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    *,
    notes: Sequence[str],
    svg: str,
) -> str:
    template = templates().get_template("notebook.html")
    return template.render(title=title, heads=heads, rows=rows, notes=notes, svg=svg)
