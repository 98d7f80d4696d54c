"""Breaths of sleeping children and of an infant, with pauses and a pulsation put into them.

    python -m benchmarks.child_breaths --out benchmarks/results/child_breaths.json

The recordings (paed-impedance; MIT licence) hold chest impedance of children, already freed of the
heart and stored as its slope, and the flow of a sedated infant's breath; nobody marked breaths in
them. Summed up, both are curves of volume. Breaths are counted from the slope by a rule that shares
nothing with the detector: in by a quarter of the usual volume, after as much has gone out. Behind
every eighth breath, where its expiration ends, nothing moves for 12 to 30 s. Then an invented
pulsation is added, in step with invented beats (140 a minute, 3 % spread, marks off by 4 ms; or
falling to 65 within a pause), and noise of 1 % of a breath. At twice the speed the children breathe
as infants do. A pause is found if both of its ends lie within 1 s. Breaths shallower than half of
the usual are told apart: what counts as a breath there is a matter of the rule. Then the same is
reviewed with a limit of 12 s, an invented ECG beside it or none: what is said of the pauses of
12.5 s and more.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.io import loadmat
from scipy.ndimage import uniform_filter1d

from benchmarks.judged_pauses import SAID, said_in_review
from benchmarks.results import make_result, share_of
from infantmon.effort import detect_breaths
from infantmon.labelled.places import recordings_folder
from infantmon.model.arrays import Floats, Ints
from infantmon.model.channel import Channel
from infantmon.model.marks import RPeaks
from infantmon.model.recording import Recording
from infantmon.scoring.marks import match_marks
from infantmon.selftest.drawing import ECG_HZ, drawn

SEED = 63  # 5, 41, 43 to 46, 61, 62, 71 and 72 were looked at
RATE_HZ = 256.0  # that of all three; the infant's is given as 500, too, but lasts 1 min at 256
TRANSIENT_S = 2.0  # the children's begin with the transient of a filter
WHO = {1: "infant, sedated", 2: "children, NREM sleep", 3: "children, REM sleep"}
COUNTS = 0.25  # of the usual volume: as much in, after as much out, is a breath
SHALLOW = 0.5
SMOOTHED_S = 0.05
EVERY = 8  # breaths between two pauses
LENGTHS_S = (12.0, 30.0)
ENDS_S = 1.0
BREATH_S = 0.5  # tolerance of a mark
OTHER_S = 10.0
HEART_BPM, SLOW_BPM, SPREAD, MARK_S = 140.0, 65.0, 0.03, 0.004
SLOWS_IN_S, BACK_IN_S = 8.0, 4.0
PULSE_S, PULSE_WIDTH_S = 0.18, 0.07  # after the beat
NOISE = 0.01
LIMIT_S = 12.0
BASE_OHM, BREATH_OHM, ECG_NOISE_MV = 30.0, 0.5, 0.02
HEARTS = ((0.0, False), (0.2, False), (0.5, False), (0.8, False), (0.5, True))
SPEEDS = (1.0, 2.0)
POPULATION = "children asleep, number and ages not given; one sedated infant, 1 min"
LABELS = "counted from the slope of the volume by the rule above; pauses are put in"
TUNED_ON = (
    "no detector; what is said without an ECG was chosen on these recordings with other seeds, and "
    "faults of judgement that these showed were mended"
)
HEAD = "| whose breaths | speed | R peaks | of | 0 | 0.2 | 0.5 | 0.8 | 0.5, the heart falls to 65 |"


@dataclass(frozen=True)
class Scene:
    """A curve of volume with known breaths and pauses."""

    volume: Floats  # in usual breaths
    rate_hz: float
    breaths_s: Floats
    sizes: Floats  # of the breaths, in usual breaths
    pauses_s: Floats  # shape (n, 2): the breaths before and after each pause
    still_s: Floats  # shape (n, 2): where nothing moves


def slope_of(number: int) -> Floats:
    """Return the slope of the volume of one recording, at 256 Hz."""
    stored = loadmat(recordings_folder() / "paed-impedance" / "test.mat")["test_signals"]
    slope = np.asarray(stored[0, number][0, 0]["flow"], dtype=np.float64).ravel()
    slope = slope[round(TRANSIENT_S * RATE_HZ) :] if number > 1 else slope
    return np.asarray(slope - np.mean(slope))


def breaths_of(slope: Floats) -> tuple[Ints, Floats, Ints]:
    """Return at which samples breaths are highest, how much went in, and where each is all out.

    A breath that is not all out at the end of the recording is left out.
    """
    smooth = uniform_filter1d(slope, round(SMOOTHED_S * RATE_HZ))
    edges = np.flatnonzero(np.diff(smooth > 0.0)) + 1
    moved = np.add.reduceat(smooth, np.append(0, edges)) / RATE_HZ
    usual = float(np.median(moved[moved > 0.4 * moved.max()]))
    peaks: list[int] = []
    sizes: list[float] = []
    ends: list[int] = []
    out = usual
    for end, volume in zip(edges.tolist(), moved.tolist(), strict=False):
        if volume <= 0.0:
            out -= volume
            ends[len(peaks) - 1 :] = [end] if peaks else []
        elif volume >= COUNTS * usual and out >= COUNTS * usual:
            peaks.append(end)
            sizes.append(volume / usual)
            out = 0.0
    count = len(ends)
    return np.array(peaks[:count]), np.array(sizes[:count]), np.array(ends)


def scene_of(slope: Floats, speed: float, chance: np.random.Generator) -> Scene:
    """Put pauses into a recording that is replayed at some speed."""
    rate_hz = speed * RATE_HZ
    peaks, sizes, ends = breaths_of(slope)
    usual = float(np.median(np.cumsum(slope)[peaks] - np.cumsum(slope)[ends])) / RATE_HZ
    after = np.arange(EVERY - 1, len(peaks) - 1, EVERY)
    lengths = np.rint(chance.uniform(*LENGTHS_S, len(after)) * rate_hz).astype(np.int64)
    still = np.repeat(ends[after], lengths)
    volume = np.cumsum(np.insert(slope, still, 0.0)) / RATE_HZ / usual
    later = np.searchsorted(ends[after], peaks, side="right")  # pauses before each breath
    places = peaks + np.append(0, np.cumsum(lengths))[later]
    starts = ends[after] + np.append(0, np.cumsum(lengths))[:-1]
    return Scene(
        volume,
        rate_hz,
        places / rate_hz,
        sizes,
        np.column_stack((places[after], places[after + 1])) / rate_hz,
        np.column_stack((starts, starts + lengths)) / rate_hz,
    )


def beats_of(scene: Scene, slows: bool, chance: np.random.Generator) -> Floats:
    """Return heart beats, slower and slower within each pause if the heart slows."""
    end_s = len(scene.volume) / scene.rate_hz
    beats, at_s = [0.3], 0.3
    while at_s < end_s - 1.0:
        rate_bpm = HEART_BPM
        start_s, over_s = scene.still_s[np.searchsorted(scene.still_s[:, 0], at_s) - 1]
        if slows and start_s < at_s:
            down = min((at_s - start_s) / SLOWS_IN_S, 1.0)
            back = min(max(at_s - over_s, 0.0) / BACK_IN_S, 1.0)
            rate_bpm -= (HEART_BPM - SLOW_BPM) * down * (1.0 - back)
        at_s += 60.0 / rate_bpm * (1.0 + SPREAD * float(chance.standard_normal()))
        beats.append(at_s)
    return np.array(beats)


def pulsation_of(scene: Scene, beats_s: Floats) -> Floats:
    """Return a bump after each beat, of size one."""
    time_s = np.arange(len(scene.volume)) / scene.rate_hz
    pulsation = np.zeros(len(time_s))
    for at_s in (beats_s + PULSE_S).tolist():
        near = slice(*np.searchsorted(time_s, (at_s - 5 * PULSE_WIDTH_S, at_s + 5 * PULSE_WIDTH_S)))
        pulsation[near] += np.exp(-0.5 * ((time_s[near] - at_s) / PULSE_WIDTH_S) ** 2)
    return np.asarray(pulsation / np.ptp(pulsation[: round(10.0 * scene.rate_hz)]))


def measured(scene: Scene, found_s: Floats) -> dict[str, int]:
    """Compare breath marks with what was put in."""
    gaps = np.column_stack((found_s[:-1], found_s[1:]))
    off_s = np.abs(gaps[:, np.newaxis] - scene.pauses_s).max(axis=2)
    long = gaps[gaps[:, 1] - gaps[:, 0] >= OTHER_S]
    apart = (long[:, 1:] <= scene.still_s[:, 0]) | (long[:, :1] >= scene.still_s[:, 1])
    pairs = match_marks(scene.breaths_s, found_s, BREATH_S)
    missed = ~pairs.reference_found
    return {
        "pauses": len(scene.pauses_s),
        "found": int((off_s <= ENDS_S).any(axis=0).sum()),
        "breaths": len(scene.breaths_s),
        "missed": int(missed.sum()),
        "missed_shallow": int((missed & (scene.sizes < SHALLOW)).sum()),
        "extra": len(pairs.extra_s),
        "other_pauses": int(apart.all(axis=1).sum()),
    }


def said_of(scene: Scene, impedance: Floats, beats_s: Floats | None) -> dict[str, int]:
    """Review it, and return how many pauses are listed with which judgement."""
    ohm = BASE_OHM + BREATH_OHM * impedance
    channels = {"impedance": Channel(ohm, scene.rate_hz, "ohm", name="impedance")}
    if beats_s is not None:
        ecg = drawn(beats_s, len(ohm) / scene.rate_hz, seed=SEED).samples_mv
        ecg = ecg + ECG_NOISE_MV * np.random.default_rng(SEED).standard_normal(len(ecg))
        channels["ecg"] = Channel(ecg, ECG_HZ, "mV", name="ECG")
    said = said_in_review(Recording(channels), scene.pauses_s, LIMIT_S)
    return {judgement: said[judgement] for judgement in SAID}


def rows_of(number: int, speed: float) -> list[dict[str, Any]]:
    """Return what was found in one recording at one speed, for every pulsation."""
    scene = scene_of(slope_of(number), speed, np.random.default_rng([SEED, number, 1]))
    rows = []
    for share, slows in HEARTS:
        chance = np.random.default_rng([SEED, number, 2])
        beats_s = beats_of(scene, slows, chance)
        impedance = scene.volume + share * pulsation_of(scene, beats_s)
        impedance += NOISE * chance.standard_normal(len(impedance))
        marks_s = beats_s + MARK_S * chance.standard_normal(len(beats_s))
        count = len(marks_s)
        ticks = np.rint(marks_s * scene.rate_hz).astype(np.int64)
        beats = RPeaks(
            marks_s, marks_s + 1.0, ticks, np.ones(count), np.ones(count, dtype=np.bool_)
        )
        for led in (True, False):
            found = detect_breaths(impedance, scene.rate_hz, r_peaks=beats if led else None)
            counts = measured(scene, found.time_s)
            rows.append(
                {
                    "whose": WHO[number],
                    "seed": SEED,
                    "population": POPULATION,
                    "labels": LABELS,
                    "tuned_on": TUNED_ON,
                    "speed": speed,
                    "pulsation": share,
                    "heart": "falls to 65" if slows else "140",
                    "led": led,
                    **counts,
                    "said": said_of(scene, impedance, beats_s if led else None),
                    "found_share": share_of(counts["found"], counts["pauses"]),
                }
            )
    return rows


def as_markdown(run: dict[str, Any], rows: list[dict[str, Any]]) -> str:
    """Return the tables for people: one row a recording, speed and way, one column a pulsation."""
    lines = ["# Breaths of children", "", __doc__.split("\n\n")[2]]
    lines += ["", "Pauses found, supported, doubtful, not assessable and not listed, by pulsation:"]
    lines += _table(rows, "pauses", ("found", *SAID))
    lines += [
        "",
        "Breaths missed, of these shallow, extra marks, other pauses of 10 s, by pulsation:",
    ]
    lines += _table(rows, "breaths", ("missed", "missed_shallow", "extra", "other_pauses"))
    told = f"Population: {POPULATION}. Labels: {LABELS}. Tuned on: {TUNED_ON}."
    return "\n".join([*lines, "", told, run["caution"], ""])


def _table(rows: list[dict[str, Any]], total: str, counts: Sequence[str]) -> list[str]:
    """Return one table; each cell holds some counts."""
    lines = ["", HEAD, "|" + " --- |" * (HEAD.count("|") - 1)]
    cells: dict[tuple[str, float, bool], list[str]] = {}
    for row in rows:
        key = row["whose"], row["speed"], row["led"]
        first = cells.setdefault(key, [str(row[total])])
        flat = row | row["said"]
        first.append(", ".join(str(flat[count]) for count in counts))
    for (whose, speed, led), told in cells.items():
        way = "with" if led else "without"
        lines.append(f"| {whose} | {speed:g} | {way} | {' | '.join(told)} |")
    return lines


def rows() -> list[dict[str, Any]]:
    """Return one row a recording, speed, pulsation and way."""
    return [row for number in WHO for speed in SPEEDS for row in rows_of(number, speed)]


def main(words: list[str] | None = None) -> int:
    """Measure, print and store."""
    return make_result("child_breaths", __doc__, words, rows, as_markdown)


if __name__ == "__main__":
    sys.exit(main())
