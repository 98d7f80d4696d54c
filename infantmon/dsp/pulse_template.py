"""The heart's pulsation in the impedance, as harmonics of the beat, followed from beat to beat."""

from __future__ import annotations

import math
from typing import ClassVar, NamedTuple

import numpy as np

from infantmon.model.arrays import Floats
from infantmon.model.carried import Carried

BEATS = 3  # intervals in one fit
POINTS = 12  # of each interval
HARMONICS = 3
QUIET = 0.5  # of the usual level without pulsation: less is a pause, where only the heart moves
GROWN = 1.6  # no pulsation grows by more than this, times the square of the longer interval,
UNSEEN = 0.3  # beyond this share of the breathing level
DROPPED = 0.85  # and of the usual level with it
STILL_QUIET = 1.5  # in a pause, of the usual level: so much may still be the heart,
SLOWED = 1.2  # if the interval has grown by so much
EXPLAINED = 0.7  # and if its harmonics explain this share of the power
HELPED = 0.5  # in a pause: if the harmonics leave less than this share, they are taken out at once
QUICK = 0.9  # weight of a new fit in a pause
SLOW = 1.0 / 100.0  # and while the infant breathes
HUGE = 3.0  # of the usual level: more is movement, nothing is learned from it
SAME_INTERVAL = 0.12  # intervals whose logarithms differ by less are one heart rate
IN_STEP = 0.4  # of the level: if less is left without the pulsation although the level is as usual,
FULL = 0.75  # or at least this share of it, breaths keep step with the heart
STEPS = 8  # if it lasts for so many beats
STEPS_KEPT = 24
STEP_LOST = 0.6  # of the usual level: then breaths that kept step have stopped
KNOWN_FROM = 20  # fits after which the size of a pulsation is known
PAUSE_FROM = 6  # quiet beats that make a pause; after fewer, what was learned in them is dropped
LONG_QUIET = 60  # beats after which a lasting lower level becomes the usual one
LEVEL_SHARE = 0.05
GATE_SHARE = 0.03
GATE = -0.3  # of the template's power: if taking it out does more harm than this, it is left in
CERTAIN = 60.0  # fits that do not overlap, in a template that has been learned for long
FEW = 6  # nothing is taken out before so many fits

_PHASE = (np.arange(BEATS * POINTS) + 0.5) / POINTS
_WINDOW = 1.0 - np.cos(2.0 * np.pi * _PHASE / BEATS)
_ANGLE = 2.0 * np.pi * np.outer(np.arange(1, HARMONICS + 1), _PHASE)
_SHAPES = [shape for a in _ANGLE for shape in (np.cos(a), np.sin(a))]
_COS = np.cos(_ANGLE) * _WINDOW * (2.0 / (BEATS * POINTS))
_SIN = np.sin(_ANGLE) * _WINDOW * (2.0 / (BEATS * POINTS))


_NONE = [0.0] * (2 * HARMONICS)


class Fit(NamedTuple):
    """Windows of three beats, seen as harmonics of the beat; one row a window."""

    harmonics: Floats
    power: Floats
    rest: Floats


def fit(samples: Floats) -> Fit:
    """Return the harmonics of the beat in windows of three beats.

    Parameters
    ----------
    samples : numpy.ndarray, shape (n, 36)
        Twelve samples of each of three consecutive intervals, evenly spaced in phase.

    Returns
    -------
    harmonics : numpy.ndarray, shape (n, 6)
        Cosine and sine parts of one, two and three times the heart rate.
    power : numpy.ndarray, shape (n,)
        Mean square in the window, without the mean.
    rest : numpy.ndarray, shape (n,)
        The same of what the harmonics leave.

    Notes
    -----
    The window is a raised cosine: what is slower than the heart by more than two thirds of its
    rate leaves no trace, and no line has to be taken out (that would take most of the heart's own
    part with it).
    """
    level = np.sum(samples * _WINDOW, axis=1, keepdims=True) / (BEATS * POINTS)
    centred = samples - level
    parts = [np.sum(centred * row, axis=1) for pair in zip(_COS, _SIN, strict=True) for row in pair]
    rest = centred
    for part, row in zip(parts, _SHAPES, strict=True):
        rest = rest - part[:, np.newaxis] * row
    power, left = (np.sum(x * x * _WINDOW, axis=1) / (BEATS * POINTS) for x in (centred, rest))
    return Fit(np.stack(parts, axis=1), power, left)


def rendered(harmonics: Floats, cycles: Floats) -> Floats:
    """Return the pulsation at phases (in cycles of the beat), one row of harmonics a phase."""
    angle = 2.0 * np.pi * (cycles - np.floor(cycles))
    cosine, sine = np.cos(angle), np.sin(angle)
    c, s = cosine, sine
    total = harmonics[:, 0] * c + harmonics[:, 1] * s
    for first in range(2, 2 * HARMONICS, 2):
        c, s = c * cosine - s * sine, s * cosine + c * sine
        total = total + harmonics[:, first] * c + harmonics[:, first + 1] * s
    return total


