"""The strip of an event, found or recorded: signals, marks, rate and limits, ready to be drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from infantmon.model.event import Event
from infantmon.model.recording import ROLE_WORDS
from infantmon.model.spans import BLOCKING, INTERFERING, Reason, Spans
from infantmon.report.alarm import AlarmTimes
from infantmon.report.panel import Panel, spans_in
from infantmon.report.reviewed import Reviewed, linked_events
from infantmon.report.scale import Tick
from infantmon.report.signals import Paper, panels_of
from infantmon.report.window import Window, window_of
from infantmon.report.words import length_text, time_text

WIDTH = 760.0
LEFT, RIGHT = 74.0, WIDTH - 8.0
WORD_ROW, BAR_ROW = 12.0, 13.0
LETTER = 4.9
"""About the width of a letter, in drawing units."""
BOLD_LETTER = 5.6
"""The same of a bold one."""
FINE_STRIPS = 200
"""With more strips than this their traces are drawn more coarsely, so that a page opens fast."""
COARSEST = 4.0
"""Widest column of which only the extremes are drawn, in drawing units."""
ALARM_STARTS, ALARM_STOPS = "alarm would start", "alarm would stop"


@dataclass(frozen=True)
class Moment:
    """A line across all panels, with a word at its head."""

    x: float
    words: str
    word_x: float
    word_y: float
    anchor: str
    style: str


@dataclass(frozen=True)
class Bar:
    """How far an event reaches: a bar above the panels, and words beside it."""

    y: float
    pieces: tuple[tuple[float, float], ...]
    words: str
    word_x: float
    anchor: str
    style: str

    @property
    def word_width(self) -> float:
        """About how much room the words take, in drawing units."""
        return LETTER * len(self.words) + 8


@dataclass(frozen=True)
class Named:
    """A moment that is marked: when, in which words, and how it is drawn."""

    time_s: float
    words: str
    style: str


@dataclass(frozen=True)
class Reach:
    """What a bar shows: from when to when, in which words, and how it is drawn."""

    start_s: float
    end_s: float
    words: str
    style: str


@dataclass(frozen=True)
class Strip:
    """All that is drawn for one event, in drawing units; `name` says which."""

    name: str
    window: Window
    width: float
    height: float
    head: float
    foot: float
    panels: tuple[Panel, ...]
    moments: tuple[Moment, ...]
    bars: tuple[Bar, ...]
    ticks: tuple[Tick, ...]
    extent: tuple[tuple[float, float], ...]
    unusable: tuple[str, ...]

    @property
    def left_out(self) -> str:
        """What the break leaves out, in words; nothing where there is no break."""
        return length_text(self.window.left_out_s) if len(self.window.parts) > 1 else ""


def column_for(count: int) -> float:
    """Return the width of a column of a trace: coarser where a page has very many strips.

    Parameters
    ----------
    count : int
        How many strips the page has.
    """
    return min(max(count / FINE_STRIPS, 1.0), COARSEST)


def strip_of(
    reviewed: Reviewed, event: Event, *, alarm: AlarmTimes | None = None, column: float = 1.0
) -> Strip:
    """Return the strip for an event of a review.

    Parameters
    ----------
    reviewed : Reviewed
        Where the signals and marks are.
    event : Event
        The event to show.
    alarm : AlarmTimes, optional
        When its alarm would start and stop; without it only the start is shown.
    column : float
        Width of a column of which only the extremes are drawn, in drawing units.
    """
    linked = linked_events(event, reviewed)
    alarm = alarm or AlarmTimes(event.known_s)
    moments = [Named(event.onset_s, "onset", "onset"), *_limit_reached(event)]
    moments += [Named(alarm.start_s, ALARM_STARTS, "alarm")]
    moments += [] if event.end_s is None else [Named(event.end_s, "end", "end")]
    moments += [] if alarm.stop_s is None else [Named(alarm.stop_s, ALARM_STOPS, "alarm")]
    own = reach_of(event, reviewed.recorded_s)
    bars = [own, *(reach_of(other, reviewed.recorded_s, "linked event") for other in linked)]
    window = window_of(event, linked, reviewed.recorded_s, left=LEFT, right=RIGHT)
    paper = Paper(reviewed, event.kind, window, column)
    return drawn_strip(paper, f"event {event.number}", own, moments, bars)


def drawn_strip(
    paper: Paper, name: str, shown: Reach, moments: Sequence[Named], bars: Sequence[Reach]
) -> Strip:
    """Place all that a strip shows.

    Parameters
    ----------
    paper : Paper
        The review, the window, and the kind of event that the strip is about.
    name : str
        Which event it is, in words.
    shown : Reach
        The event itself: shaded over all panels.
    moments : sequence of Named
        Lines across all panels, in the order in which their words are placed.
    bars : sequence of Reach
        Bars above the panels, from the top.
    """
    window = paper.window
    placed, word_rows = _moments(moments, window)
    drawn = _bars(bars, window, WORD_ROW * word_rows + 4)
    head = WORD_ROW * word_rows + 4 + BAR_ROW * len(drawn)
    panels = panels_of(paper, head)
    foot = panels[-1].bottom + 4
    return Strip(
        name=name,
        window=window,
        width=WIDTH,
        height=foot + 27,
        head=head,
        foot=foot,
        panels=panels,
        moments=placed,
        bars=drawn,
        ticks=window.ticks(),
        extent=_pieces(window, shown.start_s, shown.end_s),
        unusable=_unusable_words(paper.reviewed, window),
    )


def reach_of(event: Event, recorded_s: float, called: str = "") -> Reach:
    """Return the bar of an event that was found; `called` stands before the number of another."""
    words = f"{event.kind}, {length_text(event.length_s)}"
    end_s = recorded_s if event.end_s is None else event.end_s
    if not called:
        return Reach(event.onset_s, end_s, words, "own")
    return Reach(event.onset_s, end_s, f"{called} {event.number}: {words}", "linked")


def _moments(wanted: Sequence[Named], window: Window) -> tuple[tuple[Moment, ...], int]:
    """Place the words of the moments so that none covers another; count their rows."""
    moments: list[Moment] = []
    taken: list[float] = []  # right end of the words in each row
    for named in wanted:
        x = window.x(named.time_s)
        if x is None:
            continue
        half = BOLD_LETTER * len(named.words) / 2
        word_x = min(max(x, LEFT + half), RIGHT - half)
        row = next((i for i, right in enumerate(taken) if word_x - half >= right), len(taken))
        taken[row : row + 1] = [word_x + half + 6]
        word_y = WORD_ROW * (row + 1) - 3
        moments.append(Moment(x, named.words, word_x, word_y, "middle", named.style))
    return tuple(moments), max(len(taken), 1)


def _limit_reached(event: Event) -> list[Named]:
    """Return when a limit on a length of time was reached; a rate's limit is a line of its own."""
    for name, word in (("limit_s", "limit"), ("delay_s", "delay")):
        limit_s = event.limits.get(name)
        if isinstance(limit_s, (int, float)):
            return [Named(event.onset_s + limit_s, f"{word} {limit_s:g} s", "reached")]
    return []


