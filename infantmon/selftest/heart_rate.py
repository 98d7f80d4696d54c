"""Trials of the heart rate that comes of the beats: accuracy, irregular rhythms, steps."""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from infantmon.formats.reading import read
from infantmon.model.arrays import Floats
from infantmon.selftest.drawing import ECG_HZ, PLAIN, at_rate, drawn, in_cycles
from infantmon.selftest.row import BEATS, RECORDED, Bed, Measured, Trial
from infantmon.selftest.subject import FoundBeats

SETTLED_S = 20.0
LENGTH_S = 50.0
RATES_BPM = (30, 40, 60, 80, 100, 120, 150, 180, 200, 220, 250, 270, 300)
EC13 = "ANSI/AAMI EC13:2002 and IEC 60601-2-27:2011, from memory"
EC13_RHYTHMS = "ANSI/AAMI EC13:2002 4.1.2.1 (e), from memory"
STEP_WITHIN_S = 10.0


def tolerance_bpm(rate_bpm: float) -> float:
    """Return how far a rate may be off: the larger of 10 % and 5 a minute."""
    return max(0.1 * rate_bpm, 5.0)


def judged_rate(beats: FoundBeats, rate_bpm: float, *, from_s: float, until_s: float) -> Measured:
    """Measure the range of the shown rate over a stretch (seconds) against a true rate.

    A detector that falls silent must not pass on what it showed before: no stretch without a beat
    may be longer than three true intervals, or 2.5 s.
    """
    shown = beats.rates()
    # the rate in force at `from_s` counts too
    first = max(int(np.searchsorted(shown.time_s, from_s, side="right")) - 1, 0)
    rates = shown.heart_rate_bpm[first : int(np.searchsorted(shown.time_s, until_s))]
    inside = beats.time_s[(beats.time_s >= from_s) & (beats.time_s < until_s)]
    silent_s = float(np.max(np.diff(np.concatenate([[from_s], inside, [until_s]]))))
    if not len(rates) or silent_s > max(3.0 * 60.0 / rate_bpm, 2.5):
        told = f"no beat for {silent_s:.1f} s"
        return Measured(told, passed=False, numbers={"silent_s": silent_s}, reason="beats missed")
    low, high = float(np.min(rates)), float(np.max(rates))
    most = tolerance_bpm(rate_bpm)
    passed = rate_bpm - most <= low and high <= rate_bpm + most
    told = f"{low:.1f} to {high:.1f} a minute"
    numbers = {"lowest_bpm": low, "highest_bpm": high}
    return Measured(told, passed=passed, numbers=numbers, reason=_why(rate_bpm, low, high, passed))


def _why(rate_bpm: float, low: float, high: float, passed: bool) -> str:
    if passed:
        return ""
    for share, words in (
        (0.5, "every second beat missed"),
        (2.0, "every beat counted twice"),
    ):
        if abs(low / rate_bpm - share) < 0.1 and abs(high / rate_bpm - share) < 0.1:
            return words
    most = tolerance_bpm(rate_bpm)
    said = [
        words
        for wrong, words in (
            (low < rate_bpm - most, "beats missed"),
            (high > rate_bpm + most, "something else counted as beats"),
        )
        if wrong
    ]
    return " and ".join(said)


def _limit(rate_bpm: float) -> str:
    most = tolerance_bpm(rate_bpm)
    return f"{rate_bpm - most:g} to {rate_bpm + most:g} a minute after {SETTLED_S:g} s"


def _accuracy(rate_bpm: float, inverted: bool, bed: Bed) -> Measured:
    lead = replace(PLAIN, inverted=inverted)
    beat_s = at_rate(rate_bpm, LENGTH_S, start_s=-2.0, seed=int(rate_bpm))
    ecg = drawn(beat_s, LENGTH_S, lead=lead, seed=int(rate_bpm))
    found = bed.subject.beats(ecg.samples_mv, ECG_HZ)
    # the last second is left out: a detector may wait that long
    return judged_rate(found, rate_bpm, from_s=SETTLED_S, until_s=LENGTH_S - 1.0)


def _accuracy_trials() -> list[Trial]:
    cases = [(float(rate), False) for rate in RATES_BPM] + [(150.0, True)]
    return [
        Trial(
            "heart-rate accuracy",
            f"{rate:g} a minute" + (", lead upside down" if inverted else ""),
            EC13 + (", range to 250 there" if rate > 250.0 else ""),
            _limit(rate),
            BEATS,
            functools.partial(_accuracy, rate, inverted),
        )
        for rate, inverted in cases
    ]


_OWN_RHYTHMS: tuple[tuple[str, float, tuple[float, ...]], ...] = (
    ("ventricular bigeminy", 80.0, (0.58, 0.92)),
    ("slow alternating bigeminy", 60.0, (0.6, 1.4, 0.8, 1.2)),
    ("rapid alternating bigeminy", 120.0, (0.38, 0.67, 0.36, 0.59)),
    ("bidirectional systoles", 90.0, (1.0, 0.54, 0.46)),
)
"""Name, mean rate, and our own intervals with that mean; every second beat is an ectopic one."""