class Heard(NamedTuple):
    """One fit: see `Fit`."""

    harmonics: list[float]
    power: float
    rest: float


class Learned(NamedTuple):
    """What is known of the pulsation after a beat."""

    harmonics: list[float]
    helps: bool  # taking the pulsation out has not made the signal rougher of late
    in_step: bool  # breaths keep step with the heart and cannot be told from pulsation


class PulseTemplate(Carried):
    """Follows the harmonics from beat to beat: slowly through breaths, quickly in a pause.

    While the infant breathes, every fit holds some of the breath, so a new fit weighs little. When
    what is left without the pulsation falls under half of its usual level, only the heart moves,
    and a new fit weighs nearly all: so the template follows a pulsation that changes as the heart
    slows. As breathing comes back, the template of the pause goes over to the one before it as the
    heart rate does. Neither the usual level nor the template of a pause can be locked in place:
    what lasts for 60 beats becomes usual.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_usual",
        "_usual_s",
        "_paused",
        "_paused_s",
        "_fits",
        "_level",
        "_breath_level",
        "_quiet_for",
        "_was_quiet_for",
        "_away_for",
        "_wrong",
        "_gain",
        "_steps",
        "_steps_ago",
    )

    def __init__(self) -> None:
        self._usual = [0.0] * (2 * HARMONICS)  # through breaths
        self._usual_s = math.nan  # at this interval
        self._paused = [0.0] * (2 * HARMONICS)  # in the pause, or the latest one
        self._paused_s = math.nan  # at this interval; NaN: no other than the usual one
        self._fits = 0
        self._level = 0.0  # usual root mean square of a window
        self._breath_level = 0.0  # the same without the pulsation
        self._quiet_for = 0  # beats in the present pause
        self._was_quiet_for = 0  # beats in the latest one
        self._away_for = 0  # beats at the interval of a pause that is over
        self._wrong = 0.0  # mean square by which fits differ from the template
        self._steps = 0  # beats for which breaths have kept step with the heart
        self._steps_ago = 10**6  # beats since they did
        self._gain = 0.0  # smoothness won by taking the pulsation out

    def take(self, heard: Heard, interval_s: float) -> Learned:
        """Learn from one fit, made at a mean interval."""
        level = math.sqrt(heard.power)
        if self._fits == 0:
            self._level = self._breath_level = level
            self._usual_s = interval_s
        share = self._share_of_pause(interval_s)
        known = _mixed(self._usual, self._paused, share)
        wrong = sum((a - b) ** 2 for a, b in zip(known, heard.harmonics, strict=True))
        breath_level = math.sqrt(heard.rest + 0.5 * wrong)
        quiet = self._is_quiet(level, breath_level) or self._is_still(heard, interval_s)
        quiet = quiet and self._may_be_heart(heard.harmonics, interval_s)
        self._count_steps(level, breath_level)
        if quiet:
            self._quiet_for += 1
            self._was_quiet_for = self._quiet_for
        else:
            self._quiet_for = 0
        if level <= HUGE * self._level:
            self._gain += GATE_SHARE * (_smoother_by(known, heard.harmonics) - self._gain)
            self._fits += 1
            if quiet:
                self._learn_in_pause(heard.harmonics, interval_s)
                share = 1.0
            else:
                self._learn_in_breaths(heard.harmonics, interval_s, share)
                weight = max(LEVEL_SHARE, 1.0 / self._fits)
                self._wrong += weight * (wrong - self._wrong)
        if not quiet or self._quiet_for > LONG_QUIET:
            self._learn_levels(level, breath_level)
        shape = _mixed(self._trusted(), self._paused, share)
        helps = self._helps(shape) or (quiet and heard.rest < HELPED * heard.power)
        return Learned(shape, helps, self._steps >= STEPS)

    def unheard(self, interval_s: float) -> Learned:
        """Return what is known at an interval when there is no new fit."""
        share = self._share_of_pause(interval_s)
        shape = _mixed(self._trusted(), self._paused, share)
        return Learned(shape, self._helps(shape), False)

    def _trusted(self) -> list[float]:
        """Return the usual template, the smaller the less certain it is."""
        power = sum(each * each for each in self._usual)
        if power == 0.0:
            return self._usual
        error = self._wrong / min(self._fits / BEATS, CERTAIN)
        trust = max(0.0, 1.0 - error / power)
        return [trust * each for each in self._usual]

    def _helps(self, shape: list[float]) -> bool:
        """Tell whether taking the pulsation out has not made the signal rougher of late."""
        return self._fits >= FEW and self._gain >= GATE * -_smoother_by(shape, _NONE)

    def _is_quiet(self, level: float, breath_level: float) -> bool:
        """Tell whether there is no breath in a window."""
        if self._steps_ago < STEPS_KEPT and level < STEP_LOST * self._level:
            return True
        return breath_level < QUIET * self._breath_level and level < DROPPED * self._level

    def _count_steps(self, level: float, breath_level: float) -> None:
        """Count the beats in which breaths seem to keep step with the heart."""
        in_step = breath_level < IN_STEP * level and level > FULL * self._level
        self._steps = min(self._steps + 1, 2 * STEPS) if in_step else max(self._steps - 1, 0)
        self._steps_ago = 0 if self._steps >= STEPS else self._steps_ago + 1

    def _learn_levels(self, level: float, breath_level: float) -> None:
        weight = max(LEVEL_SHARE, 1.0 / (self._fits + 1))
        self._level += weight * (min(level, 2.0 * self._level) - self._level)
        if self._steps_ago >= STEPS_KEPT:  # in step, too little would be left of a breath
            new = min(breath_level, 2.0 * self._breath_level)
            self._breath_level += weight * (new - self._breath_level)

    def _may_be_heart(self, harmonics: list[float], interval_s: float) -> bool:
        """Tell whether a fit is no larger than a pulsation can have become."""
        if self._fits < KNOWN_FROM:
            return True
        longer = max(interval_s / self._usual_s, 1.0)
        usual = math.sqrt(sum(each * each for each in self._usual))
        most = GROWN * longer * longer * usual + UNSEEN * self._breath_level
        return sum(each * each for each in harmonics) <= most * most

    def _is_still(self, heard: Heard, interval_s: float) -> bool:
        """Tell whether a pause goes on although more moves than before: the heart has slowed."""
        slowed = self._quiet_for > 0 and interval_s > SLOWED * self._usual_s
        explained = heard.rest < (1.0 - EXPLAINED) * heard.power
        return slowed and explained and heard.power < (STILL_QUIET * self._level) ** 2

    def _share_of_pause(self, interval_s: float) -> float:
        """Return how near an interval is to that of the pause, from 0 (the usual one) to 1."""
        if math.isnan(self._paused_s) or interval_s <= 0.0:
            return 0.0
        between = math.log(self._paused_s / self._usual_s)
        if abs(between) < SAME_INTERVAL:
            return 1.0
        return min(max(math.log(interval_s / self._usual_s) / between, 0.0), 1.0)

    def _learn_in_pause(self, harmonics: list[float], interval_s: float) -> None:
        if self._quiet_for == 1 or math.isnan(self._paused_s):
            self._paused, self._paused_s = list(harmonics), interval_s
        self._paused = _mixed(self._paused, harmonics, QUICK)
        self._paused_s += QUICK * (interval_s - self._paused_s)
        self._away_for = 0
        at_usual_rate = abs(math.log(interval_s / self._usual_s)) < SAME_INTERVAL
        if at_usual_rate and self._quiet_for >= PAUSE_FROM:
            self._usual = _mixed(self._usual, harmonics, QUICK)

    def _learn_in_breaths(self, harmonics: list[float], interval_s: float, share: float) -> None:
        if self._was_quiet_for < PAUSE_FROM and not math.isnan(self._paused_s):
            self._paused_s, share = math.nan, 0.0  # it was no pause
        weight = max(SLOW, 1.0 / (self._fits + 1))
        if share > 0.5:
            self._paused = _mixed(self._paused, harmonics, weight)
            self._away_for += 1
            if self._away_for > LONG_QUIET or self._is_same():
                self._usual, self._usual_s = self._paused, self._paused_s
                self._paused_s = math.nan
            return
        self._away_for = 0
        self._usual = _mixed(self._usual, harmonics, weight)
        self._usual_s += weight * (interval_s - self._usual_s)
        if share < 0.1:
            self._paused_s = math.nan

    def _is_same(self) -> bool:
        """Tell whether the pause was at the usual interval."""
        return abs(math.log(self._paused_s / self._usual_s)) < SAME_INTERVAL


def _mixed(one: list[float], other: list[float], share: float) -> list[float]:
    """Return a mean of two rows, `share` of it from the other."""
    return [a + share * (b - a) for a, b in zip(one, other, strict=True)]


def _smoother_by(known: list[float], harmonics: list[float]) -> float:
    """Return how much less the slope varies if what is known is taken out of a fit."""
    gain = 0.0
    for index, (old, new) in enumerate(zip(known, harmonics, strict=True)):
        order = index // 2 + 1
        gain += order * order * old * (2.0 * new - old)
    return gain
