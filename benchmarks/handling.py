"""What handling costs: breaths found after large disturbances, and pauses kept near the start.

    python -m benchmarks.handling

Writes benchmarks/results/handling.json and handling.md. As electrodes are put on, or an infant is
moved, the impedance jumps, swings and wanders by many times a breath; what is learned from that
must be forgotten again. Handled: 5 min of an invented infant with one to three disturbances drawn
at random (steps, bumps, wandering, even swings, ramps, samples missing or held; 2 to 300 breaths
large, 0.3 to 20 s long, half of them in the first 8 s); breaths count that lie more than 20 s after
any of them. Reviewed: the same recordings with an apnea limit of 20 s, set for measuring only;
nobody stops breathing in them, so every apnea that is listed is false; the same of slow and stopped
hearts with the ECG disturbed likewise. Paused: infants without disturbances, with one pause of 25
to 110 s that begins after 3 to 25 s, when little is known of the breathing. Breaths of 20 to 90 a
minute, heart 90 to 180, seven of ten led by R peaks; pulsation up to half a breath, without R peaks
up to 0.3. Labels: the simulator's truth. Seeds below 5300, 15000 to 15299
and 71000 to 71299 were looked at.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from typing import Any

import numpy as np

import infantmon as im
from benchmarks.results import CAUTION, make_result, share_of
from infantmon import detect_breaths, detect_r_peaks
from infantmon import simulate as sim
from infantmon.model.arrays import Bools, Floats
from infantmon.model.channel import Channel
from infantmon.scoring.marks import match_marks

COUNT = 300
SEEDS = {"handled": 14000, "reviewed": 14000, "ecg_reviewed": 25000, "paused": 16000}
"""Of the first infant of each."""
ECG_HZ, IMPEDANCE_HZ = 250.0, 62.5
PLAN = im.Prescription(apnea={"limit_s": 20.0})
HEART_PLAN = im.Prescription(
    no_heart_beat={"limit_s": 4.0},
    low_heart_rate={"limit_bpm": 70.0, "hold_off_s": 5.0, "average_beats": 8},
)
LENGTH_S, SETTLED_S, TOLERANCE_S, LONG_S, MANY = 300.0, 20.0, 0.5, 20.0, 0.05
KINDS = ("step", "bump", "wandering", "swings", "ramp", "missing", "held")


def infant(
    chance: np.random.Generator, seed: int, *events: sim.Pause
) -> tuple[sim.SimulatedNight, bool]:
    """Return an invented infant of a few minutes, and whether R peaks lead."""
    led = bool(chance.random() < 0.7)
    share = float(chance.choice((0.0, 0.1, 0.3, 0.5)))
    scenario = sim.Scenario(
        LENGTH_S,
        ECG_HZ,
        IMPEDANCE_HZ,
        heart=sim.Heart(rate_bpm=float(chance.uniform(90.0, 180.0))),
        breathing=sim.Breathing(float(np.exp(chance.uniform(np.log(20.0), np.log(90.0))))),
        pulsation=sim.PulsationByPhase(share if led else min(share, 0.3)),
        events=events,
    )
    return sim.simulate_night(scenario, seed), led


def breaths_of(night: sim.SimulatedNight, values: Floats, *, led: bool) -> Floats:
    """Return the times of the breaths that are found."""
    ecg = night.recording.channels["ecg"]
    beats = detect_r_peaks(ecg.segments[0].values, ecg.rate_hz, unit="mV") if led else None
    return detect_breaths(values, IMPEDANCE_HZ, beats).time_s


def disturb(
    values: Floats, rate_hz: float, chance: np.random.Generator
) -> tuple[Floats, list[tuple[float, float]]]:
    """Return samples, in which a breath or a beat is about 1, disturbed; and when each lasts."""
    time_s = np.arange(len(values)) / rate_hz
    lasting: list[tuple[float, float]] = []
    for _ in range(int(chance.integers(1, 4))):
        early = chance.random() < 0.5
        at_s = float(chance.uniform(0.0, 8.0) if early else chance.uniform(8.0, LENGTH_S - 50.0))
        size = float(np.exp(chance.uniform(np.log(2.0), np.log(300.0))) * chance.choice((-1, 1)))
        for_s = float(np.exp(chance.uniform(np.log(0.3), np.log(20.0))))
        kind = str(chance.choice(KINDS))
        inside = (time_s > at_s) & (time_s < at_s + for_s)
        if kind == "missing":
            values = np.where(inside, np.nan, values)
        elif kind == "held":
            values = np.where(inside, values[int(at_s * rate_hz)] + size, values)
        else:
            values = values + size * _shape(kind, time_s, at_s, for_s, inside, chance)
        lasting.append((at_s, at_s + (0.0 if kind == "step" else for_s)))
    return values, lasting


def _shape(
    kind: str,
    time_s: Floats,
    at_s: float,
    for_s: float,
    inside: Bools,
    chance: np.random.Generator,
) -> Floats:
    """Return a disturbance of size one."""
    if kind == "step":
        return np.asarray(time_s > at_s, dtype=np.float64)
    if kind == "bump":
        return np.asarray(inside * np.sin(np.pi * (time_s - at_s) / for_s) ** 2)
    if kind == "ramp":
        return np.asarray(np.clip((time_s - at_s) / for_s, 0.0, 1.0))
    if kind == "swings":
        return np.asarray(inside * np.sin(2.0 * np.pi * chance.uniform(0.3, 2.0) * time_s))
    return np.asarray(inside * np.cumsum(chance.standard_normal(len(time_s))) / 20.0)


def handled(seed: int) -> tuple[int, int]:
    """Return how many breaths count in one disturbed infant, and how many of them are found."""
    chance = np.random.default_rng(seed)
    night, led = infant(chance, seed)
    samples = night.recording.channels["impedance"].segments[0].values
    values, lasting = disturb(samples, IMPEDANCE_HZ, chance)
    true = night.truth.breath_s
    calm = true < LENGTH_S - 3.0
    for start_s, end_s in lasting:
        calm &= (true < start_s - 2.0) | (true > end_s + SETTLED_S)
    pairs = match_marks(true, breaths_of(night, values, led=led), TOLERANCE_S)
    return int(calm.sum()), int((calm & pairs.reference_found).sum())


def reviewed(seed: int) -> tuple[int, int, float]:
    """Return how many apneas are listed in one disturbed infant, how many as supported, their s."""
    chance = np.random.default_rng(seed)
    night, led = infant(chance, seed)
    channel = night.recording.channels["impedance"]
    values, _ = disturb(channel.segments[0].values, IMPEDANCE_HZ, chance)
    channels = {"impedance": Channel(values, IMPEDANCE_HZ, channel.unit, name=channel.name)}
    if led:
        channels["ecg"] = night.recording.channels["ecg"]
    reviewed_events = im.review(im.Recording(channels, name="disturbed"), PLAN).events
    return _told(list(reviewed_events.of_kind("apnea")))


def ecg_reviewed(seed: int) -> tuple[int, int, float]:
    """Return the same of slow and stopped hearts where the ECG is disturbed, up to 300 beats large.

    No heart is slower than 90 a minute in them.
    """
    chance = np.random.default_rng(seed)
    night, _ = infant(chance, seed)
    channel = night.recording.channels["ecg"]
    values, _ = disturb(channel.segments[0].values, ECG_HZ, chance)
    channels = dict(night.recording.channels)
    channels["ecg"] = Channel(values, ECG_HZ, channel.unit, name=channel.name)
    events = im.review(im.Recording(channels, name="disturbed"), HEART_PLAN).events
    found = [e for kind in ("no heart beat", "low heart rate") for e in events.of_kind(kind)]
    return _told(found)


def _told(events: list[im.Event]) -> tuple[int, int, float]:
    lasting_s = sum((LENGTH_S if e.end_s is None else e.end_s) - e.onset_s for e in events)
    return len(events), sum(e.judgement == "supported" for e in events), lasting_s


def paused(seed: int) -> tuple[int, int]:
    """Return 1, and whether 20 s without a mark are left of a pause near the start."""
    chance = np.random.default_rng(seed)
    pause = sim.Pause(float(chance.uniform(3.0, 25.0)), float(chance.uniform(25.0, 110.0)))
    night, led = infant(chance, seed, pause)
    samples = night.recording.channels["impedance"].segments[0].values
    true = night.truth.breath_s
    longest = int(np.argmax(np.diff(true)))
    marks = breaths_of(night, samples, led=led)
    inside = marks[(marks > true[longest] + 1.0) & (marks < true[longest + 1] - 1.0)]
    gaps = np.diff(np.concatenate((true[longest : longest + 1], inside, true[longest + 1 :][:1])))
    return 1, int(gaps.max() >= LONG_S)


def rows() -> list[dict[str, Any]]:
    """Measure all of them."""
    with ProcessPoolExecutor(2) as pool:

        def all_of(work: Callable[[int], tuple[float, ...]]) -> np.ndarray[Any, Any]:
            first = SEEDS[work.__name__]
            return np.array(list(pool.map(work, range(first, first + COUNT), chunksize=5)))

        breaths, apneas = all_of(handled), all_of(reviewed)
        hearts, pauses = all_of(ecg_reviewed), all_of(paused)
    many = np.count_nonzero(breaths[:, 1] < (1.0 - MANY) * breaths[:, 0])
    return [
        _row("breaths found more than 20 s after disturbances", breaths),
        {"measured": "infants who lose more than 5 % of these breaths", "count": int(many)},
        *_false("apneas", apneas),
        *_false("slow and stopped hearts (the ECG disturbed)", hearts),
        _row("pauses soon after the start of which 20 s and more are kept", pauses),
    ]


def _false(what: str, parts: np.ndarray[Any, Any]) -> list[dict[str, Any]]:
    events, supported, lasting_s = parts.sum(axis=0)
    return [
        {"measured": f"false {what} listed", "count": int(events)},
        {"measured": "of these supported", "count": int(supported)},
        {"measured": "minutes that they last", "count": round(lasting_s / 60.0, 1)},
    ]


def _row(measured: str, parts: np.ndarray[Any, Any]) -> dict[str, Any]:
    of, found = (int(total) for total in parts.sum(axis=0))
    return {"measured": measured, **share_of(found, of)}


def _markdown(run: dict[str, Any], rows: list[dict[str, Any]]) -> str:
    seeds = " and ".join(f"{first} to {first + COUNT - 1}" for first in sorted(set(SEEDS.values())))
    about = (
        "Population: invented infants (simulated). Labels: the simulator's truth. Tuned on: no "
        f"(seeds {seeds}, 5 min each). {CAUTION}"
    )
    lines = [
        "# What handling costs",
        "",
        f"Made by `python -m benchmarks.handling`, commit {run['commit']}.",
        "",
        about,
        "",
        "| measured | result | 95 % |",
        "| --- | --- | --- |",
    ]
    for row in rows:
        of = f" of {row['of']}" if "of" in row else ""
        lines.append(f"| {row['measured']} | {row['count']}{of} | {_percent(row)} |")
    return "\n".join(lines) + "\n"


def _percent(row: dict[str, Any]) -> str:
    if "interval_95" not in row:
        return ""
    low, high = row["interval_95"]
    return f"{100.0 * low:.2f} to {100.0 * high:.2f}"


def main(arguments: list[str] | None = None) -> int:
    """Measure, print and store."""
    return make_result("handling", __doc__, arguments, rows, _markdown)


if __name__ == "__main__":
    sys.exit(main())
