"""Records of one infant joined in time, by the wall-clock times at which they began."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from itertools import pairwise

from infantmon.errors import RecordingError
from infantmon.model.arrays import Floats
from infantmon.model.channel import Channel, StoredSamples
from infantmon.model.recording import ROLES, Recording

WHOLE_SECOND_S = 1.0
"""Start times are often whole seconds: an overlap up to this is their rounding (project rule)."""


def joined_in_time(recordings: Sequence[Recording]) -> Recording:
    """Return the recordings as one; between them nothing was recorded.

    Raises
    ------
    RecordingError
        If a recording has no start time, they overlap, or a channel changes its rate or unit.
    """
    dated = [(_start(recording), recording) for recording in recordings]
    if len({start.tzinfo is None for start, _ in dated}) > 1:
        raise RecordingError(
            "some records state a UTC offset and others none "
            f"({', '.join(r.name for r in recordings)}); they cannot be joined in time."
        )
    dated.sort(key=lambda entry: entry[0])
    zero, offsets, notes = dated[0][0], [0.0], []
    for (_, before), (start, record) in pairwise(dated):
        offset = (start - zero).total_seconds()
        overlap = offsets[-1] + before.end_s - offset
        if overlap > 0.0:
            _check_overlap(before, record, start, overlap)
            notes.append(
                f"{record.name} begins {overlap:.3f} s before {before.name} ends, by start times "
                "in whole seconds; it was put right after it"
            )
            offset += overlap
        offsets.append(offset)
    ordered = [recording for _, recording in dated]
    channels = {role: _joined(role, ordered, offsets, notes) for role in ROLES}
    for recording in ordered:
        notes += [f"{recording.name}: {note}" for note in recording.notes]
    return Recording(
        {role: channel for role, channel in channels.items() if channel is not None},
        name=" + ".join(recording.name for recording in ordered),
        started_at=zero,
        notes=tuple(notes),
    )


def _start(recording: Recording) -> datetime:
    if recording.started_at is None:
        raise RecordingError(
            f"{recording.name} has no start date and time, so it cannot be joined with others. "
            "Read it alone, or write its date and time into its header."
        )
    return recording.started_at


def _check_overlap(before: Recording, record: Recording, start: datetime, overlap: float) -> None:
    if overlap >= WHOLE_SECOND_S or start.microsecond:
        raise RecordingError(
            f"{record.name} begins at {start.isoformat(sep=' ')}, {overlap:.3f} s before "
            f"{before.name} ends; records of one infant must not overlap. Are they of one infant?"
        )


def _joined(
    role: str, recordings: Sequence[Recording], offsets: Sequence[float], notes: list[str]
) -> Channel | None:
    """Return one channel over all recordings, or None where none has it."""
    having = [
        (r, o, r.channels[role])
        for r, o in zip(recordings, offsets, strict=True)
        if role in r.channels
    ]
    if not having:
        return None
    first_of, _, first = having[0]
    pieces: list[tuple[float, Floats | StoredSamples]] = []
    for recording, offset, channel in having:
        if abs(channel.rate_hz / first.rate_hz - 1.0) > 1e-6 or channel.unit != first.unit:
            raise RecordingError(
                f"{role} has {first.rate_hz:g} Hz, {first.unit or 'unit not stated'} in "
                f"{first_of.name} and {channel.rate_hz:g} Hz, {channel.unit or 'unit not stated'} "
                f"in {recording.name}; only equal rates and units can be joined."
            )
        if channel.name != first.name:
            notes.append(f"{role} is {channel.name} in {recording.name}, {first.name} before")
        pieces += [
            (offset + channel.clock.time_s(segment.first_tick), segment.samples)
            for segment in channel.segments
        ]
    lacking = [r.name for r in recordings if role not in r.channels]
    if lacking:
        notes.append(f"no {role} in {', '.join(lacking)}")
    return Channel.joined(pieces, first.rate_hz, first.unit, first.name)
