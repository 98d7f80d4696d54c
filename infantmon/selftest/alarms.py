"""Trials of the heart's alarm conditions: how soon standstill, low and high rates are known."""

from __future__ import annotations

import functools

from infantmon.model.prescription import Prescription
from infantmon.selftest.heart_rate import EC13
from infantmon.selftest.judged import first_active, night, plan, reviewed
from infantmon.selftest.row import CHAIN, Bed, Measured, Trial
from infantmon.simulate import Heart, RateChange, Standstill

WITHIN_S = 10.0
AT_S = 60.0
HOLD_S = 30.0
GROUP = "time to alarm"


def known_after(kind: str, seen_s: float | None, start_s: float) -> Measured:
    """Measure how long after a start (s) a condition was known."""
    if seen_s is None:
        return Measured("never", passed=False, reason=f"no {kind} was reported")
    taken_s = seen_s - start_s
    return Measured(
        f"{taken_s:.2f} s",
        passed=taken_s <= WITHIN_S,
        numbers={"time_s": taken_s},
        reason="" if taken_s <= WITHIN_S else "too late",
    )


def _still(rate_bpm: float, bed: Bed) -> Measured:  # noqa: ARG001 - the chain itself is run
    heart = Heart(rate_bpm=rate_bpm)
    made = night((Standstill(AT_S, 20.0),), 110.0, heart=heart, seed=int(rate_bpm))
    found = reviewed(made, plan(no_heart_beat={"limit_s": 4}))
    last_beat_s = float(made.truth.standstills.onset_s[0])
    seen_s = first_active(found.changes, "no heart beat", last_beat_s)
    return known_after("no heart beat", seen_s, last_beat_s)


def _rate(before: float, after: float, limit_bpm: float, bed: Bed) -> Measured:  # noqa: ARG001
    step = RateChange(AT_S, after, ramp_s=0.0, hold_s=HOLD_S, return_s=0.0)
    steady = Heart(rate_bpm=before, slow_variability=0.0, breathing_coupling=0.0)
    made = night((step,), AT_S + HOLD_S + 20.0, heart=steady, seed=int(after))
    kind = "low heart rate" if after < before else "high heart rate"
    found = reviewed(made, _rate_plan(kind, limit_bpm))
    return known_after(kind, first_active(found.changes, kind, AT_S), AT_S)


def _rate_plan(kind: str, limit_bpm: float) -> Prescription:
    limit = {"limit_bpm": limit_bpm, "hold_off_s": 0, "average_beats": 8}
    return plan(**{kind.replace(" ", "_"): limit})


def alarm_trials() -> list[Trial]:
    """Return the trials of the heart's alarm conditions."""
    limit = f"known within {WITHIN_S:g} s of the change"
    still = [
        Trial(
            GROUP,
            f"standstill after {rate:g} a minute, limit 4 s",
            f"{EC13}: cardiac standstill, within 10 s",
            f"known within {WITHIN_S:g} s of the last beat",
            CHAIN,
            functools.partial(_still, rate),
        )
        for rate in (80.0, 140.0)
    ]
    cases = (
        (80.0, 40.0, 60.0, EC13),
        (80.0, 120.0, 100.0, EC13),
        (140.0, 60.0, 80.0, f"{EC13}; an infant's rates: common practice"),
        (140.0, 250.0, 220.0, f"{EC13}; an infant's rates: common practice"),
    )
    rates = [
        Trial(
            GROUP,
            f"{before:g} to {after:g} a minute, limit {limit_bpm:g}",
            f"{source}: low and high rate, within 10 s",
            limit + " (mean of 8 intervals, no hold-off)",
            CHAIN,
            functools.partial(_rate, before, after, limit_bpm),
        )
        for before, after, limit_bpm, source in cases
    ]
    return still + rates
