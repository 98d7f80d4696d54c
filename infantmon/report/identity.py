"""A recording and its limits without anything that could tell whose they are."""

from __future__ import annotations

import copy
import dataclasses

from infantmon.model.channel import Channel
from infantmon.model.prescription import Infant, Prescription
from infantmon.model.recording import Recording
from infantmon.report.words import ROLE_WORDS

NAMELESS = "recording (identity left out)"


def recording_without_identity(recording: Recording) -> Recording:
    """Return the recording without name, date, the file's channel names and the reader's notes.

    The samples are shared, not copied. Channels are named after what they are.
    """
    channels = {role: _renamed(channel, role) for role, channel in recording.channels.items()}
    return dataclasses.replace(
        recording, channels=channels, name=NAMELESS, started_at=None, notes=()
    )


def _renamed(channel: Channel, role: str) -> Channel:
    other = copy.copy(channel)
    other.name = ROLE_WORDS.get(role, role)
    return other


def plan_without_identity(plan: Prescription) -> Prescription:
    """Return the limits without who is watched and who set them; the age in weeks stays."""
    weeks = plan.infant.postmenstrual_age_weeks if plan.infant is not None else None
    infant = None if weeks is None else Infant(postmenstrual_age_weeks=weeks)
    return plan.model_copy(update={"infant": infant, "prescriber": None})