def _pieces(window: Window, start_s: float, end_s: float) -> tuple[tuple[float, float], ...]:
    found = (part.overlap(start_s, end_s) for part in window.parts)
    return tuple((ends[0], max(ends[1] - ends[0], 1.0)) for ends in found if ends is not None)


def _bars(reaches: Sequence[Reach], window: Window, top: float) -> tuple[Bar, ...]:
    bars: list[Bar] = []
    for reach in reaches:
        pieces = _pieces(window, reach.start_s, reach.end_s)
        if pieces:
            word_x, anchor = _words_place(pieces, reach.words)
            y = top + BAR_ROW * len(bars)
            bars.append(Bar(y, pieces, reach.words, word_x, anchor, reach.style))
    return tuple(bars)


def _words_place(pieces: tuple[tuple[float, float], ...], words: str) -> tuple[float, str]:
    """Place words on the widest piece of a bar, or beside the bar where that is too short."""
    length = LETTER * len(words) + 8
    left, right = pieces[0][0], sum(pieces[-1])
    wide_left, wide = max(pieces, key=lambda piece: piece[1])
    if wide >= length + 16:
        return wide_left + wide / 2, "middle"
    return (right + 6, "start") if right + length <= RIGHT else (left - 6, "end")


def _unusable_words(reviewed: Reviewed, window: Window) -> tuple[str, ...]:
    """Say each unusable stretch that the strip shows, so that shading never stands alone."""
    lines = []
    for role, spans in reviewed.contact.items():
        lines += _span_words(role, spans_in(spans, window.start_s, window.end_s), window)
    return tuple(lines)


def _span_words(role: str, spans: Spans, window: Window) -> list[str]:
    name = ROLE_WORDS.get(role, role)
    return [
        f"{name} {time_text(start)} to {time_text(end)}: {_reason_words(int(why))}"
        for start, end, why in zip(spans.start_s, spans.end_s, spans.reason, strict=True)
        if any(part.overlap(start, end) for part in window.parts)
    ]


def _reason_words(number: int) -> str:
    reason = Reason(number)
    if reason & INTERFERING:
        return f"{reason.words} (filtered out)"
    return reason.words if reason & BLOCKING else f"{reason.words} (used with care)"
