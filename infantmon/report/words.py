"""Numbers, times and names in words, for people."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta

from infantmon.model.event import NOT_ASSESSABLE, SUPPORTED, Event, Evidence
from infantmon.model.prescription import AVERAGING, averaging_text

_UNITS = (("_bpm", "beats/min"), ("_hz", "Hz"), ("_s", "s"))


def time_text(time_s: float, *, tenths: bool = True) -> str:
    """Return seconds from the recording's start as hours:minutes:seconds."""
    if not math.isfinite(time_s):
        return "?"
    step = 10 if tenths else 1
    whole = round(abs(time_s) * step)
    hours, rest = divmod(whole, 3600 * step)
    minutes, rest = divmod(rest, 60 * step)
    seconds = f"{rest / step:04.1f}" if tenths else f"{rest:02d}"
    return f"{'-' if time_s < 0 and whole else ''}{hours}:{minutes:02d}:{seconds}"


def length_text(length_s: float | None) -> str:
    """Return a length of time in the units in which people say it."""
    if length_s is None or not math.isfinite(length_s):
        return "still open"
    if length_s < 59.95:
        return f"{length_s:.1f} s"
    whole = round(length_s)
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    minutes = round(length_s / 60)
    return f"{minutes // 60} h {minutes % 60:02d} min"


def hours_text(length_s: float) -> str:
    """Return a length of time in hours; below 0.1 h, where two digits tell little, in minutes."""
    hours = length_s / 3600
    if hours < 0.1:
        return length_text(length_s)
    return f"{hours:.1f} h" if hours >= 10 else f"{hours:.2f} h"


def share_text(part: float, whole: float) -> str:
    """Return a share in per cent; a dash where there is nothing to divide by."""
    if not whole > 0:
        return "–"
    percent = 100 * part / whole
    if 0 < percent < 0.1:
        return "< 0.1 %"
    return f"{percent:.1f} %"


def clock_text(started_at: datetime | None, time_s: float, *, dated: bool = True) -> str:
    """Return the wall-clock time of a moment, or nothing where the start is not known."""
    if started_at is None or not math.isfinite(time_s):
        return ""
    return (started_at + timedelta(seconds=round(time_s))).strftime(
        "%Y-%m-%d %H:%M:%S" if dated else "%H:%M:%S"
    )


def number_text(value: float | None, *, digits: int = 0) -> str:
    """Return a number, or a dash where there is none."""
    return "–" if value is None or not math.isfinite(value) else f"{value:.{digits}f}"


def extreme_bpm(event: Event) -> float | None:
    """Return the extreme that counts for the kind of a heart-rate event, if it is known."""
    wanted = event.highest_bpm if event.kind == "high heart rate" else event.lowest_bpm
    return wanted if wanted is not None and math.isfinite(wanted) else None


def extreme_text(event: Event) -> str:
    """Return the extreme rate of a heart-rate event, or nothing."""
    bpm = extreme_bpm(event)
    if bpm is None:
        return ""
    return f"{'highest' if event.kind == 'high heart rate' else 'lowest'} {bpm:.0f}/min"


def first_on_side(reasons: Iterable[Evidence], judgement: str) -> str | None:
    """Return the reason that decided a judgement: the first one on its side, if there is one.

    Whatever is neither supported nor not assessable has something against it.
    """
    side = {SUPPORTED: "for", NOT_ASSESSABLE: NOT_ASSESSABLE}.get(judgement, "against")
    return next((reason.text for reason in reasons if reason.side == side), None)


def main_reason(event: Event) -> str:
    """Return the reason that decided the judgement, or else the first one."""
    decided = first_on_side(event.reasons, event.judgement)
    if decided is not None:
        return decided
    return event.reasons[0].text if event.reasons else ""


def named_value_text(name: str, value: float | str | None) -> str:
    """Return one named value in words: the unit is taken from the end of its name.

    Examples
    --------
    >>> named_value_text("limit_s", 20.0)
    'limit 20 s'
    >>> named_value_text("averaging", "mean of the last 3 RR intervals")
    'averaging: mean of the last 3 RR intervals'
    """
    if isinstance(value, str):
        return f"{name.replace('_', ' ')}: {value}"
    shown = "not set" if value is None else f"{round(value, 2):g}"
    for ending, unit in _UNITS:
        if name.endswith(ending):
            return f"{name.removesuffix(ending).replace('_', ' ')} {shown} {unit}"
    return f"{name.replace('_', ' ')} {shown}"


def rule_text(values: Mapping[str, float | None]) -> str:
    """Return one table of a prescription in words; values that are not set are left out.

    Examples
    --------
    >>> rule_text({"limit_bpm": 80.0, "hold_off_s": 5.0, "average_beats": 8, "average_s": None})
    'limit 80 beats/min, hold off 5 s, mean of the last 8 RR intervals'
    """
    given = {name: value for name, value in values.items() if value is not None}
    said = [named_value_text(name, value) for name, value in given.items() if name not in AVERAGING]
    if given.keys() & set(AVERAGING):
        beats = given.get("average_beats")
        said.append(averaging_text(None if beats is None else int(beats), given.get("average_s")))
    return ", ".join(said)


def limits_text(limits: Mapping[str, float | int | str]) -> str:
    """Return the rule behind an event in one line."""
    words = {"latency_s": "stated_delay_s"}
    return "; ".join(named_value_text(words.get(name, name), limits[name]) for name in limits)
