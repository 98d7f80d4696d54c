"""Many downloads of one infant in figures: use, events, alarms, stretches without, limits."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from scipy import stats

from infantmon.downloads.download import Download, FoundEvent, without_tests
from infantmon.downloads.stretches import Stretch, joined, within, without
from infantmon.errors import ArgumentError, require_between, require_each, require_kind
from infantmon.model.prescription import kinds_in_order
from infantmon.report.summary import TECHNICAL

HOUR_S, DAY_S = 3600.0, 86400.0
PER_HOURS = 10.0  # alarms are told for so many hours, as the published figures are
LONGEST_COUNT = 5  # stretches without an event that are listed
BREATHING_AND_HEART, CONTACT_AND_SIGNAL = "breathing and heart", "contact and signal"


@dataclass(frozen=True)
class Prescribed:
    """Days, and hours a day, that a monitor was prescribed for.

    Attributes
    ----------
    first, last : date
        First and last day, both included.
    hours_a_day : float or None
        Hours prescribed a day; None where none were set.
    """

    first: date
    last: date
    hours_a_day: float | None = None

    def __post_init__(self) -> None:
        for name in ("first", "last"):
            if type(getattr(self, name)) is not date:
                told = type(getattr(self, name)).__name__
                raise ArgumentError(f"{name} is a {told}; pass a datetime.date.")
        if self.last < self.first:
            raise ArgumentError(
                f"the prescribed days end on {self.last}, before they begin on {self.first}; "
                "give them in order."
            )
        if self.hours_a_day is not None:
            require_between(self.hours_a_day, 0.1, 24.0, name="hours_a_day", unit="h")


@dataclass(frozen=True)
class UseOfDay:
    """One calendar day.

    Attributes
    ----------
    day : date
        The day, midnight to midnight on the recorder's clock.
    recorded_s, usable_s : float
        Recorded, and of that with every recorded channel usable, in seconds.
    events : int
        Breathing and heart events that begin in it, whatever their judgement.
    """

    day: date
    recorded_s: float
    usable_s: float
    events: int


@dataclass(frozen=True)
class EventsOfKind:
    """Events of one kind: how many of each judgement, and what readers decided of them."""

    kind: str
    judgements: Mapping[str, int]
    decisions: Mapping[str, int]

    @property
    def count(self) -> int:
        """How many there are."""
        return sum(self.judgements.values())


@dataclass(frozen=True)
class AlarmLoad:
    """Alarms of a group of kinds for each ten hours recorded.

    Attributes
    ----------
    group : str
        "breathing and heart" or "contact and signal".
    count : int
        Alarms: events that went active.
    rate, low, high : float
        For each ten hours recorded, and its 95 % interval; NaN without hours.
    """

    group: str
    count: int
    rate: float
    low: float
    high: float


@dataclass(frozen=True)
class Free:
    """A stretch from one breathing or heart event to the next, on the recorder's clock.

    Attributes
    ----------
    start, end : datetime
        From the end of one event to the onset of the next; or from the first, to the last record.
    recorded_s, usable_s : float
        Of it: recorded, and recorded with every channel usable, in seconds.
    """

    start: datetime
    end: datetime
    recorded_s: float
    usable_s: float


@dataclass(frozen=True)
class LimitChange:
    """Limits in force from a download on: all of the first one, afterwards what differs."""

    download: str
    since: datetime | None
    limits: Mapping[str, str]


@dataclass(frozen=True)
class DownloadsSummary:
    """All downloads of one infant.

    Attributes
    ----------
    names : tuple of str
        Downloads that were read, those with a known start first, in order of time.
    undated : tuple of str
        Downloads whose start is not known: in every count, but in no day and no stretch.
    unread : mapping of str to str
        Downloads that could not be read, and why; they are in no figure.
    recorded_s, usable_s : float
        Over all, each time once, in seconds.
    overlap_s : float
        Recorded in more than one download, in seconds; it counts once.
    left_out : int
        Events that begin in such a time and were counted in the earlier download already.
    tests : int
        Known-input test periods; neither their time nor their events count.
    days : tuple of UseOfDay
        Every day from the first to the last, days without a record too.
    prescribed : Prescribed or None
        What use is compared with.
    events : tuple of EventsOfKind
        By kind.
    loads : tuple of AlarmLoad
        Alarms for each ten hours.
    free : tuple of Free
        The longest stretches without a breathing or heart event, by usable hours.
    limits : tuple of LimitChange
        Limits in force, and when they changed.
    """

    names: tuple[str, ...]
    undated: tuple[str, ...]
    unread: Mapping[str, str]
    recorded_s: float
    usable_s: float
    overlap_s: float
    left_out: int
    tests: int
    days: tuple[UseOfDay, ...]
    prescribed: Prescribed | None
    events: tuple[EventsOfKind, ...]
    loads: tuple[AlarmLoad, ...]
    free: tuple[Free, ...]
    limits: tuple[LimitChange, ...]

    @property
    def days_used(self) -> int:
        """Days of those looked at with any record."""
        return sum(day.recorded_s > 0.0 for day in self.days)

    @property
    def share_of_days(self) -> float | None:
        """Share of the prescribed days with any record; None where none were prescribed."""
        return self.days_used / len(self.days) if self.prescribed and self.days else None

    @property
    def share_of_hours(self) -> float | None:
        """Recorded hours over prescribed ones, each day for no more than prescribed; or None."""
        if self.prescribed is None or self.prescribed.hours_a_day is None or not self.days:
            return None
        wanted_s = self.prescribed.hours_a_day * HOUR_S
        return sum(min(d.recorded_s, wanted_s) for d in self.days) / (wanted_s * len(self.days))


@dataclass(frozen=True)
class _Laid:
    """Dated downloads laid on one axis: seconds since midnight before the first of them."""

    zero: datetime
    recorded: list[Stretch]
    usable: list[Stretch]
    events: list[tuple[float, FoundEvent]]
    overlap_s: float
    left_out: int

    def when(self, at_s: float) -> datetime:
        return self.zero + timedelta(seconds=at_s)


def summarise_downloads(
    downloads: Sequence[Download],
    *,
    prescribed: Prescribed | None = None,
    unread: Mapping[str, str] | None = None,
) -> DownloadsSummary:
    """Sum up many downloads of one infant.

    Parameters
    ----------
    downloads : sequence of Download
        In any order; they may overlap and leave gaps.
    prescribed : Prescribed or None
        Days and hours that use is compared with; only these days are looked at then.
    unread : mapping of str to str or None
        Downloads that could not be read, and why.

    Returns
    -------
    DownloadsSummary

    Raises
    ------
    ArgumentError
        If an argument is of another kind.

    Notes
    -----
    Days run from midnight to midnight on the recorder's clock as it was stored; a clock that was
    set anew, or a change to summer time, is not mended. A time that two downloads hold counts
    once, and an event that begins in it counts in the earlier download. The interval of an alarm
    rate is that of a Poisson count (Garwood 1936, from memory): it takes alarms as independent,
    which they are not quite.
    """
    downloads = require_each(downloads, Download, name="downloads", called="Download objects")
    if prescribed is not None:
        require_kind(prescribed, Prescribed, name="prescribed", called="a Prescribed")
    dated = sorted(
        (d for d in downloads if d.started_at is not None), key=lambda d: (d.started_at, d.name)
    )
    undated = [d for d in downloads if d.started_at is None]
    laid = _lay(dated)
    loose = [_usable(d) for d in undated]
    counted = [event for _, event in laid.events] if laid else []
    for download in undated:
        counted += without_tests(download.events, download.tests)
    recorded_s = sum(within(_recorded(d), 0.0, math.inf) for d in undated)
    usable_s = sum(within(one, 0.0, math.inf) for one in loose)
    if laid:
        recorded_s += within(laid.recorded, -math.inf, math.inf)
        usable_s += within(laid.usable, -math.inf, math.inf)
    return DownloadsSummary(
        tuple(d.name for d in (*dated, *undated)),
        tuple(d.name for d in undated),
        dict(unread or {}),
        recorded_s,
        usable_s,
        laid.overlap_s if laid else 0.0,
        laid.left_out if laid else 0,
        sum(len(d.tests) for d in downloads),
        _days(laid, prescribed),
        prescribed,
        _by_kind(counted),
        _loads(counted, recorded_s / HOUR_S),
        _free(laid),
        _limits((*dated, *undated)),
    )


def _recorded(download: Download) -> list[Stretch]:
    return without([(0.0, download.recorded_s)], download.tests)


def _usable(download: Download) -> list[Stretch]:
    lost = [stretch for spans in download.unusable.values() for stretch in spans]
    return without(_recorded(download), lost)


def _lay(dated: Sequence[Download]) -> _Laid | None:
    if not dated or dated[0].started_at is None:
        return None
    zero = datetime.combine(dated[0].started_at.date(), datetime.min.time())
    recorded: list[Stretch] = []
    usable: list[Stretch] = []
    events: list[tuple[float, FoundEvent]] = []
    overlap_s, left_out = 0.0, 0
    for download in dated:
        if download.started_at is None:
            continue
        at_s = (download.started_at - zero).total_seconds()
        own = [(start + at_s, end + at_s) for start, end in _recorded(download)]
        overlap_s += sum(within(recorded, *stretch) for stretch in own)
        for event in without_tests(download.events, download.tests):
            onset_s = event.onset_s + at_s
            if any(start <= onset_s < end for start, end in recorded):
                left_out += 1
            else:
                events.append((at_s, event))
        # Where two downloads hold a time, the earlier one tells whether it could be used.
        fresh = [(start + at_s, end + at_s) for start, end in _usable(download)]
        usable = joined([*usable, *without(fresh, recorded)])
        recorded = joined([*recorded, *own])
    events.sort(key=lambda one: one[0] + one[1].onset_s)
    return _Laid(zero, recorded, usable, events, overlap_s, left_out)


def _days(laid: _Laid | None, prescribed: Prescribed | None) -> tuple[UseOfDay, ...]:
    if prescribed is not None:
        first, last = prescribed.first, prescribed.last
    elif laid and laid.recorded:
        first = laid.zero.date()
        last = laid.when(laid.recorded[-1][1] - 1e-6).date()
    else:
        return ()
    count = (last - first).days + 1
    days = []
    for day in (first + timedelta(days=number) for number in range(count)):
        if laid is None:
            days.append(UseOfDay(day, 0.0, 0.0, 0))
            continue
        start_s = (datetime.combine(day, datetime.min.time()) - laid.zero).total_seconds()
        end_s = start_s + DAY_S
        onsets = [at + e.onset_s for at, e in laid.events if e.kind not in TECHNICAL]
        days.append(
            UseOfDay(
                day,
                within(laid.recorded, start_s, end_s),
                within(laid.usable, start_s, end_s),
                sum(start_s <= onset < end_s for onset in onsets),
            )
        )
    return tuple(days)


def _by_kind(events: Sequence[FoundEvent]) -> tuple[EventsOfKind, ...]:
    return tuple(
        EventsOfKind(
            kind,
            Counter(e.judgement for e in events if e.kind == kind),
            Counter(d for e in events if e.kind == kind for d in e.decisions),
        )
        for kind in kinds_in_order(event.kind for event in events)
    )


def _loads(events: Sequence[FoundEvent], hours: float) -> tuple[AlarmLoad, ...]:
    technical = sum(event.kind in TECHNICAL for event in events)
    counts = {BREATHING_AND_HEART: len(events) - technical, CONTACT_AND_SIGNAL: technical}
    return tuple(AlarmLoad(group, count, *_rate(count, hours)) for group, count in counts.items())


def _rate(count: int, hours: float) -> tuple[float, float, float]:
    if not hours > 0.0:
        return math.nan, math.nan, math.nan
    each = PER_HOURS / hours
    low = 0.5 * stats.chi2.ppf(0.025, 2 * count) if count else 0.0
    high = 0.5 * stats.chi2.ppf(0.975, 2 * count + 2)
    return count * each, float(low) * each, float(high) * each


def _free(laid: _Laid | None) -> tuple[Free, ...]:
    if laid is None or not laid.recorded:
        return ()
    found, start_s = [], laid.recorded[0][0]
    for at_s, event in laid.events:
        if event.kind in TECHNICAL:
            continue
        found.append((start_s, at_s + event.onset_s))
        start_s = max(start_s, at_s + event.end_s)
    found.append((start_s, laid.recorded[-1][1]))
    rows = [
        Free(
            laid.when(start),
            laid.when(end),
            within(laid.recorded, start, end),
            within(laid.usable, start, end),
        )
        for start, end in found
        if end > start
    ]
    return tuple(sorted(rows, key=lambda row: -row.usable_s)[:LONGEST_COUNT])


def _limits(downloads: Sequence[Download]) -> tuple[LimitChange, ...]:
    changes: list[LimitChange] = []
    before: Mapping[str, str] = {}
    for download in downloads:
        now = download.limits
        if not changes:
            changes.append(LimitChange(download.name, download.started_at, dict(now)))
        elif now != before:
            differ = [
                kind
                for kind in kinds_in_order((*before, *now))
                if before.get(kind) != now.get(kind)
            ]
            told = {kind: now.get(kind, "not watched any more") for kind in differ}
            changes.append(LimitChange(download.name, download.started_at, told))
        before = now
    return tuple(changes)
