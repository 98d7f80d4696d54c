"""A recording and its limits without anything that could tell whose they are."""

from __future__ import annotations

import dataclasses
import re

from infantmon.model.prescription import Infant, Prescription
from infantmon.model.recording import Recording

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


def plan_without_identity(plan: Prescription) -> Prescription:
    """Return the limits without who is watched and who set them; the age in weeks stays."""
    weeks = plan.infant.postmenstrual_age_weeks if plan.infant is not None else None
    infant = None if weeks is None else Infant(postmenstrual_age_weeks=weeks)
    return plan.model_copy(update={"infant": infant, "prescriber": None})
