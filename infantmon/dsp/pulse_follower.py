"""Heart beats followed in the impedance itself, where no R peaks are at hand.

In comes band-passed impedance; out comes a beat for each pulse, and whether they can be trusted.
The idea: the pulsation is a narrow line beside the breathing (`PulseSearch`). Once it is found, a
loop follows it from beat to beat: each next beat is foreseen, and moved by as much as the pulse of
the latest beats comes later or sooner than usual.
"""

from __future__ import annotations

import cmath
import math
from typing import ClassVar, NamedTuple

import numpy as np

from infantmon.dsp.beat_fit import BEATS, CYCLES, first_harmonic
from infantmon.dsp.kept import Kept
from infantmon.dsp.pulse_search import PulseSearch
from infantmon.dsp.sharp_lines import HEART_HZ
from infantmon.model.arrays import Floats
from infantmon.model.carried import Carried

# All values are the project's choice, on simulated seeds.

# Searching
WINDOW_S = 14.0  # of samples in which a line is looked for,
EVERY_S = 1.0  # so often

# Following
GAIN = 0.1  # of an error in phase by which the next beat is moved,
GAIN_CLEAR = 0.45  # and more where the beat explains all that moves
RATE_GAIN = 0.25  # of such a move that the interval takes up
LEARN = 0.06  # weight of a new pulse in what is known of it
LARGE = 1.6  # of the usual pulse: what is larger holds a breath

# Trusting
LIKE_ON, LIKE_OFF = 0.72, 0.5  # so alike are pulses that come to be trusted, and that still are
TRUSTED_FROM, TRUSTED_AGAIN = 20, 8  # beats, and where the heart was followed not long ago
LEAST = 0.01  # of the range of the window with the line: a smaller pulse is noise
OTHERS = 0.6  # the share that beats explain of what moves, at most: something else must breathe
LOST = 0.35  # alike by less than this: there is no such line
TRIED = 60  # beats after which one that could not be trusted is given up
PROVED = 3  # pulses are there before any beat is told
SMALL, SMALL_FOR = 0.3, 3  # of the usual pulse, for so many beats: the heart stands still

ALONE_S = 40.0  # of it alone at its usual rate: then it was breathing, beside something larger

# In a pause, where the rate changes quickly
CALM, CALM_SHARE = 4, 0.85  # so many beats explain so much of what moves, and
STRAIN = 0.06  # the error in phase (radians) is larger than this
TOP_FROM, TOP_TO = 0.45, 2.6  # intervals after a top in which the next one is looked for
RISES, FALLS = 0.45, 0.3  # of the pulse's size, before it and after it
GROWN = 1.4  # of the size of the one before, or
BREATH = 0.9  # of what usually moves through breaths: a larger one is a breath
STEP = (0.75, 1.5)  # an interval is so many times the one before
FOLLOWS = 0.7  # weight of a new interval
AWAY = 0.12  # from the usual interval: then a line is looked for anew after the pause


class Followed(NamedTuple):
    """A beat that was followed."""

    place: int  # all samples before this one are needed to know it
    at: float  # its own place
    period: float  # usual interval, in samples
    trusted: bool


