"""What breathing, pulsation, movement and contact say of an apnea or of periodic breathing.

In comes a `Case`: the event, and all findings known by the time it is looked at. Each function asks
one question of it and gives what it finds as `Evidence`: words and a side (for, against, beside, or
not assessable), or nothing where there is nothing to say.
"""

from __future__ import annotations

import numpy as np

from infantmon.events.case import (
    BEFORE_S,
    DISTURBED_SHARE,
    HAIR_S,
    NOT_KEPT,
    Case,
    disturbed,
)
from infantmon.events.measures import unusable_inside
from infantmon.events.probable_apneas import LEAST
from infantmon.model.counting import counted
from infantmon.model.event import NOT_ASSESSABLE, Evidence, Side
from infantmon.model.marks import (
    PROBABILITY_EVERY_S,
    PROBABILITY_OVER_S,
    PULSATION_OVER_S,
    Breaths,
    Pulsations,
)
from infantmon.model.spans import BLOCKING, DISTURBING, Reason

MINUTE_S = 2.0 * BEFORE_S
"""How far back breathing is asked for where the usual time tells too little; as long as is kept."""
ENOUGH_BEFORE, ENOUGH_AFTER = 4, 3
"""With fewer breaths than these in the time before, or after, nothing is known of what is usual."""
SHALLOW_LEAST, SHALLOW_AMONG = 3, 5
"""So many shallow ones among so many breaths just before: breathing had become shallow."""
AFTER_COUNT = 5
"""So many breaths after the end tell at what size breathing came back."""
PULSATION_SHARE = 0.8
"""From this ratio of pulsation to breath the two are hard to tell apart."""
LEFT_AS_BREATHS = 0.25
"""Swings from this share of a breath on may count as breaths where they are not taken out
(project's choice, on simulated pauses)."""
LEFT_SHARE, NEARLY_ALL = 0.115, 10.0
"""From this size on, as a share of a breath before, swings that go on in a pause may be effort;
they go on if this percentile of their sizes is as large. In simulated hours true pauses had up to
0.10 (0.20 where a pulsation of 0.8 doubled), shallow breathing 0.12 and more."""
UNLIKE = 3.5
"""Where movement was seen in the minute before, and the usual breath is more than so many times the
smallest, the smallest tells how large a breath is (project's choice)."""
CAME_BACK_LEAST = 0.25
"""Breathing that comes back smaller than this share of a breath before may have been there all the
time: the electrodes' grip has changed, or what came before was movement (project's choice)."""
HUGE_TIMES = 4.0
"""A swing of so many times the usual breath is hardly a breath."""
OPINION_LAG_S = 5.0
"""A probability of apnea is known within so long after its time, in seconds."""
AGREES_SHARE, DISAGREES_SHARE = 0.5, 0.1
"""From the first share of an event on the second opinion agrees; below the other it disagrees."""
ALREADY_SHARE = 0.9
"""If it agreed with this share of the time before as well, when there were breaths, it tells
nothing: after a jolt of the electrodes it does so for minutes (project's choice)."""
BESIDE_S = 2.0
"""So close to the onset a lost or disturbed signal may have made the last breath, in seconds."""


def only_with_unusable_time(case: Case) -> list[Evidence]:
    """Tell that the limit was reached only by counting what could not be judged."""
    if case.assessable:
        return []
    text = "the limit was reached only by counting time in which the impedance could not be used"
    if not unusable_inside(case):
        text = "the limit was reached only by not counting swings that may be no breaths"
    return [Evidence(text, NOT_ASSESSABLE)]


def _before(case: Case) -> Breaths:
    """Return the breaths of the 30 s before the event, the one that it begins with included.

    Where pauses have left hardly any, those of the 30 s before count too, if the impedance could be
    used all the time.
    """
    onset_s = case.event.onset_s
    latest = case.history.breaths(onset_s - BEFORE_S, onset_s + HAIR_S, case.known_s)
    if len(latest) >= ENOUGH_BEFORE:
        return latest
    lost = case.history.spans("impedance", case.known_s, BLOCKING).unbridged
    if lost.overlap_s(onset_s - MINUTE_S, onset_s) > 0.0:
        return latest
    longer = case.history.breaths(onset_s - MINUTE_S, onset_s + HAIR_S, case.known_s)
    return longer if len(longer) >= ENOUGH_BEFORE else latest


def breathing_before(case: Case) -> list[Evidence]:
    """Tell the rate of breathing before, or that there was hardly any."""
    if not case.before_is_kept:
        return [Evidence(NOT_KEPT, "beside")]
    before = _before(case)
    if len(before) < ENOUGH_BEFORE:
        seen, recorded_s = counted(len(before), "breath"), min(BEFORE_S, case.event.onset_s)
        return [Evidence(f"only {seen} in the {recorded_s:.0f} s before", "against")]
    rate = 60.0 / float(np.median(np.diff(before.time_s)))
    return [Evidence(f"breathing before at {rate:.0f} a minute", "for")]


