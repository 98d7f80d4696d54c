"""A summary of downloads as plain data: for JSON, for the page, for the screen."""

from __future__ import annotations

import json
from datetime import date, datetime
from typing import Any

from infantmon.downloads.summary import HOUR_S, PER_HOURS, DownloadsSummary
from infantmon.model.counting import counted
from infantmon.model.event import DOUBTFUL, NOT_ASSESSABLE, SUPPORTED
from infantmon.recorded.decisions import DECISIONS
from infantmon.report.cautions import BLIND_SPOT, NOTICE
from infantmon.report.export import finite
from infantmon.report.plain_table import plain_table
from infantmon.report.published import published_for

FORMAT = "infantmon downloads 1"
JUDGEMENTS = (SUPPORTED, DOUBTFUL, NOT_ASSESSABLE)
CLOCK = (
    "Days run from midnight to midnight on the recorder's clock as it was stored. Time that two "
    "downloads hold counts once; time between downloads is no use. Usable: every recorded channel "
    "could be used. Known-input test periods count nowhere."
)
NOTHING_FOUND = f"A stretch without an event is no stretch without apneas: {BLIND_SPOT}."


class Called:
    """How days and downloads are called: by date and name, or by number alone.

    Parameters
    ----------
    summary : DownloadsSummary
        What is told.
    identity : bool
        Whether dates and names are told.
    """

    def __init__(self, summary: DownloadsSummary, *, identity: bool) -> None:
        self._identity = identity
        self._names = {name: f"download {n}" for n, name in enumerate(summary.names, start=1)}
        firsts = [day.day for day in summary.days]
        self._first = firsts[0] if firsts else None

    def download(self, name: str) -> str:
        """Return what a download is called."""
        return name if self._identity else self._names.get(name, "a download")

    def day(self, day: date) -> str:
        """Return what a day is called."""
        if self._identity or self._first is None:
            return day.isoformat()
        return f"day {(day - self._first).days + 1}"

    def moment(self, at: datetime | None) -> str:
        """Return a day with its clock time, to the minute."""
        if at is None:
            return "start not known"
        return f"{self.day(at.date())} {at:%H:%M}"


def downloads_plain(summary: DownloadsSummary, *, identity: bool = False) -> dict[str, Any]:
    """Return a summary as plain data, with the cautions and the published figures beside.

    Parameters
    ----------
    summary : DownloadsSummary
        From `summarise_downloads`.
    identity : bool
        Whether dates and names of downloads are told; without, days and downloads have numbers.
    """
    called = Called(summary, identity=identity)
    unread = summary.unread.items()
    plain = {
        "format": FORMAT,
        "notice": NOTICE,
        "about": [CLOCK, NOTHING_FOUND],
        "downloads": [called.download(name) for name in summary.names],
        "without_start": [called.download(name) for name in summary.undated],
        "unread": [
            {"download": name if identity else f"unread {n}", "why": why if identity else "damaged"}
            for n, (name, why) in enumerate(unread, start=1)
        ],
        "recorded_h": summary.recorded_s / HOUR_S,
        "usable_h": summary.usable_s / HOUR_S,
        "overlap_h": summary.overlap_s / HOUR_S,
        "events_counted_in_an_earlier_download": summary.left_out,
        "test_periods": summary.tests,
        "days_looked_at": len(summary.days),
        "days_used": summary.days_used,
        "prescribed_hours_a_day": summary.prescribed.hours_a_day if summary.prescribed else None,
        "share_of_prescribed_days": summary.share_of_days,
        "share_of_prescribed_hours": summary.share_of_hours,
        "use_by_day": [
            {
                "day": called.day(day.day),
                "recorded_h": day.recorded_s / HOUR_S,
                "usable_h": day.usable_s / HOUR_S,
                "breathing_and_heart_events": day.events,
            }
            for day in summary.days
        ],
        "events": [
            {
                "kind": each.kind,
                "count": each.count,
                **{judgement: each.judgements.get(judgement, 0) for judgement in JUDGEMENTS},
                "readers": {d: each.decisions[d] for d in DECISIONS if each.decisions.get(d)},
            }
            for each in summary.events
        ],
        "alarms_for_each_10_h": [
            {
                "group": load.group,
                "count": load.count,
                "rate": load.rate,
                "interval_95": [load.low, load.high],
            }
            for load in summary.loads
        ],
        "longest_stretches_without_breathing_or_heart_event": [
            {
                "from": called.moment(free.start),
                "until": called.moment(free.end),
                "recorded_h": free.recorded_s / HOUR_S,
                "usable_h": free.usable_s / HOUR_S,
            }
            for free in summary.free
        ],
        "limits_in_force": [
            {
                "download": called.download(change.download),
                "since": called.moment(change.since),
                "limits": dict(change.limits),
            }
            for change in summary.limits
        ],
        "published": [
            {"figure": one.figure, "population": one.population, "source": one.source}
            for one in published_for(("use", "alarms"))
        ],
    }
    return dict(finite(plain))


def downloads_json_text(summary: DownloadsSummary, *, identity: bool = False) -> str:
    """Return a summary as JSON text; parameters as in `downloads_plain`."""
    plain = downloads_plain(summary, identity=identity)
    return json.dumps(plain, allow_nan=False, ensure_ascii=False, indent=1)


def downloads_text(summary: DownloadsSummary, width: int, *, identity: bool = False) -> str:
    """Return the figures as tables of plain text, no line longer than `width` characters."""
    plain = downloads_plain(summary, identity=identity)
    hours = f"{hours_digits(plain['recorded_h'])} h recorded"
    hours += f", {hours_digits(plain['usable_h'])} h usable"
    days_told = counted(len(summary.days), "day")
    on_days = f", on {summary.days_used} of {days_told}" if summary.days else ""
    parts = [f"{counted(len(summary.names), 'download')}: {hours}{on_days}"]
    if summary.share_of_hours is not None:
        parts.append(f"share of the prescribed hours: {100.0 * summary.share_of_hours:.0f} %")
    parts += [
        f"could not be read, in no figure: {one['download']}: {one['why']}"
        for one in plain["unread"]
    ]
    if summary.undated:
        parts.append(f"start not known, in no day: {', '.join(plain['without_start'])}")
    days = [
        (
            day["day"],
            hours_digits(day["recorded_h"]),
            hours_digits(day["usable_h"]),
            str(day["breathing_and_heart_events"]),
        )
        for day in plain["use_by_day"]
    ]
    if days:
        parts += ["", plain_table(("day", "recorded h", "usable h", "events"), days, width)]
    kinds = [
        (e["kind"], str(e["count"]), *(str(e[j]) for j in JUDGEMENTS)) for e in plain["events"]
    ]
    table = plain_table(("kind", "events", *JUDGEMENTS), kinds, width) if kinds else "no event"
    parts += ["", table]
    loads = [
        (a["group"], str(a["count"]), _rate_text(a["rate"]), _interval_text(a["interval_95"]))
        for a in plain["alarms_for_each_10_h"]
    ]
    head = ("alarms", "count", f"for each {PER_HOURS:g} h", "95 % interval")
    parts += ["", plain_table(head, loads, width)]
    return "\n".join(parts)


def hours_digits(hours: float) -> str:
    """Return hours in digits: two places below one hour, of which one tells little."""
    return f"{hours:.1f}" if hours >= 1.0 or hours == 0.0 else f"{hours:.2f}"


def _rate_text(rate: float | None) -> str:
    return "-" if rate is None else f"{rate:.2f}"


def _interval_text(ends: list[float | None]) -> str:
    return f"{_rate_text(ends[0])} to {_rate_text(ends[1])}"
