"""Small pictures for a notebook: what a recording looks like, and when the events were."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from infantmon.model.arrays import Floats
from infantmon.model.channel import Channel
from infantmon.model.event import Event
from infantmon.model.prescription import kinds_in_order
from infantmon.model.recording import ROLE_WORDS, Recording
from infantmon.report.drawing import Drawing
from infantmon.report.panel import Panel
from infantmon.report.rendering import templates
from infantmon.report.scale import Scale, Tick, range_of
from infantmon.report.timeline import LANE, Block, Lane, Timeline, blocks_of, time_ticks
from infantmon.report.window import Part
from infantmon.report.words import hours_text

WIDTH, LEFT, RIGHT = 760.0, 120.0, 744.0
GLANCE_HEIGHT, GLANCE_GAP = 44.0, 10.0
COLUMNS = 312
LONGEST_PIECE_S = 4.0
"""Of each column of a long recording no more than this is read, in seconds."""


@dataclass(frozen=True)
class _Range:
    """Smallest and largest sample of each column; NaN where nothing was recorded."""

    middle_s: Floats
    low: Floats
    high: Floats


def recording_glance(recording: Recording) -> Drawing:
    """Return each channel over the whole recording as the range of its samples.

    Of a long recording only the first seconds of each column are read, so that a day shows at once.
    """
    part = Part(0.0, max(recording.end_s, 1.0), LEFT, RIGHT)
    panels: list[Panel] = []
    top = 4.0
    for role, channel in recording.channels.items():
        if channel.sample_count:
            panels.append(_channel_panel(ROLE_WORDS.get(role, role), channel, part, top))
            top = panels[-1].bottom + GLANCE_GAP
    return _drawn(f"{recording.name}, {hours_text(recording.end_s)}", part, (), tuple(panels), top)


def event_glance(events: Sequence[Event]) -> Drawing:
    """Return the events on one lane a kind, from the start to the end of the last one."""
    ends = [event.known_s if event.end_s is None else event.end_s for event in events]
    part = Part(0.0, max([*ends, 1.0]), LEFT, RIGHT)
    lanes: list[Lane] = []
    for place, kind in enumerate(kinds_in_order(event.kind for event in events)):
        blocks: tuple[Block, ...] = blocks_of(
            [event for event in events if event.kind == kind], part, part.end_s
        )
        lanes.append(Lane(kind, 4.0 + place * LANE, blocks=blocks))
    return _drawn(f"{len(events)} event(s)", part, tuple(lanes), (), 4.0 + LANE * len(lanes))


def _channel_panel(name: str, channel: Channel, part: Part, top: float) -> Panel:
    found = _ranges(channel, part)
    ends = np.concatenate([found.low, found.high])
    low, high = range_of(ends, left_out=0.04)
    scale = Scale(low, high, top + GLANCE_HEIGHT, top)
    xs, tops, bottoms = part.x(found.middle_s), scale.places(found.high), scale.places(found.low)
    some = np.isfinite(tops)
    band = "".join(
        f"M{round(x * 4)} {round(bottom * 4) + 1}V{round(upper * 4) - 1}"
        for x, upper, bottom in zip(xs[some], tops[some], bottoms[some], strict=True)
    )
    return Panel(
        name=name,
        unit=channel.unit or "unit not known",
        top=top,
        height=GLANCE_HEIGHT,
        band=band,
        ticks=scale.ticks(2),
    )


def _ranges(channel: Channel, part: Part) -> _Range:
    edges = np.linspace(part.start_s, part.end_s, COLUMNS + 1)
    low, high = np.full(COLUMNS, np.nan), np.full(COLUMNS, np.nan)
    for column, start_s in enumerate(edges[:-1].tolist()):
        end_s = min(float(edges[column + 1]), start_s + LONGEST_PIECE_S)
        values = channel.between(start_s, max(end_s, start_s + 2.0 / channel.rate_hz))[1]
        values = values[np.isfinite(values)]
        if len(values):
            low[column], high[column] = values.min(), values.max()
    return _Range(np.asarray((edges[:-1] + edges[1:]) / 2), low, high)


def _drawn(
    title: str, part: Part, lanes: tuple[Lane, ...], graphs: tuple[Panel, ...], foot: float
) -> Drawing:
    ticks: tuple[Tick, ...] = time_ticks(part, None)[0]
    line = Timeline(
        title=title,
        width=WIDTH,
        height=foot + 26,
        left=part.left,
        right=part.right,
        lanes=lanes,
        graphs=graphs,
        foot=foot,
        ticks=ticks,
        clock_ticks=(),
        told="drawn over time",
    )
    svg = templates().get_template("timeline.svg").render(line=line, alone=True)
    return Drawing(svg.strip(), title)
