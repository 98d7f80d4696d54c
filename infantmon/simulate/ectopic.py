"""Beats that come early and look different, and a heart whose axis turns.

`time_s` are the times of samples or beats, in seconds, of shape (n,); so is what is
returned. `usual` is the lead as it shows an ordinary beat.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from infantmon.errors import ArgumentError, as_floats, require_between, require_number
from infantmon.model.arrays import Floats, Ints
from infantmon.simulate.ecg import EcgLead
from infantmon.simulate.heart import Beats
from infantmon.simulate.noise import envelope

WIDEST_QRS_S = 0.2


@dataclass(frozen=True)
class EctopicBeats:
    """Some beats come early; wide ones have no P wave and a T wave that points the other way.

    Parameters
    ----------
    start_s, length_s : float
        The stretch, in seconds; with a length of 0 the first beat after its start is meant.
    every : int
        Every how many beats one is ectopic: 2 makes a bigeminy, 1 a run.
    first : int
        How many beats of the stretch pass before the first ectopic one.
    early_share : float
        How much earlier it comes, as a share of the interval before it. The beat after it comes
        when it would have come (a full compensatory pause).
    wide : bool
        Whether it spreads through the ventricles by another way: wide QRS, no P, T turned over.
    times : float
        Height of its R wave, as a multiple of a usual one; negative turns the QRS over.
    """

    start_s: float
    length_s: float = 0.0
    every: int = 2
    first: int = 0
    early_share: float = 0.3
    wide: bool = True
    times: float = 1.3

    def __post_init__(self) -> None:
        as_floats(self)
        require_number(self.start_s, name="start_s", unit="s")
        require_between(self.length_s, 0.0, 1e7, name="length_s", unit="s")
        for name, least in (("every", 1), ("first", 0)):
            number = require_between(getattr(self, name), least, 1e6, name=name, unit="beats")
            if number != int(number):
                raise ArgumentError(f"{name} is {number:g} beats; pass a whole number.")
        require_between(self.early_share, 0.0, 0.7, name="early_share", unit="of an interval")
        require_between(self.times, -5.0, 5.0, name="times", unit="of a usual R wave")

    def chosen(self, time_s: Floats) -> Ints:
        """Return the numbers of the beats (at times in seconds) that are ectopic."""
        first, after = np.searchsorted(time_s, [self.start_s, self.start_s + self.length_s])
        after = max(int(after), int(first) + 1) if self.length_s == 0.0 else int(after)
        inside = np.arange(max(int(first), 1), min(after, len(time_s)))
        return inside[int(self.first) :: int(self.every)]

    def lead(self, usual: EcgLead) -> EcgLead:
        """Return how such a beat looks in a lead."""
        looks = replace(
            usual,
            r_mv=min(usual.r_mv * abs(self.times), 20.0),
            inverted=usual.inverted != (self.times < 0.0),
        )
        if not self.wide:
            return looks
        wide_s = min(2.0 * usual.qrs_s, WIDEST_QRS_S)
        return replace(looks, qrs_s=wide_s, p_share=0.0, t_share=-1.4 * abs(usual.t_share))


def made_early(beats: Beats, runs: Sequence[EctopicBeats], usual_s: float) -> tuple[Beats, Ints]:
    """Return the beats with the ectopic ones moved, and for each the number of its run, or -1."""
    kind = np.full(len(beats.time_s), -1, dtype=np.int64)
    if not runs:
        return beats, kind
    time_s = beats.time_s.copy()
    for number, run in enumerate(runs):
        which = run.chosen(beats.time_s)
        time_s[which] = beats.time_s[which] - run.early_share * beats.before_s[which]
        kind[which] = number
    return Beats.at(time_s, usual_s), kind


@dataclass(frozen=True)
class AxisChange:
    """The heart's axis turns for a while, as when an infant is laid on the other side.

    Parameters
    ----------
    start_s, length_s : float
        The stretch, in seconds.
    r_times, s_times, t_times : float
        What R, S and T grow to, as a multiple of what they were; negative turns a wave over. Where
        R becomes smaller than S, the largest deflection is no longer where the beat is marked, but
        about a third of a QRS later.
    ramp_s : float
        How long the turning takes at either end, in seconds.
    """

    start_s: float
    length_s: float
    r_times: float = 0.5
    s_times: float = 1.5
    t_times: float = 0.7
    ramp_s: float = 3.0

    def __post_init__(self) -> None:
        as_floats(self)
        require_number(self.start_s, name="start_s", unit="s")
        require_between(self.length_s, 0.0, 1e7, name="length_s", unit="s")
        require_between(self.ramp_s, 0.0, 1e6, name="ramp_s", unit="s")
        for name in ("r_times", "s_times", "t_times"):
            require_between(getattr(self, name), -10.0, 10.0, name=name, unit="of the usual wave")

    def factors(self, time_s: Floats) -> tuple[Floats, Floats, Floats]:
        """Return what R, S and T are multiplied with at each time (s)."""
        turned = envelope(time_s, self.start_s, self.start_s + self.length_s, self.ramp_s)
        r, s, t = (
            1.0 + turned * (times - 1.0) for times in (self.r_times, self.s_times, self.t_times)
        )
        return r, s, t
