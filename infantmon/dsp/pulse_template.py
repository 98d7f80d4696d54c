"""The heart's pulsation in the impedance, as harmonics of the beat, followed from beat to beat.

In comes one fit after the other (`beat_fit`); out comes the shape to take out from here on. The
difficulty: while the infant breathes a fit holds part of a breath, so the shape must be followed
slowly; in a pause the heart slows and its pulsation changes, so it must be followed quickly, and
nothing else moves that could mislead it. Most of this file tells the one from the other.
"""

from __future__ import annotations

import math
from typing import ClassVar

from infantmon.dsp.beat_fit import BEATS
from infantmon.dsp.harmonic_row import (
    NOTHING,
    Row,
    compared,
    mixed,
    moved,
    power_of,
    scaled,
    slope_power_of,
)
from infantmon.model.carried import Carried

# "Level" is the root mean square of a window of three beats, "breathing level" that without the
# pulsation; the usual ones are learned. A fit's "power" is that of its harmonics or of the window,
# its "rest" what the harmonics leave of the window's. All values are the project's choice, on the
# recordings and simulated seeds that the results page names.

# A pause: only the heart moves
QUIET = 0.5  # of the usual breathing level: less is left without the pulsation,
DROPPED = 0.85  # and the whole is less than this of the usual level;
BEYOND = 2.0  # or the whole is that little, and the template is so many times larger than it
PAUSE_FROM = 6  # quiet beats that make a pause; after fewer, what was learned in them is dropped
STILL_FROM = 5  # quiet beats after which nothing but the heart moves
SURE_S = 1.8  # of quiet at the usual interval, after which a pause has a template of its own
LONG_QUIET = 60  # beats after which a lasting lower level becomes the usual one

# A pause goes on, or has begun, although more moves: the heart has slowed, or its pulse has grown
SLOWING = 1.08  # of the usual interval: from here on changes of the pulsation are carried on
ALIKE = 0.12  # of its power: a fit that differs by less from the one before is the same heart,
STILL = 0.08  # of the power: if its harmonics leave less than this;
STEADY = 0.03  # for both, at an unchanged rate: breaths near it would change far more
SLOWED = 1.2  # of the usual interval: the heart has slowed for sure,
EXPLAINED = 0.7  # of the power: if the harmonics hold this much it may be the heart
STILL_QUIET = 1.5  # of the usual level: up to here
SLOW_REST = 0.02  # of the power: so little is left where only a slowed heart moves

# A beat that comes early, or is missed, in a pause: no fit holds, and the pause goes on
UNEVEN_FROM = 2  # quiet beats: few, as what is held back is no larger than the pulsation,
UNEVEN_FOR = 8.0  # through so many beats, at most,
EVEN = 1.0  # of which each beat in time takes back so much;
MOST_UNEVEN = 12.0  # and where more than half are uneven, as bad R peaks are, through none

# How large a pulsation can have become; what is larger is a breath
GROWN = 1.6  # times the usual one, times the square of how much longer the interval is,
UNSEEN = 0.3  # and this share of the breathing level
KNOWN_FROM = 20  # fits after which the size of a pulsation is known

# How fast it is followed
SLOW = 1.0 / 100.0  # weight of a new fit while the infant breathes (at least: the mean at first)
QUICK = 0.9  # and in a pause
FRESH = 0.7  # weight of the latest change from beat to beat, in a pause
AHEAD = 1.2  # beats from the middle of a fit to where it is used: a change is carried on so far
SAME_INTERVAL = 0.12  # intervals whose logarithms differ by less are one heart rate
LEVEL_SHARE = 0.05  # least weight of a new level
GATE_SHARE = 0.03  # weight of a new fit in whether taking the pulsation out helps

# When nothing is learned from a fit, and when all is learned anew
STANDS = 1e-4  # of the usual power: with less the signal stands still, an electrode may be off
HUGE = 3.0  # of the usual level: more is movement
TOO_LARGE = 3.0  # times what is in the signal: a template beyond this is none of it
FAR = 0.1  # of the usual level: below this, or above its inverse, breathing has not just changed
# With such a template, or such a level, all is learned anew: after as many beats as the template
# rests on, and at the latest
PATIENCE = 60  # after so many,
LONG_PATIENCE = 600  # or after so many, where only the level is far off and more had been learned

# Breaths in step with the heart cannot be told from its pulsation
IN_STEP = 0.4  # of the level: if less is left without the pulsation,
FULL = 0.75  # of the usual level: although this much or more moves
STEPS = 8  # for so many beats
STEPS_KEPT = 24  # so many beats after it, it still matters:
STEP_LOST = 0.6  # of the usual level: with less, breaths that kept step have stopped

