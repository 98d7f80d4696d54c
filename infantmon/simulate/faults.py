"""What spoils a recording: lost contact, movement, muscle, mains, steps, missing samples.

`time_s` are the times of samples, in seconds, of shape (n,); so is what is returned.
`draw` gives random numbers, the same for the same seed, and `breath_ohm` is the size of a breath.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from infantmon.errors import as_floats, require_between, require_number
from infantmon.model.arrays import Bools, Floats
from infantmon.simulate.noise import envelope, knot_count, smooth_curve
from infantmon.simulate.shown import AtRail, Noisy, Shown

Draw = Callable[..., np.random.Generator]
"""Gives the random numbers of one disturbance; whole numbers tell its parts apart."""

SHOTS_PER_S = 200
SHOT_S = 0.0025
JOLT_S = 0.4


@dataclass(frozen=True)
class Disturbance:
    """Something that is there for a stretch of time.

    Parameters
    ----------
    start_s, length_s : float
        The stretch, in seconds.
    """

    start_s: float
    length_s: float

    def __post_init__(self) -> None:
        as_floats(self)
        require_number(self.start_s, name="start_s", unit="s")
        require_between(self.length_s, 0.0, 1e7, name="length_s", unit="s")

    @property
    def end_s(self) -> float:
        """The first moment after it, in seconds."""
        return self.start_s + self.length_s

    @property
    def gone_s(self) -> float:
        """When nothing of it is left, in seconds."""
        return self.end_s

    def covers(self, time_s: Floats) -> Bools:
        """Tell which times lie inside."""
        return (time_s >= self.start_s) & (time_s < self.end_s)

    def added_mv(self, time_s: Floats, draw: Draw) -> Floats:  # noqa: ARG002
        """Return what it adds to the ECG, in mV."""
        return np.zeros(len(time_s))

    def added_ohm(self, time_s: Floats, draw: Draw, breath_ohm: float) -> Floats:  # noqa: ARG002
        """Return what it adds to the impedance, in ohm."""
        return np.zeros(len(time_s))


@dataclass(frozen=True)
class Movement(Disturbance):
    """The infant moves: large, without rhythm, in the impedance; wander and muscle in the ECG.

    Parameters
    ----------
    breaths : float
        Standard deviation of the impedance change, as a multiple of the usual breath.
    wander_mv, muscle_mv : float
        Standard deviation of the slow and of the fast change in the ECG, in mV.
    """

    breaths: float = 3.0
    wander_mv: float = 0.4
    muscle_mv: float = 0.06

    def __post_init__(self) -> None:
        super().__post_init__()
        require_between(self.breaths, 0.0, 1000.0, name="breaths", unit="breaths")
        require_between(self.wander_mv, 0.0, 100.0, name="wander_mv", unit="mV")
        require_between(self.muscle_mv, 0.0, 100.0, name="muscle_mv", unit="mV")

    def added_mv(self, time_s: Floats, draw: Draw) -> Floats:
        """Return what it adds to the ECG, in mV."""
        slow = self.wander_mv * self._wild(time_s, draw(0), 0.5)
        fast = self.muscle_mv * _muscle(time_s, draw, self.start_s, self.end_s)
        return slow + fast * envelope(time_s, self.start_s, self.end_s, 0.3)

    def added_ohm(self, time_s: Floats, draw: Draw, breath_ohm: float) -> Floats:
        """Return what it adds to the impedance, in ohm."""
        wild = 0.8 * self._wild(time_s, draw(0), 0.9) + 0.6 * self._wild(time_s, draw(1), 0.3)
        return self.breaths * breath_ohm * wild

    def _wild(self, time_s: Floats, random: np.random.Generator, spacing_s: float) -> Floats:
        knots = random.laplace(0.0, math.sqrt(0.5), knot_count(self.length_s, spacing_s))
        curve = smooth_curve(knots, spacing_s, self.start_s - spacing_s, time_s)
        return curve * envelope(time_s, self.start_s, self.end_s, 0.3)


@dataclass(frozen=True)
class MuscleNoise(Disturbance):
    """Muscle activity in the ECG: many short two-sided pulses at random.

    Parameters
    ----------
    mv : float
        Its standard deviation, in mV.
    """

    mv: float = 0.1

    def __post_init__(self) -> None:
        super().__post_init__()
        require_between(self.mv, 0.0, 100.0, name="mv", unit="mV")

    def added_mv(self, time_s: Floats, draw: Draw) -> Floats:
        """Return what it adds to the ECG, in mV."""
        shape = envelope(time_s, self.start_s, self.end_s, 0.3)
        return self.mv * shape * _muscle(time_s, draw, self.start_s, self.end_s)


@dataclass(frozen=True)
class Mains(Disturbance):
    """Mains interference.

    Parameters
    ----------
    mv, ohm : float
        Its amplitude in the ECG (mV) and in the impedance (ohm).
    frequency_hz : float
        50 or 60 Hz, as a rule.
    """

    mv: float = 0.1
    ohm: float = 0.0
    frequency_hz: float = 50.0

    def __post_init__(self) -> None:
        super().__post_init__()
        require_between(self.mv, 0.0, 100.0, name="mv", unit="mV")
        require_between(self.ohm, 0.0, 1000.0, name="ohm", unit="ohm")
        require_between(self.frequency_hz, 1.0, 1000.0, name="frequency_hz", unit="Hz")

    def added_mv(self, time_s: Floats, draw: Draw) -> Floats:  # noqa: ARG002
        """Return what it adds to the ECG, in mV."""
        return self.mv * self._wave(time_s)

    def added_ohm(self, time_s: Floats, draw: Draw, breath_ohm: float) -> Floats:  # noqa: ARG002
        """Return what it adds to the impedance, in ohm."""
        return self.ohm * self._wave(time_s)

    def _wave(self, time_s: Floats) -> Floats:
        turns = self.frequency_hz * (time_s - self.start_s)
        return np.asarray(np.sin(2.0 * np.pi * (turns % 1.0)) * self.covers(time_s))


@dataclass(frozen=True)
class LevelStep(Disturbance):
    """The level jumps, and stays there for a stretch of time.

    Parameters
    ----------
    mv, ohm : float
        By how much, in the ECG (mV) and in the impedance (ohm).
    """

    mv: float = 0.0
    ohm: float = 0.0

    def __post_init__(self) -> None:
        super().__post_init__()
        require_number(self.mv, name="mv", unit="mV")
        require_number(self.ohm, name="ohm", unit="ohm")

    def added_mv(self, time_s: Floats, draw: Draw) -> Floats:  # noqa: ARG002
        """Return what it adds to the ECG, in mV."""
        return np.asarray(self.mv * self.covers(time_s))

    def added_ohm(self, time_s: Floats, draw: Draw, breath_ohm: float) -> Floats:  # noqa: ARG002
        """Return what it adds to the impedance, in ohm."""
        return np.asarray(self.ohm * self.covers(time_s))


@dataclass(frozen=True)
class LooseElectrode(Disturbance):
    """An electrode has come off, or the wire has: neither channel, or only one, shows the infant.

    Parameters
    ----------
    impedance, ecg, ecg2 : Shown or None
        What each channel shows instead; None where it goes on as before. The last is for a second
        ECG lead, where there is one.
    jolt_mv, jolt_ohm : float
        How far a channel is off when it shows the infant again, in mV and ohm; that dies away
        within about 2 s.
    """

    impedance: Shown | None = AtRail()
    ecg: Shown | None = Noisy(0.05, mains=0.3)
    jolt_mv: float = 1.0
    jolt_ohm: float = 4.0
    ecg2: Shown | None = Noisy(0.05, mains=0.3)

    def __post_init__(self) -> None:
        super().__post_init__()
        require_between(self.jolt_mv, -100.0, 100.0, name="jolt_mv", unit="mV")
        require_between(self.jolt_ohm, -1e4, 1e4, name="jolt_ohm", unit="ohm")

    @property
    def gone_s(self) -> float:
        """When nothing of it is left, in seconds."""
        return self.end_s + 16.0 * JOLT_S

    def added_mv(self, time_s: Floats, draw: Draw) -> Floats:  # noqa: ARG002
        """Return what it adds to the ECG, in mV."""
        return (
            self.jolt_mv * self._dying_away(time_s)
            if self.ecg is not None
            else np.zeros(len(time_s))
        )

    def added_ohm(self, time_s: Floats, draw: Draw, breath_ohm: float) -> Floats:  # noqa: ARG002
        """Return what it adds to the impedance, in ohm."""
        return (
            self.jolt_ohm * self._dying_away(time_s) if self.impedance is not None else 0.0 * time_s
        )

    def _dying_away(self, time_s: Floats) -> Floats:
        since = time_s - self.end_s
        gone = np.exp(-np.clip(since / JOLT_S, 0.0, 16.0))
        return np.asarray(gone * ((since >= 0.0) & (time_s < self.gone_s)))


@dataclass(frozen=True)
class MissingSamples(Disturbance):
    """Samples are invalid (NaN).

    Parameters
    ----------
    impedance, ecg, ecg2 : bool
        On which channels.
    """

    impedance: bool = True
    ecg: bool = True
    ecg2: bool = True


@dataclass(frozen=True)
class Clipping(Disturbance):
    """An amplifier clips: nothing beyond two levels gets through.

    Parameters
    ----------
    mv : float
        The ECG stays between -mv and +mv; in mV.
    low_ohm, high_ohm : float
        The impedance stays between these; in ohm.
    """

    mv: float = 0.4
    low_ohm: float = 0.0
    high_ohm: float = 1e4

    def __post_init__(self) -> None:
        super().__post_init__()
        require_between(self.mv, 0.0, 100.0, name="mv", unit="mV")
        require_between(self.low_ohm, -1e9, 1e9, name="low_ohm", unit="ohm")
        require_between(self.high_ohm, self.low_ohm, 1e9, name="high_ohm", unit="ohm")


def _muscle(time_s: Floats, draw: Draw, start_s: float, end_s: float) -> Floats:
    """Return unit-variance muscle noise inside a stretch (seconds), 0 outside.

    Motor units fire at random; each gives a short two-sided pulse with its peak near 64 Hz.
    """
    total = np.zeros(len(time_s))
    if len(time_s) < 2:
        return total
    first = math.floor(max(time_s[0] - 0.1, start_s))
    for second in range(first, math.ceil(min(time_s[-1] + 0.1, end_s))):
        random = draw(2, second - math.floor(start_s))
        at = second + random.random(SHOTS_PER_S)
        height = random.standard_normal(SHOTS_PER_S)
        low, high = np.searchsorted(time_s, [second - 0.1, second + 1.1])
        if high - low > 1:
            total[low:high] += _shots(time_s[low:high], at, height)
    energy = SHOTS_PER_S * math.e * SHOT_S * math.sqrt(math.pi) / 2.0
    return total / math.sqrt(energy)


def _shots(time_s: Floats, at_s: Floats, height: Floats) -> Floats:
    period = float(time_s[-1] - time_s[0]) / (len(time_s) - 1)
    half = math.ceil(5.0 * SHOT_S / period)
    place = np.round((at_s - time_s[0]) / period).astype(np.int64)[:, None]
    place = place + np.arange(-half, half + 1)
    away = (time_s[0] + place * period - at_s[:, None]) / SHOT_S
    value = height[:, None] * away * np.exp(0.5 - 0.5 * away * away)
    inside = (place >= 0) & (place < len(time_s))
    total = np.bincount(place[inside], weights=value[inside], minlength=len(time_s))
    return total.astype(np.float64, copy=False)
