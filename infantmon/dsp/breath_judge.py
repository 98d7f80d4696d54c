"""Which local maxima of the impedance are breaths: by size, by what follows, and by rhythm.

In comes one maximum after the other, with what the signal does around it; out comes the breath that
it marks, or nothing. How large breaths are (`UsualSize`), how far apart (`BreathRhythm`), whether
they come large and small in turn (`Alternation`) and whether the heart ripples between them
(`Ripple`) is learned from the maxima before; here it is brought together.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from typing import ClassVar, NamedTuple

from infantmon.dsp.alternation import Alternation
from infantmon.dsp.breath_rhythm import BreathRhythm
from infantmon.dsp.ripple import Ripple
from infantmon.dsp.short_swings import ShortSwings
from infantmon.dsp.usual_size import UsualSize
from infantmon.model.carried import Carried

# Shares are of the usual size of a breath, unless another measure is named. All values are the
# project's choice, on the recordings and simulated seeds that the results page names.

# How large a breath is
FOLLOWED = 0.3  # at least, where no R peaks tell the heart's beats
RIPPLED = 0.5  # at least, where the heart makes a ripple of small swings between breaths
OF_PULSE = 0.7  # at least, of the pulsation that was taken out, some of which may be left;
OF_PULSE_MOST = 0.4  # but no more of the usual size than this
LASTING = 0.65  # at least its rise, where no fall follows in time (a breath that is held)
CREEPS = 0.15  # where breathing is brisk one that is held may still rise by so much

# A rise as steep as the band-pass makes a jump of the level is no breath if it is held.
STEEP_S = 0.27  # so steep: at its steepest the whole rise would take less than this
STEEP_USUAL_S = 0.42  # but not where breathing is slow and its breaths take no longer as a rule
LONG_AFTER = 3.0  # usual intervals since the last breath; later than this what is held is a jump
STEEP_LATE_S = 0.3  # up to here: the level may have crept upwards before it
SETTLES = 0.2  # of a jump: the level may sink by so much after it, and no breath ends,
SETTLES_MOST = 0.5  # and by no more than this
IN_TIME = 1.25  # usual intervals since the last breath: what comes up to here, where breathing is
IN_TIME_MOST = 1.5  # brisk, and is no larger than so many breaths, is no jump, however steep
STEEP_WEIGHT = 0.1  # of a new breath, at least, in what is known of how steep breaths are
RINGS = 0.1  # of a jump: by less than this the band-pass swings before it and after it

# Where breathing is slow, what rises far faster than breaths do may be the heart's, or a jump.
FASTER = 0.4  # of the usual time of a rise: what takes less has to be large to be a breath,
FASTER_LEAST = 0.5  # at least so large
FASTER_HELD = 0.55  # of the usual time of a rise: what takes less, and is held, is a jump

# Where breathing is slow, a swing that lasts no longer than a beat may be the heart's
SHORT = 1.5  # beats from trough to trough, at most
SHORT_LEAST = 0.6  # smaller than this

# After the last breath of a series the resting level rebounds, late and slowly: no breath.
LATE = 1.1  # usual intervals since the last breath; later than this a swing may be a rebound,
REBOUND = 0.8  # if it is smaller than this,
AGAIN = 0.04  # and the signal does not rise again by so much meanwhile:
SINKS = 0.7  # then it is a breath only if it falls in time by this share of its rise

# Two peaks close to each other with a small dip between them are one breath, at the higher one.
CLOSE = 0.45  # of the usual interval apart
DIP = 0.5  # deep, at most

# Swings too small for a breath are remembered, since far smaller ones may become usual.
PASSED = 0.04  # from this size on they always are,
NOTED = 0.3  # of the range of the signal around: from here on while little is known of breathing

Turn = tuple[int, float, bool]  # place, value, whether a maximum


class Peak(NamedTuple):
    """A local maximum with what the signal does around it."""

    place: int
    value: float
    lowest: float  # some time before it
    lowest_place: int
    later: float  # value of the signal at the end of what may be looked at
    seen: float  # range of the signal around it
    steepest: float  # rise from one sample to the next before it
    drop: float  # fall to the lowest point soon after it
    cycle: float  # heart beats up to it, with shares; NaN where they are not known
    per_sample: float  # heart beats from one sample to the next
    followed: bool  # whether these were followed in the impedance, without R peaks
    pulse: float  # size of the pulsation that was taken out there

    @property
    def is_led(self) -> bool:
        """Whether R peaks are known that the heart's pulsation was taken out by."""
        return not self.followed and not math.isnan(self.cycle)