def breathing_after(case: Case) -> list[Evidence]:
    """Tell how breathing came back, once some breaths after the end are known."""
    event = case.event
    if event.end_s is None:
        return []
    until_s = event.end_s + BEFORE_S
    after = case.history.breaths(event.end_s - HAIR_S, until_s, case.known_s).size[:AFTER_COUNT]
    before = _before(case).size
    if len(after) < ENOUGH_AFTER or len(before) < ENOUGH_BEFORE:
        return []
    usual = float(np.median(before))
    if after[0] >= HUGE_TIMES * usual:
        text = f"the swing at its end was {after[0] / usual:.0f} times a usual breath: it may go on"
        return [Evidence(text, "beside")]
    share = float(np.median(after)) / usual
    text = f"breathing came back at {100.0 * share:.0f} % of its size before"
    if share < CAME_BACK_LEAST:
        return [Evidence(f"{text}: it may have gone on at that size", "against")]
    return [Evidence(text, "for")]


def shallow_breathing(case: Case) -> list[Evidence]:
    """Look whether breathing had become shallow before."""
    shallow = int(np.count_nonzero(_before(case).shallow[-SHALLOW_AMONG:]))
    if shallow < SHALLOW_LEAST:
        return []
    text = f"{shallow} of the last {SHALLOW_AMONG} breaths before were shallow"
    return [Evidence(f"{text}: effort may go on below what is seen", "against")]


def pulsation(case: Case) -> list[Evidence]:
    """Compare the heart's pulsation, and what was left of the swings, with a breath before."""
    onset_s = case.event.onset_s
    taken = usable_pulsation(case, onset_s, case.until_s)
    # of an earlier pause in that time, the size of a breath is not asked
    before = usable_pulsation(case, onset_s - BEFORE_S, onset_s)
    before = before.holding(_before(case).time_s)
    if not len(taken) or not len(before):
        return []
    breath = min(float(np.median(before.breath)), UNLIKE * _smallest_before(case))
    items = [_taken_out(case, taken, breath)]
    left = float(np.percentile(taken.breath, NEARLY_ALL)) / breath if breath > 0 else 0.0
    if left >= LEFT_SHARE:
        text = f"swings of {left:.2f} of a breath before and more went on: effort may have gone on"
        items.append(Evidence(text, "against"))
    if np.mean(taken.locked) > DISTURBED_SHARE:
        items.append(_kept_step(before_too=bool(np.mean(before.locked) > DISTURBED_SHARE)))
    return items


def _taken_out(case: Case, taken: Pulsations, breath: float) -> Evidence:
    """Tell how much pulsation was taken out beside a breath, or that none could be."""
    since_s = case.event.onset_s - PULSATION_OVER_S
    if taken.mostly_without(case.history.beats(since_s, case.until_s + HAIR_S, case.known_s)):
        text = "no reliable R peaks for most of it: any pulsation of the heart was left in"
        return Evidence(text, "beside")
    ratio = float(np.median(taken.pulsation)) / breath if breath > 0 else 0.0
    if 2 * np.count_nonzero(taken.followed) > len(taken):
        text = f"swings of {ratio:.2f} of a breath before were taken for the heart's pulsation"
        side: Side = "against" if ratio >= LEFT_AS_BREATHS else "beside"
        return Evidence(f"{text}: they come evenly, but no R peaks tell", side)
    text = f"heart pulsation taken out: {ratio:.2f} of a breath before"
    return Evidence(text, "beside" if ratio >= PULSATION_SHARE else "for")


def _smallest_before(case: Case) -> float:
    """Return the size of the smallest breath in the minute before, if movement was seen in it."""
    start_s, onset_s = case.event.onset_s - MINUTE_S, case.event.onset_s
    moved = case.history.spans("impedance", case.known_s, DISTURBING)
    sizes = case.history.breaths(start_s, onset_s + HAIR_S, case.known_s).size
    if not len(sizes) or moved.overlap_s(start_s, onset_s) <= 0.0:
        return np.inf
    return float(sizes.min())


def usable_pulsation(case: Case, start_s: float, end_s: float) -> Pulsations:
    """Return the pulsation of a stretch, where the impedance could be used: else none is seen."""
    found = case.history.pulsation(start_s, end_s, case.known_s)
    lost = case.history.spans("impedance", case.known_s, BLOCKING)
    return found.where(~lost.inside(found.time_s))


