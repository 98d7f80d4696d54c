"""The pulsation over time: which beats and which template lead from which sample on.

In come beats with the shape known after each (`pulse_template`); out comes the pulsation at every
output sample: the shape at its phase between two beats, faded out where the next beat is overdue.
"""

from __future__ import annotations

import math
from typing import ClassVar, NamedTuple

import numpy as np

from infantmon.dsp.beat_fit import rendered
from infantmon.dsp.beat_train import MISSED, Beat
from infantmon.dsp.harmonic_row import Row
from infantmon.dsp.kept import Kept
from infantmon.dsp.last_pulse import BACK_S, LATE, OVER_S, peak_to_peak, without_last_pulse
from infantmon.dsp.pulse_template import Learned
from infantmon.dsp.uneven_beats import Stretch, UnevenBeats
from infantmon.model.arrays import Bools, Floats, Ints
from infantmon.model.carried import Carried
from infantmon.model.clock import Clock

AHEAD_S = 0.66  # beats are known this far past each output sample
OVERDUE = (1.0, 1.5)  # cycles since the last beat over which the template fades
LONGEST_OVERDUE_S = 1.0  # it has faded at the latest this long after the next beat was due
BLEND_S = 0.2  # a new template comes in over this time
_NOTHING: Row = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


# From one output sample on: that sample, time of the latest beat (s), usual interval (s), the
# harmonics that lead, whether any do, whether breaths keep step, whether no breath was heard,
# whether the train can be trusted, whether its beats were found in the impedance, whether it is
# uneven in a pause. A plain tuple: one is made a beat, a quarter of a million a day.
Led = tuple[int, float, float, Row, bool, bool, bool, bool, bool, bool]


class Pulse(NamedTuple):
    """The pulsation at output samples.

    Attributes
    ----------
    removed : numpy.ndarray, shape (n,)
        What is to be taken out.
    led, followed, in_step : numpy.ndarray of bool, shape (n,)
        Whether R peaks lead, whether beats found in the impedance do, and whether breaths keep step
        with either.
    cycles : numpy.ndarray, shape (n,)
        Beats since the first one, with the share of the one that goes on; NaN where no train is
        there to be trusted.
    size : numpy.ndarray, shape (n,)
        Size of the pulsation that leads: twice its root mean square times the root of 2, which is
        from peak to trough where it has one harmonic.
    """

    removed: Floats
    led: Bools
    followed: Bools
    in_step: Bools
    cycles: Floats
    size: Floats


