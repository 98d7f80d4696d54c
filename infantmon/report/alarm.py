"""When the alarm would have started and stopped, read from the changes of the conditions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from infantmon.model.event import ACTIVE, Change


@dataclass(frozen=True, slots=True)
class AlarmTimes:
    """When a monitor would have started and stopped an alarm, in seconds of the recording.

    `stop_s` is None where the condition was still active at the end of the recording.
    """

    start_s: float
    stop_s: float | None = None


def alarm_times(changes: Iterable[Change]) -> Mapping[int, AlarmTimes]:
    """Return the alarm of each event by its number.

    It starts when the condition goes active and stops when the condition is known to be over; a
    latched indicator may stay on after that, until someone resets it.
    """
    found: dict[int, AlarmTimes] = {}
    for change in changes:
        if change.event is None:
            continue
        number = change.event.number
        if number not in found:
            found[number] = AlarmTimes(change.event.known_s)
        if change.state != ACTIVE and found[number].stop_s is None:
            found[number] = AlarmTimes(found[number].start_s, change.known_s)
    return found
