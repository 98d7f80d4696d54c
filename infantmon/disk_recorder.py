"""A monitor whose samples, changes and events are on disk before they are acknowledged.

For replay and bench use only, not on an infant.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Self

import numpy.typing as npt

from infantmon import disk_tables as disk
from infantmon.errors import (
    InfantmonError,
    StateError,
    require_between,
    require_kind,
    require_path,
    require_whole,
)
from infantmon.event_store import EventStore, StoredEvent, Waveform
from infantmon.model.arrays import Floats, as_samples
from infantmon.model.carried import decode, encode
from infantmon.model.clock import Clock
from infantmon.model.event import Change, Event
from infantmon.monitor import Monitor

SAVE_EVERY_S = 60.0
"""The monitor is saved so often, in seconds of the stream: so much is replayed after a kill."""
CHANGES_AN_EVENT = 20
"""So many changes are held for each event that may be held; older ones go."""


class DiskRecorder:
    """Keeps the latest events with the waveform around them, on disk, together with the monitor.

    Made by `begin` or `reopen`. What `push`, `gap`, `reset` and `finish` return is on the disk by
    then, in one transaction with the samples it came from: a process killed at any instant finds
    with `reopen` all that was acknowledged, and nothing twice. The source goes on with the samples
    after `arrived`.

    Notes
    -----
    Bounded: the latest `most_events` events are held, with windows of at most `longest_s`, and
    `back_s` of samples; the oldest events make room first, and `store` tells how many of each
    kind, from when to when, and lists the latest `MOST_LISTED` of them one by one.

    One process at a time; SQLite refuses a second writer.
    """

    def __init__(self, path: Path, monitor: Monitor, settings: dict[str, float]) -> None:
        self._path = path
        self._monitor = monitor
        self._settings = settings
        self._clocks = {role: Clock(rate) for role, rate in monitor.rates_hz.items()}
        self._tables = disk.connect(path, new=False)
        self._count = 0  # changes so far
        self._saved_s = -math.inf
        self._trimmed_s = -math.inf
        self._failed = False  # the monitor may have taken what the disk has not
        self._closed = False

    @classmethod
    def begin(
        cls,
        path: str | Path,
        monitor: Monitor,
        *,
        before_s: float = 60.0,
        after_s: float = 30.0,
        most_events: int = 1000,
        longest_s: float = 300.0,
        back_s: float = 300.0,
    ) -> Self:
        """Make a new file for a monitor that has not been pushed yet.

        Parameters
        ----------
        path : str or Path
            The file; it must not be there.
        monitor : Monitor
            The recorder feeds it from now on; nobody else may.
        before_s, after_s : float
            Waveform kept before the onset and after the end of an event, in seconds.
        most_events : int
            How many events are kept; the oldest is overwritten first, even if it is still open.
        longest_s : float
            Longest window of one event, in seconds; of a longer one the first part is kept.
        back_s : float
            How far back samples are held that belong to no event yet, in seconds.

        Returns
        -------
        DiskRecorder

        Raises
        ------
        ArgumentError
            If a setting is out of range.
        StateError
            If the file is there, or cannot be made; or if the monitor has been pushed already.
        """
        require_kind(monitor, Monitor, name="monitor", called="an infantmon.Monitor")
        pushed = {role: count for role, count in monitor.arrived.items() if count}
        if pushed:
            raise StateError(
                f"the monitor has taken {pushed} samples already; what they gave would be missing "
                "on disk. Begin with a new monitor."
            )
        settings = {
            "before_s": require_between(before_s, 0.0, 3600.0, name="before_s", unit="s"),
            "after_s": require_between(after_s, 0.0, 3600.0, name="after_s", unit="s"),
            "most_events": require_whole(most_events, 1, 10**7, name="most_events", unit="events"),
            "longest_s": require_between(longest_s, 1.0, 86400.0, name="longest_s", unit="s"),
            "back_s": require_between(back_s, 0.0, 86400.0, name="back_s", unit="s"),
        }
        tables = disk.connect(require_path(path), new=True)
        tables.execute("BEGIN IMMEDIATE")
        disk.put_setting(tables, "recorder", encode(settings))
        disk.put_setting(tables, "monitor", _packed(0, 0, monitor.save()))
        tables.execute("COMMIT")
        tables.close()
        return cls(require_path(path), monitor, settings)

    @classmethod
    def reopen(cls, path: str | Path) -> Self:
        """Go on with a file as it stood after the last acknowledged push.

        Parameters
        ----------
        path : str or Path
            The file.

        Returns
        -------
        DiskRecorder

        Raises
        ------
        StateError
            If the file is not there, is not one of ours, or does not hold together.
        """
        tables = disk.connect(require_path(path), new=False)
        settings = decode(disk.setting(tables, "recorder"))
        saved_at, count, blob = _unpacked(disk.setting(tables, "monitor"))
        monitor = Monitor.resume(blob)
        again = 0
        for role, what, end_s, values in disk.inputs_after(tables, saved_at):
            again += len(_apply(monitor, role, what, end_s, values))
        (held,) = tables.execute("SELECT coalesce(max(number), 0) FROM changes").fetchone()
        tables.close()
        found = cls(require_path(path), monitor, settings)
        if held != count + again:
            raise StateError(f"{path} holds {held} changes, but its samples give {count + again}.")
        found._count = held
        return found

    @property
    def monitor(self) -> Monitor:
        """The monitor, to look at; only the recorder may push to it."""
        return self._monitor

    @property
    def arrived(self) -> dict[str, int]:
        """How many samples of each channel are on disk: the source goes on with the next."""
        return self._monitor.arrived

    @property
    def finished(self) -> bool:
        """Whether `finish` is on disk: a process may be killed between that and its own end."""
        return self._monitor.finished

    @property
    def changes(self) -> list[Change]:
        """The changes that are held, in the order of coming.

        Raises
        ------
        StateError
            If the recorder has been closed.
        """
        self._require_open()
        return disk.changes(self._tables)

    @property
    def changes_count(self) -> int:
        """How many changes there have been, those no longer held included."""
        return self._count

    def push(
        self,
        *,
        ecg: npt.ArrayLike | None = None,
        impedance: npt.ArrayLike | None = None,
        ecg2: npt.ArrayLike | None = None,
    ) -> list[Change]:
        """Take samples as `Monitor.push` does; what it returns is on disk.

        Parameters
        ----------
        ecg, impedance, ecg2 : array_like, shape (n,), or None
            The next samples of each channel.

        Returns
        -------
        list of Change

        Raises
        ------
        ArgumentError, StateError
            As the monitor does; then nothing has been taken, on disk neither.
        """
        given = {"ecg": ecg, "ecg2": ecg2, "impedance": impedance}
        arrived = {r: as_samples(v, name=r) for r, v in given.items() if v is not None}
        firsts = self.arrived
        with self._transaction():
            changes = self._monitor.push(**arrived)
            for role, values in arrived.items():
                if len(values):
                    rate = self._clocks[role].rate_hz
                    disk.put_samples(self._tables, role, firsts[role], values, rate)
            self._keep(changes)
        return changes

    def gap(self, channel: str, *, until_s: float) -> list[Change]:
        """Tell that a channel's samples are lost up to a time, as `Monitor.gap` does.

        Parameters
        ----------
        channel : str
            "ecg", "ecg2" or "impedance".
        until_s : float
            Time of the next sample to come, in seconds.

        Returns
        -------
        list of Change

        Raises
        ------
        ArgumentError, StateError
            As the monitor does.
        """
        first = self.arrived.get(channel, 0)
        with self._transaction():
            changes = self._monitor.gap(channel, until_s=until_s)
            count = self.arrived[channel] - first
            disk.put_gap(self._tables, channel, first, count, self._clocks[channel].rate_hz)
            self._keep(changes)
        return changes

    def reset(self, at_s: float | None = None) -> list[Change]:
        """Reset by a person, as `Monitor.reset` does.

        Parameters
        ----------
        at_s : float or None
            In seconds; by default the latest time that every channel has reached.

        Returns
        -------
        list of Change

        Raises
        ------
        ArgumentError
            If `at_s` is not a finite number.
        """
        at_s = self._monitor.state.reached_s if at_s is None else at_s
        if at_s == -math.inf:
            return []
        with self._transaction():
            changes = self._monitor.reset(at_s)
            disk.put_reset(self._tables, at_s)
            self._keep(changes)
        return changes

    def finish(self) -> EventStore:
        """End the stream, and return the store as it stands then."""
        with self._transaction():
            self._keep(self._monitor.finish(), save=True)
        return self.store

    def __repr__(self) -> str:
        return f"DiskRecorder({self._path.name}: {self._monitor!r})"

    def close(self) -> None:
        """Let go of the file; `reopen` goes on with it."""
        self._closed = True
        self._tables.close()

    @property
    def store(self) -> EventStore:
        """The events that are held with their waveforms, and what was overwritten.

        Raises
        ------
        StateError
            If the recorder has been closed.
        """
        self._require_open()
        stored = tuple(self._stored(*row) for row in disk.events(self._tables))
        return EventStore(stored, *disk.overwritten(self._tables))

    def _require_open(self) -> None:
        if self._closed:
            raise StateError(f"the recorder of {self._path.name} is closed; go on with reopen().")

    # Inside a transaction ----------------------------------------------------------------------

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        self._require_open()
        if self._failed:
            raise StateError(
                "what was given before did not come to the disk in full; go on with reopen()."
            )
        self._tables.execute("BEGIN IMMEDIATE")
        try:
            yield
            self._tables.execute("COMMIT")
        except BaseException as fault:
            # What is refused has changed nothing; else the monitor may be ahead of the disk.
            self._failed = not isinstance(fault, InfantmonError)
            if self._tables.in_transaction:
                self._tables.execute("ROLLBACK")
            raise

    def _keep(self, changes: list[Change], *, save: bool = False) -> None:
        most = int(self._settings["most_events"])
        for change in changes:
            self._count += 1
            disk.put_change(self._tables, self._count, change)
            if change.event is not None:
                self._put(change.event, change.known_s)
                # at once, so that what is told of it does not hang on how the samples were cut
                earliest_s = disk.overwrite_oldest(self._tables, most)
                self._trimmed_s = min(self._trimmed_s, earliest_s)
        if changes:
            oldest = self._count - CHANGES_AN_EVENT * most
            self._tables.execute("DELETE FROM changes WHERE number <= ?", (oldest,))
        if save or self._monitor.state.reached_s >= self._saved_s + SAVE_EVERY_S:
            self._save()

    def _put(self, event: Event, known_s: float) -> None:
        (newest,) = self._tables.execute("SELECT coalesce(min(number), 0) FROM events").fetchone()
        if event.number < newest:
            return  # it has been overwritten, and told so
        from_s = max(
            event.onset_s - self._settings["before_s"], known_s - self._settings["back_s"], 0.0
        )
        until_s = math.inf if event.end_s is None else event.end_s + self._settings["after_s"]
        disk.put_event(self._tables, event, from_s, until_s)

    def _save(self) -> None:
        (latest,) = self._tables.execute("SELECT coalesce(max(id), 0) FROM inputs").fetchone()
        packed = _packed(latest, self._count, self._monitor.save())
        disk.put_setting(self._tables, "monitor", packed)
        self._saved_s = self._monitor.state.reached_s
        before_s = self._saved_s - self._settings["back_s"] - 1.0
        # a window still growing may be cut short later: look back over the longest
        from_s = min(self._trimmed_s, before_s) - self._settings["longest_s"]
        disk.drop_inputs(self._tables, from_s, before_s, latest, self._settings["longest_s"])
        self._trimmed_s = before_s

    def _stored(self, event: Event, from_s: float, until_s: float) -> StoredEvent:
        waveforms, complete = {}, until_s < math.inf
        wanted_s = min(until_s, from_s + self._settings["longest_s"])
        complete &= wanted_s == until_s
        complete &= from_s <= max(event.onset_s - self._settings["before_s"], 0.0)
        for role, clock in self._clocks.items():
            first = max(clock.first_tick_from(from_s), 0)
            after = clock.first_tick_from(wanted_s)
            begin, values = disk.waveform(self._tables, role, first, after)
            waveforms[role] = Waveform(clock.rate_hz, begin, values)
            complete &= begin == first and begin + len(values) == after
        return StoredEvent(event, from_s, until_s, waveforms, bool(complete))


def _apply(monitor: Monitor, role: str, what: str, end_s: float, values: Floats) -> list[Change]:
    """Give a monitor one input again."""
    if what == "reset":
        return monitor.reset(end_s)
    if what == "gap":
        return monitor.gap(role, until_s=end_s)
    push: Callable[..., list[Change]] = monitor.push
    return push(**{role: values})


def _packed(latest: int, count: int, blob: bytes) -> bytes:
    return struct.pack("<QQ", latest, count) + blob


def _unpacked(packed: bytes) -> tuple[int, int, bytes]:
    latest, count = struct.unpack("<QQ", packed[:16])
    return latest, count, packed[16:]
