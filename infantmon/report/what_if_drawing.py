"""The picture of a what-if: a row a plan, events an hour by judgement, and how they score."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from infantmon.errors import ArgumentError
from infantmon.model.event import DOUBTFUL, NOT_ASSESSABLE, SUPPORTED
from infantmon.report.drawing import Drawing
from infantmon.report.rendering import templates
from infantmon.report.scale import Scale, Tick

MOST_ROWS = 60
LABEL_END, BARS_START, BARS_END = 250.0, 260.0, 480.0
SHARES = ((500.0, 610.0), (630.0, 740.0))
WIDTH, HEAD, ROW_HEIGHT = 750.0, 40.0, 16.0
_LONGEST_LABEL = 46

# a share with the ends of its interval, between 0 and 1
Share = tuple[float, float, float]


@dataclass(frozen=True)
class Row:
    """One plan: its words, its events an hour by judgement, and its shares where truth was given.

    Attributes
    ----------
    words : str
        Which limits.
    an_hour : tuple of float
        Events an hour: supported, doubtful, not assessable.
    sensitivity, predictivity : (float, float, float) or None
        With the ends of their intervals.
    """

    words: str
    an_hour: tuple[float, float, float]
    sensitivity: Share | None = None
    predictivity: Share | None = None


@dataclass(frozen=True)
class _Bar:
    left: float
    width: float
    style: str
    words: str


@dataclass(frozen=True)
class _Whisker:
    place: float
    low: float
    high: float


@dataclass(frozen=True)
class _Line:
    y: float
    label: str
    words: str
    bars: tuple[_Bar, ...]
    whiskers: tuple[_Whisker, ...]


@dataclass(frozen=True)
class _Panel:
    name: str
    left: float
    right: float
    ticks: tuple[Tick, ...]


@dataclass(frozen=True)
class _Picture:
    width: float
    height: float
    head: float
    foot: float
    label_end: float
    title: str
    panels: tuple[_Panel, ...]
    lines: tuple[_Line, ...]


def draw_rows(rows: Sequence[Row], kind: str) -> Drawing:
    """Return the picture of one kind.

    Raises
    ------
    ArgumentError
        If there are too many rows to tell them apart.
    """
    if len(rows) > MOST_ROWS:
        raise ArgumentError(
            f"{len(rows)} plans are too many for one picture; draw {MOST_ROWS} or fewer of them."
        )
    most = float(np.nanmax([0.0, *(sum(row.an_hour) for row in rows)]))
    hours = Scale(0.0, 1.05 * most if most > 0 else 1.0, BARS_START, BARS_END)
    scored = any(row.sensitivity is not None or row.predictivity is not None for row in rows)
    scales = [Scale(0.0, 1.0, left, right) for left, right in SHARES] if scored else []
    names = ("sensitivity", "positive predictivity")
    panels = [_Panel("events an hour", BARS_START, BARS_END, hours.ticks(4))]
    panels += [
        _Panel(name, scale.at_low, scale.at_high, scale.ticks(2))
        for name, scale in zip(names, scales, strict=False)
    ]
    foot = HEAD + ROW_HEIGHT * len(rows)
    lines = tuple(
        _line(row, HEAD + ROW_HEIGHT * place, hours, scales) for place, row in enumerate(rows)
    )
    title = f"{kind}: what other limits would have listed"
    width = WIDTH if scored else BARS_END + 10.0
    picture = _Picture(width, foot + 24.0, HEAD, foot, LABEL_END, title, tuple(panels), lines)
    svg = templates().get_template("what_if.svg").render(picture=picture, alone=True)
    return Drawing(svg.strip(), title)


def _line(row: Row, y: float, hours: Scale, scales: Sequence[Scale]) -> _Line:
    label = row.words
    if len(label) > _LONGEST_LABEL:
        label = f"{label[: _LONGEST_LABEL - 1]}…"
    whiskers = [
        _Whisker(*(scale.place(end) for end in share))
        for scale, share in zip(scales, (row.sensitivity, row.predictivity), strict=False)
        if share is not None
    ]
    return _Line(y, label, row.words, _bars(row, hours), tuple(whiskers))


def _bars(row: Row, hours: Scale) -> tuple[_Bar, ...]:
    bars, before = [], 0.0
    for judgement, count in zip((SUPPORTED, DOUBTFUL, NOT_ASSESSABLE), row.an_hour, strict=True):
        if count > 0:
            left, right = hours.place(before), hours.place(before + count)
            style, words = judgement.replace(" ", "-"), f"{judgement}: {count:.2f} an hour"
            bars.append(_Bar(left, right - left, style, words))
            before += count
    return tuple(bars)
