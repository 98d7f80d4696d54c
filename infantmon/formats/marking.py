"""What a review found, as annotations that other programs read: beats, breaths, events."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from infantmon.errors import ArgumentError, require_path, require_text
from infantmon.formats.edf_annotations import TimedNote, write_edf_notes
from infantmon.formats.wfdb_annotations import (
    NORMAL,
    NOTE,
    UNCLASSIFIED,
    Annotation,
    write_annotations,
)
from infantmon.model.event import Event
from infantmon.model.marks import Breaths, RPeaks
from infantmon.model.recording import Recording

EVENT_TICK_HZ = 1000.0
"""Events stand at milliseconds in a WFDB file; their text has all digits."""
BEAT, DOUBTFUL_BEAT, BREATH, SHALLOW = "R peak", "R peak, unreliable", "breath", "shallow breath"
_EVENT = re.compile(
    r"event (\d+): ([^,]+), ([^,]+), onset ([^ ]+) s, (?:end ([^ ]+) s|open at the end)"
)


class Found(Protocol):
    """What is needed of a review."""

    @property
    def recording(self) -> Recording:
        """The channels that were reviewed."""

    @property
    def events(self) -> Sequence[Event]:
        """Excursions that went active."""

    @property
    def r_peaks(self) -> RPeaks:
        """Heart beats."""

    @property
    def breaths(self) -> Breaths:
        """Breaths."""


@dataclass(frozen=True, slots=True)
class EventNote:
    """What the text of an annotation says of an event; times in seconds, None while open."""

    number: int
    kind: str
    judgement: str
    onset_s: float
    end_s: float | None

    @classmethod
    def of(cls, event: Event) -> EventNote:
        """Return what there is to say of an event."""
        return cls(event.number, event.kind, event.judgement, event.onset_s, event.end_s)

    @classmethod
    def parsed(cls, text: str) -> EventNote | None:
        """Return what a text says, or None if it is not about an event."""
        match = _EVENT.fullmatch(text)
        if match is None:
            return None
        number, kind, judgement, onset, end = match.groups()
        return cls(int(number), kind, judgement, float(onset), None if end is None else float(end))

    @property
    def text(self) -> str:
        """The event in words, its times with all their digits."""
        end = "open at the end" if self.end_s is None else f"end {self.end_s!r} s"
        told = f"{self.kind}, {self.judgement}, onset {self.onset_s!r} s, {end}"
        return f"event {self.number}: {told}"


def beat_annotations(beats: RPeaks) -> list[Annotation]:
    """Return beats at their sample numbers; one that is not reliable is not classified."""
    codes = (NORMAL if reliable else UNCLASSIFIED for reliable in beats.reliable.tolist())
    return [Annotation(s, code) for s, code in zip(beats.sample.tolist(), codes, strict=True)]


def breath_annotations(breaths: Breaths) -> list[Annotation]:
    """Return breaths at their sample numbers, as comments: the format has no code for a breath."""
    texts = (SHALLOW if shallow else BREATH for shallow in breaths.shallow.tolist())
    return [
        Annotation(s, NOTE, text) for s, text in zip(breaths.sample.tolist(), texts, strict=True)
    ]


def event_annotations(events: Iterable[Event]) -> list[Annotation]:
    """Return onset and end of each event, as comments at `EVENT_TICK_HZ`."""
    marks = []
    for event in events:
        note = EventNote.of(event)
        marks.append(Annotation(max(round(event.onset_s * EVENT_TICK_HZ), 0), NOTE, note.text))
        if event.end_s is not None:
            text = f"end of event {event.number}: {event.kind}"
            marks.append(Annotation(round(event.end_s * EVENT_TICK_HZ), NOTE, text))
    return sorted(marks, key=lambda mark: mark.sample)


def timed_notes(found: Found) -> list[TimedNote]:
    """Return beats, breaths and events as notes in order of time."""
    beats, breaths = found.r_peaks, found.breaths
    notes = [
        TimedNote(time_s, None, BEAT if reliable else DOUBTFUL_BEAT)
        for time_s, reliable in zip(beats.time_s.tolist(), beats.reliable.tolist(), strict=True)
    ]
    notes += [
        TimedNote(time_s, None, SHALLOW if shallow else BREATH)
        for time_s, shallow in zip(breaths.time_s.tolist(), breaths.shallow.tolist(), strict=True)
    ]
    notes += [TimedNote(e.onset_s, e.length_s, EventNote.of(e).text) for e in found.events]
    return sorted(notes, key=lambda note: note.onset_s)


def write_marks(
    found: Found, folder: str | os.PathLike[str], *, name: str = "review"
) -> list[Path]:
    """Write beats, breaths and events as annotations, WFDB and EDF+; return the paths.

    Parameters
    ----------
    found : Found
        A review.
    folder : str or path
        Where the files go: NAME.beats and NAME.breaths, which count samples of their channel,
        NAME.events, and NAME.edf with all of them. Files of these names are replaced.
    name : str
        Of the files. Left out, nothing of the recording's name is copied.

    Raises
    ------
    ArgumentError
        If the folder does not exist, or this is no review.

    Notes
    -----
    No name, no date and no channel name of the recording is written: times count from its start.
    """
    if not hasattr(found, "r_peaks"):
        raise ArgumentError(f"found is a {type(found).__name__}; pass an infantmon.Review.")
    require_text(name, name="name")
    home, paths = require_path(folder, name="folder"), []
    ecg, impedance = found.recording.ecg, found.recording.impedance
    if ecg is not None:
        marks = beat_annotations(found.r_peaks)
        paths.append(write_annotations(marks, home / f"{name}.beats", rate_hz=ecg.rate_hz))
    if impedance is not None:
        marks = breath_annotations(found.breaths)
        paths.append(write_annotations(marks, home / f"{name}.breaths", rate_hz=impedance.rate_hz))
    marks = event_annotations(found.events)
    paths.append(write_annotations(marks, home / f"{name}.events", rate_hz=EVENT_TICK_HZ))
    paths.append(write_edf_notes(timed_notes(found), home / f"{name}.edf"))
    return paths
