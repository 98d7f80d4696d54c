"""The whole recording at a glance: signal state, events, and the trends with their limits."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from infantmon.model.arrays import Floats
from infantmon.model.event import Event
from infantmon.model.recording import ROLE_WORDS
from infantmon.report.days import DAY_S, day_ends
from infantmon.report.panel import Line, Panel, Shade, shades_of, spans_in
from infantmon.report.reviewed import Reviewed
from infantmon.report.scale import Scale, Tick, range_of
from infantmon.report.signals import rate_limits
from infantmon.report.strip import LEFT, RIGHT, WIDTH
from infantmon.report.summary import kind_summaries
from infantmon.report.trace import path_of
from infantmon.report.trend import Trend, bin_edges, binned, breathing_rate, pauses
from infantmon.report.window import Part
from infantmon.report.words import length_text

LANE, GAP, RATE_HEIGHT, BREATH_HEIGHT = 15.0, 14.0, 86.0, 56.0
TIMELINE_LEFT, TIMELINE_RIGHT = LEFT + 46.0, RIGHT - 10.0
"""More room than on a strip: the names of the kinds stand on the left, a time at either end."""
STEPS_S = (1, 2, 5, 10, 30, 60, 120, 300, 600, 1800, 3600, 7200, 10800, 14400)


@dataclass(frozen=True)
class Lane:
    """One row of the timeline's upper part: a name and what lies on it."""

    name: str
    y: float
    shades: tuple[Shade, ...] = ()
    blocks: tuple[Block, ...] = ()
    note: str = ""


@dataclass(frozen=True)
class Block:
    """One event on its lane."""

    number: int
    left: float
    width: float
    judgement: str
    words: str


@dataclass(frozen=True)
class Timeline:
    """One piece of the recording, at most a day long, ready to be drawn."""

    title: str
    width: float
    height: float
    left: float
    right: float
    lanes: tuple[Lane, ...]
    graphs: tuple[Panel, ...]
    foot: float
    ticks: tuple[Tick, ...]
    clock_ticks: tuple[Tick, ...]
    told: str = (
        "signal state, events, heart rate, breathing and longest pauses over time. "
        "The event list holds the same events in words."
    )

    @property
    def time_unit(self) -> str:
        """How the times below are written."""
        return "h:min:s" if any(tick.text.count(":") > 1 for tick in self.ticks) else "h:min"


def timelines_of(reviewed: Reviewed) -> tuple[Timeline, ...]:
    """Return the timeline of a recording, a piece for each day of it."""
    days = day_ends(reviewed.recorded_s)
    return tuple(
        _timeline(
            reviewed,
            Part(start_s, max(end_s, start_s + 1.0), TIMELINE_LEFT, TIMELINE_RIGHT),
            len(days),
        )
        for start_s, end_s in days
    )


