"""What is true of a night, told from its scenario and from where breaths and beats were laid."""

from __future__ import annotations

import numpy as np

from infantmon.model.arrays import Bools, Floats
from infantmon.model.spans import Reason, Spans
from infantmon.simulate.breathing import BreathTrain
from infantmon.simulate.faults import Disturbance, LooseElectrode, MissingSamples, Movement
from infantmon.simulate.heart import Bradycardia, RateChange, Standstill, Tachycardia
from infantmon.simulate.layout import Layout
from infantmon.simulate.obstruction import MixedApnea, Obstruction
from infantmon.simulate.scenario import Scenario
from infantmon.simulate.truth import (
    Intervals,
    TrueObstructions,
    TruePauses,
    TrueRateChanges,
    Truth,
)


def tell(scenario: Scenario, layout: Layout) -> Truth:
    """Return what is true of a scenario whose breaths and beats are laid out."""
    breaths, beat_s = layout.breaths, layout.beats.time_s
    inside = (breaths.peak_s >= 0.0) & (breaths.peak_s < scenario.duration_s)
    recorded = (beat_s >= 0.0) & (beat_s < scenario.duration_s)
    changes = scenario.rate_changes
    loose = scenario.of(LooseElectrode)
    missing = scenario.of(MissingSamples)
    return Truth(
        duration_s=scenario.duration_s,
        beat_s=beat_s[recorded],
        breath_s=breaths.peak_s[inside],
        breath_size_ohm=breaths.size_ohm[inside],
        pauses=_true_pauses(scenario, breaths),
        bradycardias=_true_changes([c for c in changes if isinstance(c, Bradycardia)]),
        tachycardias=_true_changes([c for c in changes if isinstance(c, Tachycardia)]),
        standstills=_around(scenario.of(Standstill), beat_s),
        ecg_lost=_spans(
            [(event, event.ecg.reason) for event in loose if event.ecg is not None]
            + [(event, Reason.NOT_FINITE) for event in missing if event.ecg]
        ),
        impedance_lost=_spans(
            [(event, event.impedance.reason) for event in loose if event.impedance is not None]
            + [(event, Reason.NOT_FINITE) for event in missing if event.impedance]
        ),
        movements=_spans([(event, Reason.MOVEMENT) for event in scenario.of(Movement)]),
        ecg2_lost=_spans(
            [(event, event.ecg2.reason) for event in loose if event.ecg2 is not None]
            + [(event, Reason.NOT_FINITE) for event in missing if event.ecg2]
        ),
        obstructions=_true_obstructions(scenario.obstructions),
        beat_ectopic=layout.ectopic[recorded] >= 0,
        breath_obstructed=_obstructed(scenario, breaths.peak_s[inside]),
    )


def _true_pauses(scenario: Scenario, breaths: BreathTrain) -> TruePauses:
    pauses = scenario.pauses
    slow = {apnea.onset_s for apnea in scenario.obstructions if apnea.bradycardia is not None}
    rests = [breaths.rest_after(pause.onset_s) for pause in pauses]
    return TruePauses(
        np.array([pause.onset_s for pause in pauses], dtype=float),
        np.array([pause.end_s for pause in pauses], dtype=float),
        np.array([start for start, _ in rests], dtype=float),
        np.array([end for _, end in rests], dtype=float),
        np.array([p.bradycardia is not None or p.onset_s in slow for p in pauses], dtype=np.bool_),
    )


def _true_changes(changes: list[RateChange]) -> TrueRateChanges:
    names = ("start_s", "reached_s", "left_s", "end_s", "rate_bpm")
    return TrueRateChanges(
        *(np.array([getattr(change, name) for change in changes], dtype=float) for name in names)
    )


def _around(standstills: list[Standstill], beat_s: Floats) -> Intervals:
    start = np.array([standstill.start_s for standstill in standstills], dtype=float)
    after = np.clip(np.searchsorted(beat_s, start), 1, max(len(beat_s) - 1, 1))
    if not len(start):
        return Intervals(start, start)
    return Intervals(beat_s[after - 1], beat_s[after])


def _spans(found: list[tuple[Disturbance, Reason]]) -> Spans:
    found = sorted(found, key=lambda item: item[0].start_s)
    return Spans(
        np.array([event.start_s for event, _ in found], dtype=float),
        np.array([event.end_s for event, _ in found], dtype=float),
        np.array([int(reason) for _, reason in found], dtype=np.int64),
    )


def _true_obstructions(apneas: list[Obstruction]) -> TrueObstructions:
    onset, end, effort = (
        np.array([getattr(apnea, name) for apnea in apneas], dtype=float)
        for name in ("onset_s", "end_s", "effort_from_s")
    )
    mixed = np.array([isinstance(apnea, MixedApnea) for apnea in apneas], dtype=np.bool_)
    return TrueObstructions(onset, end, effort, mixed)


def _obstructed(scenario: Scenario, peak_s: Floats) -> Bools:
    found = np.zeros(len(peak_s), dtype=np.bool_)
    for apnea in scenario.obstructions:
        found |= apnea.covers(peak_s)
    return found
