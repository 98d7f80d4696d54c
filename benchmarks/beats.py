"""Measures the bars of the R-peak detector: recordings, simulated signals, speed.

    python -m benchmarks.beats

Writes benchmarks/results/beats.json and beats.md. Simulated ECGs are those of the self-test, with
seeds of their own. Other detectors (group `bench` of pyproject.toml) run in the same run on the
same samples.
"""

from __future__ import annotations

import argparse
import sys
import time
import tracemalloc
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from functools import partial
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np

from benchmarks.results import PROJECT, run_facts, write_result
from infantmon.errors import InfantmonError
from infantmon.formats.wfdb_files import wfdb_package
from infantmon.labelled.database import Database
from infantmon.labelled.known import LEARNING_S, databases
from infantmon.labelled.places import recordings_folder
from infantmon.model.arrays import Floats
from infantmon.scorecard.detectors import BEAT_MARKS
from infantmon.scorecard.peers import BEATS as DETECTORS
from infantmon.scorecard.peers import sleepecg_beats
from infantmon.scorecard.running import Source, Task, run_task
from infantmon.scoring.marks import match_marks, score_marks
from infantmon.selftest.drawing import ECG_HZ, PLAIN, at_rate, drawn
from infantmon.stages.r_peaks import RPeakDetector, RPeakSettings, detect_r_peaks

SEED = 9800  # 9700 to 9711 were looked at
EDGE_S = 0.1  # a beat nearer to either end of a recording is itself cut, and is not scored
RATES_BPM = (30, 40, 60, 100, 140, 180, 200, 230, 260, 300)
PAUSES = 150
_SIMULATED = "simulated infants; the truth is drawn; seeds not used in tuning"


@dataclass(frozen=True)
class Bar:
    """One measured bar: what, the limit, what came out, and whether it holds."""

    name: str
    limit: str
    found: str
    holds: bool
    about: str = _SIMULATED


def _found(samples_mv: Floats, rate_hz: float = ECG_HZ) -> Floats:
    return detect_r_peaks(samples_mv, rate_hz, unit="mV").time_s


def _muscle(size: int, draw: np.random.Generator) -> Floats:
    """White noise between 20 and 100 Hz at 250 Hz, one unit rms: muscle as common practice."""
    spectrum = np.fft.rfft(draw.standard_normal(size))
    at_hz = np.fft.rfftfreq(size, 1.0 / ECG_HZ)
    wave = np.fft.irfft(spectrum * ((at_hz > 20.0) & (at_hz < 100.0)), size)
    return np.asarray(wave / np.std(wave))


def _share(beat_s: Floats, time_s: Floats, length_s: float) -> float:
    """Return the lower of Se and PPV within 50 ms, the cut beats at either end left out."""
    tally = score_marks(beat_s, time_s, 0.05, start_s=EDGE_S, end_s=length_s - EDGE_S).tally
    hits = tally.true_positives
    return hits / (hits + max(tally.false_negatives, tally.false_positives))


def _along(rate_at: Callable[[float], float], length_s: float) -> Floats:
    """Return beats whose rate (a minute) depends on the time (s), from before the start on."""
    beat_s = [-0.1]
    while beat_s[-1] < length_s:
        beat_s.append(beat_s[-1] + 60.0 / rate_at(beat_s[-1]))
    return np.asarray(beat_s)


def bars_of_courses() -> list[Bar]:
    """Return what a start inside a tachycardia, a jump and a fall of the rate do."""
    courses: dict[str, Callable[[float], float]] = {
        "start inside 220, 140 from 30 s on": lambda at: 220.0 if at < 30.0 else 140.0,
        "start inside 300, 140 from 30 s on": lambda at: 300.0 if at < 30.0 else 140.0,
        "step from 145 to 250": lambda at: 145.0 if at < 30.0 else 250.0,
        "fall from 140 to 50 in 5 s": lambda at: min(140.0, max(50.0, 140.0 - 18.0 * (at - 30.0))),
    }
    bars = []
    for name, rate_at in courses.items():
        worst = 1.0
        for more in range(5):
            ecg = drawn(_along(rate_at, 60.0), 60.0, seed=SEED + more)
            added = 0.05 * _muscle(len(ecg.time_s), np.random.default_rng([SEED, more]))
            worst = min(worst, _share(ecg.beat_s, _found(ecg.samples_mv + added), 60.0))
        told = f"lower of Se and PPV at worst {100 * worst:.2f} %"
        bars.append(
            Bar(f"{name}, muscle 0.05 mV rms", "Se and PPV >= 99.5 %", told, worst >= 0.995)
        )
    return bars


