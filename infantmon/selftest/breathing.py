"""Trials of breathing: apnea timing, small breaths, pulsation and bradycardia in apnea."""

from __future__ import annotations

import functools
from dataclasses import dataclass

from infantmon.model.event import Event
from infantmon.reviewing import Review
from infantmon.scoring.marks import score_marks
from infantmon.selftest.judged import night, pauses, plan, reviewed, usual_plan
from infantmon.selftest.row import CHAIN, Bed, Measured, Trial
from infantmon.simulate import (
    Breathing,
    PulsationByPhase,
    SlowingInPause,
    TruePauses,
)

GUARD_S = 0.5
COUNT = 6
KNOWN_AFTER_S = 3.5
SMALLEST_OHM = 0.1
SIZES_OHM = (1.0, 0.5, 0.3, 0.2, 0.1, 0.05, 0.03, 0.02, 0.01)
FOUND_SHARE = 0.95
PULSATIONS = (0.05, 0.2, 0.4, 0.6, 0.8)
FROM_LAST_BREATH = "timed from the last breath that was detected: 21 CFR 868.2377"


def apnea_at(found: Review, onset_s: float, end_s: float) -> Event | None:
    """Return the one apnea that overlaps a true pause, assessable or not."""
    over = [
        event
        for event in found.events
        if event.kind == "apnea"
        and event.onset_s < end_s
        and (event.end_s is None or event.end_s > onset_s)
    ]
    return over[0] if len(over) == 1 else None


@dataclass(frozen=True)
class _Counted:
    """What came of pauses that had to be reported."""

    pauses: int
    apneas: list[Event]

    @property
    def assessable(self) -> list[Event]:
        return [event for event in self.apneas if event.assessable]

    @property
    def all_found(self) -> bool:
        return len(self.assessable) == self.pauses

    @property
    def text(self) -> str:
        told = f"{len(self.assessable)} of {self.pauses} found"
        unclear = len(self.apneas) - len(self.assessable)
        return told + (f", {unclear} more reported as not assessable" if unclear else "")

    @property
    def reason(self) -> str:
        """Why they were not found, as far as the chain says so itself."""
        if self.all_found:
            return ""
        said = {
            reason.text
            for event in self.apneas
            if not event.assessable
            for reason in event.reasons
            if reason.side == "not assessable"
        }
        if len(self.apneas) < self.pauses:
            said.add("heart beats in the impedance are counted as breaths")
        return "; ".join(sorted(said))


def _counted(found: Review, truth: TruePauses) -> _Counted:
    apneas = [apnea_at(found, onset_s, end_s) for onset_s, end_s in _each(truth)]
    return _Counted(len(apneas), [event for event in apneas if event is not None])


def _each(truth: TruePauses) -> list[tuple[float, float]]:
    return list(zip(truth.onset_s.tolist(), truth.end_s.tolist(), strict=True))


def _timing(limit_s: float, bed: Bed) -> Measured:  # noqa: ARG001 - the chain itself is run
    lengths = (limit_s + GUARD_S, limit_s - GUARD_S) * COUNT
    events, duration_s = pauses(lengths)
    made = night(events, duration_s, seed=int(limit_s))
    found = reviewed(made, plan(apnea={"limit_s": limit_s}))
    listed = [event for event in found.events if event.kind == "apnea"]
    hits, false, late_s = 0, 0, 0.0
    for onset_s, end_s in _each(made.truth.pauses):
        event = apnea_at(found, onset_s, end_s)
        if end_s - onset_s < limit_s:
            false += event is not None
        elif event is not None and event.assessable:
            hits += 1
            late_s = max(late_s, event.known_s - onset_s - limit_s)
    others = len(listed) - hits - false
    passed = hits == COUNT and false == 0 and others == 0 and late_s <= KNOWN_AFTER_S
    return Measured(
        f"{hits} of {COUNT} long, {false} of {COUNT} short reported, {others} elsewhere; "
        f"known {late_s:.2f} s after the limit at the latest",
        passed=passed,
        numbers={"long": hits, "short": false, "elsewhere": others, "known_after_s": late_s},
        reason="" if passed else "pauses around the limit are not told apart, or too late",
    )


