"""What beats and the state of the ECG say of a slow, fast or stopped heart.

In comes a `Case`: the event, and all findings known by the time it is looked at. Each function asks
one question of it and gives what it finds as `Evidence`: words and a side (for, against, beside, or
not assessable), or nothing where there is nothing to say.
"""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from infantmon.events.case import (
    AROUND_S,
    BEFORE_S,
    DISTURBED_SHARE,
    HAIR_S,
    NOT_KEPT,
    Case,
    disturbed,
    usual_size,
)
from infantmon.events.evidence_second_lead import (
    UNRELIABLE_SHARE,
    carried_by_second_lead,
    leads_agree,
)
from infantmon.model.arrays import Floats
from infantmon.model.counting import counted
from infantmon.model.event import NOT_ASSESSABLE, Evidence, Side
from infantmon.model.marks import RPeaks
from infantmon.model.spans import BLOCKING, DISTURBING

ENOUGH_BEATS = 5
"""With fewer beats than this before the event their usual size is not known."""
SHRUNK_SHARE = 0.5
"""Below this share of their size before, beats may go unseen."""
GROWN_SHARE = 3.0
"""Above this multiple of their size before they may be swings of the electrodes."""
LAST_BEATS = 2
"""So many beats before the longest interval are looked at by themselves, and so many in the event
are enough to have a size."""

ENOUGH_TO_SPREAD = 8
"""With fewer beats than this in a fast heart it is not asked how uneven they are."""
UNEVEN_INTERVALS, UNEVEN_HEIGHTS = 0.8, 0.5
"""So far apart, as a share of their median, the middle 80 % of intervals and of heights lie in
electrode motion (project's choice, on that of nstdb added to every second record of mitdb)."""

DOUBLED = (1.85, 2.15)
"""An interval of so many usual ones may hold a beat that was not seen (project's choice)."""
USUAL_SHARE = 1.5
"""And up to so many an interval is none of a heart that slows, little by little."""
DOUBLED_IN_A_ROW = 3
"""So many such intervals in a row make one wonder; a single one follows an early beat."""


def cut_in_two(case: Case) -> list[Evidence]:
    """Tell that the hold-off was over only by counting what could not be judged."""
    if case.assessable or case.event.kind == "no heart beat":
        return []
    text = "the hold-off was over only by counting time in which the ECG could not be used"
    return [Evidence(text, NOT_ASSESSABLE)]


def only_with_flat_time(case: Case) -> list[Evidence]:
    """Tell that the limit was reached only by counting time in which the ECG was exactly flat.

    In steps coarser than the noise a stopped heart looks so, and an electrode that is off looks so,
    too; it is that where the impedance is lost with it.
    """
    if case.assessable or case.event.kind != "no heart beat":
        return []
    text = "the limit was reached only by counting time in which the ECG was exactly flat"
    return [Evidence(text, "against" if electrodes_off(case) else NOT_ASSESSABLE)]


def beats_alike(case: Case) -> list[Evidence]:
    """Look whether the beats look alike; a second lead that shows the same beats vouches for them.

    Where it does, a beat that looks strange is still a beat (a wide one, an escape beat).
    """
    event = case.event
    beats = case.history.beats(event.onset_s - AROUND_S, case.until_s + HAIR_S, case.known_s)
    stopped = event.kind == "no heart beat"
    if not case.before_is_kept and (not len(beats) or beats.time_s[0] > event.onset_s + HAIR_S):
        seen = bool(np.any(beats.reliable))
        side: Side = "beside" if seen else NOT_ASSESSABLE if stopped else "against"
        return [Evidence(NOT_KEPT, side), *_alike(case, beats)]
    if not len(beats):
        # whether a heart has stopped cannot be told by a lead that has not shown it beat
        return [Evidence("no heart beat was seen before", NOT_ASSESSABLE if stopped else "against")]
    if beats.time_s[0] > event.onset_s + HAIR_S:
        return [Evidence("no heart beat was seen before", "against")]
    return _alike(case, beats)


def _alike(case: Case, beats: RPeaks) -> list[Evidence]:
    """Tell how many of the beats in an event and shortly before look alike."""
    if not len(beats):
        return []
    event = case.event
    strange_side: Side = "beside" if carried_by_second_lead(case) else "against"
    share = float(np.mean(~beats.reliable))
    text = f"{100 * (1 - share):.0f} % of the beats around look alike"
    items = [Evidence(text, strange_side if share >= UNRELIABLE_SHARE else "for")]
    # good beats before must not hide that the few inside, or on both sides, are strange
    first = max(int(np.searchsorted(beats.time_s, event.onset_s, side="right")) - 1, 0)
    strange = int(np.count_nonzero(~beats.reliable[first:]))
    count = len(beats) - first
    if share < UNRELIABLE_SHARE and 2 * strange > count:
        rests_on = counted(count, "beat")
        text = f"{strange} of the {rests_on} it rests on do not look like their neighbours"
        items.append(Evidence(text, strange_side))
    return items


