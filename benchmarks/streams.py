"""Long streams: time a push, memory, and growth; python -m benchmarks.streams [--ci] [--days N].

One invented hour (seed 41) is pushed again and again. Memory is what the process holds after each
simulated day, once two have passed; time is the processor's, and of the hours of each half the
median is compared, since other work on the machine slows some. For replay and bench use only.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import resource
import time
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.results import run_facts, write_result
from infantmon.model.prescription import Prescription
from infantmon.monitor import Monitor
from infantmon.simulate import Pause, Scenario, SlowingInPause, simulate_night

ECG_HZ, IMPEDANCE_HZ, HOUR_S, SEED = 250.0, 50.0, 3600, 41
MOST_GROWTH_MIB = 5.0
MOST_SHARE = 0.002  # of a core at real pace
PLAN = Prescription(
    apnea={"limit_s": 15},
    low_heart_rate={"limit_bpm": 80, "hold_off_s": 5, "average_beats": 8},
    high_heart_rate={"limit_bpm": 220, "hold_off_s": 5, "average_s": 8},
    no_heart_beat={"limit_s": 4},
    contact_loss={"delay_s": 5},
    periodic_breathing={"pause_s": 3, "count": 3, "gap_s": 20},
)


def hour() -> dict[str, Any]:
    events = tuple(Pause(200.0 + 600.0 * k, 20.0, SlowingInPause()) for k in range(6))
    night = simulate_night(Scenario(float(HOUR_S), ECG_HZ, IMPEDANCE_HZ, events=events), SEED)
    channels = night.recording.channels
    return {role: np.asarray(channels[role].segments[0].values) for role in ("ecg", "impedance")}


def resident_mib() -> float:
    held = Path("/proc/self/statm").read_text(encoding="ascii").split()[1]
    return int(held) * resource.getpagesize() / 2**20


def stream(task: tuple[float, float]) -> dict[str, Any]:
    """Push so many days in chunks of so many seconds."""
    days, step_s = task
    samples, step = hour(), int(step_s)
    monitor = Monitor(PLAN, ecg_hz=ECG_HZ, impedance_hz=IMPEDANCE_HZ, ecg_unit="mV")
    changes, memory, seconds, begun = 0, [], [], time.process_time()
    for place in range(round(days * 24)):
        for first in range(0, HOUR_S, step):
            after = first + step
            changes += len(
                monitor.push(
                    ecg=samples["ecg"][first * 250 : after * 250],
                    impedance=samples["impedance"][first * 50 : after * 50],
                )
            )
        memory.append(resident_mib())
        seconds.append(time.process_time() - begun)
        if place % 24 == 23:
            print(f"{step_s:g} s chunks: day {place // 24 + 1}, {memory[-1]:.1f} MiB", flush=True)
    monitor.finish()
    settled = min(47, len(memory) // 4)  # the second day; in one day, the first quarter
    hours, half = np.diff(seconds, prepend=0.0), len(seconds) // 2
    return {
        "days": days,
        "step_s": step_s,
        "changes": changes,
        "times_real_pace": days * 86400.0 / seconds[-1],
        "ms_a_push": 1000.0 * seconds[-1] / (days * 86400.0 / step_s),
        "share_of_a_core": seconds[-1] / (days * 86400.0),
        "growth_mib": memory[-1] - memory[settled],
        "second_half_over_first": float(np.median(hours[half:]) / np.median(hours[:half])),
        "save_bytes": len(monitor.save()),
    }


def fails(row: dict[str, Any]) -> list[str]:
    found = []
    if row["growth_mib"] > MOST_GROWTH_MIB:
        found.append(f"memory grew by {row['growth_mib']:.1f} MiB")
    if not 0.7 < row["second_half_over_first"] < 1.4:
        found.append(f"time is not linear: {row['second_half_over_first']:.2f}")
    if row["save_bytes"] >= 2**20:
        found.append(f"a save takes {row['save_bytes']} bytes")
    return found


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--ci", action="store_true", help="a day in 1 s chunks, 30 in 60 s chunks")
    parser.add_argument("--task", nargs=2, type=float, metavar=("DAYS", "STEP_S"))
    parser.add_argument("--out", type=Path, help="JSON file to store the result in")
    told = parser.parse_args()
    tasks = [tuple(told.task)] if told.task else [(30.0, 60.0), (1.0, 1.0)]
    with multiprocessing.Pool(min(len(tasks), os.cpu_count() or 1)) as pool:
        rows = pool.map(stream, tasks, chunksize=1)
    faults = [
        f"{row['days']:g} days in {row['step_s']:g} s: {f}" for row in rows for f in fails(row)
    ]
    lines = ["| days | chunk, s | ms a push | share of a core | times real pace | growth, MiB |"]
    lines += ["| --- | --- | --- | --- | --- | --- |"]
    lines += [
        f"| {r['days']:g} | {r['step_s']:g} | {r['ms_a_push']:.2f} | {r['share_of_a_core']:.4%} | "
        f"{r['times_real_pace']:.0f} | {r['growth_mib']:.2f} |"
        for r in rows
    ]
    text = (
        "# Long streams\n\nPopulation: one invented hour, seed 41, 250 and 50 Hz, pushed again and "
        "again; no labels; not tuned on it.\n"
        f"Wanted: growth at most {MOST_GROWTH_MIB:g} MiB; at most {MOST_SHARE:.1%} of a core at "
        "real pace (told, not gated: it depends on the machine).\n\n" + "\n".join(lines) + "\n"
    )
    print(text + "\n".join(faults))
    if told.out:
        write_result(told.out, {"run": run_facts(), "rows": rows, "faults": faults}, text)
    return int(bool(faults))


if __name__ == "__main__":
    raise SystemExit(main())
