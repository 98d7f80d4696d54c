"""The event list as plain text, for a terminal or a log."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from infantmon.model.event import Event
from infantmon.report.words import extreme_text, length_text, main_reason, time_text

NARROWEST = 30
"""Lines are never made shorter than this many characters."""
REASON_BESIDE = 28
"""With at least this much room left, the reason stands beside its event, otherwise under it."""
GAP = "  "
HEADS = ("event", "onset", "length", "kind", "judgement", "rate", "linked")
RIGHT_ALIGNED = 3  # the first columns are numbers


def event_table_text(events: Sequence[Event], width: int = 100) -> str:
    """Return the events as plain text, no line longer than `width`.

    Parameters
    ----------
    events : sequence of Event
        In the order in which to list them.
    width : int
        Characters a line; at least 30 are used. With little room the reasons stand under their
        events, with very little each event becomes a short paragraph.

    Notes
    -----
    An empty list says nothing about what was watched or usable; say that beside it
    (`infantmon.report.summary.none_found_text`).
    """
    if not events:
        return "No event in the list."
    width = max(int(width), NARROWEST)
    rows = [_cells(event) for event in events]
    reasons = [_printable(main_reason(event)) for event in events]
    widths = [max(map(len, column)) for column in zip(HEADS, *rows, strict=True)]
    fixed = sum(widths) + len(GAP) * (len(widths) - 1)
    if fixed > width:
        return "\n".join(_paragraph(*both, width) for both in zip(rows, reasons, strict=True))
    room = width - fixed - len(GAP)
    beside = room >= REASON_BESIDE
    head = _line(HEADS, widths) + (f"{GAP}main reason" if beside else "")
    lines = [head, "-" * (width if beside else fixed)]
    for cells, reason in zip(rows, reasons, strict=True):
        lines += (
            _beside(_line(cells, widths), reason, fixed, room)
            if beside
            else [
                _line(cells, widths),
                *_indented(reason, width),
            ]
        )
    return "\n".join(line.rstrip() for line in lines)


def _cells(event: Event) -> tuple[str, ...]:
    cells = (
        str(event.number),
        time_text(event.onset_s),
        length_text(event.length_s),
        event.kind,
        event.judgement,
        extreme_text(event).replace("lowest ", "").replace("highest ", ""),  # the kind says which
        ", ".join(str(number) for number in event.linked),
    )
    return tuple(_printable(cell) for cell in cells)


def _printable(text: str) -> str:
    """Return the text without anything that could steer a terminal."""
    return "".join(letter if letter.isprintable() else " " for letter in text)


def _line(cells: Sequence[str], widths: Sequence[int]) -> str:
    return GAP.join(
        cell.rjust(width) if place < RIGHT_ALIGNED else cell.ljust(width)
        for place, (cell, width) in enumerate(zip(cells, widths, strict=True))
    )


def _beside(line: str, reason: str, fixed: int, room: int) -> list[str]:
    first, *more = textwrap.wrap(reason, room) or [""]
    return [f"{line}{GAP}{first}", *(" " * (fixed + len(GAP)) + part for part in more)]


def _indented(reason: str, width: int) -> list[str]:
    indent = " " * (len(HEADS[0]) + len(GAP))
    return textwrap.wrap(reason, width, initial_indent=indent, subsequent_indent=indent)


def _paragraph(cells: Sequence[str], reason: str, width: int) -> str:
    number, onset, length, kind, judgement, rate, linked = cells
    parts = [f"{onset}, {length}", kind, judgement, rate]
    parts += [f"linked {linked}"] if linked else []
    text = "; ".join(part for part in [*parts, reason] if part)
    return textwrap.fill(f"{number}. {text}", width, subsequent_indent=" " * (len(number) + 2))
