"""Which signals a strip shows: its panels, from the channels, the marks and the rate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from infantmon.model.arrays import Floats
from infantmon.model.channel import Channel
from infantmon.model.recording import SHORT_ROLE_WORDS
from infantmon.model.signal import Signal
from infantmon.model.spans import Spans
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
from infantmon.report.scale import Scale, range_of
from infantmon.report.trace import path_of
from infantmon.report.window import Window

GAP = 9.0
"""Room between two panels, in drawing units."""
BEFORE, AFTER = "before", "after"
"""Words beside the unit: the impedance before and after the heart's pulsation was taken out."""
HEIGHTS = {"ecg": 78.0, "ecg2": 56.0, "impedance": 66.0}
LEFT_OUT = {"ecg": 0.003, "ecg2": 0.003, "impedance": 0.01}
"""Share of samples at either end that may fall off the scale: R peaks are rarer than breaths."""
EFFORT_HEIGHT, RATE_HEIGHT, NOTE_HEIGHT = 56.0, 66.0, 18.0
NEAR_BPM = 25.0
"""A limit further than this from every rate shown is left out, unless the event is about it."""
RATE_GAP_S = 4.0
"""The rate is not drawn across a longer time without a beat."""


@dataclass(frozen=True)
class Paper:
    """What every panel of a strip shares."""

    reviewed: Reviewed
    kind: str
    window: Window
    column: float

    def unusable(self, role: str) -> Spans:
        """Return the unusable stretches of a channel that the window touches."""
        return spans_in(self.reviewed.contact.get(role), self.window.start_s, self.window.end_s)


def panels_of(paper: Paper, top: float) -> tuple[Panel, ...]:
    """Return the panels of a strip, the first one below `top` (in drawing units)."""
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


def _channel_panel(paper: Paper, role: str, channel: Channel | None, top: float) -> Panel:
    name = SHORT_ROLE_WORDS[role]
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
        unit=_unit_text(paper, role, channel.unit),
        top=top,
        height=height,
        path=samples.path(window, scale, paper.column),
        ticks=scale.ticks(),
        marks_name=marks_name,
        marks=marks,
        odd_marks=odd,
        shades=shades_of(spans, window.parts),
    )


def _unit_text(paper: Paper, role: str, unit: str | None) -> str:
    """Return the unit; of the impedance also that it is shown before the pulsation is taken out."""
    if role == "impedance" and cleaned_impedance(paper.reviewed) is not None:
        return f"{unit or 'unit ?'}, {BEFORE}"
    return unit or "unit not known"


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


def _effort_panel(paper: Paper, cleaned: Signal, unit: str, top: float) -> Panel:
    window, spans = paper.window, paper.unusable("impedance")
    samples = Samples(tuple(_between(cleaned, p.start_s, p.end_s) for p in window.parts))
    scale = samples.scale(top, EFFORT_HEIGHT, spans, left_out=LEFT_OUT["impedance"])
    return Panel(
        name=SHORT_ROLE_WORDS["impedance"],
        unit=f"{unit or 'unit ?'}, {AFTER}",
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


def _rate_panel(paper: Paper, top: float) -> Panel:
    name, unit, reviewed, window = "heart rate", "beats/min", paper.reviewed, paper.window
    if reviewed.recording.ecg is None and reviewed.recording.ecg2 is None:
        return Panel(name, unit, top, NOTE_HEIGHT, note="not recorded: it comes from the ECG")
    rates = reviewed.heart_rate.between(window.start_s, window.end_s)
    limits = _limits_near(reviewed, paper.kind, rates.heart_rate_bpm)
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


def _limits_near(reviewed: Reviewed, kind: str, bpm: Floats) -> list[tuple[float, str]]:
    """Return the limit that an event of a kind is about, and others that fit the scale."""
    about = "high" if kind == "high heart rate" else "low"
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
