"""What speaks for and against each event, and the judgement that follows. Reads findings only.

Every figure here is the project's own choice unless a source stands beside it. Evidence never takes
an event off the list.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from infantmon.events.history import History
from infantmon.model.arrays import Floats
from infantmon.model.event import (
    DOUBTFUL,
    NOT_ASSESSABLE,
    SUPPORTED,
    Event,
    Evidence,
    UnusableStretch,
)
from infantmon.model.marks import RPeaks
from infantmon.model.spans import Reason, Spans
from infantmon.stages.heart_rate import IntervalAverage

BEFORE_S = 30.0
"""How far back the breathing and the heart before an event are looked at, in seconds."""
UNRELIABLE_SHARE = 0.3
"""From this share of beats that do not look like their neighbours a rate is doubtful."""
DISTURBED_SHARE = 0.2
"""From this share of an event under movement it is doubtful."""
PULSATION_SHARE = 0.8
"""From this ratio of pulsation to breath the two are hard to tell apart."""
SAME_BEAT_S = 0.1
"""Marks of two leads no further apart than this are one beat, in seconds."""
AGREE_SHARE = 0.8
"""From this share of beats that both leads have, either way, they show the same rhythm."""
AGREE_BEFORE_S = 10.0
"""How far back from an event the beats of two leads are compared, in seconds."""


@dataclass(frozen=True, slots=True)
class Case:
    """An event as the evidence sees it: what has been found by a stream time, and no more.

    `until_s` is the end of the event, or the time reached where it is still open.
    """

    event: Event
    assessable: bool
    until_s: float
    known_s: float
    history: History

    @property
    def length_s(self) -> float:
        """Length of the event so far, at least a second, for shares."""
        return max(self.until_s - self.event.onset_s, 1.0)


def reasons_for(case: Case) -> tuple[Evidence, ...]:
    """Return what speaks for and against an event."""
    return tuple(item for look in _LOOKS[case.event.kind] for item in look(case))


def judge(reasons: tuple[Evidence, ...]) -> str:
    """Return the judgement that follows from the reasons."""
    sides = {reason.side for reason in reasons}
    if "not assessable" in sides:
        return NOT_ASSESSABLE
    return DOUBTFUL if "against" in sides else SUPPORTED


def unusable_inside(case: Case) -> tuple[UnusableStretch, ...]:
    """Return the stretches of the event's channel that could not be used, inside the event."""
    role = "impedance" if case.event.kind in ("apnea", "periodic breathing") else "ecg"
    spans = case.history.spans(role, case.known_s, blocking=True)
    inside = (spans.end_s > case.event.onset_s) & (spans.start_s < case.until_s)
    return tuple(
        UnusableStretch(
            float(spans.start_s[row]), float(spans.end_s[row]), Reason(int(spans.reason[row])).words
        )
        for row in np.flatnonzero(inside)
    )


def effort_free_s(case: Case) -> float | None:
    """Return the part of a pause without effort, from the last breath's end to the next's start."""
    event = case.event
    if event.end_s is None:
        return None
    around = case.history.breaths(event.onset_s - 1e-6, event.end_s + 1e-6, case.known_s)
    if len(around) < 2:
        return None
    free_s = float(around.rise_start_s[-1] - around.fall_end_s[0])
    return free_s if np.isfinite(free_s) and free_s >= 0 else None


def with_extreme_rate(
    event: Event, case: Case, averaging: tuple[int | None, float | None]
) -> Event:
    """Return a heart-rate event with the extreme of the averaged rate inside it."""
    spans = case.history.spans("ecg", case.known_s, blocking=True)
    beats = case.history.beats(event.onset_s - 2 * BEFORE_S, case.until_s + 1e-6, case.known_s)
    time_s = beats.time_s[~spans.inside(beats.time_s)]
    mean_s = IntervalAverage(*averaging).push(time_s, spans.end_s)[time_s >= event.onset_s]
    mean_s = mean_s[np.isfinite(mean_s)]
    if event.kind == "high heart rate":
        highest = 60.0 / float(mean_s.min()) if len(mean_s) else None
        return dataclasses.replace(event, highest_bpm=highest)
    # between beats the open interval counts, as in the rule, but not over an unusable stretch
    ends_s = np.append(time_s[1:], case.until_s)[: len(time_s)]
    counts = (ends_s > event.onset_s) & ~spans.touch(time_s, ends_s)
    slowest_s = max(*mean_s.tolist(), *(ends_s - time_s)[counts].tolist(), 0.0, 0.0)
    return dataclasses.replace(event, lowest_bpm=60.0 / slowest_s if slowest_s > 0 else None)


# Looks at an apnea ------------------------------------------------------------------------------


def _only_with_unusable_time(case: Case) -> list[Evidence]:
    if case.assessable:
        return []
    text = "the limit was reached only by counting time in which the impedance could not be used"
    return [Evidence(text, "not assessable")]


