"""What each heart beat does to the impedance: two ways to model it.

`time_s` are the times of samples, in seconds, of shape (n,); so is what is returned. `beats`
are the heart beats around them, `usual_s` is the usual interval between beats.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass

import numpy as np

from infantmon.errors import as_floats, require_between
from infantmon.model.arrays import Floats, Ints
from infantmon.simulate.heart import Beats

LONGEST_TURN_S = 1.5  # a pulsation is over by then, however late the next beat is


@dataclass(frozen=True)
class Pulsation(ABC):
    """The heart's pulsation in the impedance.

    Parameters
    ----------
    share : float
        Peak-to-peak size at the usual heart rate, as a share of the usual breath.
    growth : float
        How it grows when the heart slows: the size goes with (interval / usual interval) to this
        power. 0 leaves it; at 0.9 it doubles when the rate falls from 140 to 65 a minute.

    Notes
    -----
    About 0.05 to 0.5 ohm, and it can exceed shallow breaths: from memory. It grows in apnea with
    bradycardia and imitates breaths (Southall et al., Arch Dis Child 1980;55:63-65).
    """

    share: float = 0.3
    growth: float = 0.0

    def __post_init__(self) -> None:
        as_floats(self)
        require_between(self.share, 0.0, 10.0, name="share", unit="of a breath")
        require_between(self.growth, -3.0, 3.0, name="growth", unit="(power)")

    @abstractmethod
    def wave(self, time_s: Floats, beats: Beats, usual_s: float) -> Floats:
        """Return the pulsation at each time, peak to peak 1 at the usual interval (seconds)."""

    def _height(self, beats: Beats, which: Ints, usual_s: float) -> Floats:
        before = np.clip(beats.before_s, 0.2, LONGEST_TURN_S)
        return np.asarray(((before / usual_s) ** self.growth)[which])


@dataclass(frozen=True)
class PulsationByPhase(Pulsation):
    """A pulsation that stretches with the interval: its shape is fixed from beat to beat."""

    def wave(self, time_s: Floats, beats: Beats, usual_s: float) -> Floats:
        """Return the pulsation at each time, peak to peak 1 at the usual interval (seconds)."""
        if not len(beats.time_s):
            return np.zeros(len(time_s))
        which = np.clip(np.searchsorted(beats.time_s, time_s, side="right") - 1, 0, None)
        turn = np.minimum(beats.after_s, LONGEST_TURN_S)[which]
        phase = np.clip((time_s - beats.time_s[which]) / turn, 0.0, 1.0)
        # between beats the size goes smoothly over to that of the next
        here, coming = (
            self._height(beats, np.minimum(which + step, len(beats.time_s) - 1), usual_s)
            for step in (0, 1)
        )
        return ((1.0 - phase) * here + phase * coming) * _skewed(phase)


@dataclass(frozen=True)
class PulsationInTime(Pulsation):
    """A pulsation fixed in time after the R peak; where beats are close, pulses run together.

    Parameters
    ----------
    delay_s : float
        From the R peak to the begin of the pulse, in seconds.
    to_peak_s : float
        From its begin to its peak, in seconds.
    """

    delay_s: float = 0.04
    to_peak_s: float = 0.11

    def __post_init__(self) -> None:
        super().__post_init__()
        require_between(self.delay_s, 0.0, 0.5, name="delay_s", unit="s")
        require_between(self.to_peak_s, 0.02, 0.5, name="to_peak_s", unit="s")

    def wave(self, time_s: Floats, beats: Beats, usual_s: float) -> Floats:
        """Return the pulsation at each time, peak to peak 1 at the usual interval (seconds)."""
        total = np.zeros(len(time_s))
        if not len(beats.time_s):
            return total
        latest = np.searchsorted(beats.time_s, time_s, side="right") - 1
        for back in range(1 + math.ceil(self._over_s / 0.18)):
            which = np.maximum(latest - back, 0)
            pulse = self._pulse(time_s - beats.time_s[which])
            total += np.where(latest >= back, self._height(beats, which, usual_s) * pulse, 0.0)
        return total / self._peak_to_peak(usual_s)

    @property
    def _over_s(self) -> float:
        return self.delay_s + 7.0 * self.to_peak_s

    def _pulse(self, since_s: Floats) -> Floats:
        x = np.clip((since_s - self.delay_s) / self.to_peak_s, 0.0, 7.0)
        return np.asarray((x * np.exp(1.0 - x)) ** 2)

    def _peak_to_peak(self, usual_s: float) -> float:
        since = np.linspace(0.0, usual_s, 400)
        turns = range(1 + math.ceil(self._over_s / usual_s))
        return float(np.ptp(sum((self._pulse(since + k * usual_s) for k in turns), 0.0 * since)))


def _skewed(phase: Floats) -> Floats:
    """Return a smooth lopsided wave over one turn, from 0 to 1: quick rise, slow fall."""
    angle = 2.0 * np.pi * (phase - 0.38)
    bump = np.exp(1.2 * np.cos(angle + 0.5 * np.cos(angle)))
    return np.asarray((bump - _LOWEST) / (_HIGHEST - _LOWEST))


_LOWEST, _HIGHEST = math.exp(-1.2), math.exp(1.2)
