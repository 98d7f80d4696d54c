"""The event list as plain text, for a terminal or a log."""

from __future__ import annotations

import io
from collections.abc import Sequence

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from infantmon.model.event import Event
from infantmon.report.words import extreme_text, length_text, main_reason, time_text

NARROWEST = 40
"""A table is never made narrower than this many characters."""
ROOM_FOR_REASON = 100
"""Below this width the reason is left out: the page and the JSON hold it."""


def event_table_text(events: Sequence[Event], width: int = 100) -> str:
    """Return the events as a plain-text table that is at most `width` characters wide.

    Parameters
    ----------
    events : sequence of Event
        In the order in which to list them.
    width : int
        Characters a line; at least 40 are used. Where there is little room, the reason is left out.

    Notes
    -----
    An empty list says nothing about what was watched or usable; say that beside it
    (`infantmon.report.summary.none_found_text`).
    """
    if not events:
        return "No event in the list."
    width = max(int(width), NARROWEST)
    wide = width >= ROOM_FOR_REASON
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for name in ("event", "onset", "length"):
        table.add_column(name, justify="right", no_wrap=True)
    for name in ("kind", "judgement", "extreme", "linked", *(("main reason",) if wide else ())):
        table.add_column(name)
    for event in events:
        cells = _cells(event)
        # Text, not str: square brackets in a reason are no markup
        table.add_row(*(Text(cell) for cell in (cells if wide else cells[:-1])))
    out = io.StringIO()
    console = Console(file=out, width=width, color_system=None, force_terminal=False)
    console.print(table)
    return "\n".join(line.rstrip() for line in out.getvalue().rstrip().splitlines())


def _cells(event: Event) -> tuple[str, ...]:
    return (
        str(event.number),
        time_text(event.onset_s),
        length_text(event.length_s),
        event.kind,
        event.judgement,
        extreme_text(event),
        ", ".join(str(number) for number in event.linked),
        main_reason(event),
    )
