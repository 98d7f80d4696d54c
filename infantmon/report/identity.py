"""A recording and its limits without anything that could tell whose they are."""

from __future__ import annotations

import dataclasses
import re

from infantmon.model.prescription import Infant, Prescription
from infantmon.model.recording import Recording
from infantmon.recorded.decisions import Decisions
from infantmon.recorded.event import RecordedEvent
from infantmon.recorded.judging import JudgedList

NAMELESS = "recording"
"""What a recording is called where its name is left out."""
JOINT = " + "
"""Between the names of recordings that were joined in time."""


def recording_without_identity(recording: Recording) -> Recording:
    """Return the recording without its name and date; names of files are taken out of the notes.

    The samples are shared, not copied. The channels keep their names: they tell which electrodes
    were read, which a reader has to check.
    """
    notes = tuple(_nameless(note, recording.name) for note in recording.notes)
    return dataclasses.replace(recording, name=NAMELESS, started_at=None, notes=notes)


def _nameless(note: str, name: str) -> str:
    """Return a note in which a number stands for the name of each recording that was joined."""
    parts = name.split(JOINT)
    for place, part in enumerate(parts, start=1):
        called = NAMELESS if len(parts) == 1 else f"{NAMELESS} {place}"
        if part:
            note = re.sub(rf"(?<![^\W_]){re.escape(part)}(?![^\W_])", called, note)
    return note


def recorded_without_identity(judged: JudgedList, name: str) -> JudgedList:
    """Return recorded events without the recording's name, where they name it as their excerpt."""
    rows = (
        dataclasses.replace(one, recorded=_nameless_row(one.recorded, name))
        for one in judged.judged
    )
    return dataclasses.replace(
        judged,
        judged=tuple(rows),
        tests=tuple(_nameless_row(one, name) for one in judged.tests),
        faults=tuple(_nameless(fault, name) for fault in judged.faults),
    )


def decisions_without_identity(decisions: Decisions, name: str) -> Decisions:
    """Return decisions without readers' names, notes, dates, and without the recording's name."""
    return Decisions(
        dataclasses.replace(made, recording=_nameless(made.recording, name))
        for made in decisions.without_identity()
    )


def _nameless_row(one: RecordedEvent, name: str) -> RecordedEvent:
    return dataclasses.replace(one, recording=_nameless(one.recording, name))


def plan_without_identity(plan: Prescription) -> Prescription:
    """Return the limits without who is watched and who set them; the age in weeks stays."""
    weeks = plan.infant.postmenstrual_age_weeks if plan.infant is not None else None
    infant = None if weeks is None else Infant(postmenstrual_age_weeks=weeks)
    return plan.model_copy(update={"infant": infant, "prescriber": None})
