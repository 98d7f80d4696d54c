"""Records of one infant joined: in time by when they began, or side by side."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime

from infantmon.errors import RecordingError
from infantmon.model.arrays import Floats
from infantmon.model.channel import Channel, StoredSamples
from infantmon.model.recording import ROLES, Recording

WHOLE_SECOND_S = 1.0
"""Start times are often whole seconds: an overlap up to this is their rounding (project rule).
One of less than a sample is rounding whatever the time; up to a sample of the slowest channel it
may be the filling of a last frame, or record."""


def joined(recordings: Sequence[Recording]) -> Recording:
    """Return the recordings as one; where none of them holds a channel, it was not recorded.

    Each lies where its start time says. Records without any start time can be joined only if no
    channel is in two of them: they are taken to begin together.

    Raises
    ------
    RecordingError
        If a recording has no start time, two overlap in a channel, or one changes its rate or unit.
    """
    undated = [recording for recording in recordings if recording.started_at is None]
    if len(undated) == len(recordings) and _hold_other_channels(recordings):
        names = ", ".join(recording.name for recording in recordings)
        note = f"{names} have no start times; they are taken to begin together"
        return _as_one(recordings, [0.0] * len(recordings), None, [note])
    return _joined_in_time(recordings)


def _hold_other_channels(recordings: Sequence[Recording]) -> bool:
    roles = [role for recording in recordings for role in recording.channels]
    return len(set(roles)) == len(roles)


def _joined_in_time(recordings: Sequence[Recording]) -> Recording:
    dated = [(_start(recording), recording) for recording in recordings]
    if len({start.tzinfo is None for start, _ in dated}) > 1:
        raise RecordingError(
            "some records state a UTC offset and others none "
            f"({', '.join(r.name for r in recordings)}); they cannot be joined in time."
        )
    dated.sort(key=lambda entry: entry[0])
    zero, notes = dated[0][0], []
    placed: list[tuple[float, Recording]] = []
    for start, record in dated:
        offset = (start - zero).total_seconds()
        end_s, before = _latest_of_same_channels(placed, record)
        if before is not None and end_s > offset:
            overlap = end_s - offset
            _check_overlap(before, record, start, overlap)
            if overlap > _sample_s(before, max):
                notes.append(
                    f"{record.name} begins {overlap:.3f} s before {before.name} ends, as start "
                    "times in whole seconds and filled-up ends make it; it was put right after it"
                )
            offset = end_s
        placed.append((offset, record))
    return _as_one([record for _, record in placed], [offset for offset, _ in placed], zero, notes)


def _latest_of_same_channels(
    placed: Sequence[tuple[float, Recording]], record: Recording
) -> tuple[float, Recording | None]:
    """Return when the channels of a record end in those before it, at the latest, and in which."""
    latest: tuple[float, Recording | None] = (0.0, None)
    for offset, before in placed:
        for role in before.channels.keys() & record.channels.keys():
            end_s = offset + before.channels[role].end_s
            latest = max(latest, (end_s, before), key=lambda entry: entry[0])
    return latest


def _as_one(
    ordered: Sequence[Recording],
    offsets: Sequence[float],
    started_at: datetime | None,
    notes: list[str],
) -> Recording:
    channels = {role: _joined(role, ordered, offsets, notes) for role in ROLES}
    for recording in ordered:
        notes += [f"{recording.name}: {note}" for note in recording.notes]
    return Recording(
        {role: channel for role, channel in channels.items() if channel is not None},
        name=" + ".join(recording.name for recording in ordered),
        started_at=started_at,
        notes=tuple(notes),
    )


def _start(recording: Recording) -> datetime:
    if recording.started_at is None:
        raise RecordingError(
            f"{recording.name} has no start date and time, so it cannot be joined with others that "
            "hold the same channels. Read it alone, or write its date and time into its header."
        )
    return recording.started_at


def _check_overlap(before: Recording, record: Recording, start: datetime, overlap: float) -> None:
    most_s = _sample_s(before, min) if start.microsecond else WHOLE_SECOND_S
    if overlap >= most_s:
        raise RecordingError(
            f"{record.name} begins at {start.isoformat(sep=' ')}, {overlap:.3f} s before "
            f"{before.name} ends; records of one infant must not overlap. Are they of one infant?"
        )


def _sample_s(recording: Recording, which: Callable[[Iterable[float]], float]) -> float:
    """Return how long a sample of the fastest (max) or the slowest (min) channel lasts."""
    return 1.0 / which(c.rate_hz for c in recording.channels.values() if c.sample_count)


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
    covered = [(offset + channel.start_s, offset + channel.end_s) for _, offset, channel in having]
    lacking = [
        r.name
        for r, offset in zip(recordings, offsets, strict=True)
        if role not in r.channels
        and not any(start < offset + r.end_s and offset < end for start, end in covered)
    ]
    if lacking:
        notes.append(f"no {role} in {', '.join(lacking)}")
    return Channel.joined(pieces, first.rate_hz, first.unit, first.name)
