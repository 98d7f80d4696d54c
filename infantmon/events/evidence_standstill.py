"""What surrounds a long time without a heart beat, and tells a stopped heart from unseen beats.

In comes a `Case`: the event, and all findings known by the time it is looked at. Each function asks
one question of the longest time without a beat in it (or shortly before): was there breathing
meanwhile, did the beats come back as if nothing had happened, could the ECG be used? What it finds
it gives as `Evidence`, or nothing where there is nothing to say.
"""

from __future__ import annotations

import numpy as np

from infantmon.events.case import AROUND_S, BEFORE_S, HAIR_S, Case, usual_size
from infantmon.model.counting import counted
from infantmon.model.event import NOT_ASSESSABLE, Evidence
from infantmon.model.spans import BLOCKING, INTERFERING, SHIFTED

LONG_WITHOUT_BEAT_S = 10.0
"""From this length on breathing is asked whether the heart can have stopped, in seconds."""
RESUMED_BEATS = 3
"""Intervals before and after such a time that are compared with the usual one."""
SAME_RATE = 1.15
"""Up to this multiple of the usual interval the heart kept its rate."""
VANISHED_S = 2.5
"""So long without a beat is more than a slow heart's interval (24 a minute), in seconds."""
FEW_BEATS = 5
"""With fewer beats than this in the 30 s before nothing is known of what a beat looks like here."""
FOLLOWED_S = 10.0
"""Beats are followed about so long after a start (common practice), in seconds."""
FAR_SMALLER = 3.0
"""A beat is far smaller where the usual size of those before is more than so many times its own
(project's choice)."""
MAINS_SHARE, MAINS_BEFORE_S = 0.5, 10.0
"""Mains interference over this share of the longest time without a beat, and over less than half
that share of the beats in so many seconds before it, began with it."""
MAINS_SHORT_S = 1.2
"""From this length on, in seconds. A slow heart may beat on under interference that happens to
begin, so up to `VANISHED_S` it has to be over as the beats are back (project's choice)."""
SHIFT_BESIDE_S = 1.5
"""The level of the ECG was shifted with the beats if it began so near to the last one, in s."""
SHIFT_SHARE = 0.3
"""And if it lasted for this share of the time without a beat (both are the project's choice)."""
ALONE = 2.0
"""A time without a beat of so many intervals inside the event is not one of them."""
ENOUGH_BREATHS = 4
"""With fewer breaths than this, before or meanwhile, nothing is said of breathing."""
WENT_ON_SHARE = 0.7
"""From this share of the breaths that were due, breathing went on as before."""


def few_beats_before(case: Case) -> list[Evidence]:
    """Tell that hardly a beat was seen before a time without one: too few to know a beat by.

    Before that a jolt of the electrodes, as they are put on, may have been taken for the heart.
    Where not one of them looks like another, no heart was seen at all: whether it has stopped
    cannot be told.
    """
    start_s, end_s = case.longest_without_beat_s
    if end_s - start_s < VANISHED_S or not case.before_is_kept:
        return []
    seen = case.history.beats(start_s - BEFORE_S, start_s + HAIR_S, case.known_s)
    if len(seen) >= FEW_BEATS:
        return []
    text = f"only {counted(len(seen), 'beat')} in the {BEFORE_S:g} s before"
    text += f" {end_s - start_s:.1f} s without one"
    return [Evidence(text, "against" if seen.reliable.any() else NOT_ASSESSABLE)]


def followed_briefly(case: Case) -> list[Evidence]:
    """Tell that a slow heart was over before beats had been followed for 10 s.

    Until then it is not known what a beat looks like, and some go unseen. A heart that is slow for
    longer is slow all the same.
    """
    event = case.event
    start_s = event.onset_s - BEFORE_S
    beats_s = case.history.beats(start_s, case.until_s + HAIR_S, case.known_s).time_s
    if event.kind != "low heart rate" or event.end_s is None or not len(beats_s):
        return []
    if not case.before_is_kept:
        return []
    before = int(np.count_nonzero(beats_s <= event.onset_s + HAIR_S))
    if before >= FEW_BEATS or case.until_s - beats_s[0] >= FOLLOWED_S:
        return []
    text = f"it was over {case.until_s - beats_s[0]:.1f} s after the first beat that was seen"
    return [Evidence(f"{text}: some may have gone unseen", "against")]


