"""The templates of the page and of single drawings; everything that they print is escaped."""

from __future__ import annotations

import functools
import math
from datetime import timedelta

import jinja2

from infantmon.recorded.decisions import Decisions
from infantmon.report.decided import decided_briefly, decided_texts, key_text
from infantmon.report.recorded_strips import when_text
from infantmon.report.reviewed import Reviewed, linked_events
from infantmon.report.summary import event_length_s
from infantmon.report.words import (
    clock_text,
    extreme_bpm,
    extreme_text,
    hours_text,
    length_text,
    limits_text,
    main_reason,
    share_text,
    time_text,
)


def templates_of(package: str) -> jinja2.Environment:
    """Return the templates of a package; everything that they print is escaped.

    Parameters
    ----------
    package : str
        Its name; the templates lie in its folder ``templates``. What is not there, such as the
        plain style of a page, is looked for among those of the review page.
    """
    own = jinja2.PackageLoader(package)
    return jinja2.Environment(
        loader=jinja2.ChoiceLoader([own, jinja2.PackageLoader("infantmon.report")]),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def templates() -> jinja2.Environment:
    """Return the templates of what needs no review; everything that they print is escaped."""
    environment = templates_of("infantmon.report")
    environment.globals["alone"] = False  # a drawing on the page needs no style of its own
    environment.filters.update({"px": px, "plain": plain, "time": time_text})
    return environment


def templates_with(decisions: Decisions) -> jinja2.Environment:
    """Return the templates with the filters that know what readers decided.

    Parameters
    ----------
    decisions : Decisions
        As they are to be shown.
    """
    environment = templates()
    environment.filters.update(
        {
            "decided": functools.partial(decided_texts, decisions),
            "decided_briefly": functools.partial(decided_briefly, decisions),
            "key": key_text,
            "when": when_text,
            "duration": length_text,
            "hours": hours_text,
            "share": share_text,
            "extreme": extreme_text,
            "extreme_bpm": extreme_bpm,
            "main_reason": main_reason,
            "limits": lambda event: limits_text(event.limits),
        }
    )
    return environment


def templates_for(reviewed: Reviewed) -> jinja2.Environment:
    """Return the templates with the filters that know a review."""
    environment = templates_with(reviewed.decisions)
    started_at = reviewed.recording.started_at
    environment.filters.update(
        {
            "clock": functools.partial(clock_text, started_at, dated=_over_midnight(reviewed)),
            "linked": lambda event: [other.number for other in linked_events(event, reviewed)],
            "event_length": lambda event: event_length_s(event, reviewed.recorded_s),
        }
    )
    return environment


def _over_midnight(reviewed: Reviewed) -> bool:
    """Tell whether times of the clock need their date."""
    start = reviewed.recording.started_at
    return start is not None and (
        (start + timedelta(seconds=reviewed.recorded_s)).date() != start.date()
    )


def px(value: float) -> str:
    """Return a place on the page with one decimal, without needless zeros."""
    return f"{value:.1f}".removesuffix(".0")


def plain(value: float | None) -> str:
    """Return a number for the script; nothing where there is none."""
    return "" if value is None or not math.isfinite(value) else f"{value:.3f}"