def _kept_step(*, before_too: bool) -> Evidence:
    """Swings in step with the heart: breaths, or its pulsation? What was before decides.

    Where breathing kept step before as well, the two cannot be told apart. Where it did not,
    breaths would have had to change to the heart's rate at that very moment: doubtful, not more.
    """
    if before_too:
        text = "breathing and heart beat kept step and could not be told apart"
        return Evidence(text, NOT_ASSESSABLE)
    text = "swings in step with the heart were taken for its pulsation, not for breaths"
    return Evidence(text, "against")


def second_opinion(case: Case) -> list[Evidence]:
    """Ask the published probability of apnea, which shares only the R peaks with the breaths.

    Without R peaks the pulsation stays in what it looks at, and its doubt says little.
    """
    start_s = case.event.onset_s + PROBABILITY_OVER_S
    until_s = min(case.until_s, case.known_s - OPINION_LAG_S)
    if until_s - start_s < PROBABILITY_OVER_S:
        return []
    told = case.history.apnea_probability(start_s, until_s, case.known_s)
    every_s = PROBABILITY_EVERY_S / (until_s - start_s)
    if every_s * np.count_nonzero(np.isnan(told.probability)) > 1.0 - AGREES_SHARE:
        return [Evidence("no second opinion: too few samples could be used", "beside")]
    share = min(every_s * np.count_nonzero(told.probability > LEAST), 1.0)
    text = f"second opinion: probability of apnea above {LEAST:g} for {100 * share:.0f} % of it"
    if share >= AGREES_SHARE:
        onset_s = case.event.onset_s
        before = case.history.apnea_probability(onset_s - BEFORE_S, onset_s, case.known_s)
        above_s = PROBABILITY_EVERY_S * np.count_nonzero(before.probability > LEAST)
        if above_s >= ALREADY_SHARE * BEFORE_S:
            return [Evidence(f"{text}, but of the {BEFORE_S:g} s before as well", "beside")]
        return [Evidence(text, "for")]
    led = case.history.pulsation(start_s, until_s, case.known_s).led_by_beats
    led_enough = len(led) > 0 and bool(np.mean(led) >= AGREES_SHARE)
    return [Evidence(text, "against" if share < DISAGREES_SHARE and led_enough else "beside")]


def movement(case: Case) -> list[Evidence]:
    """Tell how much of it was under movement."""
    spans = case.history.spans("impedance", case.known_s, DISTURBING)
    return disturbed(case, spans, "the impedance was disturbed")


def contact_beside(case: Case) -> list[Evidence]:
    """Contact lost within 2 s of the onset: the last breath may have been an electrode's."""
    words = _beside_onset(case, BLOCKING)
    if not case.assessable or words is None:
        return []
    text = f"the signal could not be used within {BESIDE_S:g} s of the onset ({words})"
    return [Evidence(text, "against")]


def _beside_onset(case: Case, group: Reason) -> str | None:
    """Return, in words, what of a group of reasons is told of the impedance close to the onset."""
    spans = case.history.spans("impedance", case.known_s, group)
    onset_s = case.event.onset_s
    near = (spans.start_s < onset_s + BESIDE_S) & (spans.end_s > onset_s - BESIDE_S)
    rows = np.flatnonzero(near)
    return Reason(int(spans.reason[rows[0]])).words if len(rows) else None


def onset_disturbed(case: Case) -> list[Evidence]:
    """Look whether the last breath before may be no breath: a jump, a movement, a huge swing."""
    words = _beside_onset(case, DISTURBING)
    if words is not None:
        return [Evidence(f"the impedance was disturbed at its onset ({words})", "against")]
    before = _before(case).size
    if len(before) < ENOUGH_BEFORE:
        return []
    times = float(before[-1] / np.median(before))
    if times < HUGE_TIMES:
        return []
    return [Evidence(f"the swing at its onset was {times:.0f} times a usual breath", "against")]


def swings_inside(case: Case) -> list[Evidence]:
    """Tell of swings inside it that were not counted as breaths, since they may be none.

    Where one part without a swing reaches the limit by itself, only the onset rests on the doubt;
    but a huge swing may be an electrode's, and what follows it no pause.
    """
    event = case.event
    inside = case.history.breaths(event.onset_s + HAIR_S, case.until_s - HAIR_S, case.known_s)
    if not len(inside):
        return []
    text = f"{counted(len(inside), 'swing')} inside it may be a disturbance or a breath"
    before = _before(case).size
    usual = float(np.median(before)) if len(before) >= ENOUGH_BEFORE else np.inf
    huge = bool(inside.size.max() >= HUGE_TIMES * usual)
    edges_s = np.concatenate(([event.onset_s], inside.time_s, [case.until_s]))
    enough = float(np.diff(edges_s).max()) >= float(event.limits.get("limit_s", 0.0))
    return [Evidence(text, "beside" if enough and not huge else "against")]