def far_smaller_beside(case: Case) -> list[Evidence]:
    """Look whether a beat beside a long time without one is far smaller than those before.

    After swings of the electrodes that were taken for beats, true ones go unseen until their size
    is learned anew: the first that is seen ends what looks like a standstill.
    """
    start_s, end_s = case.longest_without_beat_s
    if end_s - start_s < VANISHED_S:
        return []
    before = case.history.beats(start_s - BEFORE_S, start_s + HAIR_S, case.known_s)
    beside = case.history.beats(start_s - HAIR_S, end_s + HAIR_S, case.known_s)
    if len(before) < FEW_BEATS or not len(beside):
        return []
    usual = usual_size(before)
    smallest = float(np.min(np.abs(beside.amplitude)))
    if FAR_SMALLER * smallest >= usual:
        return []
    text = f"a beat beside {end_s - start_s:.1f} s without one has {100 * smallest / usual:.0f} %"
    return [Evidence(f"{text} of the size of those before: such beats may go unseen", "against")]


def breathing_went_on(case: Case) -> list[Evidence]:
    """See whether breathing went on as before through a long time without a beat.

    Breathing outlasts the heart by a while only; regular breaths speak for beats that went unseen.
    """
    start_s, end_s = case.longest_without_beat_s
    if end_s - start_s < LONG_WITHOUT_BEAT_S:
        return []
    meanwhile = case.history.breaths(start_s, end_s, case.known_s)
    before = case.history.breaths(start_s - BEFORE_S, start_s, case.known_s)
    if min(len(before), len(meanwhile)) < ENOUGH_BREATHS:
        return []
    usual_s = float(np.median(np.diff(before.time_s)))
    if len(meanwhile) * usual_s < WENT_ON_SHARE * (end_s - start_s):
        return []
    text = f"breathing went on as before through {end_s - start_s:.0f} s without a beat"
    return [Evidence(text, "against")]


def beats_went_on(case: Case) -> list[Evidence]:
    """See whether the beats around a long time without one come as if nothing had happened.

    A heart that stops for long slows before or comes back slowly; beats that break off and are back
    at once, at their rate, speak for a lead that was lost.
    """
    start_s, end_s = case.longest_without_beat_s
    if end_s - start_s < LONG_WITHOUT_BEAT_S:
        return []
    before = case.history.beats(start_s - BEFORE_S, start_s + HAIR_S, case.known_s).time_s
    after = case.history.beats(end_s, end_s + BEFORE_S, case.known_s).time_s[: RESUMED_BEATS + 1]
    if len(before) <= RESUMED_BEATS or len(after) <= RESUMED_BEATS:
        return []
    usual_s = float(np.median(np.diff(before)))
    broke_off = float(np.diff(before[-RESUMED_BEATS - 1 :]).max())
    came_back = float(np.median(np.diff(after)))
    if max(broke_off, came_back) > SAME_RATE * usual_s:
        return []
    text = f"before and after {end_s - start_s:.0f} s without a beat the heart kept its rate"
    return [Evidence(text, "against")]


def mains_began(case: Case) -> list[Evidence]:
    """See whether mains interference began as the beats vanished: then a lead may be off.

    Interference with beats in it before says nothing: beats are found in spite of it. Where there
    was some without beats, the lead had come off before.
    """
    start_s, end_s = case.longest_without_beat_s
    if end_s - start_s < MAINS_SHORT_S:
        return []
    spans = case.history.spans("ecg", case.known_s, INTERFERING)
    beats = case.history.beats(start_s - MAINS_BEFORE_S, start_s + HAIR_S, case.known_s)
    before = float(np.mean(spans.inside(beats.time_s))) if len(beats) else 0.0
    meanwhile = spans.overlap_s(start_s, end_s) / (end_s - start_s)
    if meanwhile < MAINS_SHARE or before >= 0.5 * MAINS_SHARE:
        return []
    later_s = end_s + MAINS_SHORT_S  # by then interference that went with the beats is over
    if end_s - start_s < VANISHED_S and spans.overlap_s(later_s, later_s + HAIR_S) > 0.0:
        return []
    text = "mains interference began as the beats vanished: an electrode may be off"
    return [Evidence(text, "against")]


