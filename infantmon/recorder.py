"""A bounded store of events with the waveform around each, that says exactly what it overwrote.

For replay and bench use only, as the monitor beside which it runs.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Mapping
from typing import ClassVar

import numpy as np
import numpy.typing as npt

from infantmon.errors import ArgumentError, require_between, require_number, require_rate
from infantmon.event_store import (
    MOST_LISTED,
    EventStore,
    Overwritten,
    OverwrittenOfKind,
    StoredEvent,
    Waveform,
)
from infantmon.model.arrays import NO_FLOATS, Floats, as_samples
from infantmon.model.carried import Carried
from infantmon.model.clock import Clock
from infantmon.model.event import Change, Event

__all__ = [
    "EventStore",
    "Overwritten",
    "OverwrittenOfKind",
    "Recorder",
    "StoredEvent",
    "Waveform",
]


class Recorder(Carried):
    """Keeps the latest events with the waveform around them, beside a monitor.

    Parameters
    ----------
    rates_hz : mapping of str to float
        Sampling rate of each channel ("ecg", "ecg2", "impedance"), in Hz, as the monitor has them.
    before_s, after_s : float
        Waveform kept before the onset and after the end of an event, in seconds.
    most_events : int
        How many events are kept; the oldest is overwritten first, even if it is still open.
    longest_s : float
        Longest window of one event, in seconds; of a longer one the first part is kept.
    back_s : float
        How far back from the time at which an event becomes known its window can begin, in seconds.

    Raises
    ------
    ArgumentError
        If a setting is out of range.

    Notes
    -----
    What is stored does not depend on how the samples were cut. Memory: `back_s` of samples, what
    one channel is ahead of another, and `most_events` windows of at most `longest_s`.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_rings",
        "_firsts",
        "_kept",
        "_overwritten",
        "_listed",
        "_gone",
    )

    def __init__(
        self,
        rates_hz: Mapping[str, float],
        *,
        before_s: float = 60.0,
        after_s: float = 30.0,
        most_events: int = 100,
        longest_s: float = 300.0,
        back_s: float = 300.0,
    ) -> None:
        if not isinstance(rates_hz, Mapping):
            raise ArgumentError(
                f"rates_hz is a {type(rates_hz).__name__}; pass the rates by channel, such as "
                "Monitor.rates_hz."
            )
        if not rates_hz:
            raise ArgumentError("rates_hz is empty; give the rate of at least one channel, in Hz.")
        self._clocks = {
            role: Clock(require_rate(rate, name=f"rates_hz[{role!r}]"))
            for role, rate in rates_hz.items()
        }
        self._before_s = require_between(before_s, 0.0, 3600.0, name="before_s", unit="s")
        self._after_s = require_between(after_s, 0.0, 3600.0, name="after_s", unit="s")
        self._longest_s = require_between(longest_s, 1.0, 86400.0, name="longest_s", unit="s")
        self._back_s = require_between(back_s, 0.0, 86400.0, name="back_s", unit="s")
        most = require_between(most_events, 1, 10**7, name="most_events", unit="events")
        self._most = int(most)
        self._rings: dict[str, Floats] = dict.fromkeys(self._clocks, NO_FLOATS)
        self._firsts = dict.fromkeys(self._clocks, 0)  # number of each ring's first sample
        self._kept: list[StoredEvent] = []
        self._overwritten: dict[str, OverwrittenOfKind] = {}
        self._listed: list[Overwritten] = []
        self._gone = 0  # the highest number of an event that was overwritten

    def push(
        self,
        changes: Iterable[Change],
        *,
        ecg: npt.ArrayLike | None = None,
        impedance: npt.ArrayLike | None = None,
        ecg2: npt.ArrayLike | None = None,
    ) -> None:
        """Take the samples that a monitor was given, and the changes that it returned for them.

        Parameters
        ----------
        changes : iterable of Change
            What the monitor returned for these samples.
        ecg, impedance, ecg2 : array_like, shape (n,), or None
            The samples it was given.

        Raises
        ------
        ArgumentError
            If a channel has no rate or is not one-dimensional; then nothing has been taken.
        """
        given = {"ecg": ecg, "ecg2": ecg2, "impedance": impedance}
        arrived = {r: as_samples(v, name=r) for r, v in given.items() if v is not None}
        for role in arrived:
            self._require(role)
        self._trim()
        for role, values in arrived.items():
            self._rings[role] = np.concatenate((self._rings[role], values))
        self._take(changes)

    def gap(self, channel: str, changes: Iterable[Change], *, until_s: float) -> None:
        """Take a hole of one channel up to a time, and the monitor's changes for it.

        Parameters
        ----------
        channel : str
            "ecg", "ecg2" or "impedance".
        changes : iterable of Change
            What the monitor returned for the hole.
        until_s : float
            Its end, in seconds of the stream.

        Raises
        ------
        ArgumentError
            If the channel has no rate, or the time is no finite number.
        """
        self._require(channel)
        until_s = require_number(until_s, name="until_s", unit="s")
        self._trim()
        clock = self._clocks[channel]
        tick = clock.first_tick_from(until_s - 0.5 / clock.rate_hz)
        missing = max(tick - self._arrived(channel), 0)
        self._rings[channel] = np.concatenate((self._rings[channel], np.full(missing, math.nan)))
        self._take(changes)

    def finish(self, changes: Iterable[Change]) -> EventStore:
        """Take the last changes, and return the store as it stands at the end."""
        self._take(changes)
        return self.store

    @property
    def store(self) -> EventStore:
        """The events kept now, and what was overwritten."""
        kept = tuple(self._closed(stored) for stored in self._kept)
        return EventStore(kept, dict(self._overwritten), tuple(self._listed))

    # Samples -----------------------------------------------------------------------------------

    def _require(self, role: str) -> None:
        if role not in self._clocks:
            raise ArgumentError(
                f"channel {role!r} has no rate here; the recorder was made for "
                f"{', '.join(self._clocks)}."
            )

    def _arrived(self, role: str) -> int:
        return self._firsts[role] + len(self._rings[role])

    def _trim(self) -> None:
        """Drop the samples that no window can need any more."""
        reached_s = min(clock.time_s(self._arrived(r) - 1) for r, clock in self._clocks.items())
        for role, clock in self._clocks.items():
            first = max(clock.first_tick_from(reached_s - self._back_s - 1.0), 0)
            surplus = min(first - self._firsts[role], len(self._rings[role]))
            if surplus > 0:
                self._rings[role] = self._rings[role][surplus:]
                self._firsts[role] += surplus

    def _extended(self, stored: StoredEvent) -> StoredEvent:
        """Return a stored event with what has arrived of its window meanwhile."""
        until_s = min(stored.until_s, stored.from_s + self._longest_s)
        waveforms = {}
        for role, clock in self._clocks.items():
            held = stored.waveforms.get(role)
            start = max(clock.first_tick_from(stored.from_s), self._firsts[role])
            if held is not None:
                start = held.first_sample + len(held.values)
            stop = clock.first_tick_from(until_s)
            first = self._firsts[role]
            more = self._rings[role][max(start - first, 0) : max(stop - first, 0)]
            if held is None:
                waveforms[role] = Waveform(clock.rate_hz, start, more.copy())
            elif len(more):
                values = np.concatenate((held.values, more))
                waveforms[role] = dataclasses.replace(held, values=values)
            else:
                waveforms[role] = held
        return dataclasses.replace(stored, waveforms=waveforms)

    def _closed(self, stored: StoredEvent) -> StoredEvent:
        """Return a stored event with its window cut to length, and whether all of it is there."""
        waveforms, complete = {}, stored.until_s < math.inf
        for role, clock in self._clocks.items():
            form = stored.waveforms[role]
            first = max(clock.first_tick_from(stored.from_s), 0)
            wanted = math.inf
            if stored.until_s < math.inf:
                wanted = clock.first_tick_from(stored.until_s)
                count = max(wanted - form.first_sample, 0)
                form = dataclasses.replace(form, values=form.values[:count])
            waveforms[role] = form
            complete &= (
                form.first_sample == first and form.first_sample + len(form.values) == wanted
            )
        return dataclasses.replace(stored, waveforms=waveforms, complete=bool(complete))

    # Events ------------------------------------------------------------------------------------

    def _take(self, changes: Iterable[Change]) -> None:
        for change in changes:
            if change.event is not None:
                self._put(change.event, change.known_s)
        self._kept = [self._extended(stored) for stored in self._kept]

    def _put(self, event: Event, known_s: float) -> None:
        if event.number <= self._gone:
            return  # it has been overwritten, and told so
        until_s = math.inf if event.end_s is None else event.end_s + self._after_s
        for place, stored in enumerate(self._kept):
            if stored.event.number == event.number:
                changed = dataclasses.replace(stored, event=event, until_s=until_s)
                self._kept[place] = changed
                return
        from_s = max(event.onset_s - self._before_s, known_s - self._back_s, 0.0)
        complete_from_s = max(event.onset_s - self._before_s, 0.0)
        stored = StoredEvent(event, from_s, until_s, {}, from_s == complete_from_s)
        self._kept.append(stored)
        while len(self._kept) > self._most:
            self._overwrite(self._kept.pop(0).event)

    def _overwrite(self, event: Event) -> None:
        tally = self._overwritten.get(event.kind)
        onset_s = event.onset_s
        self._overwritten[event.kind] = OverwrittenOfKind(
            count=1 if tally is None else tally.count + 1,
            first_onset_s=onset_s if tally is None else min(tally.first_onset_s, onset_s),
            last_onset_s=onset_s if tally is None else max(tally.last_onset_s, onset_s),
        )
        listed = Overwritten(event.number, event.kind, event.onset_s, event.end_s)
        self._listed = [*self._listed, listed][-MOST_LISTED:]
        self._gone = max(self._gone, event.number)
