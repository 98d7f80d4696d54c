"""What a review says of known pauses: supported, doubtful, not assessable, or nothing."""

from __future__ import annotations

from collections import Counter
from typing import Final

import infantmon as im
from infantmon.model.arrays import Floats
from infantmon.model.event import DOUBTFUL, NOT_ASSESSABLE, SUPPORTED, Event
from infantmon.model.recording import Recording

NOT_LISTED: Final = "not listed"
SAID: Final = (SUPPORTED, DOUBTFUL, NOT_ASSESSABLE, NOT_LISTED)
SURELY_S: Final = 0.5  # beyond the limit: marks may lie so far off


def apnea_plan(limit_s: float) -> im.Prescription:
    """Return an apnea limit; an example, not a recommendation."""
    return im.Prescription.model_validate({"apnea": {"limit_s": limit_s}})


def heard(recording: Recording, *, ecg: bool) -> Recording:
    """Return the impedance of a recording with its ECG, or without it."""
    roles = ("impedance", "ecg") if ecg else ("impedance",)
    channels = {role: recording.channels[role] for role in roles}
    return Recording(channels, name=recording.name)


def said_in_review(recording: Recording, pauses_s: Floats, limit_s: float) -> Counter[str]:
    """Review a recording, and count what is said of the pauses that are surely beyond a limit.

    Parameters
    ----------
    recording : Recording
        Its impedance, with an ECG or without.
    pauses_s : numpy.ndarray, shape (n, 2)
        The breaths before and after each pause.
    limit_s : float
        The apnea limit.
    """
    apneas = im.review(recording, apnea_plan(limit_s)).events.of_kind("apnea")
    long = pauses_s[:, 1] - pauses_s[:, 0] >= limit_s + SURELY_S
    middles_s = pauses_s[long].mean(axis=1).tolist()
    return Counter(said_of(apneas, middle_s) for middle_s in middles_s)


def said_of(apneas: im.EventLog | list[Event], time_s: float) -> str:
    """Return the judgement of the apnea that holds a time."""
    for event in apneas:
        if event.onset_s < time_s and (event.end_s is None or event.end_s > time_s):
            return event.judgement
    return NOT_LISTED