def level_shifted(case: Case) -> list[Evidence]:
    """See whether the level of the ECG was shifted far as the beats vanished.

    An electrode that moves does that, and hides the beats until the amplifier has recovered; a
    heart that slows or stops does not. Where the intervals inside a slow heart are all about as
    long, none of them was hidden.
    """
    start_s, end_s = case.longest_without_beat_s
    if end_s - start_s < MAINS_SHORT_S:
        return []
    spans = case.history.spans("ecg", case.known_s, SHIFTED)
    with_it = np.abs(spans.start_s - start_s) <= SHIFT_BESIDE_S
    if not with_it.any() or spans.overlap_s(start_s, end_s) < SHIFT_SHARE * (end_s - start_s):
        return []
    inside_s = np.diff(case.history.beats(case.event.onset_s, case.until_s, case.known_s).time_s)
    if len(inside_s) >= RESUMED_BEATS and end_s - start_s < ALONE * float(np.median(inside_s)):
        return []
    text = "the level of the ECG was shifted far as the beats vanished: an electrode may have moved"
    return [Evidence(text, "against")]


def beats_not_counted(case: Case) -> list[Evidence]:
    """Tell that most of the time in intervals so long ends in a beat that alone is not reliable.

    A beat is not where what was passed over before it was large: too small to be counted, or hidden
    in noise (`RPeakDetector`). One of the two beats before it is reliable: in noise a whole row may
    not be, and that is asked elsewhere.
    """
    beats = case.history.beats(case.event.onset_s - AROUND_S, case.until_s + HAIR_S, case.known_s)
    if len(beats) <= 1 or case.until_s - beats.time_s[-1] > case.longest_within_limit_s:
        return []
    starts_s, ends_s, good = beats.time_s[:-1], beats.time_s[1:], beats.reliable
    lengths_s = ends_s - starts_s
    lost = case.history.spans("ecg", case.known_s, BLOCKING).unbridged
    long = (lengths_s > case.longest_within_limit_s) & ~lost.touch(starts_s, ends_s)
    suspect = long & ~good[1:] & (good[:-1] | np.append(False, good[:-2]))
    if 2.0 * float(lengths_s[suspect].sum()) <= float(lengths_s[long].sum()):
        return []
    of_all = counted(int(np.count_nonzero(long)), "interval")
    text = f"beats that were not counted may be missing in {np.count_nonzero(suspect)} of the"
    return [Evidence(f"{text} {of_all} beyond the limit", "against")]


def beats_missing(case: Case) -> list[Evidence]:
    """Tell that it rests on brief stretches in which the ECG could not be used, beats and all.

    Brief ones are bridged and change no timer; but a beat that lies in one is missing, and the
    interval around it is long.
    """
    start_s = case.event.onset_s - AROUND_S
    lost = case.history.spans("ecg", case.known_s, BLOCKING)
    lost_s = lost.overlap_s(start_s, case.until_s)
    beats_s = case.history.beats(start_s, case.until_s + HAIR_S, case.known_s).time_s
    if lost_s <= 0.0 or not len(beats_s):
        return []
    edges_s = np.sort(np.concatenate((beats_s, lost.start_s, lost.end_s, [case.until_s])))
    edges_s = edges_s[(edges_s >= beats_s[0]) & (edges_s <= case.until_s)]
    seen_s = np.diff(edges_s)[~lost.inside(0.5 * (edges_s[1:] + edges_s[:-1]))]
    if not len(seen_s) or float(seen_s.max()) > case.longest_within_limit_s:
        return []
    text = f"beats may be missing in {lost_s:.1f} s in which the ECG could not be used"
    return [Evidence(f"{text}: no other interval is so long", "against")]
