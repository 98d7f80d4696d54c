"""A recording: the channels of one infant over one stretch of time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from infantmon.errors import (
    ArgumentError,
    RecordingError,
    require_each,
    require_kind,
    require_mapping,
    require_text,
)
from infantmon.model.channel import Channel, require_channel
from infantmon.model.display import notebook_html

ROLES = ("ecg", "ecg2", "impedance")
"""What a channel can be to the signal chain."""
ROLE_WORDS = {"ecg": "ECG", "ecg2": "second ECG lead", "impedance": "chest impedance"}
"""What people call a channel, by its role."""
SHORT_ROLE_WORDS = {"ecg": "ECG", "ecg2": "second lead", "impedance": "impedance"}
"""The same where there is little room, as beside a trace."""


@dataclass(frozen=True, eq=False)
class Recording:
    """Channels of one infant, by role.

    Parameters
    ----------
    channels : mapping of str to Channel
        Keys are "ecg", "ecg2" (a second lead) and "impedance". At least one must be there; what is
        missing is reviewed as "not recorded".
    name : str
        What to call the recording in reports.
    started_at : datetime or None
        Wall-clock time of the start, where it is known.
    notes : tuple of str
        What the reader had to decide or could not read (a truncation, a channel chosen).

    Raises
    ------
    ArgumentError
        If a key is not a role, a value is not a `Channel`, or name, start or notes are of another
        kind.
    RecordingError
        If no channel holds a sample, or the channels do not overlap in time.

    Examples
    --------
    >>> impedance = Channel([500.0] * 100, rate_hz=50.0, unit="ohm")
    >>> recording = Recording({"impedance": impedance}, name="night 1")
    >>> recording.end_s, recording.ecg
    (2.0, None)
    """

    channels: Mapping[str, Channel]
    name: str = "recording"
    started_at: datetime | None = None
    notes: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        called = 'channels by role, such as {"ecg": infantmon.Channel(...)}'
        require_mapping(self.channels, name="channels", called=called)
        unknown = sorted(set(map(str, self.channels)) - set(ROLES))
        if unknown or not self.channels:
            raise ArgumentError(
                f"the channels are {sorted(map(str, self.channels))}; use some of "
                f"{', '.join(ROLES)} as keys."
            )
        require_text(self.name, name="name")
        if self.started_at is not None:
            require_kind(self.started_at, datetime, name="started_at", called="a datetime")
        notes = require_each(self.notes, str, name="notes", called="texts")
        object.__setattr__(self, "notes", notes)
        ordered = {role: self.channels[role] for role in ROLES if role in self.channels}
        object.__setattr__(self, "channels", ordered)  # tables and pictures keep one order
        filled = [require_channel(c, key=k) for k, c in ordered.items()]
        filled = [channel for channel in filled if channel.sample_count]
        if not filled:
            raise RecordingError(
                f"{self.name} holds no samples; nothing can be reviewed. Check the file or arrays."
            )
        early = min(channel.start_s for channel in filled)
        if early < 0:
            raise RecordingError(
                f"a channel of {self.name} starts at {early:g} s, before the recording; "
                "count times from the start of the earliest channel."
            )
        latest, earliest = max(c.start_s for c in filled), min(c.end_s for c in filled)
        if latest >= earliest:
            raise RecordingError(
                f"the channels of {self.name} do not overlap in time: one starts at {latest:g} s, "
                f"after another has ended at {earliest:g} s. Check their start times."
            )

    @property
    def ecg(self) -> Channel | None:
        """The ECG, or None where none was recorded."""
        return self._filled("ecg")

    @property
    def ecg2(self) -> Channel | None:
        """The second ECG lead, or None where none was recorded."""
        return self._filled("ecg2")

    @property
    def impedance(self) -> Channel | None:
        """The chest impedance, or None where none was recorded."""
        return self._filled("impedance")

    def _filled(self, role: str) -> Channel | None:
        channel = self.channels.get(role)
        return channel if channel is not None and channel.sample_count else None

    @property
    def end_s(self) -> float:
        """When the last channel ends, in seconds from the start."""
        return max(channel.end_s for channel in self.channels.values() if channel.sample_count)

    def _repr_html_(self) -> str:
        """Show channels, and what they look like, in a notebook."""
        return notebook_html("recording", self)

    def __repr__(self) -> str:
        listed = ", ".join(f"{role}={channel!r}" for role, channel in self.channels.items())
        return f"Recording({self.name}: {listed})"