def _smallest(bed: Bed) -> Measured:  # noqa: ARG001
    smallest = float("nan")
    for size_ohm in SIZES_OHM:
        made = night(
            (),
            150.0,
            breathing=Breathing(size_ohm=size_ohm, size_variability=0.1),
            pulsation=PulsationByPhase(0.0),
            seed=9,
        )
        found = reviewed(made, plan(apnea={"limit_s": 20}))
        score = score_marks(made.truth.breath_s, found.breaths.time_s, 0.5, start_s=15.0)
        both = score.tally.sensitivity, score.tally.positive_predictivity
        if any(share is None or share < FOUND_SHARE for share in both):
            break
        smallest = size_ohm
    passed = smallest <= SMALLEST_OHM
    return Measured(
        f"breaths of {smallest:g} ohm found",
        passed=passed,
        numbers={"size_ohm": smallest},
        reason="" if passed else "small breaths are lost in noise of 0.01 ohm and slow drift",
    )


def _pulsation(share: float, bed: Bed) -> Measured:  # noqa: ARG001
    events, duration_s = pauses((20.0 + GUARD_S,) * COUNT)
    made = night(events, duration_s, pulsation=PulsationByPhase(share), seed=int(100 * share))
    found = reviewed(made, plan(apnea={"limit_s": 20}))
    counted = _counted(found, made.truth.pauses)
    return Measured(
        counted.text,
        passed=counted.all_found,
        numbers={"found": len(counted.assessable), "pauses": COUNT},
        reason=counted.reason,
    )


def _bradycardia(bed: Bed) -> Measured:  # noqa: ARG001
    events, duration_s = pauses((27.0,) * COUNT, SlowingInPause())
    made = night(events, duration_s, pulsation=PulsationByPhase(0.4, growth=0.9), seed=12)
    found = reviewed(made, usual_plan())
    low = {event.number for event in found.events if event.kind == "low heart rate"}
    counted = _counted(found, made.truth.pauses)
    linked = sum(bool(low & set(event.linked)) for event in counted.apneas)
    passed = counted.all_found and linked == COUNT
    return Measured(
        f"{counted.text}; {linked} linked with their low heart rate",
        passed=passed,
        numbers={"found": len(counted.assessable), "linked": linked, "pauses": COUNT},
        reason=counted.reason or ("" if passed else "not linked with the low heart rate"),
    )


def breathing_trials() -> list[Trial]:
    """Return the trials of breathing."""
    timing = [
        Trial(
            "apnea timing",
            f"limit {limit:g} s",
            f"{FROM_LAST_BREATH}; half a second of guard: project choice"
            + ("; 20 s: common practice" if limit == 20.0 else ""),
            f"{COUNT} pauses of {limit + GUARD_S:g} s reported, {COUNT} of {limit - GUARD_S:g} s "
            f"not (mark to mark); known within {KNOWN_AFTER_S:g} s of the limit",
            CHAIN,
            functools.partial(_timing, limit),
        )
        for limit in (10.0, 15.0, 20.0, 30.0)
    ]
    levels = [
        Trial(
            "pulsation in apnea",
            f"pulsation of {100.0 * share:g} % of a breath",
            "heart beats in the impedance imitate breaths: Southall DP et al., Arch Dis Child "
            "1980;55:63-65; levels: project choice",
            f"{COUNT} of {COUNT} pauses of {20.0 + GUARD_S:g} s found at a limit of 20 s",
            CHAIN,
            functools.partial(_pulsation, share),
        )
        for share in PULSATIONS
    ]
    return [
        *timing,
        Trial(
            "smallest breath",
            "breaths getting smaller, noise of 0.01 ohm",
            "changes by breathing of 0.1 to 3 ohm in infants, from memory",
            f"breaths of {SMALLEST_OHM:g} ohm found (sensitivity and predictivity 95 %)",
            CHAIN,
            _smallest,
        ),
        *levels,
        Trial(
            "bradycardia in apnea",
            "heart falling to 65, pulsation of 40 % of a breath growing as it slows",
            "fall begins 9.3 s after the onset on average: Henderson-Smart DJ et al., Arch Dis "
            "Child 1986;61:227-232",
            f"{COUNT} of {COUNT} apneas of 27 s found, each linked with the low heart rate",
            CHAIN,
            _bradycardia,
        ),
    ]