class PulseFollower(Carried):
    """Follows the heart in the impedance, from beat to beat.

    Each beat is foreseen one interval after the last. The first harmonic of the latest three
    intervals tells how late its pulse is beside the usual one; a tenth of that moves the beat, more
    where nothing but the pulse moves. Beats are trusted once 20 pulses were alike and something
    else moved as well: breathing. In a pause the heart slows within a few beats, too quickly for
    this: there each beat is the next top of about the size of the one before, at about its
    distance; what is larger, or out of step, is a breath. A pulse that vanishes is a heart that
    stands still; one that is all that moves for 40 s at an even rate was breathing.

    A beat is given once the samples up to it are there. Memory: the caller's 14 s of samples.

    Parameters
    ----------
    rate_hz : float
        Samples a second.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_place",
        "_search",
        "_beats",
        "_period",
        "_usual",
        "_pulse",
        "_mean",
        "_power",
        "_share",
        "_count",
        "_needed",
        "_trusted",
        "_calm",
        "_others",
        "_small",
        "_top",
        "_size",
        "_breathing",
        "_found",
        "_told",
        "_proved",
        "_least",
    )

    def __init__(self, rate_hz: float) -> None:
        self._rate_hz = rate_hz
        self._window = round(WINDOW_S * rate_hz)
        self._every = round(EVERY_S * rate_hz)
        self._shortest, self._longest = (rate_hz / hertz for hertz in reversed(HEART_HZ))
        self._place = self._window  # samples before this are needed for the next step
        self._search = PulseSearch(rate_hz)
        self._found: list[tuple[int, float, float, bool]] = []  # beats whose samples are to come
        self._told = False  # whether the latest beat that was given could be trusted
        self._begin(math.nan, 0)

    def _begin(self, period: float, place: int) -> None:
        """Follow anew from a place; NaN for nothing to follow."""
        self._period = self._usual = period
        self._beats = [place - back * period for back in range(BEATS, -1, -1)]
        self._pulse = (0.0, 0.0)  # first harmonic of the usual pulse
        self._mean = (0.0, 0.0)  # the same of the latest ones, and
        self._power = 0.0  # their mean power: how alike they are
        self._share = 0.0  # of what moves that beats explain
        self._count = 0
        self._needed = TRUSTED_FROM
        self._trusted = False
        self._calm = 0  # beats in which nothing else has moved
        self._others = place  # up to where something else has
        self._proved = 0  # pulses that were there where they were foreseen
        self._small = 0  # pulses in a row that were hardly there
        self._top = -1  # of the latest pulse in a pause; -1: not followed top by top
        self._size = 0.0  # of that pulse
        self._least = 0.0  # pulse that is more than noise
        self._breathing = 0.0  # what usually moves, from top to bottom

    @property
    def trusted(self) -> bool:
        """Whether there is a pulse that can be trusted to be the heart's."""
        return self._trusted

    def begin_at(self, beats: list[float], place: int, kept: Kept) -> None:
        """Follow on from beats that were found in the ECG, or with few of them from nothing.

        `beats` are places, the samples those before `place`.
        """
        self._search.begin()
        self._begin(math.nan, 0)
        self._place = max(place, self._window)
        period, latest = _even_row(beats) if len(beats) > 2 * BEATS else (math.nan, 0.0)
        if not self._shortest <= period <= self._longest:
            return
        self._begin(period, place)
        oldest = math.floor((latest - (place - self._window)) / period) - BEATS
        for back in range(min(oldest, len(beats) - BEATS), -1, -1):
            self._beats = [latest - (back + each) * period for each in range(BEATS, -1, -1)]
            self._learn(*self._heard(kept))
        self._trusted = self._count > BEATS and self._alike > LIKE_ON
        self._place = max(place, math.floor(latest + period) + 2)

    def follow(self, kept: Kept, until: int) -> list[Followed]:
        """Return the beats that samples before a place settle."""
        while self._place <= until:
            if math.isnan(self._period):
                self._look(kept)
            elif self._top < 0:
                self._follow_phase(kept)
            elif not self._follow_top(kept, until):
                break
        settled = sum(beat[0] <= until for beat in self._found)
        news, self._found = self._found[:settled], self._found[settled:]
        return [Followed(*beat) for beat in news]

    def _look(self, kept: Kept) -> None:
        """Look for a line in the latest window."""
        samples = kept.windows(np.array([self._place - self._window]), self._window)[0]
        sighting = self._search.look(samples, self._place)
        if sighting is None:
            self._place += self._every
            return
        self._begin(sighting.period, self._place)
        self._least = max(LEAST * float(np.ptp(samples)), SMALL * sighting.pulse)
        self._needed = TRUSTED_AGAIN if sighting.again else TRUSTED_FROM
        self._place = math.floor(self._beats[-1] + self._period) + 2

    def _stop(self, place: int) -> None:
        """Follow no longer, from a place on."""
        self._trusted = False
        self._give(place, float(place))
        self._search.begin()
        self._begin(math.nan, 0)
        self._place = max(place + self._every, self._window)

    def _follow_phase(self, kept: Kept) -> None:
        """Take up the beat that was foreseen, and move it as its pulse tells."""
        foreseen = self._beats[-1] + self._period
        self._beats = [*self._beats[-BEATS:], foreseen]
        first, share = self._heard(kept)
        error, size = self._learn(first, share)
        clear = self._trusted and size < LARGE
        gain = GAIN + (GAIN_CLEAR * share * share if clear else 0.0)
        late = -gain * error / (2.0 * math.pi) * self._period
        self._beats[-1] = foreseen + late
        period = self._period + RATE_GAIN * late
        self._period = min(max(period, self._shortest), self._longest)
        self._judge()
        self._small = self._small + 1 if size < SMALL else 0
        if self._is_lost():
            self._stop(self._place)
            return
        self._proved += size >= SMALL
        self._give(self._place, self._beats[-1])
        self._calm = self._calm + 1 if clear and share > CALM_SHARE else 0
        if self._share < OTHERS:
            self._others = self._place
        if self._is_alone():
            self._stop(self._place)
            return
        if self._trusted:
            self._usual += 0.05 * (self._period - self._usual)
            self._search.note(self._usual, abs(complex(*self._pulse)), self._place)
            if self._calm >= CALM and abs(error) > STRAIN:
                self._begin_tops(kept)
        self._place = max(self._place, math.floor(self._beats[-1] + self._period) + 2)

    def _give(self, place: int, at: float) -> None:
        """Give a beat that can be trusted, or the first one that cannot any more.

        The samples up to it are needed as well.
        """
        trusted = self._trusted and self._proved >= PROVED
        if trusted or self._told:
            self._found.append((max(place, math.floor(at) + 2), at, self._period, trusted))
        self._told = trusted

    def _is_alone(self) -> bool:
        """Tell whether nothing else has moved for longer than a pause lasts at an even rate."""
        lasts = self._place - self._others > ALONE_S * self._rate_hz
        return lasts and abs(self._period / self._usual - 1.0) < AWAY

    def _is_lost(self) -> bool:
        """Tell whether there is nothing to follow any more."""
        if self._trusted:
            return self._small >= SMALL_FOR
        return (self._count >= TRUSTED_FROM and self._alike < LOST) or self._count > TRIED

    def _heard(self, kept: Kept) -> tuple[complex, float]:
        """Return the first harmonic of the latest beats, and how much of all they explain."""
        places = np.interp(CYCLES, range(BEATS + 1), self._beats)
        first, power, share = first_harmonic(kept.between(places))
        if share < CALM_SHARE:
            height = 2.0 * math.sqrt(2.0 * power)
            self._breathing += max(LEARN, 1.0 / (self._count + 1)) * (height - self._breathing)
        return first, share

    def _learn(self, first: complex, share: float) -> tuple[float, float]:
        """Take up the first harmonic of a pulse; return its error in phase, and its size.

        The error is in radians, the size in usual pulses.
        """
        self._count += 1
        weight = max(LEARN, 1.0 / self._count)
        usual = complex(*self._pulse) if self._count > 1 else first
        size = abs(first) / max(abs(usual), 1e-300)
        error = cmath.phase(first * usual.conjugate())
        bounded = first * (LARGE / size) if size > LARGE and self._trusted else first
        usual += weight * (bounded - usual)
        mean = complex(*self._mean)
        mean += weight * (first - mean)
        self._power += weight * (abs(first) ** 2 - self._power)
        self._share += weight * (share - self._share)
        self._pulse, self._mean = (usual.real, usual.imag), (mean.real, mean.imag)
        return error, size

    @property
    def _alike(self) -> float:
        """How alike the latest pulses are, from 0 to 1."""
        return abs(complex(*self._mean)) / math.sqrt(max(self._power, 1e-300))

    def _judge(self) -> None:
        """Tell whether beats can be trusted."""
        if self._trusted:
            self._trusted = self._alike > LIKE_OFF
        elif self._count >= self._needed:
            large = abs(complex(*self._mean)) > self._least
            self._trusted = large and self._alike > LIKE_ON and self._share < OTHERS

    def _begin_tops(self, kept: Kept) -> None:
        """Follow top by top from the latest one on."""
        start, latest = math.floor(self._beats[0]), math.floor(self._beats[-2])
        samples = kept.windows(np.array([start]), self._place - start)[0]
        self._top = latest + int(np.argmax(samples[latest - start :]))
        self._size = float(np.ptp(samples))

    def _follow_top(self, kept: Kept, until: int) -> bool:
        """Look for the next top; return whether it, or that there is none, is known by now."""
        first = self._top + math.floor(TOP_FROM * self._period)
        stop = self._top + math.ceil(TOP_TO * self._period)
        samples = kept.windows(np.array([first]), max(min(stop, until) - first, 1))[0]
        found_top = next_top(samples, self._size)
        if found_top is None:
            if until < stop:
                return False
            self._stop(stop)
            return True
        top, rise, sure = found_top
        apart = first + top - self._top
        place = max(self._place, first + sure + 1)
        fits = STEP[0] <= apart / self._period <= STEP[1]
        if not fits or rise > min(GROWN * self._size, BREATH * self._breathing):
            if abs(self._period / self._usual - 1.0) > AWAY:
                self._stop(place)
            else:
                self._top, self._calm = -1, 0
                self._place = max(place, math.floor(self._beats[-1] + self._period) + 2)
            return True
        self._beats = [*self._beats[-BEATS:], self._beats[-1] + apart]
        self._period += FOLLOWS * (apart - self._period)
        self._top, self._place = first + top, place
        self._size += FOLLOWS * (rise - self._size)
        if self._is_alone():
            self._stop(place)
        else:
            self._give(place, self._beats[-1])
        return True


def _even_row(beats: list[float]) -> tuple[float, float]:
    """Return the usual interval of beats, some of which may be missing, and where the latest is."""
    places = np.array(beats)
    usual = float(np.median(np.diff(places)))
    number = np.round((places - places[-1]) / usual)
    slope, latest = np.polyfit(number, places, 1)
    return float(slope), float(latest)


def next_top(samples: Floats, size: float) -> tuple[int, float, int] | None:
    """Return the first top of about a size: its place, its rise, and from where on it is sure."""
    rises = samples - np.minimum.accumulate(samples)
    up = int(np.argmax(rises >= RISES * size))
    if rises[up] < RISES * size:
        return None
    lowest = float(samples[up] - rises[up])
    beyond = samples[up:]
    falls = np.maximum.accumulate(beyond) - beyond
    down = int(np.argmax(falls >= FALLS * size))
    if falls[down] < FALLS * size:
        return None
    top = up + int(np.argmax(beyond[: down + 1]))
    return top, float(samples[top]) - lowest, up + down