# When the template is used
FEW = 6  # not before so many fits
GATE = -0.3  # of its power: not if taking it out has done more harm than this of late
HELPED = 0.5  # of the power: but at once, in a pause, if the harmonics leave less than this
CERTAIN = 60.0  # no template is more certain than one of so many fits that do not overlap


# Harmonics, power, rest (see `infantmon.dsp.beat_fit.Fit`) and mean interval of one window.
Heard = tuple[Row, float, float, float]


# What is known of the pulsation after a beat: its harmonics; whether taking it out has not made the
# signal rougher of late; whether breaths keep step with the heart and cannot be told from it;
# whether no breath has been heard for some beats; whether this is not heard now, but goes on.
Learned = tuple[Row, bool, bool, bool, bool]


class PulseTemplate(Carried):
    """Follows the harmonics from beat to beat: slowly through breaths, quickly in a pause.

    While the infant breathes, every fit holds some of the breath, so a new fit weighs little. When
    what is left without the pulsation falls under half of its usual level, only the heart moves,
    and a new fit weighs nearly all: so the template follows a pulsation that changes as the heart
    slows, and its change from beat to beat is carried on to where it is used. Where the heart has
    not slowed this waits for 1.8 s of quiet, since a few quick breaths can look like it. What
    evolves smoothly and is all explained by the beat stays heart, however large. A pause goes on
    through a few beats that come early, or are missed: no fit holds there. As breathing comes
    back, the template of the pause goes over to the one before it as the heart rate does. Neither
    the usual level nor the template of a pause can be locked in place: what lasts for 60 beats
    becomes usual. What was learned from few beats, as in a burst while the electrodes are put on,
    is forgotten after as many in which there is far less: it would be put into the breathing.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_usual",
        "_usual_power",
        "_usual_s",
        "_paused",
        "_paused_s",
        "_latest",
        "_change",
        "_fits",
        "_level",
        "_breath_level",
        "_quiet_for",
        "_was_quiet_for",
        "_uneven",
        "_away_for",
        "_wrong",
        "_gain",
        "_steps",
        "_steps_ago",
        "_near_for",
        "_far_for",
        "_alone_for",
    )

    def __init__(self) -> None:
        self._start_anew()

    def _start_anew(self) -> None:
        """Know nothing."""
        self._usual = NOTHING  # through breaths
        self._usual_power = 0.0  # of its harmonics
        self._usual_s = math.nan  # at this interval
        self._paused = NOTHING  # in the pause, or the latest one
        self._paused_s = math.nan  # at this interval; NaN: no other than the usual one
        self._latest = NOTHING  # fit in the present pause
        self._change = NOTHING  # by which such fits change from beat to beat
        self._fits = 0
        self._level = 0.0  # usual root mean square of a window
        self._breath_level = 0.0  # the same without the pulsation
        self._quiet_for = 0  # beats in the present pause
        self._was_quiet_for = 0  # beats in the latest one
        self._away_for = 0  # beats at the interval of a pause that is over
        self._wrong = 0.0  # mean square by which fits differ from the template
        self._uneven = 0.0  # beats of late that came unevenly
        self._steps = 0  # beats for which breaths have kept step with the heart
        self._steps_ago = 10**6  # beats since they did
        self._gain = 0.0  # smoothness won by taking the pulsation out
        self._near_for = 0  # beats whose level was not far from the usual one
        self._far_for = 0  # beats since the latest of them
        self._alone_for = 0  # and how many of these moved the signal alone

    def take(self, heard: Heard | None, beat_s: float, *, uneven: bool) -> Learned:
        """Learn from the fit up to one beat; None where there is none.

        `beat_s` is the usual interval, `uneven` whether the last intervals are no longer of it,
        though no beat is long overdue.
        """
        if uneven:
            self._uneven = min(self._uneven + 1.0, MOST_UNEVEN)
            if self._quiet_for >= UNEVEN_FROM and self._uneven <= UNEVEN_FOR:
                return self._uneven_in_pause(beat_s)
        elif self._uneven:
            self._uneven -= EVEN
        return self._unheard(beat_s) if heard is None else self._learn(heard)

    def _learn(self, heard: Heard) -> Learned:
        """Learn from one fit."""
        harmonics, power, rest, interval_s = heard
        level = math.sqrt(power)
        self._follow(level, heart_alone=rest < (1.0 - EXPLAINED) * power)
        if power <= STANDS * self._level * self._level:  # a heart would show: an electrode is off
            return self._unheard(interval_s)
        if self._fits == 0:
            self._level = self._breath_level = level
            self._usual_s = interval_s
        share = self._share_of_pause(interval_s)
        known = mixed(self._usual, self._paused, share) if share else self._usual
        wrong, smoother = compared(known, harmonics)
        breath_level = math.sqrt(rest + 0.5 * wrong)
        quiet = self._note_quiet(heard, level, breath_level, known)
        self._count_steps(level, breath_level)
        if level <= HUGE * self._level:
            self._gain += GATE_SHARE * (smoother - self._gain)
            self._fits += 1
            if quiet:
                self._learn_in_pause(harmonics, interval_s)
                share = 1.0 if self._is_sure_pause(interval_s) else 0.0
            else:
                self._learn_in_breaths(harmonics, interval_s, share)
                self._wrong += _weight(LEVEL_SHARE, self._fits) * (wrong - self._wrong)
        if not quiet or self._quiet_for > LONG_QUIET:
            self._learn_levels(level, breath_level)
        shape = self._shape_at(interval_s, share)
        helps = self._helps(shape) or (quiet and rest < HELPED * power)
        return shape, helps, self._steps >= STEPS, self._quiet_for >= STILL_FROM, False

    def _unheard(self, interval_s: float) -> Learned:
        """Return what is known at an interval when there is no new fit."""
        share = self._share_of_pause(interval_s)
        shape = mixed(self._trusted(), self._paused, share)
        return shape, self._helps(shape), False, False, False

    def _uneven_in_pause(self, interval_s: float) -> Learned:
        """Return what is known while beats come unevenly in a pause."""
        shape = mixed(self._trusted(), self._paused, self._share_of_pause(interval_s))
        return shape, True, False, True, True

    def _follow(self, level: float, *, heart_alone: bool) -> None:
        """Start anew once the level has been far from what was learned for as long as that took.

        Where far less moves than usual, and mostly with the heart alone, that is a pause.
        """
        too_large = 0.5 * self._usual_power > (TOO_LARGE * level) ** 2
        if not too_large and FAR * self._level <= level <= self._level / FAR:
            self._near_for += 1
            self._far_for = self._alone_for = 0
            return
        self._far_for += 1
        self._alone_for += heart_alone and not too_large and level < self._level
        patience = PATIENCE if too_large or self._near_for < PATIENCE else LONG_PATIENCE
        is_pause = 2 * self._alone_for > self._far_for
        if self._far_for >= min(self._near_for, patience) and not is_pause:
            self._start_anew()

    def _know(self, usual: Row) -> None:
        self._usual, self._usual_power = usual, power_of(usual)

    def _trusted(self) -> Row:
        """Return the usual template, the smaller the less certain it is."""
        power = self._usual_power
        if power == 0.0:
            return self._usual
        fits = self._fits / BEATS
        error = self._wrong / (fits if fits < CERTAIN else CERTAIN)
        return scaled(self._usual, 1.0 - error / power) if error < power else NOTHING

    def _helps(self, shape: Row) -> bool:
        """Tell whether taking the pulsation out has not made the signal rougher of late."""
        if self._fits < FEW:
            return False
        return self._gain >= 0.0 or self._gain >= GATE * slope_power_of(shape)

    def _is_quiet(self, level: float, breath_level: float, known: Row) -> bool:
        """Tell whether there is no breath in a window."""
        if self._steps_ago < STEPS_KEPT and level < STEP_LOST * self._level:
            return True
        if level >= DROPPED * self._level:
            return False
        most = QUIET * self._breath_level
        if breath_level < most:
            return True
        # a template that is larger than all there is makes more of nothing: it is wrong by now
        return level < most and 0.5 * power_of(known) > (BEYOND * level) ** 2

    def _note_quiet(self, heard: Heard, level: float, breath_level: float, known: Row) -> bool:
        """Tell whether only the heart moves in a window, and count for how long that has been."""
        quiet = self._is_quiet(level, breath_level, known)
        quiet = quiet or (self._quiet_for > 0 and self._is_still(heard)) or self._is_slow(heard)
        harmonics, _, _, interval_s = heard
        if not (quiet and self._may_be_heart(harmonics, interval_s)):
            self._quiet_for = 0
            return False
        self._quiet_for += 1
        self._was_quiet_for = self._quiet_for
        return True

    def _shape_at(self, interval_s: float, share: float) -> Row:
        """Return the pulsation to take out, `share` of it that of the pause."""
        shape = mixed(self._trusted(), self._paused, share) if share < 1.0 else self._paused
        if self._quiet_for >= STILL_FROM and interval_s > SLOWING * self._usual_s:
            shape = moved(shape, self._change, AHEAD)
        return shape

    def _count_steps(self, level: float, breath_level: float) -> None:
        """Count the beats in which breaths seem to keep step with the heart."""
        in_step = breath_level < IN_STEP * level and level > FULL * self._level
        if in_step:
            self._steps = min(self._steps + 1, 2 * STEPS)
        elif self._steps:
            self._steps -= 1
        self._steps_ago = 0 if self._steps >= STEPS else self._steps_ago + 1

    def _learn_levels(self, level: float, breath_level: float) -> None:
        weight = _weight(LEVEL_SHARE, self._fits + 1)
        off, most = level - self._level, self._level  # none counts for more than twice the usual
        self._level += weight * (off if off < most else most)
        if self._steps_ago >= STEPS_KEPT:  # in step, too little would be left of a breath
            off, most = breath_level - self._breath_level, self._breath_level
            self._breath_level += weight * (off if off < most else most)

    def _may_be_heart(self, harmonics: Row, interval_s: float) -> bool:
        """Tell whether a fit is no larger than a pulsation can have become."""
        if self._fits < KNOWN_FROM:
            return True
        longer = max(interval_s / self._usual_s, 1.0)
        usual = math.sqrt(self._usual_power)
        most = GROWN * longer * longer * usual + UNSEEN * self._breath_level
        return power_of(harmonics) <= most * most

    def _is_still(self, heard: Heard) -> bool:
        """Tell whether a pause goes on although more moves than before: the pulse has changed."""
        harmonics, power, rest, interval_s = heard
        if self._quiet_for >= STILL_FROM:
            slowing = interval_s > SLOWING * self._usual_s
            alike, still = (ALIKE, STILL) if slowing else (STEADY, STEADY)
            wrong, _ = compared(self._latest, harmonics)
            if wrong < alike * power_of(harmonics) and rest < still * power:
                return True
        slowed = self._quiet_for > 0 and interval_s > SLOWED * self._usual_s
        explained = rest < (1.0 - EXPLAINED) * power
        return slowed and explained and power < (STILL_QUIET * self._level) ** 2

    def _is_slow(self, heard: Heard) -> bool:
        """Tell whether a slowed heart alone moves, though no pause was heard to begin."""
        _, power, rest, interval_s = heard
        slowed = interval_s > SLOWED * self._usual_s
        return slowed and rest < SLOW_REST * power and power < (DROPPED * self._level) ** 2

    def _share_of_pause(self, interval_s: float) -> float:
        """Return how near an interval is to that of the pause, from 0 (the usual one) to 1."""
        if math.isnan(self._paused_s) or interval_s <= 0.0:
            return 0.0
        between = math.log(self._paused_s / self._usual_s)
        if abs(between) < SAME_INTERVAL:
            return 1.0
        return min(max(math.log(interval_s / self._usual_s) / between, 0.0), 1.0)

    def _learn_in_pause(self, harmonics: Row, interval_s: float) -> None:
        if self._quiet_for == 1 or math.isnan(self._paused_s):
            self._paused, self._paused_s = harmonics, interval_s
            self._latest, self._change = harmonics, NOTHING
        self._change = mixed(self._change, moved(harmonics, self._latest, -1.0), FRESH)
        self._latest = harmonics
        self._paused = mixed(self._paused, harmonics, QUICK)
        self._paused_s += QUICK * (interval_s - self._paused_s)
        self._away_for = 0
        at_usual_rate = abs(math.log(interval_s / self._usual_s)) < SAME_INTERVAL
        if at_usual_rate and self._quiet_for >= PAUSE_FROM:
            self._know(mixed(self._usual, harmonics, QUICK))

    def _is_sure_pause(self, interval_s: float) -> bool:
        """Tell whether to go by the fits of a pause: breaths at the heart's rate look alike."""
        quiet_s = (self._quiet_for + BEATS - 1) * interval_s
        if quiet_s >= SURE_S or self._fits < KNOWN_FROM:
            return True
        return abs(math.log(interval_s / self._usual_s)) >= SAME_INTERVAL

    def _learn_in_breaths(self, harmonics: Row, interval_s: float, share: float) -> None:
        if self._was_quiet_for < PAUSE_FROM and not math.isnan(self._paused_s):
            self._paused_s, share = math.nan, 0.0  # it was no pause
        weight = _weight(SLOW, self._fits + 1)
        if share > 0.5:
            self._paused = mixed(self._paused, harmonics, weight)
            self._away_for += 1
            if self._away_for > LONG_QUIET or self._is_same():
                self._know(self._paused)
                self._usual_s = self._paused_s
                self._paused_s = math.nan
            return
        self._away_for = 0
        self._know(mixed(self._usual, harmonics, weight))
        self._usual_s += weight * (interval_s - self._usual_s)
        if share < 0.1:
            self._paused_s = math.nan

    def _is_same(self) -> bool:
        """Tell whether the pause was at the usual interval."""
        return abs(math.log(self._paused_s / self._usual_s)) < SAME_INTERVAL


def _weight(least: float, count: int) -> float:
    """Return the weight of the latest of so many, but no less than some."""
    share = 1.0 / count
    return share if share > least else least