_RECORDED_RHYTHMS = ("aami3a", "aami3b", "aami3c", "aami3d")


def _own_rhythm(rate_bpm: float, intervals_s: Sequence[float], bed: Bed) -> Measured:
    beat_s = in_cycles(intervals_s, 60.0)
    count = len(intervals_s)
    number = np.arange(len(beat_s)) % count
    adult = replace(PLAIN, qrs_s=0.08, t_share=0.25)
    wide = replace(adult, qrs_s=0.14, p_share=0.0, t_share=-0.35, r_mv=1.3)
    turned = replace(wide, r_mv=1.1, inverted=True)
    if count == 3:  # two kinds of wide beats, one up and one down, after a usual one
        others = [(number == 1, wide), (number == 2, turned)]
    else:
        others = [(number % 2 == 1, wide)]
    ecg = drawn(beat_s, 60.0, lead=adult, others=others, seed=3)
    found = bed.subject.beats(ecg.samples_mv, ECG_HZ)
    return judged_rate(found, rate_bpm, from_s=SETTLED_S, until_s=59.0)


def recorded(recordings: Path | None, name: str) -> tuple[Floats, float]:
    """Return samples (mV) and rate (Hz) of one of the EC13 waveforms."""
    if recordings is None:
        raise FileNotFoundError(name)
    ecg = read(str(recordings / "aami-ec13" / name)).ecg
    if ecg is None:
        raise FileNotFoundError(name)
    return ecg.segments[0].values, ecg.rate_hz


def _recorded_rhythm(rate_bpm: float, name: str, bed: Bed) -> Measured:
    samples_mv, rate_hz = recorded(bed.recordings, name)
    found = bed.subject.beats(samples_mv, rate_hz)
    until_s = len(samples_mv) / rate_hz - 1.0
    measured = judged_rate(found, rate_bpm, from_s=SETTLED_S, until_s=until_s)
    if not measured.passed and measured.reason == "every second beat missed":
        return replace(measured, reason="only one of the two kinds of beats counted")
    return measured


def _rhythm_trials() -> list[Trial]:
    own = [
        Trial(
            "irregular rhythms",
            f"{name}, own shapes",
            f"{EC13_RHYTHMS}; shapes our own",
            _limit(rate),
            BEATS,
            functools.partial(_own_rhythm, rate, intervals),
        )
        for name, rate, intervals in _OWN_RHYTHMS
    ]
    rest = [
        Trial(
            "irregular rhythms",
            f"{name}, recorded ({record})",
            f"{EC13_RHYTHMS}; waveform {record} of the ANSI/AAMI EC13 Test Waveforms database",
            _limit(rate),
            RECORDED,
            functools.partial(_recorded_rhythm, rate, record),
        )
        for (name, rate, _), record in zip(_OWN_RHYTHMS, _RECORDED_RHYTHMS, strict=True)
    ]
    return own + rest


def _step(before_bpm: float, after_bpm: float, bed: Bed) -> Measured:
    start_s = 40.0
    beat_s = at_rate(before_bpm, start_s, start_s=-2.0)
    later = beat_s[-1] + 60.0 / after_bpm * np.arange(1, 60)
    ecg = drawn(np.concatenate([beat_s, later]), 80.0, seed=4)
    found = bed.subject.beats(ecg.samples_mv, ECG_HZ)
    goal_bpm = before_bpm + 0.63 * (after_bpm - before_bpm)
    taken_s = crossing_s(found, goal_bpm, float(beat_s[-1]), rising=after_bpm > before_bpm)
    if math.isinf(taken_s):
        return Measured("never reached", passed=False, reason="the new rate is not followed")
    return Measured(
        f"{taken_s:.2f} s",
        passed=taken_s <= STEP_WITHIN_S,
        numbers={"time_s": taken_s},
        reason="" if taken_s <= STEP_WITHIN_S else "too late",
    )


def crossing_s(beats: FoundBeats, goal_bpm: float, start_s: float, *, rising: bool) -> float:
    """Return how long after a start (s) the shown rate was known to have passed a goal, else inf.

    A detector that does not say when a beat is known is taken to know it at once.
    """
    shown = beats.rates()
    rate = shown.heart_rate_bpm
    passed = (rate >= goal_bpm if rising else rate <= goal_bpm) & (shown.time_s > start_s)
    return float(shown.known_s[passed][0] - start_s) if np.any(passed) else math.inf


def _step_trials() -> list[Trial]:
    return [
        Trial(
            "step response",
            f"{before:g} to {after:g} a minute, time to 63 %",
            f"{EC13}; 10 s is a common expectation, from memory",
            f"at most {STEP_WITHIN_S:g} s (mean of 8 intervals)",
            BEATS,
            functools.partial(_step, before, after),
        )
        for before, after in ((80.0, 120.0), (80.0, 40.0))
    ]


def heart_rate_trials() -> list[Trial]:
    """Return the trials of heart rate."""
    return [*_accuracy_trials(), *_rhythm_trials(), *_step_trials()]
