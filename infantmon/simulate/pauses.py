"""What departs from regular breathing: pauses, shallow breathing, sighs.

`time_s` are the times of samples, in seconds, of shape (n,); so is what is returned. Edges of
effort are `start_s` and `end_s`.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from infantmon.errors import ArgumentError, as_floats, require_between, require_number
from infantmon.model.arrays import Floats
from infantmon.simulate.heart import SlowingInPause
from infantmon.simulate.noise import smoothstep


@dataclass(frozen=True)
class Rebound:
    """The resting level rises once after the last breath and sinks back; no effort is behind it.

    Parameters
    ----------
    share : float
        Height of the rise, as a share of the usual breath.
    to_peak_s : float
        From the end of the last expiration to its top, in seconds.
    """

    share: float = 0.3
    to_peak_s: float = 2.5

    def __post_init__(self) -> None:
        as_floats(self)
        require_between(self.share, -2.0, 2.0, name="share", unit="of a breath")
        require_between(self.to_peak_s, 0.1, 60.0, name="to_peak_s", unit="s")

    def level(self, time_s: Floats, start_s: float, end_s: float) -> Floats:
        """Return the level, in usual breaths, between two edges of effort (seconds)."""
        x = np.maximum(time_s - start_s, 0.0) / self.to_peak_s
        back = smoothstep((end_s - time_s) / min(1.0, 0.5 * (end_s - start_s)))
        return np.asarray(self.share * x * np.exp(1.0 - x) * back)


@dataclass(frozen=True)
class Pause:
    """A pause with no effort at all (as in central apnea).

    Parameters
    ----------
    onset_s : float
        The inspiratory peak of the last breath before it, in seconds.
    length_s : float
        From that peak to the inspiratory peak of the next breath, in seconds. The last breath still
        completes its expiration, and the next one has its inspiration, inside this length.
    bradycardia : SlowingInPause or None
        How the heart slows, if it does.
    rebound : Rebound or None
        What the resting level does after the last breath, if anything.
    """

    onset_s: float
    length_s: float
    bradycardia: SlowingInPause | None = None
    rebound: Rebound | None = None

    def __post_init__(self) -> None:
        as_floats(self)
        require_number(self.onset_s, name="onset_s", unit="s")
        require_between(self.length_s, 0.1, 1e6, name="length_s", unit="s")
        if self.bradycardia is not None:
            self.bradycardia.change(self.onset_s, self.length_s)

    @property
    def start_s(self) -> float:
        """The onset, in seconds."""
        return self.onset_s

    @property
    def end_s(self) -> float:
        """The inspiratory peak of the breath that ends it, in seconds."""
        return self.onset_s + self.length_s


@dataclass(frozen=True)
class ShallowBreathing:
    """Breaths are smaller for a while.

    Parameters
    ----------
    start_s, length_s : float
        The stretch, in seconds: breaths whose peak lies in it are meant.
    share : float
        Their size, as a share of what it would be.
    """

    start_s: float
    length_s: float
    share: float = 0.25

    def __post_init__(self) -> None:
        as_floats(self)
        require_number(self.start_s, name="start_s", unit="s")
        require_between(self.length_s, 0.0, 1e6, name="length_s", unit="s")
        require_between(self.share, 0.0, 5.0, name="share", unit="of a breath")


@dataclass(frozen=True)
class BreathingRate:
    """Breaths come at another rate for a while.

    Parameters
    ----------
    start_s, length_s : float
        The stretch, in seconds. Its ends become inspiratory peaks, so that whole breaths fit.
    rate_per_min : float
        The rate in it, in breaths a minute.
    """

    start_s: float
    length_s: float
    rate_per_min: float

    def __post_init__(self) -> None:
        as_floats(self)
        require_number(self.start_s, name="start_s", unit="s")
        require_between(self.rate_per_min, 5.0, 180.0, name="rate_per_min", unit="a minute")
        require_between(self.length_s, self.cycle_s, 1e7, name="length_s", unit="s")

    @property
    def cycle_s(self) -> float:
        """The median time from breath to breath, in seconds."""
        return 60.0 / self.rate_per_min

    @property
    def end_s(self) -> float:
        """The first moment after it, in seconds."""
        return self.start_s + self.length_s


@dataclass(frozen=True)
class Sigh:
    """The breath nearest to a time is a large one.

    Parameters
    ----------
    at_s : float
        The time, in seconds.
    times : float
        Its size, as a multiple of what it would be.
    """

    at_s: float
    times: float = 2.5

    def __post_init__(self) -> None:
        as_floats(self)
        require_number(self.at_s, name="at_s", unit="s")
        require_between(self.times, 0.0, 10.0, name="times", unit="breaths")

    @property
    def start_s(self) -> float:
        """The time, in seconds."""
        return self.at_s


def require_rates_apart(rates: Sequence[BreathingRate]) -> None:
    """Refuse stretches of other breathing rates that overlap.

    Raises
    ------
    ArgumentError
        With the two stretches.
    """
    for one, other in itertools.pairwise(rates):
        if other.start_s < one.end_s - 1e-9:
            raise ArgumentError(
                f"the breathing rate at {other.start_s:g} s begins before the one at "
                f"{one.start_s:g} s has ended ({one.end_s:g} s); shorten one of them."
            )


def require_apart(pauses: Sequence[Pause], cycle_s: float) -> None:
    """Refuse pauses that overlap, or leave room for only a part of a breath between them.

    Raises
    ------
    ArgumentError
        With the two pauses and what to do.
    """
    for one, other in itertools.pairwise(pauses):
        gap = other.onset_s - one.end_s
        if abs(gap) > 1e-9 and gap < 0.5 * cycle_s:
            raise ArgumentError(
                f"the pause at {other.onset_s:g} s begins {abs(gap):g} s "
                f"{'after' if gap > 0.0 else 'before'} the one at "
                f"{one.onset_s:g} s has ended; leave 0 s (one breath between) or at least half a "
                f"breath's cycle ({0.5 * cycle_s:g} s)."
            )