def bars_of_rates() -> list[Bar]:
    """Return one bar for clean and one for noisy ECGs of every rate."""
    bars = []
    for noisy in (False, True):
        worst, off, told = 1.0, 0.0, ""
        for rate in RATES_BPM:
            ecg = drawn(at_rate(rate, 120.0, start_s=-1.0, seed=SEED + rate), 120.0, seed=SEED)
            draw = np.random.default_rng([SEED, rate])
            at_s = ecg.time_s
            added = 0.05 * _muscle(len(at_s), draw) + 0.1 * np.sin(2 * np.pi * 50.0 * at_s)
            added += 0.3 * np.sin(2 * np.pi * 0.3 * at_s)
            time_s = _found(ecg.samples_mv + noisy * added)
            share = _share(ecg.beat_s, time_s, 120.0)
            off = max(off, abs(60.0 / float(np.median(np.diff(time_s))) / rate - 1.0))
            if share < worst:
                worst, told = share, f" at {rate} a minute"
        words = "muscle 0.05 mV rms, mains 0.1 mV, wander 0.3 mV" if noisy else "clean"
        bars.append(
            Bar(
                f"30 to 300 a minute, {words}",
                "Se and PPV >= 99.5 %, median rate within 1 %",
                f"lower of Se and PPV at worst {100 * worst:.2f} %{told}; rate off by "
                f"{100 * off:.2f} %",
                worst >= 0.995 and off <= 0.01,
            )
        )
    return bars


def _disturbances(at_s: Floats, draw: np.random.Generator) -> dict[str, Callable[[Floats], Floats]]:
    """Return what happens between 30 and 40 s (30 and 60 s for a flat line)."""
    ten = (at_s >= 30.0) & (at_s < 40.0)
    half = (at_s >= 30.0) & (at_s < 60.0)
    slow = np.convolve(draw.standard_normal(len(at_s)), np.ones(25) / 5.0, mode="same")
    spike = np.abs(at_s - 40.0) < 0.005
    made: dict[str, Callable[[Floats], Floats]] = {
        f"motion of {mv:g} mV rms for 10 s": partial(np.add, mv * slow * ten)
        for mv in (0.5, 1.0, 2.0, 5.0)
    }
    return made | {
        "spike of 50 mV": lambda x: x + 50.0 * spike,
        "step of 20 mV": lambda x: x + 20.0 * (at_s >= 40.0),
        "gain times 4": lambda x: np.where(at_s >= 40.0, 4.0 * x, x),
        "gain times 1/4": lambda x: np.where(at_s >= 40.0, 0.25 * x, x),
        "flat for 30 s": lambda x: np.where(half, 0.0, x),
        "lead off (missing) for 30 s": lambda x: np.where(half, np.nan, x),
    }


def bars_of_recovery() -> list[Bar]:
    """Return how long after each disturbance marks and beats agree again for good."""
    length_s = 100.0
    at_s = np.arange(round(length_s * ECG_HZ)) / ECG_HZ
    bars = []
    for name in _disturbances(at_s, np.random.default_rng(SEED)):
        slowest = 0.0
        end_s = 60.0 if "30 s" in name else 40.0
        for rate in (100, 150, 220):
            ecg = drawn(at_rate(rate, length_s, seed=SEED + rate), length_s, seed=SEED + rate)
            change = _disturbances(at_s, np.random.default_rng([SEED, rate]))[name]
            time_s = _found(change(ecg.samples_mv))
            pairs = match_marks(ecg.beat_s, time_s, 0.05)
            wrong = np.concatenate((pairs.missed_s, pairs.extra_s))
            late = wrong[(wrong > end_s) & (wrong < length_s - 1.0)]
            slowest = max([slowest, *(late - end_s)])
        bars.append(Bar(f"after {name}", "<= 3 s", f"{slowest:.2f} s", slowest <= 3.0))
    return bars


