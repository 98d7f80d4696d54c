"""The pulsation over time: which beats and which template lead from which sample on."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar, NamedTuple

import numpy as np

from infantmon.dsp.beat_fit import rendered
from infantmon.dsp.beat_train import MISSED, Beat
from infantmon.dsp.last_pulse import BACK_S, LATE, OVER_S, peak_to_peak, without_last_pulse
from infantmon.dsp.pulse_template import Learned, Row
from infantmon.model.arrays import Bools, Floats, Ints
from infantmon.model.carried import Carried, record
from infantmon.model.clock import Clock

AHEAD_S = 0.66  # beats are known this far past each output sample
OVERDUE = (1.0, 1.5)  # cycles since the last beat over which the template fades
LONGEST_OVERDUE_S = 1.0  # it has faded at the latest this long after the next beat was due
BLEND_S = 0.2  # a new template comes in over this time
_NOTHING: Row = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


@record
@dataclass(frozen=True)
class _Led:
    """From one output sample on: the beats and the template that lead."""

    place: int  # first output sample
    time_s: float  # of the latest beat
    cycle: int  # its number
    usual_s: float
    harmonics: Row
    before: Row  # harmonics that led until now
    helps: bool
    in_step: bool
    only_heart: bool  # no breath was heard in the beats before


class Pulse(NamedTuple):
    """The pulsation at output samples.

    Attributes
    ----------
    removed : numpy.ndarray, shape (n,)
        What is to be taken out.
    led, in_step : numpy.ndarray of bool, shape (n,)
        Whether beats lead, and whether breaths keep step with them.
    """

    removed: Floats
    led: Bools
    in_step: Bools


class PulseTrack(Carried):
    """Renders the pulsation from the template that leads at each sample.

    Parameters
    ----------
    clock : Clock
        Of the samples.
    """

    carried: ClassVar[tuple[str, ...]] = ("_beats", "_led", "_overdue")

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._beats: list[tuple[float, int]] = []  # time and number of the latest beats
        self._led: list[_Led] = []
        self._overdue = (-math.inf, 0.0)  # latest last beat of a row, and the level after it

    @property
    def last_place(self) -> int:
        """Output sample from which the latest template leads."""
        return self._led[-1].place if self._led else 0

    def note(self, beat: Beat) -> None:
        """Take up a beat of the repaired train."""
        self._beats.append((beat.time_s, beat.cycle))

    def latest(self, news: int, count: int) -> tuple[Floats, Floats]:
        """Return times and numbers of the `count` beats up to each of the latest `news` beats."""
        stops = np.arange(len(self._beats) - news, len(self._beats))
        rows = np.maximum(stops[:, np.newaxis] + np.arange(1 - count, 1), 0)
        beats = np.array(self._beats)[rows]
        return beats[:, :, 0], beats[:, :, 1]

    def lead(self, place: int, beat: Beat, known: Learned) -> None:
        """Let a beat and what is known after it lead from an output sample on."""
        before = self._led[-1].harmonics if self._led else _NOTHING
        helps = known.helps and beat.trusted
        self._led.append(
            _Led(
                place,
                beat.time_s,
                beat.cycle,
                beat.usual_s,
                known.harmonics if helps else _NOTHING,
                before,
                helps,
                known.in_step,
                known.only_heart,
            )
        )

    def pulse(self, ticks: Ints) -> Pulse:
        """Return the pulsation at output samples."""
        if not self._led or not self._beats or not len(ticks):  # all beats long past
            none = np.zeros(len(ticks), bool)
            return Pulse(np.zeros(len(ticks)), none, none)
        places = np.array([each.place for each in self._led])
        index = np.searchsorted(places, ticks, side="right") - 1
        cycles, fade = self._phase(self._clock.times_s(ticks), np.maximum(index, 0))
        fade[index < 0] = 0.0
        index = np.maximum(index, 0)
        new = np.array([each.harmonics for each in self._led])[index]
        old = np.array([each.before for each in self._led])[index]
        share = np.minimum((ticks - places[index] + 1) / (BLEND_S * self._clock.rate_hz), 1.0)
        removed = fade * rendered(old + share[:, np.newaxis] * (new - old), cycles)
        helps = np.array([each.helps for each in self._led])[index]
        in_step = np.array([each.in_step for each in self._led])[index]
        return Pulse(removed, helps & (fade > 0.0), in_step & (fade > 0.0))

    def held_still(self, ticks: Ints, values: Floats, left: Floats) -> Floats:
        """Return what is left, without the last pulse where a beat is overdue in a pause.

        `values` are the samples as they came, `left` those without the pulsation.
        """
        if not self._led or not len(ticks):
            return left
        stops = [each.place for each in self._led[1:]] + [int(ticks[-1]) + 1]
        for led, stop in zip(self._led, stops, strict=True):
            if not led.only_heart:
                continue
            due_s = led.time_s + max(LATE * led.usual_s - AHEAD_S, 0.0)
            exact = (due_s - self._clock.start_s) * self._clock.rate_hz
            start = max(led.place, math.ceil(exact - 1e-6))
            end_s = led.time_s + OVER_S + BACK_S - self._clock.start_s
            stop = min(stop, math.ceil(end_s * self._clock.rate_hz))
            here = slice(max(start - int(ticks[0]), 0), max(stop - int(ticks[0]), 0))
            if here.start >= min(here.stop, len(ticks)):
                continue
            if self._overdue[0] != led.time_s:
                self._overdue = (led.time_s, float(left[here.start]))
            since_s = self._clock.times_s(ticks[here]) - led.time_s
            size = peak_to_peak(led.harmonics)
            left[here] = without_last_pulse(values[here], since_s, self._overdue[1], size)
        return left

    def forget(self, given: int, oldest_s: float) -> None:
        """Let go of what samples from `given` on, and fits from a time on, do not need."""
        past = [n for n, each in enumerate(self._led) if each.place <= given]
        self._led = self._led[past[-1] if past else 0 :]
        self._beats = [each for each in self._beats if each[0] >= oldest_s]

    def _phase(self, times_s: Floats, index: Ints) -> tuple[Floats, Floats]:
        """Return the phase at times in cycles, and how far it can be trusted (0 to 1)."""
        beat_s = np.array([time_s for time_s, _ in self._beats])
        number = np.array([cycle for _, cycle in self._beats])
        usual_s = np.array([each.usual_s for each in self._led])[index]
        latest = np.searchsorted(beat_s, [each.time_s for each in self._led])[index]
        at = np.minimum(np.searchsorted(beat_s, times_s, side="right") - 1, latest)
        none = at < 0
        at = np.maximum(at, 0)
        since_s = times_s - beat_s[at]
        following = np.minimum(at + 1, latest)
        count = np.maximum(number[following] - number[at], 1)
        cycle_s = (beat_s[following] - beat_s[at]) / count
        whole = (following > at) & (cycle_s <= MISSED * usual_s)
        cycle_s = np.where(whole, cycle_s, usual_s)
        over_s = since_s - OVERDUE[0] * usual_s
        longest_s = np.minimum((OVERDUE[1] - OVERDUE[0]) * usual_s, LONGEST_OVERDUE_S)
        fade = np.where(whole, 1.0, np.clip(1.0 - over_s / longest_s, 0.0, 1.0))
        fade = np.where(none | ~np.isfinite(fade), 0.0, fade)
        cycles = since_s / cycle_s
        return np.where(fade > 0.0, cycles, 0.0), fade
