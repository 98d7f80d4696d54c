"""Trials of what counts as a beat: tall T, small and wide QRS, drift, mains; and tachycardia."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from infantmon.model.arrays import Floats
from infantmon.scoring.marks import match_marks
from infantmon.selftest.drawing import ECG_HZ, PLAIN, Ecg, at_rate, drawn
from infantmon.selftest.heart_rate import EC13, SETTLED_S, crossing_s, judged_rate, recorded
from infantmon.selftest.row import BEATS, RECORDED, Bed, Measured, Trial

T_SHARES = (0.2, 0.4, 0.6, 0.8, 1.0, 1.2)
T_GOAL_MV = 1.2
LENGTH_S = 40.0
ALARM_BPM = 150.0
ALARM_WITHIN_S = 10.0
FAST_FROM_S = 31.0
SMALLEST_MV = 0.15


def _rate_of(ecg: Ecg, rate_bpm: float, bed: Bed) -> Measured:
    found = bed.subject.beats(ecg.samples_mv, ECG_HZ)
    return judged_rate(found, rate_bpm, from_s=SETTLED_S, until_s=LENGTH_S - 1.0)


def _tall_t(bed: Bed) -> Measured:
    """QRS 1 mV, 100 ms, 80 a minute; T 180 ms wide, QT 350 ms; T grows until it is counted."""
    # 0.404 s at an interval of 1 s is a QT of 350 ms at 80 a minute
    lead = replace(PLAIN, qrs_s=0.1, qtc_s=0.404, p_share=0.1)
    tallest = 0.0
    for share in T_SHARES:
        ecg = drawn(at_rate(80.0, LENGTH_S), LENGTH_S, lead=replace(lead, t_share=share), seed=5)
        if not _rate_of(ecg, 80.0, bed).passed:
            break
        tallest = share
    passed = tallest >= T_GOAL_MV
    reason = "" if passed else "a taller T wave is counted, or the QRS beside it is lost"
    told = f"{tallest:g} mV is the tallest T without effect"
    return Measured(told, passed=passed, numbers={"t_mv": tallest}, reason=reason)


def _infant_t(bed: Bed) -> Measured:
    """T of 0.5 to 1.0 of R at 100 to 180 a minute: no beat extra, none missing."""
    extra = missing = total = 0
    for rate_bpm in (100.0, 140.0, 180.0):
        for share in (0.5, 0.75, 1.0):
            lead = replace(PLAIN, t_share=share)
            ecg = drawn(at_rate(rate_bpm, LENGTH_S), LENGTH_S, lead=lead, seed=6)
            found = bed.subject.beats(ecg.samples_mv, ECG_HZ).time_s
            some = _settled(found), _settled(ecg.beat_s)
            match = match_marks(some[1], some[0], 0.1)
            extra += len(some[0]) - len(match)
            missing += len(some[1]) - len(match)
            total += len(some[1])
    passed = extra == 0 and missing == 0
    return Measured(
        f"{extra} extra, {missing} missing of {total} beats",
        passed=passed,
        numbers={"extra": extra, "missing": missing, "beats": total},
        reason="" if passed else "T waves counted or beats lost",
    )


def _settled(time_s: Floats) -> Floats:
    """Leave out the first 5 s, in which a detector may learn, and the last second."""
    return time_s[(time_s > 5.0) & (time_s < LENGTH_S - 1.0)]


def _size_and_width(height_mv: float, width_s: float, bed: Bed) -> Measured:
    lead = replace(PLAIN, r_mv=height_mv, qrs_s=width_s)
    ecg = drawn(at_rate(120.0, LENGTH_S), LENGTH_S, lead=lead, seed=7)
    return _rate_of(ecg, 120.0, bed)


def _too_small(bed: Bed) -> Measured:
    lead = replace(PLAIN, r_mv=SMALLEST_MV, qrs_s=0.1, p_share=0.0, t_share=0.0)
    ecg = drawn(at_rate(80.0, LENGTH_S), LENGTH_S, lead=lead, seed=8)
    count = len(bed.subject.beats(ecg.samples_mv, ECG_HZ).time_s)
    passed = count == 0
    return Measured(
        f"{count} of {len(ecg.beat_s)} counted",
        passed=passed,
        numbers={"counted": count},
        reason="" if passed else _why_small(bed),
    )


def _why_small(bed: Bed) -> str:
    if not bed.subject.is_chain:
        return "no floor of 0.15 mV"
    return (
        "no floor of 0.15 mV on purpose: sizes are judged against each other, so that small leads "
        "and leads of unknown gain can be followed"
    )


def _drift(time_s: Floats) -> Floats:
    """Return a triangle of 4 mV peak to peak at 0.1 Hz."""
    return 4.0 * np.abs((0.1 * time_s) % 1.0 - 0.5) * 2.0 - 2.0


def _mains(frequency_hz: float, time_s: Floats) -> Floats:
    """Return a sine of 100 uV peak to peak."""
    return np.asarray(0.05 * np.sin(2.0 * np.pi * frequency_hz * time_s))


def _disturbed(wave: Callable[[Floats], Floats], bed: Bed) -> Measured:
    lead = replace(PLAIN, r_mv=0.5)
    ecg = drawn(at_rate(120.0, LENGTH_S), LENGTH_S, lead=lead, seed=9)
    return _rate_of(ecg.with_added(wave(ecg.time_s)), 120.0, bed)


def _wave_trials() -> list[Trial]:
    rate_limit = "108 to 132 a minute after 20 s"
    sizes = [
        Trial(
            "size and width",
            f"QRS of {height:g} mV and {1000 * width:g} ms at 120 a minute",
            EC13,
            rate_limit,
            BEATS,
            functools.partial(_size_and_width, height, width),
        )
        for height in (0.5, 5.0)
        for width in (0.04, 0.12)
    ]
    disturbances: tuple[tuple[str, Callable[[Floats], Floats]], ...] = (
        ("drift of 4 mV at 0.1 Hz", _drift),
        ("mains of 100 uV at 50 Hz", functools.partial(_mains, 50.0)),
        ("mains of 100 uV at 60 Hz", functools.partial(_mains, 60.0)),
    )
    return [
        Trial(
            "tall T",
            "QRS 1 mV, 100 ms, 80 a minute, T growing to 1.2 mV",
            f"{EC13}: the tallest T is disclosed, 1.2 mV the usual target",
            f"no effect up to {T_GOAL_MV:g} mV",
            BEATS,
            _tall_t,
        ),
        Trial(
            "tall T",
            "T of 0.5 to 1.0 of R at 100 to 180 a minute",
            "common practice",
            "nothing extra, nothing missing",
            BEATS,
            _infant_t,
        ),
        *sizes,
        Trial(
            "size and width",
            "QRS of 0.15 mV is not counted",
            f"{EC13}; the floor of 0.15 mV also stands in an open detector's configuration",
            "none",
            BEATS,
            _too_small,
        ),
        *(
            Trial(
                "drift and mains",
                f"{name}, QRS of 0.5 mV",
                EC13,
                rate_limit,
                BEATS,
                functools.partial(_disturbed, wave),
            )
            for name, wave in disturbances
        ),
    ]


def _time_to_alarm(samples_mv: Floats, rate_hz: float, start_s: float, bed: Bed) -> Measured:
    found = bed.subject.beats(samples_mv, rate_hz)
    taken_s = crossing_s(found, ALARM_BPM, start_s, rising=True)
    if math.isinf(taken_s):
        shown = found.rates()
        after = shown.heart_rate_bpm[shown.time_s > start_s]
        told = f"never; {np.max(after):.0f} a minute at most" if len(after) else "never; no beats"
        return Measured(told, passed=False, reason="beats of the tachycardia are missed")
    return Measured(
        f"{taken_s:.2f} s",
        passed=taken_s <= ALARM_WITHIN_S,
        numbers={"time_s": taken_s},
        reason="" if taken_s <= ALARM_WITHIN_S else "beats of the tachycardia are missed at first",
    )


def _own_tachycardia(rate_bpm: float, size: float, bed: Bed) -> Measured:
    slow = at_rate(80.0, FAST_FROM_S)
    fast = slow[-1] + 60.0 / rate_bpm * np.arange(1, 200)
    beat_s = np.concatenate([slow, fast])
    wide = replace(PLAIN, qrs_s=0.14, p_share=0.0, t_share=-0.4, r_mv=1.2 * size)
    ecg = drawn(beat_s, 80.0, lead=PLAIN, others=[(beat_s > slow[-1], wide)], seed=10)
    return _time_to_alarm(ecg.samples_mv, ECG_HZ, float(slow[-1]), bed)


def _recorded_tachycardia(name: str, bed: Bed) -> Measured:
    samples_mv, rate_hz = recorded(bed.recordings, name)
    return _time_to_alarm(samples_mv, rate_hz, FAST_FROM_S, bed)


def _tachycardia_trials() -> list[Trial]:
    source = (
        "ANSI/AAMI EC13:2002 4.1.2.1 (g), rates 206 and 195 from memory: time to alarm is "
        "disclosed; 10 s is a common expectation, from memory"
    )
    limit = f"rate above {ALARM_BPM:g} a minute shown within {ALARM_WITHIN_S:g} s"
    sizes = ((0.5, "half size", "_h"), (1.0, "full size", ""), (2.0, "double size", "_d"))
    own = [
        Trial(
            "tachycardia",
            f"{rate:g} a minute, {words}, own shapes",
            f"{source}; shapes our own",
            limit,
            BEATS,
            functools.partial(_own_tachycardia, rate, size),
        )
        for rate in (206.0, 195.0)
        for size, words, _ in sizes
    ]
    # by the data: "_h" is half the size, "_d" double
    rest = [
        Trial(
            "tachycardia",
            f"{words}, recorded ({record}{letter})",
            f"{source}; waveform {record}{letter} of the ANSI/AAMI EC13 Test Waveforms database",
            limit,
            RECORDED,
            functools.partial(_recorded_tachycardia, record + letter),
        )
        for record in ("aami4a", "aami4b")
        for _, words, letter in sizes
    ]
    return own + rest


def wave_trials() -> list[Trial]:
    """Return the trials of waves, disturbances and tachycardia."""
    return [*_wave_trials(), *_tachycardia_trials()]
