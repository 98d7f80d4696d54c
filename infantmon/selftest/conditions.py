"""Trials of a loose electrode, of movement, and of how a condition ends: latching and reset."""

from __future__ import annotations

import numpy as np

from infantmon.model.event import ABSENT, ACTIVE, LATCHED, Change
from infantmon.monitor import Monitor
from infantmon.reviewing import Review
from infantmon.selftest.judged import (
    ECG_HZ,
    IMPEDANCE_HZ,
    first_active,
    night,
    reviewed,
    usual_plan,
)
from infantmon.selftest.row import CHAIN, Bed, Measured, Trial
from infantmon.simulate import AtRail, LooseElectrode, Movement, Noisy, Pause

LOOSE_AT_S, LOOSE_S = 60.0, 40.0
MENDED_WITHIN_S = 15.0
CHUNK_S = 1.0
PHYSIOLOGICAL = ("apnea", "low heart rate", "high heart rate", "no heart beat")


def _loose(bed: Bed) -> Measured:  # noqa: ARG001 - the chain itself is run
    loose = LooseElectrode(LOOSE_AT_S, LOOSE_S, impedance=AtRail(), ecg=Noisy(0.05, mains=0.3))
    made = night((loose,), 160.0, seed=13)
    limits = usual_plan()
    found = reviewed(made, limits)
    delay_s = 0.0 if limits.contact_loss is None else limits.contact_loss.delay_s
    within_s = delay_s + found.latencies_s["contact loss"]
    seen_s = first_active(found.changes, "contact loss", LOOSE_AT_S)
    wrong = _wrong(found)
    ends = [event.end_s for event in found.events if event.kind == "contact loss"]
    mended = bool(ends) and all(
        end_s is not None and end_s <= LOOSE_AT_S + LOOSE_S + MENDED_WITHIN_S for end_s in ends
    )
    back = found.breaths.time_s > LOOSE_AT_S + LOOSE_S + MENDED_WITHIN_S
    true_back = made.truth.breath_s > LOOSE_AT_S + LOOSE_S + MENDED_WITHIN_S
    followed = bool(np.count_nonzero(back) >= 0.9 * np.count_nonzero(true_back))
    taken_s = float("inf") if seen_s is None else seen_s - LOOSE_AT_S
    passed = taken_s <= within_s and not wrong and mended and followed
    return Measured(
        f"known after {taken_s:.2f} s; {_listed(wrong)}; "
        f"{'ended' if mended else 'not ended'} after mending, breaths "
        f"{'followed' if followed else 'not followed'} again",
        passed=passed,
        numbers={"time_s": taken_s, "within_s": within_s, "wrong": len(wrong)},
        reason=_why_loose(taken_s <= within_s, wrong, mended and followed),
    )


def _movement(bed: Bed) -> Measured:  # noqa: ARG001
    moves = tuple(Movement(60.0 + 50.0 * number, 25.0) for number in range(4))
    made = night(moves, 270.0, seed=14)
    found = reviewed(made, usual_plan())
    wrong = _wrong(found)
    return Measured(
        _listed(wrong),
        passed=not wrong,
        numbers={"wrong": len(wrong)},
        reason="movement is taken for an event" if wrong else "",
    )


def _why_loose(in_time: bool, wrong: list[str], back: bool) -> str:
    said = []
    if not in_time:
        said.append("told late")
    if wrong:
        said.append("an open lead with noise and mains is not told from a heart that has stopped")
    if not back:
        said.append("not followed again after mending")
    return "; ".join(said)


def _wrong(found: Review) -> list[str]:
    """Return the physiological events that are reported as more than not assessable."""
    listed = [e for e in found.events if e.kind in PHYSIOLOGICAL and e.assessable]
    return [f"{event.kind} ({event.judgement})" for event in listed]


def _listed(wrong: list[str]) -> str:
    listed = f": {', '.join(wrong)}" if wrong else ""
    return f"{len(wrong)} apneas or heart events{listed}"


def _history(resets_s: tuple[float, ...]) -> list[Change]:
    """Return the apnea condition's changes over one pause of 30 s from 60 s on, with resets."""
    made = night((Pause(60.0, 30.0),), 130.0, seed=15)
    monitor = Monitor(
        usual_plan(),
        ecg_hz=ECG_HZ,
        impedance_hz=IMPEDANCE_HZ,
        ecg_unit="mV",
        impedance_unit="ohm",
    )
    for at_s in resets_s:
        monitor.reset(at_s)
    ecg = made.recording.channels["ecg"].segments[0].values
    chest = made.recording.channels["impedance"].segments[0].values
    changes: list[Change] = []
    for number in range(round(130.0 / CHUNK_S)):
        first, end = number * CHUNK_S, (number + 1) * CHUNK_S
        changes += monitor.push(
            ecg=ecg[round(first * ECG_HZ) : round(end * ECG_HZ)],
            impedance=chest[round(first * IMPEDANCE_HZ) : round(end * IMPEDANCE_HZ)],
        )
    changes += monitor.finish()
    return [change for change in changes if change.kind == "apnea"]


def _state_at(changes: list[Change], time_s: float) -> str:
    before = [change.state for change in changes if change.known_s <= time_s]
    return before[-1] if before else ABSENT


def _latching(bed: Bed) -> Measured:  # noqa: ARG001
    changes = _history(())
    states = [_state_at(changes, time_s) for time_s in (85.0, 129.0)]
    passed = states == [ACTIVE, LATCHED]
    return Measured(
        f"{states[0]} in the apnea, {states[1]} 39 s after it",
        passed=passed,
        reason="" if passed else "active, then latched, is expected",
    )


def _reset(bed: Bed) -> Measured:  # noqa: ARG001
    changes = _history((86.0, 110.0))
    states = [_state_at(changes, time_s) for time_s in (85.0, 87.0, 109.0, 111.0)]
    passed = states == [ACTIVE, ACTIVE, LATCHED, ABSENT]
    return Measured(
        f"reset in the apnea: {states[1]}; reset after it: {states[2]}, then {states[3]}",
        passed=passed,
        reason="" if passed else "a reset must clear what is over and leave what is not",
    )


def condition_trials() -> list[Trial]:
    """Return the trials of contact, movement, latching and reset."""
    alarm_systems = "IEC 60601-1-8, from memory"
    return [
        Trial(
            "contact and movement",
            "loose electrode for 40 s, both channels lost",
            "a loose electrode is a technical condition of its own: common practice",
            "contact loss known within its delay of 5 s and the stated latency; no apnea and no "
            "heart event unless as not assessable; over, and breaths followed again, "
            f"{MENDED_WITHIN_S:g} s after mending",
            CHAIN,
            _loose,
        ),
        Trial(
            "contact and movement",
            "four movements of 25 s, breathing going on",
            "69 % of recorded events were movement or a loose lead: Weese-Mayer DE et al., J "
            "Pediatr 1989;115:702",
            "no apnea and no heart event unless as not assessable",
            CHAIN,
            _movement,
        ),
        Trial(
            "latching and reset",
            "the indicator stays after the condition has ended",
            f"{alarm_systems}; common practice",
            "active while it lasts, latched when it is over",
            CHAIN,
            _latching,
        ),
        Trial(
            "latching and reset",
            "a reset clears what is over and leaves what is not",
            f"{alarm_systems}; refused while active: OPC UA Part 9",
            "active after a reset in the apnea; absent after a reset when it is over",
            CHAIN,
            _reset,
        ),
    ]