def beat_size(case: Case) -> list[Evidence]:
    """Compare the size of the beats before and in it.

    Beats that fade may go unseen; what is far larger may be a swing of the electrodes. The last
    beats before the longest interval are looked at by themselves: a drop-out begins there.
    """
    event = case.event
    before = case.history.beats(event.onset_s - BEFORE_S, event.onset_s, case.known_s)
    inside = case.history.beats(event.onset_s, case.until_s + HAIR_S, case.known_s)
    if len(before) < ENOUGH_BEATS:
        return []
    usual = usual_size(before)
    ends_s = np.append(inside.time_s, case.until_s)
    longest_ends_s = float(ends_s[int(np.argmax(np.diff(ends_s, prepend=before.time_s[-1])))])
    start_s = event.onset_s - BEFORE_S
    until_longest = case.history.beats(start_s, longest_ends_s - HAIR_S, case.known_s)
    sizes = [usual_size(until_longest.rows(len(until_longest) - LAST_BEATS, len(until_longest)))]
    if len(inside) >= LAST_BEATS:
        sizes.append(usual_size(inside))
    if usual <= 0.0:
        return []
    percent = 100.0 * min(sizes) / usual
    if percent < 100.0 * SHRUNK_SHARE:
        hides: Side = "beside" if event.kind == "high heart rate" else "against"
        return [Evidence(f"beats had shrunk to {percent:.0f} % of their size before", hides)]
    if percent > 100.0 * GROWN_SHARE:
        return [Evidence(f"beats had grown to {percent:.0f} % of their size before", "against")]
    return [Evidence(f"beats kept their size ({percent:.0f} % of before)", "for")]


def turned_beat(case: Case) -> list[Evidence]:
    """Tell that a slow heart rests on the intervals beside the only beat that points the other way.

    An artefact that is taken for a beat hides the true one beside it, and the pause after an
    extrasystole is no slow heart either. More such beats may be those of a heart that has slowed.
    """
    event = case.event
    if event.kind != "low heart rate" or leads_agree(case):
        return []
    beats = case.history.beats(event.onset_s - AROUND_S, case.until_s + HAIR_S, case.known_s)
    if len(beats) < ENOUGH_BEATS:
        return []
    turned = np.sign(beats.amplitude) != np.sign(np.median(beats.amplitude))
    long = np.diff(beats.time_s, append=case.until_s) > case.longest_within_limit_s
    beside = turned | np.append(turned[1:], False)
    if np.count_nonzero(turned) != 1 or not long.any() or np.any(long & ~beside):
        return []
    text = "it rests on an interval beside a beat that alone points the other way"
    return [Evidence(f"{text}: an artefact, or an extrasystole", "against")]


def doubled_intervals(case: Case) -> list[Evidence]:
    """Tell that a slow heart rests on intervals that doubled from one beat to the next.

    A heart that slows does so over several beats, and to whatever rate. Where every second beat is
    small or wide and goes unseen, or is not conducted to the ventricles, each interval is two.
    """
    event = case.event
    if event.kind != "low heart rate" or leads_agree(case):
        return []
    beats = case.history.beats(event.onset_s - BEFORE_S, case.until_s + HAIR_S, case.known_s)
    intervals_s = np.diff(beats.time_s)
    usual = intervals_s[beats.time_s[1:] <= event.onset_s - AROUND_S]
    if len(usual) < ENOUGH_BEATS:
        return []
    multiple = intervals_s / float(np.median(usual))
    double = (multiple >= DOUBLED[0]) & (multiple <= DOUBLED[1])
    in_a_row = sliding_window_view(double, DOUBLED_IN_A_ROW).all(axis=1)
    from_there = multiple[max(int(np.argmax(in_a_row)) - 1, 0) :]
    slowing = (from_there > USUAL_SHARE) & ((from_there < DOUBLED[0]) | (from_there > DOUBLED[1]))
    if not in_a_row.any() or from_there[0] > USUAL_SHARE or slowing.any():
        return []
    text = "its intervals doubled from one beat to the next"
    return [Evidence(f"{text}: every second beat may be unseen, or not conducted", "against")]


def uneven_beats(case: Case) -> list[Evidence]:
    """Tell that what is counted as a fast heart is uneven in time and in height, as artefacts are.

    Fast hearts are even in one of them: fibrillating atria leave the height as it was, and wide
    beats among others come at their times. A second lead that shows the same beats vouches for
    them.
    """
    beats = case.history.beats(case.event.onset_s, case.until_s + HAIR_S, case.known_s)
    if len(beats) < ENOUGH_TO_SPREAD or carried_by_second_lead(case):
        return []
    intervals, heights = _spread(np.diff(beats.time_s)), _spread(np.abs(beats.amplitude))
    if intervals < UNEVEN_INTERVALS or heights < UNEVEN_HEIGHTS:
        return []
    text = "its beats are uneven both in time and in height: some may be artefacts"
    return [Evidence(text, "against")]


def _spread(values: Floats) -> float:
    """Return how far the middle 80 % of values lie apart, as a share of their median."""
    low, middle, high = np.quantile(values, [0.1, 0.5, 0.9])
    return float((high - low) / middle) if middle > 0.0 else np.inf


def ecg_disturbed(case: Case) -> list[Evidence]:
    """Tell how much of it was under movement."""
    spans = case.history.spans("ecg", case.known_s, DISTURBING)
    return disturbed(case, spans, "the ECG was disturbed")


def electrodes_off(case: Case) -> list[Evidence]:
    """See whether the impedance is lost too: that points to the electrodes, not to the heart."""
    spans = case.history.spans("impedance", case.known_s, BLOCKING)
    share = spans.overlap_s(case.event.onset_s, case.until_s) / case.length_s
    if share < DISTURBED_SHARE:
        return []
    return [Evidence("the impedance was lost at the same time: electrodes may be off", "against")]