def _timeline(reviewed: Reviewed, part: Part, count: int) -> Timeline:
    lanes = _lanes(reviewed, part)
    graphs = _graphs(reviewed, part, lanes[-1].y + LANE + GAP)
    foot = graphs[-1].bottom + 4
    ticks, clock_ticks = time_ticks(part, reviewed.recording.started_at)
    day = int(part.start_s // DAY_S) + 1
    return Timeline(
        title="The whole recording" if count == 1 else f"Day {day} of {count}",
        width=WIDTH,
        height=foot + (38 if clock_ticks else 26),
        left=part.left,
        right=part.right,
        lanes=lanes,
        graphs=graphs,
        foot=foot,
        ticks=ticks,
        clock_ticks=clock_ticks,
    )


def _lanes(reviewed: Reviewed, part: Part) -> tuple[Lane, ...]:
    lanes: list[Lane] = []
    y = 4.0
    for role in (*reviewed.contact, *reviewed.missing_roles):
        spans = spans_in(reviewed.contact.get(role), part.start_s, part.end_s)
        note = "not recorded" if role in reviewed.missing_roles else ""
        name = ROLE_WORDS.get(role, role)
        if role == "ecg2" and note:
            continue
        lanes.append(Lane(name, y, shades=shades_of(spans, (part,)), note=note))
        y += LANE
    y += GAP / 2
    for summary in kind_summaries(reviewed):
        events = [event for event in reviewed.events if event.kind == summary.kind]
        lanes.append(Lane(summary.kind, y, blocks=blocks_of(events, part, reviewed.recorded_s)))
        y += LANE
    return tuple(lanes) or (Lane("nothing recorded", y),)


def blocks_of(events: Sequence[Event], part: Part, recorded_s: float) -> tuple[Block, ...]:
    """Return the events on a lane; one that is open is drawn up to `recorded_s` (seconds)."""
    blocks = []
    for event in events:
        end_s = recorded_s if event.end_s is None else event.end_s
        ends = part.overlap(event.onset_s, end_s)
        if ends is None:
            continue
        words = f"event {event.number}: {event.kind}, {length_text(event.length_s)}"
        width = max(ends[1] - ends[0], 3.5)
        left = min(ends[0], part.right - width)
        blocks.append(Block(event.number, left, width, event.judgement, words))
    return tuple(blocks)


def _graphs(reviewed: Reviewed, part: Part, top: float) -> tuple[Panel, ...]:
    heart = _heart_graph(reviewed, part, top)
    breathing = _breathing_graph(reviewed, part, heart.bottom + GAP)
    return heart, breathing, _pause_graph(reviewed, part, breathing.bottom + GAP)


def _heart_graph(reviewed: Reviewed, part: Part, top: float) -> Panel:
    name, unit = "heart rate", "beats/min"
    if reviewed.recording.ecg is None and reviewed.recording.ecg2 is None:
        return Panel(name, unit, top, LANE, note="ECG not recorded")
    rates = reviewed.heart_rate
    edges = bin_edges(part.start_s, part.end_s, count=round(part.width / 2), least_s=2.0)
    trend = binned(rates.time_s, rates.heart_rate_bpm, edges)
    limits = rate_limits(reviewed)
    levels = np.concatenate([trend.low, trend.high, [bpm for bpm, _ in limits]])
    finite = levels[np.isfinite(levels)]
    ends = (float(finite.min()) - 5, float(finite.max()) + 5) if len(finite) else (0.0, 200.0)
    scale = Scale(ends[0], ends[1], top + RATE_HEIGHT, top)
    return Panel(
        name=name,
        unit=unit,
        top=top,
        height=RATE_HEIGHT,
        path=path_of(part.x(_middles(edges)), scale.places(trend.middle)),
        band=_band(trend, part, scale),
        ticks=scale.ticks(4),
        lines=tuple(Line(scale.place(bpm), words) for bpm, words in limits),
    )


def _middles(edges: Floats) -> Floats:
    return np.asarray((edges[:-1] + edges[1:]) / 2, dtype=np.float64)


def _band(trend: Trend, part: Part, scale: Scale) -> str:
    """Return upright strokes from the smallest to the largest value of each bin."""
    xs = part.x(_middles(trend.edge_s))
    tops, bottoms = scale.places(trend.high), scale.places(trend.low)
    some = np.isfinite(tops)
    return "".join(
        f"M{round(x * 4)} {round(bottom * 4)}V{round(top * 4)}"
        for x, top, bottom in zip(xs[some], tops[some], bottoms[some], strict=True)
    )


def _breathing_graph(reviewed: Reviewed, part: Part, top: float) -> Panel:
    name, unit = "breathing", "breaths/min"
    if reviewed.recording.impedance is None:
        return Panel(name, unit, top, LANE, note="chest impedance not recorded")
    edges = bin_edges(part.start_s, part.end_s, count=round(part.width / 3), least_s=30.0)
    rate = breathing_rate(reviewed.breaths.time_s, reviewed.contact.get("impedance"), edges)
    low, high = range_of(np.append(rate, (0.0, 20.0)), margin=0.04)
    scale = Scale(min(low, 0.0), high, top + BREATH_HEIGHT, top)
    steps_x = part.x(np.repeat(edges, 2)[1:-1])
    return Panel(
        name=name,
        unit=unit,
        top=top,
        height=BREATH_HEIGHT,
        path=path_of(steps_x, scale.places(np.repeat(rate, 2)), tolerance=0.01),
        ticks=scale.ticks(),
    )


def _pause_graph(reviewed: Reviewed, part: Part, top: float) -> Panel:
    name, unit = "longest pause", "s"
    if reviewed.recording.impedance is None:
        return Panel(name, unit, top, LANE, note="chest impedance not recorded")
    onset_s, length_s = pauses(reviewed.breaths.time_s, reviewed.contact.get("impedance"))
    edges = bin_edges(part.start_s, part.end_s, count=round(part.width / 3), least_s=5.0)
    longest = binned(onset_s, length_s, edges).high
    apnea = reviewed.plan.apnea
    limits = [(apnea.limit_s, f"apnea limit {apnea.limit_s:g} s")] if apnea else []
    tallest = [5.0, *longest[np.isfinite(longest)], *(limit for limit, _ in limits)]
    scale = Scale(0.0, 1.1 * max(tallest), top + BREATH_HEIGHT, top)
    zero = np.zeros(len(longest))
    trend = Trend(edges, longest, np.where(np.isfinite(longest), zero, np.nan), longest)
    return Panel(
        name=name,
        unit=unit,
        top=top,
        height=BREATH_HEIGHT,
        band=_band(trend, part, scale),
        ticks=scale.ticks(),
        lines=tuple(Line(scale.place(limit), words) for limit, words in limits),
    )


def time_ticks(
    part: Part, started_at: datetime | None
) -> tuple[tuple[Tick, ...], tuple[Tick, ...]]:
    """Return round times of the recording and, where the start is known, of the clock."""
    wanted = (part.end_s - part.start_s) / 9
    step = next((step for step in STEPS_S if step >= wanted), STEPS_S[-1])
    first, last = math.ceil(part.start_s / step), math.floor(part.end_s / step + 1e-9)
    times = [index * step for index in range(first, last + 1)]
    ticks = tuple(Tick(part.scale.place(time), _axis_text(time, step)) for time in times)
    if started_at is None:
        return ticks, ()
    clock = tuple(
        Tick(tick.place, (started_at + timedelta(seconds=time)).strftime("%H:%M"))
        for tick, time in zip(ticks, times, strict=True)
    )
    return ticks, clock


def _axis_text(time_s: float, step_s: float) -> str:
    hours, minutes, seconds = int(time_s // 3600), int(time_s // 60) % 60, round(time_s % 60)
    text = f"{hours}:{minutes:02d}"
    return text if step_s >= 60 else f"{text}:{seconds:02d}"
