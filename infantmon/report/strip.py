"""The strip of one event: signals, marks, rate and limits around it, ready to be drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from infantmon.model.arrays import Floats
from infantmon.model.channel import Channel
from infantmon.model.event import Event
from infantmon.model.signal import Signal
from infantmon.model.spans import BLOCKING, Reason, Spans
from infantmon.report.panel import (
    MARKS_HEIGHT,
    SHORT_STROKE,
    STROKE,
    Line,
    Panel,
    Samples,
    crosses,
    shades_of,
    spans_in,
    strokes,
)
from infantmon.report.reviewed import Reviewed, cleaned_impedance
from infantmon.report.scale import Scale, Tick, range_of
from infantmon.report.trace import path_of
from infantmon.report.window import Window, window_of
from infantmon.report.words import ROLE_WORDS, length_text

WIDTH = 760.0
LEFT, RIGHT = 74.0, WIDTH - 8.0
WORD_ROW, BAR_ROW, GAP = 12.0, 13.0, 9.0
LETTER = 4.9
"""About the width of a letter, in drawing units."""
PANEL_NAMES = {"ecg": "ECG", "ecg2": "second lead", "impedance": "impedance"}
HEIGHTS = {"ecg": 78.0, "ecg2": 56.0, "impedance": 66.0}
LEFT_OUT = {"ecg": 0.003, "ecg2": 0.003, "impedance": 0.01}
"""Share of samples at either end that may fall off the scale: R peaks are rarer than breaths."""
EFFORT_HEIGHT, RATE_HEIGHT, NOTE_HEIGHT = 56.0, 66.0, 18.0
NEAR_BPM = 25.0
"""A limit further than this from every rate shown is left out, unless the event is about it."""
RATE_GAP_S = 4.0
"""The rate is not drawn across a longer time without a beat."""


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
class Strip:
    """All that is drawn for one event, in drawing units."""

    event: Event
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
    odd_beats: int
    shallow_breaths: int

    @property
    def left_out(self) -> str:
        """What the break leaves out, in words; nothing where there is no break."""
        return length_text(self.window.left_out_s) if len(self.window.parts) > 1 else ""


@dataclass(frozen=True)
class _Paper:
    """What every panel of a strip shares."""

    reviewed: Reviewed
    event: Event
    window: Window
    column: float

    def unusable(self, role: str) -> Spans:
        """Return the unusable stretches of a channel that the window touches."""
        return spans_in(self.reviewed.contact.get(role), self.window.start_s, self.window.end_s)


def strip_of(reviewed: Reviewed, event: Event, *, column: float = 1.0) -> Strip:
    """Return the strip for an event of a review.

    Parameters
    ----------
    reviewed : Reviewed
        Where the signals and marks are.
    event : Event
        The event to show.
    column : float
        Width of a column of which only the extremes are drawn, in drawing units.
    """
    linked = [other for other in reviewed.events if other.number in event.linked]
    window = window_of(event, linked, reviewed.recorded_s, left=LEFT, right=RIGHT)
    moments, word_rows = _moments(event, window)
    bars = _bars(event, linked, window, WORD_ROW * word_rows + 4, reviewed.recorded_s)
    head = WORD_ROW * word_rows + 4 + BAR_ROW * len(bars)
    panels = _panels(_Paper(reviewed, event, window, column), head)
    foot = panels[-1].bottom + 4
    end_s = reviewed.recorded_s if event.end_s is None else event.end_s
    shown = (window.start_s, window.end_s)
    beats, breaths = reviewed.r_peaks.between(*shown), reviewed.breaths.between(*shown)
    return Strip(
        event=event,
        window=window,
        width=WIDTH,
        height=foot + 27,
        head=head,
        foot=foot,
        panels=panels,
        moments=moments,
        bars=bars,
        ticks=window.ticks(),
        extent=_pieces(window, event.onset_s, end_s),
        unusable=_unusable_words(reviewed, window),
        odd_beats=int(np.count_nonzero(~beats.reliable)),
        shallow_breaths=int(np.count_nonzero(breaths.shallow)),
    )


def _moments(event: Event, window: Window) -> tuple[tuple[Moment, ...], int]:
    """Place the words of onset, known and end so that none covers another; count their rows."""
    wanted = [(event.onset_s, "onset", "onset"), (event.known_s, "known", "known")]
    if event.end_s is not None:
        wanted.append((event.end_s, "end", "end"))
    moments: list[Moment] = []
    taken: list[float] = []  # right end of the words in each row
    for time_s, words, style in wanted:
        x = window.x(time_s)
        if x is None:
            continue
        row = next((i for i, right in enumerate(taken) if x - 17 >= right), len(taken))
        taken[row:] = [x + 20] if row == len(taken) else [x + 20, *taken[row + 1 :]]
        moments.append(Moment(x, words, x, WORD_ROW * (row + 1) - 3, "middle", style))
    return tuple(moments), max(len(taken), 1)


def _pieces(window: Window, start_s: float, end_s: float) -> tuple[tuple[float, float], ...]:
    found = (part.overlap(start_s, end_s) for part in window.parts)
    return tuple((ends[0], max(ends[1] - ends[0], 1.0)) for ends in found if ends is not None)


def _bars(
    event: Event, linked: Sequence[Event], window: Window, top: float, recorded_s: float
) -> tuple[Bar, ...]:
    bars: list[Bar] = []
    for shown in (event, *linked):
        end_s = recorded_s if shown.end_s is None else shown.end_s
        pieces = _pieces(window, shown.onset_s, end_s)
        words = f"{shown.kind}, {length_text(shown.length_s)}"
        if shown is not event:
            words = f"linked event {shown.number}: {words}"
        if pieces:
            word_x, anchor = _words_place(pieces, words)
            style = "own" if shown is event else "linked"
            bars.append(Bar(top + BAR_ROW * len(bars), pieces, words, word_x, anchor, style))
    return tuple(bars)


def _words_place(pieces: tuple[tuple[float, float], ...], words: str) -> tuple[float, str]:
    """Place words on the widest piece of a bar, or beside the bar where that is too short."""
    length = LETTER * len(words) + 8
    left, right = pieces[0][0], sum(pieces[-1])
    wide_left, wide = max(pieces, key=lambda piece: piece[1])
    if wide >= length + 16:
        return wide_left + wide / 2, "middle"
    return (right + 6, "start") if right + length <= RIGHT else (left - 6, "end")


def _panels(paper: _Paper, top: float) -> tuple[Panel, ...]:
    panels: list[Panel] = []
    recording = paper.reviewed.recording
    channels = {"ecg": recording.ecg, "ecg2": recording.ecg2, "impedance": recording.impedance}
    for role, channel in channels.items():
        if channel is None and role == "ecg2":
            continue
        panels.append(_channel_panel(paper, role, channel, _next(panels, top)))
        if role == "impedance" and (cleaned := cleaned_impedance(paper.reviewed)) is not None:
            unit = "" if channel is None or channel.unit is None else channel.unit
            panels.append(_effort_panel(paper, cleaned, unit, _next(panels, top)))
    panels.append(_rate_panel(paper, _next(panels, top)))
    return tuple(panels)


def _next(panels: Sequence[Panel], top: float) -> float:
    return panels[-1].bottom + GAP if panels else top + 2


def _channel_panel(paper: _Paper, role: str, channel: Channel | None, top: float) -> Panel:
    name = PANEL_NAMES[role]
    if channel is None:
        return Panel(name, "", top, NOTE_HEIGHT, note="not recorded")
    height, window = HEIGHTS[role], paper.window
    marks_name, marks, odd = _marks(paper.reviewed, role, window, top + MARKS_HEIGHT - 2)
    top += MARKS_HEIGHT if marks_name else 0.0
    spans = paper.unusable(role)
    samples = Samples(tuple(channel.between(p.start_s, p.end_s) for p in window.parts))
    scale = samples.scale(top, height, spans, left_out=LEFT_OUT[role])
    return Panel(
        name=name,
        unit=channel.unit or "unit not known",
        top=top,
        height=height,
        path=samples.path(window, scale, paper.column),
        ticks=scale.ticks(),
        marks_name=marks_name,
        marks=marks,
        odd_marks=odd,
        shades=shades_of(spans, window.parts),
    )


def _marks(reviewed: Reviewed, role: str, window: Window, base: float) -> tuple[str, str, str]:
    if role == "ecg":
        beats = reviewed.r_peaks.between(window.start_s, window.end_s)
        plain, odd = beats.time_s[beats.reliable], beats.time_s[~beats.reliable]
        marks = strokes(plain, window, base=base, height=STROKE)
        return "R peaks", marks, crosses(odd, window, base=base)
    if role == "impedance":
        breaths = reviewed.breaths.between(window.start_s, window.end_s)
        plain, shallow = breaths.time_s[~breaths.shallow], breaths.time_s[breaths.shallow]
        marks = strokes(plain, window, base=base, height=STROKE)
        return "breaths", marks, strokes(shallow, window, base=base, height=SHORT_STROKE)
    return "", "", ""


def _effort_panel(paper: _Paper, cleaned: Signal, unit: str, top: float) -> Panel:
    window, spans = paper.window, paper.unusable("impedance")
    samples = Samples(tuple(_between(cleaned, p.start_s, p.end_s) for p in window.parts))
    scale = samples.scale(top, EFFORT_HEIGHT, spans, left_out=LEFT_OUT["impedance"])
    return Panel(
        name="effort",
        unit=unit or "unit not known",
        top=top,
        height=EFFORT_HEIGHT,
        path=samples.path(window, scale, paper.column),
        ticks=scale.ticks(),
        shades=shades_of(spans, window.parts),
    )


def _between(signal: Signal, start_s: float, end_s: float) -> tuple[Floats, Floats]:
    first = max(signal.clock.first_tick_from(start_s) - signal.first_tick, 0)
    last = max(signal.clock.first_tick_from(end_s) - signal.first_tick, first)
    values = signal.values[first:last]
    ticks = signal.first_tick + first + np.arange(len(values), dtype=np.int64)
    return signal.clock.times_s(ticks), values


def _rate_panel(paper: _Paper, top: float) -> Panel:
    name, unit, reviewed, window = "heart rate", "beats/min", paper.reviewed, paper.window
    if reviewed.recording.ecg is None and reviewed.recording.ecg2 is None:
        return Panel(name, unit, top, NOTE_HEIGHT, note="not recorded: it comes from the ECG")
    rates = reviewed.heart_rate.between(window.start_s, window.end_s)
    limits = _limits_near(reviewed, paper.event, rates.heart_rate_bpm)
    levels = np.concatenate([rates.heart_rate_bpm, [bpm for bpm, _ in limits]])
    low, high = range_of(levels, least=20.0)
    scale = Scale(low, high, top + RATE_HEIGHT, top)
    return Panel(
        name=name,
        unit=unit,
        top=top,
        height=RATE_HEIGHT,
        path=_rate_path(rates.time_s, rates.heart_rate_bpm, window, scale),
        ticks=scale.ticks(),
        lines=tuple(Line(scale.place(bpm), words) for bpm, words in limits),
    )


def _limits_near(reviewed: Reviewed, event: Event, bpm: Floats) -> list[tuple[float, str]]:
    """Return the limit that the event is about, and others that do not squash the scale."""
    about = "high" if event.kind == "high heart rate" else "low"
    finite = bpm[np.isfinite(bpm)]
    low, high = (finite.min(), finite.max()) if len(finite) else (0.0, 300.0)
    return [
        (limit, words)
        for limit, words in rate_limits(reviewed)
        if words.startswith(about) or low - NEAR_BPM <= limit <= high + NEAR_BPM
    ]


def rate_limits(reviewed: Reviewed) -> list[tuple[float, str]]:
    """Return the limits of the heart rate in force, with words."""
    low, high = reviewed.plan.low_heart_rate, reviewed.plan.high_heart_rate
    limits = [(low.limit_bpm, f"low limit {low.limit_bpm:g}")] if low else []
    return limits + ([(high.limit_bpm, f"high limit {high.limit_bpm:g}")] if high else [])


def _rate_path(times_s: Floats, bpm: Floats, window: Window, scale: Scale) -> str:
    paths = []
    for part in window.parts:
        inside = (times_s >= part.start_s) & (times_s <= part.end_s)
        times, places = times_s[inside], scale.places(bpm[inside])
        cuts = np.flatnonzero(np.diff(times) > RATE_GAP_S) + 1
        pieces = zip(np.split(part.x(times), cuts), np.split(places, cuts), strict=True)
        paths += [path_of(x, y) for x, y in pieces]
    return "".join(paths)


def _unusable_words(reviewed: Reviewed, window: Window) -> tuple[str, ...]:
    """Say each unusable stretch that the strip shows, so that shading never stands alone."""
    lines = []
    for role, spans in reviewed.contact.items():
        lines += _span_words(role, spans_in(spans, window.start_s, window.end_s), window)
    return tuple(lines)


def _span_words(role: str, spans: Spans, window: Window) -> list[str]:
    return [
        f"{ROLE_WORDS.get(role, role)} {start:.1f} to {end:.1f} s: {_reason_words(int(why))}"
        for start, end, why in zip(spans.start_s, spans.end_s, spans.reason, strict=True)
        if any(part.overlap(start, end) for part in window.parts)
    ]


def _reason_words(number: int) -> str:
    reason = Reason(number)
    return reason.words if reason & BLOCKING else f"{reason.words} (used with care)"
