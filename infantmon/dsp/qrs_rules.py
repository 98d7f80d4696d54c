"""What a candidate must show to be taken for a heart beat, given the levels at that moment.

In come candidates, and what is known at each from the decisions before it (`Standing`); out comes a
verdict on each. All thresholds stand in `DecisionRules`, with what they mean.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Final

import numpy as np

from infantmon.dsp.qrs_candidates import Candidates
from infantmon.model.arrays import Bools, Floats, Ints

IGNORED: Final = 0  # too soon after a beat to count for anything
NOISE: Final = 1
BEAT: Final = 2
CLEAN: Final = 3  # a beat whose height counts for the level of clean beats


@dataclass(frozen=True)
class DecisionRules:
    """What a candidate must show to be a beat.

    Heights are relative to a level, gaps to the usual interval between beats. All values were
    chosen on mitdb, adfecgdb and simulated signals. A fifth more or less of any one changes the
    gross Se and PPV on mitdb by less than 0.06 points, but for three: `refractory_high_s` (less
    costs 0.19), `small_gap` (less costs 0.13) and `small_depth` (more costs 0.20).

    Attributes
    ----------
    refractory, refractory_low_s, refractory_high_s : float
        No second beat within this part of the usual interval, and its bounds in seconds.
    foot, foot_soon, foot_below, foot_artefact : float
        A candidate is the foot of a beat if one `foot` times as large follows within
        `refractory_high_s`, or `foot_soon` times within the refractory time; not so if it reaches
        `foot_below` of the beat level and the follower exceeds `foot_artefact` times that level.
    rise, rise_between, rise_early, early_until, rise_most : float
        A beat stands above noise level + rise * (beat level - noise level); the rise grows with
        each candidate of in-between size in sight, and the earlier the candidate is within
        `early_until`; up to `rise_most`.
    inserted, rise_inserted, rise_odd, odd_likeness : float
        The rise grows for a candidate between two large ones that are themselves one usual
        interval apart (within the part `inserted`); once more if its shape is odd.
    due, due_likeness, rise_due : float
        The rise shrinks for a candidate of familiar shape at the expected time.
    clean_cap, clean_least : float
        The beat level counts for no more than so many times the level of clean beats, once there
        are so many of these: movement does not lift it out of reach.
    noise_cap : float
        The noise level counts for no more than so many times the beat level: beats missed at a fast
        rate, where nothing else is rejected, do not lift it out of reach for good.
    small, small_gap, small_depth, small_between, small_over_noise, small_rank : float
        A small wide beat, such as a ventricular one: height over beat level; gap since the last
        beat, and until the next large candidate, over the square root of the usual interval in
        seconds (from there the T wave is over: the QT interval grows with that root); depth;
        in-between candidates; height over noise level; height over the largest in sight.
    second_over_noise, second_depth : float
        A small wide beat between two large ones one usual interval apart, such as every second
        beat in bigeminy, must be clearer still: height over noise level, and depth.
    local_floor, local_rank, local_likeness, local_depth, local_between : float
        A beat after a change of gain, or after movement: height over the level of clean beats (of
        all beats, if none was clean) and over the largest in sight, likeness, depth, in-between
        candidates.
    fast_s, fast_depth : float
        At usual intervals up to so many seconds so much depth is enough for a local beat: the
        envelope has no time to fall.
    t_wave_s, t_wave_below : float
        A blunt candidate within so many seconds of a beat is its T wave, unless it is as large as
        that part of clean beats: then the steep thing before it was an artefact. At a fast rate the
        T wave is over sooner (`small_gap`): after that a candidate is none if it is clear of noise
        (`small_over_noise`, `small_between`) and deep (`small_depth`).
    late, late_whole, late_height, late_over_noise, late_likeness, late_fair : float
        After so many usual intervals without a beat a candidate must be about as large as the
        beats, or fairly large and clear of noise, or familiar in shape, or fairly familiar, deep
        and over the noise level (`late_fair`): a standstill is no place to look for small odd
        beats.
    anew_height, anew_over_noise, anew_likeness, anew_depth : float
        A candidate so late that is too small for that, but the largest in sight, has such a height
        over beat level and noise level, such a likeness and depth, tells anew how large beats are:
        in noise the levels would hide beats that have become smaller for good.
    plain_rank, plain_depth, plain_likeness, plain_clear, plain_fair : float
        A beat before any level is known: height over the largest in sight, depth, and likeness;
        less likeness is asked for the deeper and clearer it stands (`plain_clear`, `plain_fair`).
    learned : int
        Beats until the levels are trusted.
    clean_likeness, clean_between, clean_irregular : float
        A clean beat: likeness, in-between candidates, deviation from the usual interval.
    forget_s : float
        Without a beat for so many seconds the levels are learned anew.
    few, few_plain : int
        Levels of fewer beats than this may be those of an artefact as the electrodes are put on:
        they are learned anew once so many candidates since the last beat would be beats if nothing
        were known.
    """

    refractory: float = 0.38
    refractory_low_s: float = 0.14
    refractory_high_s: float = 0.24
    foot: float = 2.5
    foot_soon: float = 1.05
    foot_below: float = 0.6
    foot_artefact: float = 3.0
    rise: float = 0.33
    rise_between: float = 0.02
    rise_early: float = 0.3
    early_until: float = 0.6
    rise_most: float = 0.62
    inserted: float = 0.12
    rise_inserted: float = 0.2
    rise_odd: float = 0.3
    odd_likeness: float = 0.78
    due: float = 0.15
    due_likeness: float = 0.8
    rise_due: float = -0.15
    clean_cap: float = 1.0
    clean_least: int = 3
    noise_cap: float = 0.7
    small: float = 0.2
    small_gap: float = 0.38
    small_depth: float = 0.73
    small_between: int = 2
    small_over_noise: float = 2.3
    small_rank: float = 0.22
    second_over_noise: float = 4.0
    second_depth: float = 0.88
    local_floor: float = 0.2
    local_rank: float = 0.5
    local_likeness: float = 0.9
    local_depth: float = 0.7
    local_between: int = 2
    fast_s: float = 0.25
    fast_depth: float = 0.55
    t_wave_s: float = 0.28
    t_wave_below: float = 0.85
    late: float = 4.0
    late_whole: float = 0.75
    late_height: float = 0.5
    late_over_noise: float = 8.0
    late_likeness: float = 0.92
    late_fair: tuple[float, float, float] = (0.8, 0.78, 2.0)
    anew_height: float = 0.3
    anew_over_noise: float = 1.6
    anew_likeness: float = 0.8
    anew_depth: float = 0.78
    plain_rank: float = 0.6
    plain_depth: float = 0.6
    plain_likeness: float = 0.88
    plain_clear: tuple[float, float] = (0.85, 0.7)
    plain_fair: tuple[float, float] = (0.75, 0.8)
    learned: int = 3
    clean_likeness: float = 0.92
    clean_between: int = 1
    clean_irregular: float = 0.25
    forget_s: float = 20.0
    few: int = 8
    few_plain: int = 5


@dataclass(frozen=True, eq=False)
class Standing:
    """What is known at each candidate from the decisions before it.

    Attributes
    ----------
    since : numpy.ndarray, shape (n,)
        Ticks since the last beat.
    plain : numpy.ndarray of int64, shape (n,)
        How many candidates since then would be beats if nothing were known.
    beats, cleans : numpy.ndarray of int64, shape (n,)
        How many beats, and clean beats, the levels rest on.
    beat, noise, clean, interval : numpy.ndarray, shape (n,)
        Medians of the latest heights of beats, of noise and of clean beats, and of the latest
        intervals in ticks; 0 where there are none.
    """

    since: Floats
    plain: Ints
    beats: Ints
    cleans: Ints
    beat: Floats
    noise: Floats
    clean: Floats
    interval: Floats

    def part(self, stop: int) -> Standing:
        """Return what is known at the first candidates: itself if these are all."""
        if stop >= len(self.since):
            return self
        return Standing(*(getattr(self, f.name)[:stop] for f in fields(self)))


def is_stale(at: Standing, rules: DecisionRules, rate_hz: float) -> Bools:
    """Tell at which candidates the levels are to be learned anew."""
    artefact = (at.beats < rules.few) & (at.plain >= rules.few_plain)
    return (at.beats > 0) & ((at.since > rules.forget_s * rate_hz) | artefact)


def tells_anew(some: Candidates, at: Standing, rules: DecisionRules) -> Bools:
    """Tell which candidates, long after the last beat, tell anew how large beats are."""
    late = (at.beats >= rules.learned) & (at.since > rules.late * at.interval)
    late &= some.height <= rules.late_whole * at.beat  # a larger one is a beat as it is
    fits = (some.likeness > rules.anew_likeness) & (some.depth > rules.anew_depth)
    fits &= (some.height >= some.largest) & (some.height > rules.anew_height * at.beat)
    return np.asarray(late & fits & (some.height > rules.anew_over_noise * at.noise))


def judge(
    some: Candidates, plain: Bools, at: Standing, rules: DecisionRules, rate_hz: float
) -> Ints:
    """Return the verdict on each candidate: `IGNORED`, `NOISE`, `BEAT` or `CLEAN`.

    `plain` tells which are beats before any level is known (`is_plain`).
    """
    refractory = refractory_time(at.interval, rules, rate_hz)
    inserted = _inserted(some, at, rules)
    learned = at.beats >= rules.learned
    taken = np.where(
        learned,
        _stands_out(some, at, rules, inserted=inserted)
        | _small_and_wide(some, at, rules, rate_hz, inserted=inserted)
        | _fits_locally(some, at, rules, rate_hz),
        plain,
    )
    taken &= ~_foot(some, at, rules, refractory, rate_hz)
    taken &= ~_t_wave(some, at, rules, rate_hz)
    taken &= ~learned | _in_time(some, at, rules)
    clean = is_clean(some, at.since, at.interval, rules)
    verdict = np.where(taken, np.where(clean, CLEAN, BEAT), NOISE)
    return np.where(at.since < refractory, IGNORED, verdict)


def refractory_time(interval: Floats | float, rules: DecisionRules, rate_hz: float) -> Floats:
    """Return the ticks after a beat within which there is no other; an interval of 0 is unknown."""
    usual = np.where(interval > 0.0, interval, 0.5 * rate_hz)
    least = np.maximum(rules.refractory * usual, rules.refractory_low_s * rate_hz)
    return np.minimum(least, rules.refractory_high_s * rate_hz)


def is_clean(
    some: Candidates, since: Floats | Ints, interval: Floats | float, rules: DecisionRules
) -> Bools:
    """Tell which candidates, if beats, are in place and familiar: their height is the usual one."""
    regular = np.abs(since - interval) <= rules.clean_irregular * interval
    familiar = (some.likeness > rules.clean_likeness) & (some.between <= rules.clean_between)
    return np.asarray(familiar & regular)


def _in_time(some: Candidates, at: Standing, rules: DecisionRules) -> Bools:
    """Tell which candidates come soon after the last beat, or are fit to end a long pause."""
    clear = some.height > rules.late_height * at.beat
    clear &= some.height > rules.late_over_noise * at.noise
    likeness, depth, over_noise = rules.late_fair
    fair = (some.likeness > likeness) & (some.depth > depth)
    fair &= some.height > over_noise * at.noise
    return np.asarray(
        (at.since <= rules.late * at.interval)
        | (some.height > rules.late_whole * at.beat)
        | (some.likeness > rules.late_likeness)
        | clear
        | fair
    )


def _foot(
    some: Candidates, at: Standing, rules: DecisionRules, refractory: Floats, rate_hz: float
) -> Bools:
    """Tell which candidates are followed at once by the beat they belong to."""
    wait = some.next_place - some.place
    near = wait < rules.refractory_high_s * rate_hz
    followed = near & (some.next_height > rules.foot * some.height)
    followed |= (wait < refractory) & (some.next_height > rules.foot_soon * some.height)
    small = some.height < rules.foot_below * at.beat
    natural = some.next_height < rules.foot_artefact * at.beat
    return np.asarray(followed & (small | natural | (at.beats == 0)))


def _inserted(some: Candidates, at: Standing, rules: DecisionRules) -> Bools:
    """Tell which candidates stand between two large ones that are one usual interval apart."""
    ahead = some.next_large - some.place
    off = np.abs(at.since + ahead - at.interval)
    return np.asarray((ahead > 0) & (off <= rules.inserted * at.interval) & (at.interval > 0.0))


def _t_wave(some: Candidates, at: Standing, rules: DecisionRules, rate_hz: float) -> Bools:
    """Tell which candidates are the T wave of the beat before.

    Those that are clear of noise, which the T waves before are for the most part, and are set off
    as a small wide beat has to be, are none once the T wave is over.
    """
    low = (at.cleans == 0) | (some.height < rules.t_wave_below * at.clean)
    clear = some.height > rules.small_over_noise * at.noise
    clear &= (some.depth > rules.small_depth) & (some.between <= rules.small_between)
    late = t_wave_over(at, rules, rate_hz) & (at.interval > 0.0)
    soon = at.since <= rules.t_wave_s * rate_hz
    return np.asarray(some.blunt & low & soon & ~(clear & late))


def t_wave_over(at: Standing, rules: DecisionRules, rate_hz: float) -> Bools:
    """Tell at which candidates the T wave of the beat before is over."""
    return np.asarray(at.since > rules.small_gap * _root(at.interval, rate_hz))


def size_of_beats(at: Standing, rules: DecisionRules) -> Floats:
    """Return the height of beats at each candidate: no more than clean ones have, if known."""
    capped = np.minimum(at.beat, rules.clean_cap * at.clean)
    return np.where(at.cleans >= rules.clean_least, capped, at.beat)


def _root(interval: Floats, rate_hz: float) -> Floats:
    """Return the root of intervals in seconds, as ticks: QT is in proportion to it."""
    return np.asarray(np.sqrt(np.minimum(interval, rate_hz) * rate_hz))


def _stands_out(some: Candidates, at: Standing, rules: DecisionRules, *, inserted: Bools) -> Bools:
    """Tell which candidates stand high enough between the noise level and the beat level."""
    interval = np.where(at.interval > 0.0, at.interval, np.inf)
    early = np.maximum(0.0, 1.0 - at.since / (rules.early_until * interval))
    early[at.interval == 0.0] = 0.0
    rise = rules.rise + rules.rise_between * some.between + rules.rise_early * early
    rise = np.minimum(rise + rules.rise_inserted * inserted, rules.rise_most)
    rise += rules.rise_odd * (inserted & (some.likeness < rules.odd_likeness))
    due = np.abs(at.since - at.interval) < rules.due * at.interval
    rise += rules.rise_due * (due & (some.likeness > rules.due_likeness))
    beat = size_of_beats(at, rules)
    noise = np.minimum(at.noise, rules.noise_cap * beat)
    return np.asarray(some.height > noise + rise * (beat - noise))


def _small_and_wide(
    some: Candidates, at: Standing, rules: DecisionRules, rate_hz: float, *, inserted: Bools
) -> Bools:
    """Tell which candidates are small against other beats, but clear of T wave and noise."""
    over = _root(at.interval, rate_hz)
    clear = (some.height > rules.second_over_noise * at.noise) & (some.depth > rules.second_depth)
    ahead = some.next_large - some.place
    return np.asarray(
        (some.height > rules.small * at.beat)
        & (at.since > rules.small_gap * over)
        & ((ahead <= 0) | (ahead > rules.small_gap * over))
        & (some.depth > rules.small_depth)
        & (some.between <= rules.small_between)
        & (some.height > rules.small_over_noise * at.noise)
        & (some.height >= rules.small_rank * some.largest)
        & (clear | ~inserted)
    )


def _fits_locally(some: Candidates, at: Standing, rules: DecisionRules, rate_hz: float) -> Bools:
    """Tell which candidates are beats by their surroundings, whatever the levels say."""
    floor = rules.local_floor * np.where(at.cleans > 0, at.clean, at.beat)
    fast = (at.interval > 0.0) & (at.interval <= rules.fast_s * rate_hz)
    return np.asarray(
        (some.likeness > rules.local_likeness)
        & (some.depth > np.where(fast, rules.fast_depth, rules.local_depth))
        & (some.height >= rules.local_rank * some.largest)
        & (some.height > floor)
        & (some.between <= rules.local_between)
    )


def is_plain(some: Candidates, rules: DecisionRules) -> Bools:
    """Tell which candidates are beats before any level is known."""
    clear = (some.depth > rules.plain_clear[0]) & (some.likeness > rules.plain_clear[1])
    fair = (some.depth > rules.plain_fair[0]) & (some.likeness > rules.plain_fair[1])
    alone = (some.equal == 1) & (
        (some.between == 0) | ((some.between == 1) & (some.depth > rules.plain_clear[0]))
    )
    known = (some.likeness > rules.plain_likeness) | alone
    known |= (clear & (some.between == 0)) | (fair & (some.between <= 1))
    high = some.height >= rules.plain_rank * some.largest
    return np.asarray(high & (some.depth > rules.plain_depth) & known)
