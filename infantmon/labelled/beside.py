"""Labels in a file beside a recording of any format: WFDB annotations of beats or of breaths."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from infantmon.errors import RecordingError
from infantmon.formats.wfdb_annotations import read_annotations
from infantmon.labelled.database import Labelled
from infantmon.labelled.wfdb_folder import flutter
from infantmon.model.recording import Recording

BEATS, BREATHS = "beats", "breaths"
BEAT_NUMBERS = frozenset((*range(1, 14), 25, 30, 34, 35, 38, 41))
"""Codes of the format that stand for a beat: those of `wfdb_folder.BEAT_CODES` as numbers.

References
----------
Annotation codes (ecgcodes.h), WFDB Applications Guide, PhysioNet.
"""
_FLUTTER_BEGINS, _FLUTTER_ENDS = 32, 33
_NO_BREATHS = (14, 28)
"""Changes of signal quality and of rhythm; any other mark in a file of breaths is one."""


def with_labels_beside(recording: Recording, labels: Path, what: str) -> Labelled:
    """Return a recording with the labels of a file.

    Parameters
    ----------
    recording : Recording
        The recording.
    labels : pathlib.Path
        WFDB annotations that state their rate, or count in that of a header beside them.
    what : str
        "beats": marks that the format calls a beat count; "breaths": every mark does, but for
        changes of quality and rhythm.

    Raises
    ------
    RecordingError
        If the file is missing, damaged, holds no such mark, or marks what lies outside the
        recording.
    """
    marks = read_annotations(labels)
    times_s, end_s = marks.time_s, recording.end_s
    beats = np.isin(marks.code, sorted(BEAT_NUMBERS))
    keep = beats if what == BEATS else ~np.isin(marks.code, _NO_BREATHS)
    kept = np.unique(times_s[keep])
    if not len(kept):
        raise RecordingError(
            f"{labels} marks no {what}; give the ending of the right files, or leave it out."
        )
    if not 0.0 <= kept[0] <= kept[-1] <= end_s:
        raise RecordingError(
            f"{labels} marks {what} from {kept[0]:.3f} to {kept[-1]:.3f} s, the recording lasts "
            f"{end_s:.3f} s; the labels belong to another rate or recording."
        )
    if what == BREATHS:
        return Labelled(recording, breaths_s=(kept,))
    signs = np.where(marks.code == _FLUTTER_BEGINS, "[", "")
    signs = np.where(marks.code == _FLUTTER_ENDS, "]", signs)
    return Labelled(recording, beats_s=kept, set_apart=flutter(signs, times_s))