def _breathing_before(case: Case) -> list[Evidence]:
    onset_s = case.event.onset_s
    before = case.history.breaths(onset_s - BEFORE_S, onset_s + 1e-6, case.known_s)
    if len(before) < 4:
        return [Evidence(f"only {len(before)} breaths in the {BEFORE_S:g} s before", "against")]
    rate = 60.0 / float(np.median(np.diff(before.time_s)))
    return [Evidence(f"breathing before at {rate:.0f} a minute", "for")]


def _shallow_breathing(case: Case) -> list[Evidence]:
    onset_s = case.event.onset_s
    before = case.history.breaths(onset_s - BEFORE_S, onset_s + 1e-6, case.known_s)
    shallow = int(np.count_nonzero(before.shallow[-5:]))
    if shallow < 3:
        return []
    text = (
        f"{shallow} of the last 5 breaths before were shallow: effort may go on below what is seen"
    )
    return [Evidence(text, "against")]


def _pulsation(case: Case) -> list[Evidence]:
    event = case.event
    taken = case.history.pulsation(event.onset_s, case.until_s, case.known_s)
    before = case.history.pulsation(event.onset_s - BEFORE_S, event.onset_s, case.known_s)
    if not len(taken) or not len(before):
        return []
    breath = float(np.median(before.breath))
    ratio = float(np.median(taken.pulsation)) / breath if breath > 0 else 0.0
    text = f"heart pulsation taken out: {ratio:.2f} of a breath before"
    items = [Evidence(text, "beside" if ratio >= PULSATION_SHARE else "for")]
    if np.mean(taken.locked) > DISTURBED_SHARE:
        items.append(_kept_step(before_too=bool(np.mean(before.locked) > DISTURBED_SHARE)))
    return items


def _kept_step(*, before_too: bool) -> Evidence:
    """Swings in step with the heart: breaths, or its pulsation? What was before decides.

    Where breathing kept step before as well, the two cannot be told apart. Where it did not,
    breaths would have had to change to the heart's rate at that very moment: doubtful, not more.
    """
    if before_too:
        text = "breathing and heart beat kept step and could not be told apart"
        return Evidence(text, "not assessable")
    text = "swings in step with the heart were taken for its pulsation, not for breaths"
    return Evidence(text, "against")


def _movement(case: Case) -> list[Evidence]:
    spans = case.history.spans("impedance", case.known_s, blocking=False)
    return _disturbed(case, spans, "the impedance was disturbed")


def _contact_beside(case: Case) -> list[Evidence]:
    """Contact lost within 2 s of the onset: the last breath may have been an electrode's."""
    spans = case.history.spans("impedance", case.known_s, blocking=True)
    onset_s = case.event.onset_s
    near = (spans.start_s < onset_s + 2.0) & (spans.end_s > onset_s - 2.0)
    if not case.assessable or not near.any():
        return []
    words = Reason(int(spans.reason[np.flatnonzero(near)[0]])).words
    return [Evidence(f"the signal could not be used within 2 s of the onset ({words})", "against")]


# Looks at the heart rate ------------------------------------------------------------------------


def _beats_alike(case: Case) -> list[Evidence]:
    """Look whether the beats look alike; a second lead that shows the same beats vouches for them.

    Where it does, a beat that looks strange is still a beat (a wide one, an escape beat).
    """
    event = case.event
    beats = case.history.beats(event.onset_s - 10.0, case.until_s + 1e-6, case.known_s)
    if not len(beats):
        # whether a heart has stopped cannot be told by a lead that has not shown it beat
        stopped = event.kind == "no heart beat"
        return [Evidence("no heart beat was seen before", NOT_ASSESSABLE if stopped else "against")]
    strange_side = "beside" if _carried_by_second_lead(case) else "against"
    share = float(np.mean(~beats.reliable))
    text = f"{100 * (1 - share):.0f} % of the beats around look alike"
    items = [Evidence(text, strange_side if share >= UNRELIABLE_SHARE else "for")]
    # good beats before must not hide that the few inside, or on both sides, are strange
    first = max(int(np.searchsorted(beats.time_s, event.onset_s, side="right")) - 1, 0)
    strange = int(np.count_nonzero(~beats.reliable[first:]))
    count = len(beats) - first
    if share < UNRELIABLE_SHARE and 2 * strange > count:
        text = f"{strange} of the {count} beats it rests on do not look like their neighbours"
        items.append(Evidence(text, strange_side))
    return items


def _smaller_beats(case: Case) -> list[Evidence]:
    """Beats that have become small may go unseen: a slow rate may be a fading signal."""
    event = case.event
    before = case.history.beats(event.onset_s - BEFORE_S, event.onset_s, case.known_s)
    inside = case.history.beats(event.onset_s, case.until_s + 1e-6, case.known_s)
    if len(before) < 5 or len(inside) < 2:
        return []
    ratio = float(np.median(np.abs(inside.amplitude)) / np.median(np.abs(before.amplitude)))
    if ratio >= 0.5:
        return []
    return [Evidence(f"beats had shrunk to {100 * ratio:.0f} % of their size before", "against")]