def _pauses(record: Floats, p_share: float) -> tuple[Floats, Floats]:
    """Return samples with a 15 s pause in each 40 s, and where the pauses begin."""
    starts: Floats = 20.0 + 40.0 * np.arange(PAUSES, dtype=np.float64)
    beat_s = at_rate(140.0, 40.0 * PAUSES, seed=SEED)
    in_pause = (beat_s - 20.0) % 40.0 < 15.0
    in_pause &= beat_s >= 20.0
    lead = replace(PLAIN, p_share=0.13)
    length_s = 40.0 * PAUSES
    beats = drawn(beat_s[~in_pause], length_s, lead=lead, seed=SEED)
    added = record[: len(beats.samples_mv)].copy()
    if p_share:
        for at in beat_s[in_pause]:
            near = slice(*np.searchsorted(beats.time_s, (at - 0.2, at)))
            added[near] += p_share * np.exp(-0.5 * ((beats.time_s[near] - at + 0.1) / 0.018) ** 2)
    return np.asarray(beats.samples_mv + added, dtype=np.float64), starts


def bars_of_pauses(folder: Path) -> list[Bar]:
    """Return how many beats are invented in pauses with each kind of noise."""
    size = round(40.0 * PAUSES * ECG_HZ)
    at_s = np.arange(size) / ECG_HZ
    draw = np.random.default_rng(SEED)
    with wfdb_package() as wfdb:
        stored = wfdb.rdrecord(str(folder / "nstdb" / "ma"))
    stored_s = np.arange(len(stored.p_signal)) / stored.fs
    muscle = np.interp(at_s % stored_s[-1], stored_s, stored.p_signal[:, 0])
    muscle -= np.convolve(muscle, np.full(125, 1 / 125), mode="same")
    white = draw.standard_normal(size)
    noises = {
        "white noise of 3 % of R": (0.03 * white, 0.0),
        "white noise of 12 % of R": (0.12 * white, 0.0),
        "wander of 0.5 mV": (0.5 * np.sin(2 * np.pi * 0.3 * at_s), 0.0),
        "mains of 0.1 mV": (0.1 * np.sin(2 * np.pi * 50.0 * at_s), 0.0),
        "recorded muscle noise (nstdb ma), 3 % of R rms": (0.03 * muscle / np.std(muscle), 0.0),
        "P waves of 13 % of R": (np.zeros(size), 0.13),
    }
    bars = []
    for name, (record, p_share) in noises.items():
        samples, starts = _pauses(record, p_share)
        time_s = _found(samples)
        # the last beat before a pause and the first after it may lie 0.1 s inside by jitter
        inside = [np.sum((time_s > s + 0.1) & (time_s < s + 14.9)) for s in starts]
        bars.append(
            Bar(
                f"{PAUSES} pauses of 15 s, {name}",
                "0 beats invented",
                f"{int(np.sum(inside))} in {int(np.count_nonzero(inside))} pauses",
                not np.any(inside),
            )
        )
    return bars


def bars_of_shapes() -> list[Bar]:
    """Return what tall T waves, small and wide complexes do."""
    extra = missing = 0
    for rate in (60, 80, 100, 120, 140, 160, 180):
        for share in (0.5, 0.75, 1.0):
            lead = replace(PLAIN, t_share=share)
            ecg = drawn(at_rate(rate, 60.0, seed=SEED), 60.0, lead=lead, seed=SEED)
            time_s = _found(ecg.samples_mv)
            hits = len(match_marks(ecg.beat_s, time_s, 0.1))
            extra, missing = extra + len(time_s) - hits, missing + len(ecg.beat_s) - hits
    bars = [
        Bar(
            "T wave of 0.5 to 1.0 of R, 60 to 180 a minute",
            "no extra beat",
            f"{extra} extra, {missing} missing",
            extra == 0,
        )
    ]
    for r_mv, qrs_s in ((0.5, 0.04), (0.5, 0.12), (5.0, 0.04), (5.0, 0.12)):
        lead = replace(PLAIN, r_mv=r_mv, qrs_s=qrs_s)
        ecg = drawn(at_rate(120.0, 60.0, seed=SEED), 60.0, lead=lead, seed=SEED)
        hits = len(match_marks(ecg.beat_s, _found(ecg.samples_mv), 0.1))
        share = hits / len(ecg.beat_s)
        name = f"QRS of {r_mv:g} mV and {1000 * qrs_s:g} ms (IEC 60601-2-27, from memory)"
        bars.append(Bar(name, "found", f"{100 * share:.1f} %", share >= 0.99))
    lead = replace(PLAIN, r_mv=0.15, qrs_s=0.1, p_share=0.0, t_share=0.0)
    small = drawn(at_rate(80.0, 60.0), 60.0, lead=lead, seed=SEED)
    count = len(_found(small.samples_mv))
    limit = "none counted (unit mV)"
    bars.append(Bar("QRS of 0.15 mV (from memory)", limit, f"{count} counted", count == 0))
    return bars


