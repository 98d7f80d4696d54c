"""Contact: whether a channel can be used, and where it cannot, with the reason.

In come raw samples of one channel; out come marks where a stretch begins and ends that cannot be
used, or only with care. Each reason (missing, flat, saturated, movement, ...) has a finder of its
own in `infantmon.dsp`, which says where it begins and ends; here they are joined into stretches.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import ClassVar, Self

import numpy as np
import numpy.typing as npt

from infantmon.dsp.anchored import LARGEST
from infantmon.dsp.bursts import BurstEdges
from infantmon.dsp.held import HeldRuns
from infantmon.dsp.held_edges import FlatEdges, RailEdges
from infantmon.dsp.level_shifts import LevelShifts
from infantmon.dsp.mains import MainsEdges
from infantmon.dsp.stretches import Edge, FlagEdges, LongRunEdges, Stretches, StretchMark
from infantmon.errors import ArgumentError, as_floats, require_between, require_kind, require_number
from infantmon.model.arrays import Bools, Floats, as_samples
from infantmon.model.carried import record
from infantmon.model.clock import Clock
from infantmon.model.spans import BRIDGED_S, ContactMarks, Reason
from infantmon.model.units import plain_unit
from infantmon.stages.contract import Stage, settled_before

JOINED_S = 0.5
"""Stretches less than this far apart are one stretch (project rule)."""

_OHMS = {"ohm": 1.0, "kohm": 1e3, "mohm": 1e-3}  # in one unit
_BASE_OHM = (100.0, 3000.0)  # base impedance of attached electrodes
_LEAST_RUN = 4  # equal samples that make a visit to the end of the range
_BLOCK_S = 0.25


@record
@dataclass(frozen=True)
class ContactSettings:
    """What tells that a channel cannot be used. Made by `for_ecg` or `for_impedance`.

    Attributes
    ----------
    clock : Clock
        Rate and start of the samples.
    flat_s : float
        Exactly equal samples for this long are flat, in seconds.
    lowest, highest : float or None
        Range of a base level that an attached electrode gives, in the channel's unit; None where
        the unit does not tell one.
    movement_ratio : float
        What spans more than so many times the usual swing is movement.
    rail_held_s : float
        Held at the end of the range for this long is saturated, in seconds.
    rail_share : float
        Three visits to the end of the range, close together, that take up this share of the time
        are saturation too.
    rail_run_s : float
        A visit lasts at least this long (and four samples), in seconds.
    rail_within_s : float
        The three visits lie within this time, in seconds.
    rail_settle_s : float
        Saturation by visits is over when this long has passed without one, in seconds.
    tells_jumps : bool
        Whether a flat stretch that begins without a jump is told as such.
    tells_shifts : bool
        Whether shifts of the level are told.
    """

    clock: Clock
    flat_s: float
    rail_held_s: float
    lowest: float | None = None
    highest: float | None = None
    movement_ratio: float = 5.0
    rail_share: float = 0.9
    rail_run_s: float = 0.02
    rail_within_s: float = 10.0
    rail_settle_s: float = 2.0
    tells_jumps: bool = False
    tells_shifts: bool = False

    def __post_init__(self) -> None:
        as_floats(self)
        require_kind(self.clock, Clock, name="clock", called="a Clock")
        names = ("flat_s", "rail_run_s", "rail_held_s", "rail_within_s", "rail_settle_s")
        for name in names:
            require_between(getattr(self, name), 0.0, 3600.0, name=name, unit="s")
        require_between(self.rail_share, 0.0, 1.0, name="rail_share", unit="of the time")
        require_between(self.movement_ratio, 1.0, 1e6, name="movement_ratio", unit="times")
        if (self.lowest is None) != (self.highest is None):
            raise ArgumentError(
                f"lowest is {self.lowest} and highest is {self.highest}; "
                "set both ends of the range of the base level, or neither."
            )
        if self.lowest is not None and self.highest is not None:
            low = require_number(self.lowest, name="lowest", unit="the channel's unit")
            high = require_number(self.highest, name="highest", unit="the channel's unit")
            if not low < high:
                raise ArgumentError(
                    f"lowest is {low:g} and highest is {high:g}; lowest must be below highest."
                )

    @classmethod
    def for_ecg(cls, rate_hz: float, unit: str | None = None, start_s: float = 0.0) -> Self:
        """Return the settings for an ECG: 0.4 s of exactly equal samples is flat or saturated.

        Flat without a jump is told apart: a stopped heart may look so, in steps coarser than noise.

        Parameters
        ----------
        rate_hz : float
            Samples a second.
        unit : str or None
            Unit of the samples. No rule depends on it.
        start_s : float
            Time of the first sample, in seconds.
        """
        del unit  # levels of an ECG tell nothing about its electrodes, in whatever unit
        clock = Clock(rate_hz, start_s)
        return cls(clock, flat_s=0.4, rail_held_s=0.4, tells_jumps=True, tells_shifts=True)

    @classmethod
    def for_impedance(cls, rate_hz: float, unit: str | None = None, start_s: float = 0.0) -> Self:
        """Return the settings for a chest impedance: 5 s of exactly equal samples is flat.

        Held at the end of its range it is saturated after 3 s: the clipped top of a slow breath
        (up to 2.7 s in the BIDMC recordings, whose annotators still counted them) is not.

        Parameters
        ----------
        rate_hz : float
            Samples a second.
        unit : str or None
            Unit of the samples. Where it is ohm, kohm or mohm (a thousandth), a base impedance
            outside 100 to 3000 ohm is out of range (the usual range is from memory: about 100 to
            1500 ohm).
        start_s : float
            Time of the first sample, in seconds.
        """
        clock = Clock(rate_hz, start_s)
        told = cls(clock, flat_s=5.0, rail_held_s=3.0)
        plain = plain_unit(unit or "")
        if plain is None or plain not in _OHMS:
            return told
        low, high = (end / _OHMS[plain] for end in _BASE_OHM)
        return dataclasses.replace(told, lowest=low, highest=high)


class ContactDetector(Stage):
    """Tells where a channel cannot be used (blocking), or only with care (disturbing).

    Blocking: a hole of the recording, samples that are not finite, flat (exactly equal samples;
    quiet is not flat), saturated, base level out of range. Disturbing: movement (swings many times
    the usual one, for longer than 1 s, not rhythmic) and jumps of the level. Interfering: mains
    (`MainsEdges`; the filters take it out, so it is told and changes no timer). Shifted, in an ECG:
    the level is far from where it was (`LevelShifts`; beats may be hidden; no timer is changed).
    Each group has its own stretches; those less than 0.5 s apart are one, with their reasons added
    up.

    Parameters
    ----------
    settings : ContactSettings
        Made by `ContactSettings.for_ecg` or `ContactSettings.for_impedance`.

    Notes
    -----
    Latency: the end of a stretch is known 0.5 s after it, since what follows sooner belongs to it.
    An opening mark is at the time at which the stretch is established: more than 1.0 s of invalid
    samples, 5 s of a flat impedance, 2 s of movement. A flat stretch is told back to its first
    sample; so it may begin before, or overlap, a stretch that was closed meanwhile.

    Saturated: held exactly at the largest or smallest value seen so far, or hardly ever elsewhere
    (a disconnected input that swings from end to end). A visit to the end of the range is entered
    by a step of several times the signal's resolution, so the top of a coarsely quantised wave is
    none. Clipped tops alone do not make a signal unusable: breaths and beats can still be told.

    A base level under the range is told only after one within the range has been seen: a channel
    that carries the changes of the impedance alone has no base level to judge.

    Movement is judged from blocks of 0.25 s, against the usual swing of the last minute: more than
    twice that within each second, for 2 s or longer, spanning five times that. Steady large swings
    are taken as the usual ones after 8 s, any others once they take up 24 s of a minute.

    Memory: one block of samples and a minute of ranges.
    """

    settings_type = ContactSettings
    carried: ClassVar[tuple[str, ...]] = (
        "_next_tick", "_missing", "_interrupted", "_invalid", "_range", "_based", "_held", "_flat",
        "_rail", "_bursts", "_mains", "_shifts", "_blocking", "_disturbing", "_interfering",
        "_shifted",
    )  # fmt: skip

    def __init__(self, settings: ContactSettings) -> None:
        super().__init__(settings)
        self._clock = settings.clock
        rate = settings.clock.rate_hz
        bridged = math.floor(BRIDGED_S * rate + 1e-9)
        joined = _ticks_from(JOINED_S, rate)
        self._next_tick = 0
        self._missing = FlagEdges(int(Reason.MISSING))
        self._interrupted = LongRunEdges(int(Reason.INTERRUPTED), bridged)
        self._invalid = FlagEdges(int(Reason.NOT_FINITE))
        self._range = FlagEdges(int(Reason.OUT_OF_RANGE))
        self._based = False  # a base level within the range has been seen
        run = max(_LEAST_RUN, _ticks_from(settings.rail_run_s, rate))
        flat = _ticks_from(settings.flat_s, rate)
        self._held = HeldRuns(least_ticks=min(run, flat), gap_ticks=bridged)
        smoothly = int(Reason.NO_JUMP) if settings.tells_jumps else 0
        self._flat = FlatEdges(int(Reason.FLAT), flat, smoothly=smoothly)
        self._rail = RailEdges(
            int(Reason.SATURATED),
            run_ticks=run,
            held_ticks=_ticks_from(settings.rail_held_s, rate),
            within_ticks=_ticks_from(settings.rail_within_s, rate),
            settle_ticks=_ticks_from(settings.rail_settle_s, rate),
            share=settings.rail_share,
        )
        self._bursts = BurstEdges(
            int(Reason.MOVEMENT),
            int(Reason.STEP),
            block_ticks=max(1, round(_BLOCK_S * rate)),
            ratio=settings.movement_ratio,
        )
        self._mains = MainsEdges(int(Reason.MAINS), rate)
        self._shifts = LevelShifts(int(Reason.SHIFT), max(1, round(_BLOCK_S * rate)))
        self._blocking = Stretches(bridged, joined)
        self._disturbing = Stretches(bridged, joined)
        self._interfering = Stretches(bridged, joined)
        self._shifted = Stretches(bridged, joined)

    @property
    def latency_s(self) -> float:
        """A mark is known at most this long after its time, in seconds."""
        return JOINED_S

    @property
    def settled_until_s(self) -> float:
        """All marks before this time have been given; infinity once the stream has ended."""
        reached_s = self._clock.time_s(self._next_tick - 1)
        return settled_before(reached_s, self.latency_s, ended=self._ended)

    def push(
        self, values: npt.ArrayLike, *, missing: bool = False, last: bool = False
    ) -> ContactMarks:
        """Take the samples that have arrived and return the marks that are known with them.

        Parameters
        ----------
        values : array_like, shape (n,)
            Samples, in any number.
        missing : bool
            These samples stand for a hole of the recording (pass NaN); their values are not used.
        last : bool
            The stream ends here.

        Returns
        -------
        ContactMarks
            In the order in which they are known; a blocking one first.

        Raises
        ------
        ArgumentError
            If the samples are not one-dimensional real numbers.
        StateError
            If the stream has ended already.
        """
        samples = as_samples(values)
        self.begin_push(last=last)
        first, self._next_tick = self._next_tick, self._next_tick + len(samples)
        reached = self._next_tick - 1
        blocking, *others = self._edges(samples, first, missing=missing)
        marks = self._blocking.push(blocking, reached, last=last)
        groups = (self._disturbing, self._interfering, self._shifted)
        for group, edges in zip(groups, others, strict=True):
            marks += group.push(edges, reached, last=last)
        marks.sort(key=lambda mark: mark.known)  # stable: blocking ones first
        return self._table(marks)

    def _edges(
        self, samples: Floats, first: int, *, missing: bool
    ) -> tuple[list[Edge], list[Edge], list[Edge], list[Edge]]:
        """Return the edges of the four groups of reasons, as they become known."""
        if not len(samples):
            return [], [], [], []
        nothing = np.zeros(len(samples), dtype=np.bool_)
        finite = nothing if missing else np.abs(samples) <= LARGEST
        table = self._held.push(samples, finite, first)
        edges = [
            *self._missing.push(~nothing if missing else nothing, first),
            *self._interrupted.push(len(samples), first, holds=missing),
            *self._invalid.push(nothing if missing else ~finite, first),
            *self._range.push(self._out_of_range(samples, finite), first),
            *self._flat.push(table),
            *self._rail.push(table, first + len(samples) - 1),
        ]
        edges.sort()
        mains = self._mains.push(samples, finite)
        shifts = self._shifts.push(samples, finite) if self.settings.tells_shifts else []
        return edges, self._bursts.push(samples, finite), mains, shifts

    def _out_of_range(self, samples: Floats, finite: Bools) -> Bools:
        """Tell which samples lie outside the range of an attached electrode."""
        low, high = self.settings.lowest, self.settings.highest
        if low is None or high is None:
            return np.zeros(len(samples), dtype=np.bool_)
        under, over = finite & (samples < low), finite & (samples > high)
        if not self._based:
            within = finite & ~under & ~over
            self._based = bool(within.any())
            under[: int(np.argmax(within)) if self._based else len(under)] = False
        return np.asarray(under | over, dtype=np.bool_)

    def _table(self, marks: list[StretchMark]) -> ContactMarks:
        """Return marks in ticks as findings in seconds."""
        if not marks:
            return ContactMarks.empty(self.settled_until_s)
        ticks = np.array([(m.tick, m.known, m.since) for m in marks], dtype=np.int64)
        return ContactMarks(
            time_s=self._clock.times_s(ticks[:, 0]),
            known_s=self._clock.times_s(ticks[:, 1]),
            since_s=self._clock.times_s(ticks[:, 2]),
            reason=np.array([m.reason for m in marks], dtype=np.int64),
            usable=np.array([m.over for m in marks], dtype=np.bool_),
            bridged=np.array([m.bridged for m in marks], dtype=np.bool_),
            settled_until_s=self.settled_until_s,
        )


def _ticks_from(seconds: float, rate_hz: float) -> int:
    """Return how many ticks last at least so long."""
    return math.ceil(seconds * rate_hz - 1e-9)
