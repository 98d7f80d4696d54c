"""Excerpts that end at an alarm which people have judged: kept, rejected, or not listed.

Each excerpt is reviewed with its ECG leads, and with its respiration where there is one. Looked at
are events of the alarm's kind that reach into the last seconds. An alarm is kept if one of them is
supported or not assessable, rejected but listed if all are doubtful, and without an event if there
is none.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterable
from typing import Any

from infantmon.errors import ArgumentError
from infantmon.labelled.database import Labelled
from infantmon.model.event import DOUBTFUL, NOT_ASSESSABLE, SUPPORTED, Event
from infantmon.model.prescription import Prescription, UnusualLimitWarning
from infantmon.reviewing import review
from infantmon.scorecard.record_score import RecordScore, WindowScore
from infantmon.scoring.tallies import Tally

LOOKED_AT_S = 16.0
NO_EVENT = "no event"
VERDICTS = (SUPPORTED, NOT_ASSESSABLE, DOUBTFUL, NO_EVENT)
KEPT = (SUPPORTED, NOT_ASSESSABLE)
KIND_OF = {
    "Asystole": "no heart beat",
    "Bradycardia": "low heart rate",
    "Tachycardia": "high heart rate",
}
LIMITS: dict[str, dict[str, dict[str, Any]]] = {
    "fitted": {
        "Asystole": {"no_heart_beat": {"limit_s": 3.4}},
        "Bradycardia": {"low_heart_rate": {"limit_bpm": 42.5, "hold_off_s": 0, "average_beats": 5}},
        "Tachycardia": {
            "high_heart_rate": {"limit_bpm": 130, "hold_off_s": 0, "average_beats": 17}
        },
    },
    "literal": {
        "Asystole": {"no_heart_beat": {"limit_s": 4}},
        "Bradycardia": {"low_heart_rate": {"limit_bpm": 40, "hold_off_s": 0, "average_beats": 5}},
        "Tachycardia": {
            "high_heart_rate": {"limit_bpm": 140, "hold_off_s": 0, "average_beats": 17}
        },
    },
}
"""Of adults, and no recommendation. "Fitted" was chosen on the excerpts at hand: some end 3.5 s
into the pause, and the labels of the low rates part at about 42 a minute. "Literal" is what the
challenge says (from memory): Clifford GD et al., Computing in Cardiology 42:273-276, 2015."""
CONTACT = {"delay_s": 2}


def plan_for(alarm: str, limits: str) -> Prescription:
    """Return the limits for an alarm; of adults, and no recommendation."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UnusualLimitWarning)
        return Prescription(**LIMITS[limits][alarm], contact_loss=CONTACT)


def at_the_alarm(events: Iterable[Event], kind: str, alarm_s: float) -> tuple[Event, ...]:
    """Return the events of a kind that reach into the last seconds before an alarm at `alarm_s`."""
    return tuple(
        event
        for event in events
        if event.kind == kind
        and event.onset_s < alarm_s
        and (event.end_s is None or event.end_s > alarm_s - LOOKED_AT_S)
    )


def verdict_of(events: Iterable[Event]) -> str:
    """Return the best judgement among events, or that there is none."""
    found = {event.judgement for event in events}
    return next((verdict for verdict in VERDICTS if verdict in found), NO_EVENT)


def score_excerpt(record: str, labelled: Labelled, *, limits: str = "fitted") -> RecordScore:
    """Review an excerpt and count its alarm: a true one kept or lost, a false one kept or not.

    Raises
    ------
    ArgumentError
        If the recording has no judged alarm.
    """
    if labelled.alarm is None:
        raise ArgumentError(f"{record} has no judged alarm; alarms cannot be scored on it.")
    alarm, true = labelled.alarm
    end_s = labelled.recording.end_s
    reviewed = review(labelled.recording, plan_for(alarm, limits))
    verdict = verdict_of(at_the_alarm(reviewed.events, KIND_OF[alarm], round(end_s, 1)))
    kept = verdict in KEPT
    tally = Tally(int(true and kept), int(true and not kept), int(kept and not true))
    told = f"{'true' if true else 'false'} alarm, {'kept' if kept else 'rejected'}: {verdict}"
    return RecordScore(
        record,
        recorded_s=end_s,
        scored_s=end_s,
        windows=(WindowScore(None, tally),),
        group=alarm.lower(),
        notes=(told,),
    )
