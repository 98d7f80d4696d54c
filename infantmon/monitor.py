"""Signal chain and watch wired for a stream: samples in, alarm-condition changes out.

For replay and bench use only, not for live use on an infant.
"""

from __future__ import annotations

import warnings
from typing import Any, ClassVar, Self

import numpy.typing as npt

from infantmon.chain import AHEAD_S, ChannelSetting, SignalChain
from infantmon.errors import (
    ArgumentError,
    StateError,
    require_between,
    require_kind,
    require_number,
    require_rate,
)
from infantmon.events.watch import Watch
from infantmon.model.arrays import Floats, as_samples
from infantmon.model.carried import Carried, decode, encode
from infantmon.model.event import Change
from infantmon.model.prescription import Prescription, UnusualLimitWarning
from infantmon.monitor_state import MonitorState, Shown

MOST_AHEAD_S = 604800.0
"""What one channel is ahead of another is held in memory: a week at most, in seconds."""


class Monitor(Carried):
    """The whole chain over a stream, for replay and bench use only, not on an infant.

    Parameters
    ----------
    plan : Prescription
        The limits in force.
    ecg_hz, impedance_hz, ecg2_hz : float or None
        Sampling rates, in Hz. A channel without a rate is not there. At least one is needed.
    ecg_unit, impedance_unit : str or None
        Units, where they are known ("mV", "ohm"; a second lead has that of the first). Two checks
        need them: with mV or V complexes of 0.15 mV and less are no beats, with ohm, kohm or mohm
        a base impedance that no attached electrode has is a contact loss. In other units they are
        off.
    ahead_s : float
        How far one channel may run ahead of another, in seconds.

    Raises
    ------
    ArgumentError
        If a rate cannot be used, or none is given; if a unit is no text.

    Notes
    -----
    A live source must call `gap` when a channel falls silent: the monitor waits for every channel.
    The changes are equal however the channels are cut and interleaved. Memory is bounded by what
    one channel is ahead of another.

    Examples
    --------
    The limits are an example, not a recommendation.

    >>> import numpy as np
    >>> plan = Prescription(apnea={"limit_s": 20}, contact_loss={"delay_s": 5})
    >>> monitor = Monitor(plan, impedance_hz=50.0, impedance_unit="ohm")
    >>> changes = monitor.push(impedance=np.full(1000, 500.0))
    >>> [(round(c.known_s, 2), c.kind, c.state) for c in changes][-1]
    (5.5, 'contact loss', 'active')
    """

    carried: ClassVar[tuple[str, ...]] = ("_chain", "_watch", "_shown", "_resets", "_finished")

    def __init__(
        self,
        plan: Prescription,
        *,
        ecg_hz: float | None = None,
        impedance_hz: float | None = None,
        ecg2_hz: float | None = None,
        ecg_unit: str | None = None,
        impedance_unit: str | None = None,
        ahead_s: float = AHEAD_S,
    ) -> None:
        _require_plan(plan)
        asked = {
            "ecg": (ecg_hz, ecg_unit),
            "ecg2": (ecg2_hz, ecg_unit),
            "impedance": (impedance_hz, impedance_unit),
        }
        channels = {
            role: ChannelSetting(require_rate(rate, name=f"{role}_hz"), unit)
            for role, (rate, unit) in asked.items()
            if rate is not None
        }
        if not channels:
            raise ArgumentError(
                "no channel is announced; give a rate of some of ecg_hz, impedance_hz, ecg2_hz, "
                "in Hz."
            )
        self.plan = plan
        self._ahead_s = require_between(ahead_s, 0.0, MOST_AHEAD_S, name="ahead_s", unit="s")
        self._chain = SignalChain(channels)
        self._watch = Watch(plan, self._chain.latencies, tuple(channels))
        self._shown = Shown()
        self._resets: list[float] = []  # asked for, but not reached yet
        self._finished = False

    def push(
        self,
        *,
        ecg: npt.ArrayLike | None = None,
        impedance: npt.ArrayLike | None = None,
        ecg2: npt.ArrayLike | None = None,
    ) -> list[Change]:
        """Take whatever samples have arrived, and return the changes that are known now.

        Parameters
        ----------
        ecg, impedance, ecg2 : array_like, shape (n,), optional
            The next samples of each channel; each may have any length.

        Returns
        -------
        list of Change
            Ordered by `known_s` and kind.

        Raises
        ------
        ArgumentError
            If a channel was not announced, is not one-dimensional, or would run too far ahead;
            then nothing has been consumed.
        StateError
            After `finish`.
        """
        self._require_unfinished()
        given = {"ecg": ecg, "ecg2": ecg2, "impedance": impedance}
        arrived: dict[str, Floats] = {
            role: as_samples(values, name=role)
            for role, values in given.items()
            if values is not None
        }
        seconds = {r: len(v) / self._chain.inbox(r).clock.rate_hz for r, v in arrived.items()}
        self._chain.require_room(seconds, self._ahead_s)
        for role, values in arrived.items():
            self._chain.inbox(role).put(values)
        return self._advance()

    def gap(self, channel: str, *, until_s: float) -> list[Change]:
        """Tell that a channel's samples are lost up to a time; return the changes known now.

        Parameters
        ----------
        channel : str
            "ecg", "ecg2" or "impedance".
        until_s : float
            Time of the next sample to come, in seconds from the start.

        Raises
        ------
        ArgumentError
            If samples up to that time have been pushed already, or the channel would run too far
            ahead.
        StateError
            After `finish`.
        """
        self._require_unfinished()
        inbox = self._chain.inbox(channel)
        until_s = require_number(until_s, name="until_s", unit="s")
        if until_s < inbox.ended_s - 0.5 / inbox.clock.rate_hz:
            raise ArgumentError(
                f"until_s is {until_s:g} s, but {channel} has been pushed up to "
                f"{inbox.ended_s:g} s; a gap can only follow the last sample."
            )
        self._chain.require_room({channel: until_s - inbox.ended_s}, self._ahead_s)
        inbox.put_missing_until(until_s)
        return self._advance()

    def finish(self) -> list[Change]:
        """End the stream, and return all that is left to say.

        Raises
        ------
        StateError
            If the stream has been finished before.
        """
        self._require_unfinished()
        changes = self._advance(last=True)
        self._finished = True
        return changes

    def reset(self, at_s: float | None = None) -> list[Change]:
        """Reset by a person: latched conditions become absent, active ones stay active.

        Parameters
        ----------
        at_s : float or None
            Acts on all that has changed by then, in seconds; by default the latest time that every
            channel has reached. A time not reached yet is waited for.

        Returns
        -------
        list of Change
            What the reset changed; empty where it has to be waited for.

        Raises
        ------
        ArgumentError
            If `at_s` is not a finite number.
        StateError
            If `at_s` lies after the end of a stream that has been finished.
        """
        if at_s is None:
            at_s = self._chain.reached_s
        elif require_number(at_s, name="at_s", unit="s") > self._chain.reached_s:
            self._require_unfinished()
            self._resets = sorted([*self._resets, float(at_s)])
            return []
        return self._watch.reset(float(at_s))

    @property
    def state(self) -> MonitorState:
        """What is known now."""
        conditions = {rule.kind: rule.condition.state for rule in self._watch.rules.values()}
        return self._shown.state(self._chain.reached_s, self._chain.channel_reached_s, conditions)

    @property
    def not_watched(self) -> dict[str, str]:
        """Kinds of condition that are not watched, and why: "no limit set", "no channel for it"."""
        return self.plan.why_not_watched(self._watch.rules)

    @property
    def rates_hz(self) -> dict[str, float]:
        """Sampling rate of each channel that was announced, in Hz."""
        return {role: channel.rate_hz for role, channel in self._chain.channels.items()}

    @property
    def units(self) -> dict[str, str | None]:
        """Unit of each channel, None where it is not known."""
        return {role: channel.unit for role, channel in self._chain.channels.items()}

    @property
    def arrived(self) -> dict[str, int]:
        """How many samples of each channel have been taken, lost ones included."""
        return {role: self._chain.inbox(role).arrived for role in self._chain.channels}

    @property
    def finished(self) -> bool:
        """Whether `finish` has ended the stream."""
        return self._finished

    @property
    def latency_budget_s(self) -> dict[str, float]:
        """Stated worst-case delay of each stage behind the raw samples, in seconds."""
        return self._chain.latency_budget_s

    @property
    def latencies_s(self) -> dict[str, float]:
        """Stated worst-case delay of each kind of event behind its limit, in seconds."""
        return self._watch.latencies_s

    def save(self) -> bytes:
        """Return settings and running state as bytes that `resume` reads (no pickle)."""
        return encode(
            {
                "monitor": self._chain.channels,
                "ahead_s": self._ahead_s,
                "plan": self.plan.model_dump_json(),
                "state": self.snapshot(),
            }
        )

    @classmethod
    def resume(cls, blob: bytes, plan: Prescription | None = None) -> Self:
        """Return a monitor that goes on where the saved one stood.

        Parameters
        ----------
        blob : bytes
            What `save` returned.
        plan : Prescription or None
            If given, it must equal the saved one.

        Raises
        ------
        StateError
            If the blob is damaged or foreign, or the plan differs (the tables are named).
        ArgumentError
            If the plan is none.
        """
        if plan is not None:
            _require_plan(plan)
        parts = decode(blob)
        if set(parts) != {"monitor", "ahead_s", "plan", "state"}:
            raise StateError(
                "the saved state is not of a monitor; pass what Monitor.save returned."
            )
        try:
            return cls._resumed(parts, plan)
        except StateError:
            raise
        except (ArithmeticError, LookupError, TypeError, ValueError, AttributeError) as fault:
            raise StateError(
                f"the saved state does not hold together ({fault}); save again."
            ) from fault

    @classmethod
    def _resumed(cls, parts: dict[str, Any], plan: Prescription | None) -> Self:
        with warnings.catch_warnings():  # of unusual limits: that was told when they were set
            warnings.simplefilter("ignore", UnusualLimitWarning)
            saved = Prescription.model_validate_json(parts["plan"])
        if plan is not None and plan != saved:
            raise StateError(
                f"the plan differs from the saved one in: {', '.join(_differing(plan, saved))}. "
                "Resume with the saved plan, or start a new monitor."
            )
        channels: dict[str, ChannelSetting] = parts["monitor"]
        rates = {role: channel.rate_hz for role, channel in channels.items()}
        ecg = channels.get("ecg") or channels.get("ecg2")
        monitor = cls(
            saved,
            ecg_hz=rates.get("ecg"),
            impedance_hz=rates.get("impedance"),
            ecg2_hz=rates.get("ecg2"),
            ecg_unit=None if ecg is None else ecg.unit,
            impedance_unit=channels["impedance"].unit if "impedance" in channels else None,
            ahead_s=parts["ahead_s"],
        )
        monitor.restore(parts["state"])
        return monitor

    def __repr__(self) -> str:
        rates = ", ".join(f"{role} {rate:g} Hz" for role, rate in self.rates_hz.items())
        reached_s = self.state.reached_s
        begun = f"at {reached_s:.1f} s" if reached_s >= 0.0 else "nothing pushed yet"
        return f"Monitor({rates}; {begun})"

    def _advance(self, *, last: bool = False) -> list[Change]:
        changes: list[Change] = []
        for batch in self._chain.advance(last=last, stops_s=self._resets):
            self._shown.take(batch)
            changes += self._watch.push(batch)
            while self._resets and self._resets[0] <= self._chain.reached_s:
                changes += self._watch.reset(self._resets.pop(0))
        return sorted(changes, key=lambda change: (change.known_s, change.kind))

    def _require_unfinished(self) -> None:
        if self._finished:
            raise StateError("the stream has been finished; make a new Monitor for a new one.")


def _require_plan(plan: object) -> None:
    require_kind(plan, Prescription, name="plan", called="an infantmon.Prescription")


def _differing(plan: Prescription, saved: Prescription) -> list[str]:
    """Name the fields in which two plans differ, as table.field."""
    named = []
    for table in type(plan).model_fields:
        one, two = getattr(plan, table), getattr(saved, table)
        if one is None or two is None:
            named += [table] if one != two else []
        elif one != two:
            fields = type(one).model_fields
            named += [f"{table}.{n}" for n in fields if getattr(one, n) != getattr(two, n)]
    return named
