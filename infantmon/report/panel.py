"""Panels: rows with a scale of their own, on strips and timelines. Templates draw them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from infantmon.model.arrays import Bools, Floats
from infantmon.model.spans import BLOCKING, Reason, Spans
from infantmon.report.scale import Scale, Tick, range_of
from infantmon.report.trace import GRID, path_of
from infantmon.report.window import Part, Window

MARKS_HEIGHT = 13.0
"""Height of the row of marks above a trace, in drawing units."""
STROKE, SHORT_STROKE = 9.0, 4.0
"""Heights of a full and of a short mark."""
SETTLING_S = 2.0
"""A signal swings for about so long around a disturbance; the scale does not follow it."""


@dataclass(frozen=True)
class Shade:
    """A shaded stretch, with its reason where there is room for the words.

    Attributes
    ----------
    left, width : float
        Where it stands, in drawing units.
    words : str
        The reason, or nothing where it does not fit.
    style : str
        "lost" where the signal could not be used, "care" where it could, with care.
    """

    left: float
    width: float
    words: str
    style: str


@dataclass(frozen=True)
class Line:
    """A level drawn across a panel, with words at its end."""

    place: float
    words: str


@dataclass(frozen=True)
class Panel:
    """One row of a strip or a timeline.

    Attributes
    ----------
    name, unit : str
        What is shown, and in which unit.
    top, height : float
        Where the trace stands, in drawing units; marks stand above `top`.
    path, band : str
        The trace, and upright strokes for ranges or bars, in quarters of a drawing unit.
    ticks : tuple of Tick
        The amplitude scale.
    marks_name, marks, odd_marks : str
        What the marks are; the path of the plain ones and of those that are marked as odd.
    shades : tuple of Shade
        Unusable stretches.
    lines : tuple of Line
        Limits.
    note : str
        What to say in place of a trace ("not recorded").
    """

    name: str
    unit: str
    top: float
    height: float
    path: str = ""
    band: str = ""
    ticks: tuple[Tick, ...] = ()
    marks_name: str = ""
    marks: str = ""
    odd_marks: str = ""
    shades: tuple[Shade, ...] = ()
    lines: tuple[Line, ...] = ()
    note: str = ""

    @property
    def bottom(self) -> float:
        """Lower edge, in drawing units."""
        return self.top + self.height


@dataclass(frozen=True)
class Samples:
    """Times and values of what one panel draws, a pair for each part of the window."""

    pieces: tuple[tuple[Floats, Floats], ...]

    def scale(self, top: float, height: float, disturbed: Spans, *, left_out: float) -> Scale:
        """Return the amplitude scale; disturbed stretches do not stretch it if there is a choice.

        `left_out` is the share of samples at either end that may fall off the scale.
        """
        times = np.concatenate([times for times, _ in self.pieces])
        values = np.concatenate([values for _, values in self.pieces])
        good = outside(times, disturbed, margin_s=SETTLING_S) & np.isfinite(values)
        low, high = range_of(values[good] if np.any(good) else values, left_out=left_out)
        return Scale(low, high, top + height, top)

    def path(self, window: Window, scale: Scale, column: float) -> str:
        """Return the trace over all parts of the window; `column` as for `path_of`."""
        return "".join(
            path_of(part.x(times), _on_paper(scale, values), column=column)
            for part, (times, values) in zip(window.parts, self.pieces, strict=True)
        )


def _on_paper(scale: Scale, values: Floats) -> Floats:
    finite = np.where(np.isfinite(values), values, np.nan)
    return scale.places(finite)


def outside(times_s: Floats, spans: Spans, *, margin_s: float = 0.0) -> Bools:
    """Tell which times lie in none of the spans, nor within a margin of one."""
    inside = np.zeros(len(times_s), dtype=np.bool_)
    for start_s, end_s in zip(spans.start_s, spans.end_s, strict=True):
        first, last = np.searchsorted(times_s, (start_s - margin_s, end_s + margin_s))
        inside[first:last] = True
    return ~inside


def spans_in(spans: Spans | None, start_s: float, end_s: float) -> Spans:
    """Return the spans that touch a stretch of time."""
    if spans is None:
        return Spans.none()
    return spans.where((spans.start_s < end_s) & (spans.end_s > start_s))


def shades_of(spans: Spans, parts: Sequence[Part]) -> tuple[Shade, ...]:
    """Return the shading of stretches that could not be used, or only with care."""
    shades = []
    for start_s, end_s, reason in zip(spans.start_s, spans.end_s, spans.reason, strict=True):
        words = Reason(int(reason)).words
        style = "lost" if Reason(int(reason)) & BLOCKING else "care"
        for part in parts:
            ends = part.overlap(float(start_s), float(end_s))
            if ends is not None:
                width = max(ends[1] - ends[0], 1.0)
                fits = width > 5.4 * len(words) + 6
                shades.append(Shade(ends[0], width, words if fits else "", style))
    return tuple(shades)


def strokes(times_s: Floats, window: Window, *, base: float, height: float) -> str:
    """Return the path of upright strokes that stand on `base`, one a moment shown."""
    stroke = f" {round(base * GRID)}v{-round(height * GRID)}"
    return "".join(f"M{x}{stroke}" for x in _across(times_s, window))


def crosses(times_s: Floats, window: Window, *, base: float) -> str:
    """Return the path of small crosses above `base`, one a moment shown."""
    arm = 2 * GRID
    top, cross = round((base - 7) * GRID), f"l{2 * arm} {2 * arm}m0-{2 * arm}l-{2 * arm} {2 * arm}"
    return "".join(f"M{x - arm} {top}{cross}" for x in _across(times_s, window))


def _across(times_s: Floats, window: Window) -> list[int]:
    """Return the places of the moments shown, in quarters of a drawing unit."""
    places = [
        part.x(times_s[(times_s >= part.start_s) & (times_s <= part.end_s)])
        for part in window.parts
    ]
    across: list[int] = np.rint(np.concatenate(places) * GRID).astype(np.int64).tolist()
    return across
