"""Drawings that stand alone: the strip of an event, or a day, as SVG for notebooks and files."""

from __future__ import annotations

import os
from dataclasses import dataclass

from infantmon.errors import ArgumentError, require_path
from infantmon.formats.files import write_whole
from infantmon.model.counting import counted
from infantmon.model.event import Event
from infantmon.recorded.event import RecordedEvent
from infantmon.report.alarm import alarm_times
from infantmon.report.recorded_strips import recorded_strip_of
from infantmon.report.rendering import templates_for
from infantmon.report.reviewed import Reviewed
from infantmon.report.strip import strip_of
from infantmon.report.timeline import timelines_of


@dataclass(frozen=True)
class Drawing:
    """A picture as SVG. It shows itself in a notebook.

    Parameters
    ----------
    svg : str
        The whole picture; it needs nothing from elsewhere.
    title : str
        What it shows, in words.
    """

    svg: str
    title: str

    def save(self, path: str | os.PathLike[str]) -> None:
        """Write the picture as an SVG file, whole or not at all.

        Parameters
        ----------
        path : str or path
            A name that ends in .svg.

        Raises
        ------
        ArgumentError
            If the file name does not end in .svg: no other format is written.
        ArgumentError
            If the folder does not exist, or nothing can be written to it.
        """
        if require_path(path).suffix.lower() != ".svg":
            raise ArgumentError(f"the file is {os.fspath(path)}; drawings are saved as .svg only.")
        write_whole(path, self.svg)

    def _repr_svg_(self) -> str:
        """Show the picture in a notebook."""
        return self.svg

    def __repr__(self) -> str:
        return f"Drawing({self.title})"


def draw_event(reviewed: Reviewed, event: Event | int) -> Drawing:
    """Return the strip of one event, given itself or by its number.

    Parameters
    ----------
    reviewed : Reviewed
        A review, as it is to be shown.
    event : Event or int
        One of its events, or its number.

    Raises
    ------
    ArgumentError
        If the review has no such event.
    """
    number = event.number if isinstance(event, Event) else event
    found = next((one for one in reviewed.events if one.number == number), None)
    if found is None:
        count = counted(len(reviewed.events), "event")
        raise ArgumentError(f"event {number!r} is not in this review; it has {count}.")
    alarm = alarm_times(reviewed.changes).get(found.number)
    strip = strip_of(reviewed, found, alarm=alarm)
    svg = templates_for(reviewed).get_template("strip.svg").render(strip=strip, alone=True)
    return Drawing(svg.strip(), f"event {found.number}: {found.kind}, {found.judgement}")


def draw_recorded(reviewed: Reviewed, recorded: RecordedEvent) -> Drawing:
    """Return the strip of one recorded event: its listed span, and what was found in it.

    Parameters
    ----------
    reviewed : Reviewed
        A review with recorded events, as it is to be shown.
    recorded : RecordedEvent
        One of them.

    Raises
    ------
    ArgumentError
        If it is none of the review's, or has no place in the recording.
    """
    judged = () if reviewed.recorded is None else reviewed.recorded.judged
    one = next((one for one in judged if one.recorded == recorded), None)
    if one is None:
        raise ArgumentError(
            f"the recorded event is {recorded!r}; pass one that this review has judged."
        )
    strip = recorded_strip_of(reviewed, one)
    if strip is None:
        raise ArgumentError(
            f"row {recorded.row} has no place in the recording (0 to {reviewed.recorded_s:g} s), "
            "so there is nothing to draw; its reasons tell why."
        )
    svg = templates_for(reviewed).get_template("strip.svg").render(strip=strip, alone=True)
    return Drawing(svg.strip(), f"row {recorded.row}: {recorded.kind}, {one.judgement}")


def draw_day(reviewed: Reviewed, day: int) -> Drawing:
    """Return the timeline of one day of the recording, 1 for the first.

    Parameters
    ----------
    reviewed : Reviewed
        A review, as it is to be shown.
    day : int
        1 for the first 24 h.

    Raises
    ------
    ArgumentError
        If the recording has no such day.
    """
    lines = timelines_of(reviewed)
    if isinstance(day, bool) or not isinstance(day, int) or not 1 <= day <= len(lines):
        raise ArgumentError(f"day is {day!r}; this recording has the days 1 to {len(lines)}.")
    line = lines[day - 1]
    svg = templates_for(reviewed).get_template("timeline.svg").render(line=line, alone=True)
    return Drawing(svg.strip(), f"{line.title} of {reviewed.recording.name}")