def _second_lead(case: Case) -> list[Evidence]:
    """Look at a second lead: another rhythm there speaks against; no beats there say nothing."""
    event = case.event
    if _leads_agree(case):
        return [Evidence("the second lead shows the same beats", "for")]
    other = case.history.second_beats(event.onset_s - 1.0, case.until_s + 1.0, case.known_s)
    if len(other) < 3:
        return []
    rate_bpm = 60.0 / float(np.median(np.diff(other.time_s)))
    text = f"the second lead shows {rate_bpm:.0f} beats a minute meanwhile"
    return [Evidence(text, "for" if _beyond_limit(event, other) else "against")]


def _beyond_limit(event: Event, beats: RPeaks) -> bool:
    """Tell whether the beats of a lead are beyond the limit of an event by themselves."""
    intervals_s = np.diff(beats.time_s)
    if event.kind == "no heart beat":
        return float(intervals_s.max()) >= float(event.limits.get("limit_s", 0.0))
    rate_bpm = 60.0 / float(np.median(intervals_s))
    limit_bpm = float(event.limits.get("limit_bpm", 0.0))
    return rate_bpm > limit_bpm if event.kind == "high heart rate" else rate_bpm < limit_bpm


def _leads_agree(case: Case) -> bool:
    """Tell whether both leads show the same beats around the event, one to one within 0.1 s."""
    start_s, end_s = case.event.onset_s - AGREE_BEFORE_S, case.until_s + 1e-6
    first = case.history.beats(start_s, end_s, case.known_s).time_s
    other = case.history.second_beats(start_s, end_s, case.known_s).time_s
    if min(len(first), len(other)) < 3:
        return False
    near = _distance_s(first, other) <= SAME_BEAT_S
    near_other = _distance_s(other, first) <= SAME_BEAT_S
    return bool(min(np.mean(near), np.mean(near_other)) >= AGREE_SHARE)


def _distance_s(times_s: Floats, others_s: Floats) -> Floats:
    """Return how far each time is from the nearest of the others, in seconds."""
    after = np.clip(np.searchsorted(others_s, times_s), 1, len(others_s) - 1)
    nearest = np.minimum(np.abs(times_s - others_s[after - 1]), np.abs(others_s[after] - times_s))
    return np.asarray(nearest, dtype=np.float64)


def _carried_by_second_lead(case: Case) -> bool:
    """Tell whether a second lead vouches for what the first shows but doubtfully.

    It does if it shows the same beats, or if its own beats look alike and are beyond the limit too.
    """
    if _leads_agree(case):
        return True
    event = case.event
    other = case.history.second_beats(event.onset_s - 1.0, case.until_s + 1e-6, case.known_s)
    if len(other) < 3 or float(np.mean(~other.reliable)) >= UNRELIABLE_SHARE:
        return False
    return _beyond_limit(event, other)


def _ecg_disturbed(case: Case) -> list[Evidence]:
    spans = case.history.spans("ecg", case.known_s, blocking=False)
    return _disturbed(case, spans, "the ECG was disturbed")


def _electrodes_off(case: Case) -> list[Evidence]:
    """See whether the impedance is lost too: that points to the electrodes, not to the heart."""
    spans = case.history.spans("impedance", case.known_s, blocking=True)
    share = spans.overlap_s(case.event.onset_s, case.until_s) / case.length_s
    if share < DISTURBED_SHARE:
        return []
    return [Evidence("the impedance was lost at the same time: electrodes may be off", "against")]


def _disturbed(case: Case, spans: Spans, what: str) -> list[Evidence]:
    """Tell the share of the event, its onset included, that lies in disturbed stretches."""
    share = spans.overlap_s(case.event.onset_s - 1.0, case.until_s) / (case.length_s + 1.0)
    if share <= 0.0:
        return [Evidence("no movement seen in it", "for")]
    side = "against" if share >= DISTURBED_SHARE else "beside"
    return [Evidence(f"{what} for {100 * share:.0f} % of it", side)]


def _technical(_case: Case) -> list[Evidence]:
    return [Evidence("told by the signal itself", "for")]


_Look = Callable[[Case], list[Evidence]]
_BREATHING: tuple[_Look, ...] = (
    _only_with_unusable_time,
    _breathing_before,
    _shallow_breathing,
    _pulsation,
    _movement,
    _contact_beside,
)
_HEART: tuple[_Look, ...] = (
    _beats_alike,
    _smaller_beats,
    _second_lead,
    _ecg_disturbed,
    _electrodes_off,
)
_LOOKS: dict[str, tuple[_Look, ...]] = {
    "apnea": _BREATHING,
    "periodic breathing": (_breathing_before, _movement),
    "low heart rate": _HEART,
    "high heart rate": _HEART,
    "no heart beat": _HEART,
    "contact loss": (_technical,),
    "signal unusable": (_technical,),
}
