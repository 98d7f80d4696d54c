"""The UTC offset of a start time in words, for formats that have no place of their own for it."""

from __future__ import annotations

import re
from datetime import datetime, timedelta, timezone

_TOLD = re.compile(r"\bUTC([+-])(\d\d):([0-5]\d)\b")


def offset_words(started_at: datetime | None) -> str | None:
    """Return the UTC offset as "UTC+01:00"; None where the start has none, or not in minutes.

    Examples
    --------
    >>> from datetime import timedelta, timezone
    >>> offset_words(datetime(2031, 3, 1, tzinfo=timezone(timedelta(hours=-9, minutes=-30))))
    'UTC-09:30'
    """
    offset = None if started_at is None else started_at.utcoffset()
    if offset is None or offset % timedelta(minutes=1):
        return None
    minutes = round(offset.total_seconds() / 60)
    hours, rest = divmod(abs(minutes), 60)
    return f"UTC{'-' if minutes < 0 else '+'}{hours:02d}:{rest:02d}"


def with_offset(started_at: datetime | None, text: str) -> datetime | None:
    """Return a start time with the UTC offset that a text states, if it states one.

    Parameters
    ----------
    started_at : datetime or None
        Without an offset.
    text : str
        May hold "UTC+01:00" as a word.
    """
    found = _TOLD.search(text)
    if started_at is None or found is None or int(found[2]) > 23:
        return started_at
    minutes = int(found[2]) * 60 + int(found[3])
    offset = timedelta(minutes=-minutes if found[1] == "-" else minutes)
    return started_at.replace(tzinfo=timezone(offset))
