"""What speaks for and against each event, and the judgement that follows. Reads findings only.

In comes a `Case`: an event, and all findings known by the time it is looked at. Out come its
reasons, and the judgement they lead to: not assessable if one of them says so, else doubtful if one
speaks against it, else supported. Which questions are asked of which kind of event is a table at
the end of this file; the questions themselves stand in the `evidence_...` files.

Every figure here is the project's own choice unless a source stands beside it. Evidence never takes
an event off the list.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from infantmon.events import evidence_breathing as breathing
from infantmon.events import evidence_heart as heart
from infantmon.events import evidence_pause_rows as pause_rows
from infantmon.events import evidence_standstill as standstill
from infantmon.events.case import Case
from infantmon.events.evidence_second_lead import second_lead
from infantmon.events.shared import Shared
from infantmon.model.counting import counted
from infantmon.model.event import DOUBTFUL, NOT_ASSESSABLE, SUPPORTED, Evidence

__all__ = ["Case", "judge", "reasons_for"]


def reasons_for(case: Case, shared: Shared | None = None) -> tuple[Evidence, ...]:
    """Return what speaks for and against an event: first its length against the limit.

    Where many prescriptions share their findings, what does not depend on a limit is looked up.
    """
    looks = (_length, *_LOOKS[case.event.kind])
    if shared is None:
        return tuple(item for look in looks for item in look(case))
    event = case.event
    asked = (event.kind, event.onset_s, event.end_s, case.known_s, case.assessable)
    reasons: list[Evidence] = []
    for look in looks:
        limits = tuple(event.limits.items()) if look in _READ_LIMITS else ()
        reasons += shared.once((look, *asked, *limits), partial(look, case))
    return tuple(reasons)


def judge(reasons: tuple[Evidence, ...]) -> str:
    """Return the judgement that follows from the reasons."""
    sides = {reason.side for reason in reasons}
    if NOT_ASSESSABLE in sides:
        return NOT_ASSESSABLE
    return DOUBTFUL if "against" in sides else SUPPORTED


def _length(case: Case) -> list[Evidence]:
    """Tell how long it lasted (or has so far), beside the limit in force."""
    limits = case.event.limits
    so_far = " so far" if case.event.end_s is None else ""
    length = f"{case.until_s - case.event.onset_s:.1f} s{so_far}"
    if "limit_bpm" in limits:
        side = "above" if case.event.kind == "high heart rate" else "below"
        beyond = f"{side} {_number(limits['limit_bpm'])} a minute"
        return [Evidence(f"{length} {beyond}, hold-off {_number(limits['hold_off_s'])} s", "for")]
    if "count" in limits:
        pauses = counted(int(limits["count"]), "pause")
        row = f"at least {pauses} of {_number(limits['pause_s'])} s"
        return [Evidence(f"{length}, {row}", "for")]
    for name, word in (("limit_s", "limit"), ("delay_s", "delay")):
        if name in limits:
            return [Evidence(f"{length}, {word} {_number(limits[name])} s", "for")]
    return []


def _number(value: float | str) -> str:
    return value if isinstance(value, str) else f"{value:g}"


def _technical(_case: Case) -> list[Evidence]:
    return [Evidence("told by the signal itself", "for")]


_Look = Callable[[Case], list[Evidence]]
_BREATHING: tuple[_Look, ...] = (
    breathing.only_with_unusable_time,
    breathing.breathing_before,
    breathing.breathing_after,
    breathing.shallow_breathing,
    breathing.pulsation,
    breathing.second_opinion,
    breathing.movement,
    breathing.contact_beside,
    breathing.onset_disturbed,
    breathing.swings_inside,
)
_PAUSE_ROW: tuple[_Look, ...] = (
    breathing.breathing_before,
    pause_rows.effort_in_pauses,
    pause_rows.shallow_between,
    pause_rows.long_pause,
    breathing.movement,
)
_FAST_HEART: tuple[_Look, ...] = (
    heart.cut_in_two,
    heart.beats_alike,
    heart.beat_size,
    heart.uneven_beats,
    second_lead,
    heart.ecg_disturbed,
    heart.electrodes_off,
)
_SLOW_HEART: tuple[_Look, ...] = (
    heart.cut_in_two,
    heart.only_with_flat_time,
    heart.beats_alike,
    standstill.few_beats_before,
    standstill.followed_briefly,
    heart.beat_size,
    standstill.far_smaller_beside,
    heart.turned_beat,
    heart.doubled_intervals,
    second_lead,
    heart.ecg_disturbed,
    standstill.mains_began,
    standstill.level_shifted,
    heart.electrodes_off,
    standstill.breathing_went_on,
    standstill.beats_went_on,
    standstill.beats_missing,
    standstill.beats_not_counted,
)
_READ_LIMITS = (
    _length,
    breathing.swings_inside,
    pause_rows.effort_in_pauses,
    heart.beats_alike,
    heart.uneven_beats,
    second_lead,
    heart.turned_beat,
    heart.doubled_intervals,
    standstill.beats_missing,
    standstill.beats_not_counted,
)
_LOOKS: dict[str, tuple[_Look, ...]] = {
    "apnea": _BREATHING,
    "periodic breathing": _PAUSE_ROW,
    "low heart rate": _SLOW_HEART,
    "high heart rate": _FAST_HEART,
    "no heart beat": _SLOW_HEART,
    "contact loss": (_technical,),
    "signal unusable": (_technical,),
}
