"""One download: what a stored review says of when it was, what it found, and under which limits."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from infantmon.downloads.stretches import Stretch
from infantmon.errors import RecordingError, require_path
from infantmon.formats.files import readable_file, told_clearly
from infantmon.recorded.decisions import Decisions
from infantmon.recorded.event import TEST
from infantmon.report.export import FORMAT, events_as_json
from infantmon.report.reviewed import Reviewed
from infantmon.report.words import rule_text

REVIEW_FILES = ("events.json", "review.json")
"""A stored review: as `infantmon review` names it, and as `Review.to_json` is mostly asked to."""
DECISIONS_FILE = "decisions.json"
TESTS_FILE = "recorded.json"
TABLES = (
    "apnea",
    "low_heart_rate",
    "high_heart_rate",
    "no_heart_beat",
    "contact_loss",
    "periodic_breathing",
)
"""Tables of a prescription that set limits."""


@dataclass(frozen=True, slots=True)
class FoundEvent:
    """An event of a download.

    Attributes
    ----------
    kind : str
        Its kind.
    onset_s, end_s : float
        In seconds from the download's start; the end of the download where it was still open.
    judgement : str
        The library's: "supported", "doubtful" or "not assessable".
    decisions : tuple of str
        What readers decided of it, the last of each reader.
    """

    kind: str
    onset_s: float
    end_s: float
    judgement: str
    decisions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Download:
    """One download of one infant.

    Attributes
    ----------
    name : str
        What it is called; a file's folder, as a rule.
    started_at : datetime or None
        Clock time of its start as the recorder had it, without its offset; None where not known.
    recorded_s : float
        Its length, in seconds.
    unusable : mapping of str to tuple of (float, float)
        By channel: stretches that could not be used, in seconds from the start.
    events : tuple of FoundEvent
        In order of onset.
    limits : mapping of str to str
        Limits in force, in words, by kind of condition; a kind that is not in it is not watched.
    tests : tuple of (float, float)
        Known-input test periods, in seconds; nothing in them counts.
    """

    name: str
    started_at: datetime | None
    recorded_s: float
    unusable: Mapping[str, tuple[Stretch, ...]]
    events: tuple[FoundEvent, ...]
    limits: Mapping[str, str]
    tests: tuple[Stretch, ...] = ()


def download_of(
    reviewed: Reviewed,
    *,
    name: str = "",
    tests: Sequence[Stretch] = (),
    decisions: Decisions | None = None,
) -> Download:
    """Return what a review says as a download.

    Parameters
    ----------
    reviewed : Reviewed
        A review.
    name : str
        What to call it; by default the recording's name.
    tests : sequence of (float, float)
        Known-input test periods, in seconds from the start.
    decisions : Decisions or None
        What readers decided.
    """
    plain = json.loads(events_as_json(reviewed))
    called = name or reviewed.recording.name
    return _from_plain(plain, called, tuple(tests), decisions or Decisions())


def review_file(folder: Path) -> Path:
    """Return the stored review of a folder, or where it would be if there is none."""
    places = [folder / name for name in REVIEW_FILES]
    return next((place for place in places if place.is_file()), places[0])


def read_download(path: str | Path) -> Download:
    """Read a stored review, with the readers' decisions and test periods beside it.

    Parameters
    ----------
    path : str or path
        The folder of a review, or its JSON file. ``decisions.json`` and ``recorded.json`` (for its
        known-input test periods) in the same folder are read too, where they are.

    Raises
    ------
    RecordingError
        If a file is missing, damaged, or of another format.
    """
    place = require_path(path)
    file = review_file(place) if place.is_dir() else place
    source = readable_file(file, what="a stored review")
    with told_clearly(source, "a stored review"):
        plain = json.loads(source.read_text(encoding="utf-8"))
        if not isinstance(plain, dict) or plain.get("format") != FORMAT or "events" not in plain:
            raise RecordingError(f"{source} is no stored review of format {FORMAT}; pass another.")
        decided = file.with_name(DECISIONS_FILE)
        decisions = Decisions.read(decided) if decided.exists() else Decisions()
        called = file.parent.name if file.name in REVIEW_FILES else file.stem
        return _from_plain(plain, called, _tests(file.with_name(TESTS_FILE)), decisions)


def _tests(path: Path) -> tuple[Stretch, ...]:
    if not path.exists():
        return ()
    source = readable_file(path, what="a list of recorded events")
    with told_clearly(source, "a list of recorded events"):
        listed = json.loads(source.read_text(encoding="utf-8")).get("tests", [])
        return tuple(
            (float(one["onset_s"]), float(one["end_s"]))
            for one in listed
            if one.get("onset_s") is not None and one.get("end_s") is not None
        )


def _from_plain(
    plain: Mapping[str, Any], name: str, tests: tuple[Stretch, ...], decisions: Decisions
) -> Download:
    recording = plain["recording"]
    length_s = float(recording["recorded_s"])
    started = recording["started_at"]
    lasts = [decisions.last_by(reader) for reader in decisions.readers]
    events = (_event(one, length_s, lasts) for one in plain["events"])
    return Download(
        name,
        datetime.fromisoformat(started).replace(tzinfo=None) if started else None,
        length_s,
        {
            role: tuple((float(one["start_s"]), float(one["end_s"])) for one in spans)
            for role, spans in recording["unusable"].items()
        },
        tuple(sorted(events, key=lambda event: event.onset_s)),
        _limits(plain["prescription"]),
        tests,
    )


def _event(
    one: Mapping[str, Any], length_s: float, lasts: Sequence[Mapping[Any, str]]
) -> FoundEvent:
    """Return an event with the last decision of each reader."""
    onset_s, end_s = float(one["onset_s"]), one["end_s"]
    key = "", one["kind"], onset_s, end_s
    decided = tuple(last[key] for last in lasts if key in last)
    until_s = length_s if end_s is None else float(end_s)
    return FoundEvent(one["kind"], onset_s, until_s, one["judgement"], decided)


def _limits(prescription: Mapping[str, Any]) -> dict[str, str]:
    found = {}
    for table in TABLES:
        given = prescription.get(table)
        if given:
            found[table.replace("_", " ")] = rule_text(given)
    return found


def without_tests(events: Iterable[FoundEvent], tests: Sequence[Stretch]) -> list[FoundEvent]:
    """Return the events of which no part lies in a known-input test period."""
    return [
        event
        for event in events
        if event.kind != TEST
        and not any(event.onset_s < end and event.end_s > start for start, end in tests)
    ]