class PulseTrack(Carried):
    """Renders the pulsation from the template that leads at each sample.

    Parameters
    ----------
    clock : Clock
        Of the samples.
    """

    carried: ClassVar[tuple[str, ...]] = ("_beats", "_led", "_before", "_overdue", "_uneven")

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._beats: list[tuple[float, int]] = []  # time and number of the latest beats
        self._led: list[Led] = []
        self._before: Row = _NOTHING  # harmonics that led before the first of them
        self._uneven = UnevenBeats(clock.rate_hz)
        self._overdue = (-math.inf, 0.0)  # latest last beat of a row, and the level after it

    @property
    def last_place(self) -> int:
        """Output sample from which the latest template leads."""
        return self._led[-1][0] if self._led else 0

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
        shape, helps, in_step, only_heart, uneven = known
        helps = helps and beat.trusted
        leading = shape if helps else _NOTHING
        self._led.append(
            (
                place,
                beat.time_s,
                beat.usual_s,
                leading,
                helps,
                in_step,
                only_heart,
                beat.trusted,
                beat.followed,
                uneven,
            )
        )

    def pulse(self, ticks: Ints) -> Pulse:
        """Return the pulsation at output samples."""
        if not self._led or not self._beats or not len(ticks):  # all beats long past
            none, nothing = np.zeros(len(ticks), bool), np.zeros(len(ticks))
            return Pulse(nothing, none, none, none, np.full(len(ticks), math.nan), nothing)
        starts, led_by_s, usual_s, shapes, helps, in_step, _, trusted, followed, _ = zip(
            *self._led, strict=True
        )
        places = np.array(starts)
        index = np.searchsorted(places, ticks, side="right") - 1
        early = index < 0
        index = np.maximum(index, 0)
        times_s = self._clock.times_s(ticks)
        first, cycles, fade = self._phase(
            times_s, np.array(led_by_s), np.array(usual_s)[index], index
        )
        fade[early] = 0.0
        templates = np.array([self._before, *shapes]).T
        old, new = templates[:, :-1], templates[:, 1:]  # each leads in place of the one before it
        share = np.minimum((ticks - places[index] + 1) / (BLEND_S * self._clock.rate_hz), 1.0)
        blended = new.take(index, axis=1)
        coming = np.flatnonzero(share < 1.0)
        which = index[coming]
        blended[:, coming] = old[:, which] + share[coming] * (new[:, which] - old[:, which])
        removed = fade * rendered(blended, cycles)
        leads = fade > 0.0
        counted = np.where(np.array(trusted)[index] & leads, first + cycles, math.nan)
        led = np.array(helps)[index] & leads
        by_impedance = np.array(followed)[index]
        return Pulse(
            removed,
            led & ~by_impedance,
            led & by_impedance,
            np.array(in_step)[index] & leads,
            counted,
            fade * _sizes(new)[index],
        )

    def held_even(self, ticks: Ints, left: Floats, given: Kept) -> None:
        """Hold what is left, in place, while beats are uneven in a pause (`UnevenBeats`).

        `given` holds all samples that were left before these.
        """
        holds = not self._uneven.is_over or any(led[-1] for led in self._led)
        if holds and len(ticks):
            stops = [place for place, *_ in self._led[1:]] + [int(ticks[-1]) + 1]
            stretches = [
                Stretch(led[0], stop, led[3], led[-1])
                for led, stop in zip(self._led, stops, strict=True)
            ]
            self._uneven.hold(stretches, int(ticks[0]), left, given)

    def held_still(self, ticks: Ints, values: Floats, left: Floats) -> Floats:
        """Return what is left, without the last pulse where a beat is overdue in a pause.

        `values` are the samples as they came, `left` those without the pulsation.
        """
        if not self._led or not len(ticks):
            return left
        stops = [place for place, *_ in self._led[1:]] + [int(ticks[-1]) + 1]
        for (place, time_s, usual_s, shape, _, _, only_heart, _, _, _), stop in zip(
            self._led, stops, strict=True
        ):
            if not only_heart:
                continue
            due_s = time_s + max(LATE * usual_s - AHEAD_S, 0.0)
            exact = (due_s - self._clock.start_s) * self._clock.rate_hz
            start = max(place, math.ceil(exact - 1e-6))
            end_s = time_s + OVER_S + BACK_S - self._clock.start_s
            stop = min(stop, math.ceil(end_s * self._clock.rate_hz))
            here = slice(max(start - int(ticks[0]), 0), max(stop - int(ticks[0]), 0))
            if here.start >= min(here.stop, len(ticks)):
                continue
            if self._overdue[0] != time_s:
                self._overdue = (time_s, float(left[here.start]))
            since_s = self._clock.times_s(ticks[here]) - time_s
            size = peak_to_peak(shape)
            left[here] = without_last_pulse(values[here], since_s, self._overdue[1], size)
        return left

    def forget(self, given: int, oldest_s: float) -> None:
        """Let go of what samples from `given` on, and fits from a time on, do not need."""
        past = sum(each[0] <= given for each in self._led)  # the last of these still leads
        if past > 1:
            self._before = self._led[past - 2][3]
            self._led = self._led[past - 1 :]
        self._beats = [each for each in self._beats if each[0] >= oldest_s]

    def _phase(
        self, times_s: Floats, led_by_s: Floats, usual_s: Floats, index: Ints
    ) -> tuple[Floats, Floats, Floats]:
        """Return the number of the latest beat at times, the cycles since, how far to trust it.

        The last goes from 0 to 1.
        """
        beat_s, number = (np.array(column) for column in zip(*self._beats, strict=True))
        latest = np.searchsorted(beat_s, led_by_s)[index]
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
        fade = np.where(whole, 1.0, np.minimum(np.maximum(1.0 - over_s / longest_s, 0.0), 1.0))
        fade = np.where(none | ~np.isfinite(fade), 0.0, fade)
        cycles = since_s / cycle_s
        return number[at], np.where(fade > 0.0, cycles, 0.0), fade


def _sizes(templates: Floats) -> Floats:
    """Return the size of pulsations: one column of harmonics each."""
    power = np.zeros(templates.shape[1])
    for harmonic in templates:
        power += harmonic * harmonic
    return np.asarray(2.0 * np.sqrt(power))