class Swing(NamedTuple):
    """A local maximum that is judged."""

    peak: Peak
    turns: list[Turn]  # turning points
    following: int  # index of the first one after the maximum
    rise: float
    usual: float  # usual size at its time
    least: float  # size from which on it may be a breath


class Found(NamedTuple):
    """A breath."""

    place: int  # of its peak
    from_place: int  # of the lowest point before it
    size: float  # its rise
    usual: float  # usual size at its time
    least: float  # size from which on another would have been a breath
    brisk: bool  # whether breathing is brisk there


class BreathJudge(Carried):
    """Judges one maximum after the other.

    A maximum is a breath if it rises by at least a share of the usual size, and then falls by as
    much before anything higher comes. If it neither falls nor is overtaken in time, it is a breath
    that is held, and counts if the rise is at least 0.65 of the usual size; where breathing is
    brisk (more than 23 a minute), one that is held may go on to rise by 0.15 of that size, as a
    level in a pause does. One that comes much sooner than usual must be larger (`BreathRhythm`);
    two peaks close to each other with a small dip between them are one breath, at the higher one.

    A rise as steep as the band-pass makes a jump of the level is no breath if it is held, though
    the level may sink by a fifth of it, unless breaths here are slow and steep as a rule, or brisk
    and one is due: upside down, the last breath before a pause looks like that. Long after the last
    breath somewhat less steep ones are jumps, too. Where they are slow, a swing that rises far
    faster must be half as large as they are, since it may be the heart's; held, it is a jump. So
    may be one under 0.6 of the usual size that lasts no longer than a beat and a half, where beats
    are known; but breathing that has become quick is not the heart's (`ShortSwings`). Where breaths
    are large and small in turn, a small one may be smaller (`Alternation`).

    Where breathing is slow, a breath may rise for longer than is looked at, or be held longer: a
    maximum is one, too, if it lies at least 0.65 of the usual size above the lowest point since the
    last breath, and the signal falls by as much in time.

    A rather small swing that is late, sinks slowly and is followed by no other is the resting
    level's: it rebounds as the chest relaxes after the last breath of a series.

    Parameters
    ----------
    rate_hz : float
        Samples a second.
    behind, ahead : int
        How many samples before and after a maximum are looked at.
    least_share : float
        A breath rises and falls by at least this share of the usual size.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "_usual",
        "_ripple",
        "_alternation",
        "_rhythm",
        "_short",
        "_base_place",
        "_steep_s",
        "_lowest",
    )

    def __init__(self, rate_hz: float, behind: int, ahead: int, least_share: float) -> None:
        self._rate_hz = rate_hz
        self._least_share = least_share
        self._behind = behind
        self._ahead = ahead
        self._usual = UsualSize()
        self._ripple = Ripple(rate_hz)
        self._alternation = Alternation()
        self._rhythm = BreathRhythm(rate_hz)
        self._short = ShortSwings()
        self._base_place = -(10**9)  # of the last breath, or of a jump of the level after it
        self._steep_s = 1.0  # how long the usual breath would take to rise at its steepest
        self._lowest = (math.inf, 0)  # lowest point since, and its place

    def pass_minimum(self, place: int, value: float) -> None:
        """Note a local minimum."""
        if value < self._lowest[0]:
            self._lowest = (value, place)

    def judge(self, peak: Peak, turns: list[Turn], following: int) -> Found | None:
        """Return the breath at a maximum, or None if it is none.

        `turns` holds the turning points; those after the maximum begin at index `following`.
        """
        recent = self._base_place >= peak.place - self._behind
        lowest, from_place = self._lowest if recent else (peak.lowest, peak.lowest_place)
        rise = peak.value - lowest
        if rise <= RINGS * peak.drop:
            return None
        usual = self._usual.at(peak.place / self._rate_hz, peak.seen)
        least = self._least(peak, usual)
        swing = Swing(peak, turns, following, rise, usual, least)
        if self._ends_long_rise(swing):
            lowest, from_place = self._lowest
            return self._accept(swing, from_place, peak.value - lowest)
        if rise < least:
            self._pass_over(swing)
            return None
        steep_s = rise / (self._rate_hz * peak.steepest)
        if self._may_be_hearts(swing, from_place, steep_s) and self._short.is_heart(peak.cycle):
            self._usual.pass_over(peak.place / self._rate_hz, rise, peak.cycle, led=peak.is_led)
            return None
        if not self._falls_or_lasts(swing, steep_s):
            return None
        self._ripple.note(peak.place, rise / usual)
        if rise < least * self._rhythm.more_if_soon(peak.place):
            self._rhythm.leave_out(peak.place)
            return None
        weight = max(STEEP_WEIGHT, 1.0 / (self._rhythm.count + 1))
        self._steep_s += weight * (min(steep_s, 1.0) - self._steep_s)
        return self._accept(swing, from_place, rise)

    def _may_be_hearts(self, swing: Swing, from_place: int, steep_s: float) -> bool:
        """Tell whether a swing between slow breaths is small, and as quick as the heart's."""
        peak, turns, following, rise, usual, _ = swing
        if self._rises_faster(steep_s, FASTER) and rise < FASTER_LEAST * usual:
            return True
        if not self._rhythm.is_slow or rise >= SHORT_LEAST * usual or not peak.per_sample > 0.0:
            return False
        ends = (place for place, _, is_peak in turns[following:] if not is_peak)
        return (next(ends, math.inf) - from_place) * peak.per_sample <= SHORT

    def _falls_or_lasts(self, swing: Swing, steep_s: float) -> bool:
        """Tell whether a swing that is large enough falls in time, or is a breath that is held."""
        peak, rise, usual = swing.peak, swing.rise, swing.usual
        can_jump = self._can_jump() and not self._is_in_time(swing)
        jumps = (can_jump and steep_s < STEEP_S) or self._rises_faster(steep_s, FASTER_HELD)
        rebounds = self._may_rebound(swing) and self._sinks_on(swing)
        settled = max(RINGS * rise, min(SETTLES * rise, SETTLES_MOST * usual)) if jumps else 0.0
        falls = self._falls(swing, max(swing.least, SINKS * rise if rebounds else settled))
        if falls is not False:
            return falls is True
        if rebounds or rise < LASTING * usual:
            return False
        late = can_jump and self._rhythm.is_late(peak.place, LONG_AFTER)
        if jumps or (late and steep_s < STEEP_LATE_S):
            self._base_place, self._lowest = peak.place, (peak.value, peak.place)
            return False
        return True

    def _ends_long_rise(self, swing: Swing) -> bool:
        """Tell whether a slow breath that rose for long, or was held, ends at a maximum."""
        if not self._rhythm.is_slow:
            return False
        enough = LASTING * swing.usual
        if swing.rise >= enough:
            return False
        whole = swing.peak.value - self._lowest[0]
        return enough <= whole < math.inf and self._falls(swing, enough) is True

    def _pass_over(self, swing: Swing) -> None:
        """Remember a swing that is too small for a breath, if it falls."""
        peak, rise, usual = swing.peak, swing.rise, swing.usual
        time_s = peak.place / self._rate_hz
        noted = rise > PASSED * usual or (rise > NOTED * peak.seen and self._usual.is_open(time_s))
        if noted and self._falls(swing, 0.5 * rise):
            self._usual.pass_over(time_s, rise, peak.cycle, led=peak.is_led)
            self._ripple.note(peak.place, rise / usual)

    def _accept(self, swing: Swing, from_place: int, size: float) -> Found:
        peak, usual = swing.peak, swing.usual
        brisk = self._rhythm.is_brisk
        self._usual.learn(peak.place / self._rate_hz, size, usual, peak.cycle, led=peak.is_led)
        self._alternation.note(size)
        self._rhythm.accept(peak.place)
        self._base_place, self._lowest = peak.place, (peak.value, peak.place)
        return Found(peak.place, from_place, size, usual, swing.least, brisk)

    def _rises_faster(self, steep_s: float, share: float) -> bool:
        """Tell whether a swing rises far faster than usual, where breathing is slow."""
        return self._rhythm.is_slow and steep_s < share * self._steep_s

    def _is_in_time(self, swing: Swing) -> bool:
        """Tell whether a swing comes when a brisk breath is due, and is no larger than one."""
        due = self._rhythm.is_brisk and not self._rhythm.is_late(swing.peak.place, IN_TIME)
        return due and swing.rise < IN_TIME_MOST * swing.usual

    def _may_rebound(self, swing: Swing) -> bool:
        """Tell whether a swing is as late and as small as the level's own after a last breath."""
        late = self._rhythm.is_late(swing.peak.place, LATE) and not self._rhythm.is_slow
        return late and swing.rise < REBOUND * swing.usual

    def _sinks_on(self, swing: Swing) -> bool:
        """Tell whether the signal never rises again as far as it may be looked at."""
        peak, turns, following, _, usual, _ = swing
        after = bisect_left(turns, peak.place + self._ahead, lo=following, key=lambda turn: turn[0])
        soon = (turns[index][1] for index in range(following, after))
        return peak.later <= min(soon, default=math.inf) + AGAIN * usual

    def _can_jump(self) -> bool:
        """Tell whether a steep rise that is held is no usual breath."""
        if not self._rhythm.is_known:
            return False
        return self._steep_s > STEEP_USUAL_S or not self._rhythm.is_slow

    def _least(self, peak: Peak, usual: float) -> float:
        """Return the size from which on a swing at a maximum may be a breath."""
        share = self._least_share
        if peak.followed and share < FOLLOWED:
            share = FOLLOWED
        if self._ripple.is_there:
            share = RIPPLED
        if OF_PULSE * peak.pulse > share * usual:
            share = max(share, min(OF_PULSE * peak.pulse / usual, OF_PULSE_MOST))
        share *= self._alternation.least_share(usual) * self._rhythm.least_share(peak.place)
        return share * usual

    def _falls(self, swing: Swing, enough: float) -> bool | None:
        """Tell whether the signal falls enough after a peak in time; None if it goes higher."""
        peak, turns, following, _, usual, _ = swing
        top = peak.value + (CREEPS * usual if self._rhythm.is_brisk else 0.0)
        lowest, creeps = peak.value, False
        for index in range(following, len(turns)):  # a part of the list would be copied
            place, value, _ = turns[index]
            if place >= peak.place + self._ahead:
                break
            if value > top or (value > peak.value and peak.value - lowest >= enough):
                fall = peak.value - lowest
                close = place - peak.place < CLOSE * self._rhythm.interval
                if fall >= enough and close:
                    self._rhythm.leave_out(peak.place)
                return None if close or fall < enough else True
            creeps = creeps or value > peak.value
            lowest = min(lowest, value)
            if peak.value - lowest >= max(enough, DIP * usual):
                return None if creeps else True
        if peak.later > top and peak.value - lowest < enough:
            return None
        falls = peak.value - min(lowest, peak.later) >= enough
        return None if falls and creeps else falls