def _seconds(run: Callable[[], object], times: int = 5) -> float:
    """Return the median processor time of a warm function, in seconds."""
    run()
    spent = []
    for _ in range(times):
        begin = time.process_time()
        run()
        spent.append(time.process_time() - begin)
    return median(spent)


def bars_of_speed() -> list[Bar]:
    """Return processor time against sleepecg's C detector, in chunks, and peak memory."""
    hour = drawn(at_rate(140.0, 3600.0, seed=SEED), 3600.0, seed=SEED).samples_mv
    day = np.tile(hour, 24)
    half_hour = round(1800 * ECG_HZ)
    noisy = day.copy()
    noisy[2 * half_hour : 3 * half_hour] = np.nan
    noisy[10 * half_hour : 11 * half_hour] += 0.5 * _muscle(half_hour, np.random.default_rng(SEED))
    own = _seconds(lambda: _found(day))
    other = _seconds(lambda: sleepecg_beats(day, ECG_HZ), 3)
    hard = _seconds(lambda: _found(noisy), 3)
    constants = [np.zeros(round(length_s * ECG_HZ)) for length_s in (3600, 36000)]
    still = [_seconds(partial(_found, constant), 3) for constant in constants]
    stage = RPeakDetector(RPeakSettings(ECG_HZ, unit="mV"))
    begin = time.process_time()
    for at in range(0, len(hour), round(ECG_HZ)):
        stage.push(hour[at : at + round(ECG_HZ)])
    share = (time.process_time() - begin) / 3600.0
    tracemalloc.start()
    _found(day)
    peak = tracemalloc.get_traced_memory()[1] / 2**20
    tracemalloc.stop()
    about = "simulated day, 250 Hz; median processor time of warm runs of one process"
    rows = (
        (
            "24 h against sleepecg's C detector",
            "<= 1.25",
            own / other,
            f"{own / other:.2f} ({own:.2f} s, {other:.2f} s)",
            1.25,
        ),
        ("in chunks of 1 s", "< 0.1 % of a core", 100 * share, f"{100 * share:.3f} %", 0.1),
        ("peak memory above the input, 24 h", "< 64 MiB", peak, f"{peak:.0f} MiB", 64.0),
        (
            "day with 30 min off and 30 min muscle noise",
            "<= 1.5 of a clean day",
            hard / own,
            f"{hard / own:.2f}",
            1.5,
        ),
        (
            "10 h of a constant against 1 h",
            "linear: <= 12",
            still[1] / still[0],
            f"{still[1] / still[0]:.1f} ({still[1]:.2f} s)",
            12.0,
        ),
    )
    return [Bar(name, limit, told, value <= most, about) for name, limit, value, told, most in rows]


def bars_of_noise(shelf: Database, peers: Sequence[str]) -> list[Bar]:
    """Return F1 at each level of nstdb, over the noisy minutes, against the other detectors.

    From 5 min on, two minutes with noise and two without alternate (nstdb's documentation).
    """
    bars = []
    for name in shelf.names:
        labelled = shelf.load(name)
        ecg = labelled.recording.ecg
        if ecg is None or labelled.beats_s is None:
            continue
        samples = ecg.segments[0].values
        found = detect_r_peaks(samples, ecg.rate_hz, unit=ecg.unit)
        times = {"infantmon": found.time_s}
        times |= {peer: DETECTORS[peer][0](samples, ecg.rate_hz) for peer in peers}
        f1 = {who: _noisy_f1(labelled.beats_s, time_s) for who, time_s in times.items()}
        best = max(f1[peer] for peer in peers)
        told = ", ".join(f"{who} {value:.2f}" for who, value in f1.items())
        right = match_marks(labelled.beats_s, found.time_s, 0.15).test_right
        noisy = (found.time_s >= LEARNING_S) & ((found.time_s - LEARNING_S) % 240.0 < 120.0)
        doubted = [
            100.0 * float(np.mean(~found.reliable[noisy & some])) if np.any(noisy & some) else 0.0
            for some in (~right, right)
        ]
        told += f"; wrong marks unreliable {doubted[0]:.0f} %, right ones {doubted[1]:.1f} %"
        about = f"{shelf.population}; labels {shelf.label_origin}; tuned on"
        name_told = f"{name}, noisy minutes, F1 (%)"
        bars.append(Bar(name_told, "best peer", told, f1["infantmon"] >= best, about))
    return bars


def _noisy_f1(beats_s: Floats, time_s: Floats) -> float:
    hits = missed = extra = 0
    for start in np.arange(LEARNING_S, beats_s[-1], 240.0):
        tally = score_marks(beats_s, time_s, 0.15, start_s=start, end_s=start + 120.0).tally
        hits += tally.true_positives
        missed += tally.false_negatives
        extra += tally.false_positives
    return 100.0 * 2 * hits / (2 * hits + missed + extra)


def bar_of_doubt(shelf: Database) -> Bar:
    """Return the share of right marks marked unreliable on mitdb."""
    right = doubted = 0
    for name in shelf.names:
        labelled = shelf.load(name)
        ecg = labelled.recording.ecg
        if ecg is None or labelled.beats_s is None:
            continue
        found = detect_r_peaks(ecg.segments[0].values, ecg.rate_hz, unit=ecg.unit)
        hit = match_marks(labelled.beats_s, found.time_s, 0.15).test_right
        right += int(np.sum(hit))
        doubted += int(np.sum(~found.reliable[hit]))
    share = 100.0 * doubted / right
    about = f"{shelf.population}; labels {shelf.label_origin}; tuned on"
    name_told, told = "mitdb, right marks marked unreliable", f"{share:.2f} %"
    return Bar(name_told, "<= 1 %", told, share <= 1.0, about)


_LIMITS = {
    ("mitdb", 0.15): (99.80, 99.90),
    ("mitdb", 0.05): (99.4, 99.4),
    ("adfecgdb", 0.15): (99.7, 99.7),
    ("adfecgdb", 0.05): (99.0, 99.0),
    ("picsdb", 0.1): (99.7, 99.7),
}
"""Least Se and PPV in percent; those of picsdb without the stretch of wrong reference marks."""


def bars_of_recordings() -> list[Bar]:
    """Return the gross figures on the annotated databases."""
    bars = []
    for (name, window_s), limit in _LIMITS.items():
        card = run_task(Task(Source(name), BEAT_MARKS, windows_s=(window_s,)))
        total = card.known_wrong or card.gross()
        both = [100.0 * (f or 0.0) for f in (total.sensitivity, total.positive_predictivity)]
        bars.append(
            Bar(
                f"{name}, {1000 * window_s:g} ms, from {card.from_s:g} s, gross",
                f"Se >= {limit[0]:g}, PPV >= {limit[1]:g} %",
                f"{both[0]:.2f} / {both[1]:.2f}",
                both[0] >= limit[0] and both[1] >= limit[1],
                f"{card.population}; labels {card.label_origin}; tuned on",
            )
        )
    return bars


def _markdown(run: dict[str, Any], bars: list[Bar]) -> str:
    rows = [
        "# Bars of the R-peak detector",
        "",
        "Made by `python -m benchmarks.beats`.",
        "",
        "| what | limit | found | holds | population, labels, tuned on |",
        "| --- | --- | --- | --- | --- |",
    ]
    rows += [
        f"| {bar.name} | {bar.limit} | {bar.found} | {'yes' if bar.holds else '**no**'} | "
        f"{bar.about} |"
        for bar in bars
    ]
    return "\n".join([*rows, "", run["caution"], ""])


def main(arguments: list[str] | None = None) -> int:
    """Run the command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, default=PROJECT / "benchmarks/results/beats.json")
    options = parser.parse_args(arguments)
    try:
        folder, shelves = recordings_folder(), databases()
    except InfantmonError as error:
        print(error, file=sys.stderr)
        return 2
    bars: list[Bar] = []
    parts: tuple[Callable[[], list[Bar]], ...] = (
        bars_of_recordings,
        lambda: [bar_of_doubt(shelves["mitdb"])],
        lambda: bars_of_noise(shelves["nstdb"], tuple(DETECTORS)),
        bars_of_rates,
        bars_of_courses,
        bars_of_recovery,
        lambda: bars_of_pauses(folder),
        bars_of_shapes,
        bars_of_speed,
    )
    for part in parts:
        for bar in part():
            bars.append(bar)
            print(
                "holds" if bar.holds else "FALLS SHORT", "|", bar.name, "|", bar.found, flush=True
            )
    run = run_facts(("infantmon", "numpy", "scipy", "wfdb", "sleepecg", "neurokit2"))
    result = {
        "run": run,
        "bars": [asdict(bar) | {"holds": bool(bar.holds)} for bar in bars],
    }
    write_result(options.out, result, _markdown(run, bars))
    return 0


if __name__ == "__main__":
    sys.exit(main())
