"""What may go wrong on a stream: kills, lines that are no frames, damaged saves, delays.

    python -m benchmarks.stream_faults [--kills 1000] [--lines 1000000] [--saves 20000]
                                       [--events 10000] [--out FILE]

* **Kills**: a process that pushes an invented hour into a recorder on disk is killed after a random
  time, again and again. Nothing acknowledged may be missing when the file is opened again, and at
  the end of the hour changes and stored events must equal those of an undisturbed hour.
* **Lines**: random bytes, random words of the format and mutated frames into the framed input.
* **Saves**: saved monitors with bytes changed, cut or given a right checksum again.
* **Delays**: every event's `known_s` against its onset, its limit and the stated delay.

Population: invented infants (simulated); no recordings; nothing here is tuned. For replay and bench
use only, not on an infant.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import resource
import signal
import struct
import sys
import tempfile
import time
import warnings
from collections import Counter, defaultdict
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np

import infantmon as im
from benchmarks.results import run_facts, write_result
from benchmarks.streams import ECG_HZ, IMPEDANCE_HZ, PLAN, hour, resident_mib
from infantmon import simulate as sim
from infantmon.disk_recorder import DiskRecorder
from infantmon.errors import StateError
from infantmon.framed import FrameReader, frames_of
from infantmon.model.arrays import Floats

RATES = {"ecg": ECG_HZ, "impedance": IMPEDANCE_HZ}
STEP_S = 10.0
LONGEST_S = 5.0  # a line or a save that takes longer hangs
MOST_GROWTH_MIB = 16.0
_TOLD = struct.Struct("<QQ")


def monitor() -> im.Monitor:
    """Return a new monitor."""
    return im.Monitor(PLAN, ecg_hz=ECG_HZ, impedance_hz=IMPEDANCE_HZ, ecg_unit="mV")


# Kills --------------------------------------------------------------------------------------------


def kills(count: int, folder: Path, samples: dict[str, Floats], seed: int = 1) -> dict[str, Any]:
    """Kill a recording process so often; return what was found.

    Parameters
    ----------
    count : int
        How many kills.
    folder : Path
        Where the recorder's files go.
    samples : dict of numpy.ndarray
        Samples of each channel at `RATES`: what is streamed, over and over until all are done.
    seed : int
        Of the times after which is killed.

    Returns
    -------
    dict
        Kills, streams ended, pushes acknowledged, and faults in words.
    """
    wanted = monitor()
    changes = wanted.push(**samples)
    changes += wanted.finish()
    undisturbed = _undisturbed(folder / "undisturbed.db", samples)
    chance, faults = np.random.default_rng(seed), list[str]()
    found: dict[str, Any] = {"kills": 0, "streams": 0, "acknowledged": 0}
    while found["kills"] < count:
        path = folder / f"{found['streams']}.db"
        DiskRecorder.begin(path, monitor()).close()
        while not _ran_to_end(path, samples, chance, count, found, faults):
            pass
        with_kills = DiskRecorder.reopen(path)
        if with_kills.changes != changes:
            faults.append(f"stream {found['streams']}: other changes than without kills")
        if not with_kills.store.equals(undisturbed.store):
            faults.append(f"stream {found['streams']}: another store than without kills")
        with_kills.close()
        path.unlink()
        found["streams"] += 1
    return found | {"faults": faults}


def _undisturbed(path: Path, samples: dict[str, Floats]) -> DiskRecorder:
    recorder = DiskRecorder.begin(path, monitor())
    for part in _parts(samples, recorder.arrived):
        recorder.push(**part)
    recorder.finish()
    return recorder


def _parts(samples: dict[str, Floats], arrived: dict[str, int]) -> Iterator[dict[str, Floats]]:
    after = dict(arrived)
    while any(after[role] < len(samples[role]) for role in RATES):
        part = {r: samples[r][after[r] : after[r] + round(STEP_S * RATES[r])] for r in RATES}
        yield part
        for role, values in part.items():
            after[role] += len(values)


def _ran_to_end(
    path: Path,
    samples: dict[str, Floats],
    chance: np.random.Generator,
    most: int,
    found: dict[str, Any],
    faults: list[str],
) -> bool:
    """Let a child record until it ends or is killed; check what it had acknowledged."""
    told, tells = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(told)
        _record(path, samples, tells)
    os.close(tells)
    if found["kills"] < most:
        time.sleep(float(chance.uniform(0.0, 0.15)))
        os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    with os.fdopen(told, "rb") as pipe:
        words = pipe.read()
    whole = len(words) // _TOLD.size
    found["acknowledged"] += whole
    killed = os.WIFSIGNALED(status)
    found["kills"] += int(killed)
    if not killed and os.waitstatus_to_exitcode(status) != 0:
        faults.append(f"the child ended with {os.waitstatus_to_exitcode(status)}")
    if whole:
        samples_told, changes_told = _TOLD.unpack_from(words, (whole - 1) * _TOLD.size)
        recorder = DiskRecorder.reopen(path)
        if recorder.arrived["ecg"] < samples_told or recorder.changes_count < changes_told:
            faults.append(f"acknowledged up to sample {samples_told}, but not on the disk")
        recorder.close()
    return not killed


def _record(path: Path, samples: dict[str, Floats], tells: int) -> None:
    """The child: go on where the file stands, and tell each push once it is on the disk."""
    code = 1
    try:
        recorder = DiskRecorder.reopen(path)
        if not recorder.finished:  # the kill may have come after the end was on the disk
            for part in _parts(samples, recorder.arrived):
                recorder.push(**part)
                os.write(tells, _TOLD.pack(recorder.arrived["ecg"], recorder.changes_count))
            recorder.finish()
        code = 0
    except BaseException as fault:  # noqa: BLE001 - a child that fails has to say why
        print(f"the child: {fault!r}", file=sys.stderr, flush=True)
    finally:
        os._exit(code)


# Lines --------------------------------------------------------------------------------------------

_WORDS = (b'{"time_s":', b"1.5", b'"ecg":', b'"impedance":', b"[", b"]", b"}", b",", b"null", b"-",
          b"1e9", b"NaN", b"\x00", b"\xff", b'"', b"\\u0000")  # fmt: skip


def _random_lines(count: int, chance: np.random.Generator) -> Iterator[bytes]:
    night = sim.simulate_night(sim.Scenario(30.0, ECG_HZ, IMPEDANCE_HZ), 7)
    frames = list(frames_of(night.recording, step_s=0.2))
    for number in range(count):
        kind = number % 10
        if kind < 5:
            yield chance.bytes(int(chance.integers(1, 80)))
        elif kind < 9:
            yield b"".join(_WORDS[k] for k in chance.integers(0, len(_WORDS), 10))
        else:
            frame = bytearray(frames[int(chance.integers(len(frames)))])
            for place in chance.integers(0, len(frame), size=int(chance.integers(1, 4))):
                frame[place] = int(chance.integers(32, 127))
            yield bytes(frame)


def lines(count: int, seed: int = 2) -> dict[str, Any]:
    """Give so many random lines to the framed input; raise for whatever it does not take."""
    reader, slowest = FrameReader(monitor(), RATES), 0.0
    made = _random_lines(count, np.random.default_rng(seed))
    settled = min(count // 10, 20_000)
    for line in islice(made, settled):
        reader.take(line)
    before, begun = resident_mib(), time.process_time()
    for line in made:
        start = time.process_time()
        reader.take(line)
        slowest = max(slowest, time.process_time() - start)
    return {
        "lines": reader.lines,
        "frames": reader.frames,
        "skipped": reader.skipped,
        "seconds": round(time.process_time() - begun, 1),
        "slowest_s": round(slowest, 4),
        "growth_mib": round(resident_mib() - before, 2),
    }


# Saves --------------------------------------------------------------------------------------------


def saves(count: int, seed: int = 3) -> dict[str, Any]:
    """Damage saved monitors; each must be refused with `StateError` or be whole."""
    made, samples, chance = monitor(), hour(), np.random.default_rng(seed)
    made.push(ecg=samples["ecg"][: 900 * 250], impedance=samples["impedance"][: 900 * 50])
    blob, refused, slowest = made.save(), 0, 0.0
    header = min(len(blob) - 32, 6000)
    before = 0.0
    for number in range(count):
        raw = bytearray(blob[:-32])
        reach = header if number % 4 else len(raw)
        for place in chance.integers(0, reach, size=int(chance.integers(1, 5))):
            raw[place] = int(chance.integers(256))
        if number % 5 == 0:
            del raw[int(chance.integers(len(raw))) :]
        forged = number % 3 > 0  # with a checksum made anew: damage that the checksum cannot tell
        damaged = bytes(raw) + (hashlib.sha256(raw).digest() if forged else blob[-32:])
        start = time.process_time()
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                again = im.Monitor.resume(damaged)
        except StateError:
            refused += 1
        else:
            if not forged and damaged != blob:
                raise AssertionError("a damaged state with a wrong checksum was taken")
            del again
        slowest = max(slowest, time.process_time() - start)
        if number == count // 10:
            before = resident_mib()
    return {
        "saves": count,
        "refused": refused,
        "bytes": len(blob),
        "slowest_s": round(slowest, 4),
        "growth_mib": round(resident_mib() - before, 2),
    }


# Delays -------------------------------------------------------------------------------------------


def _night(seed: int) -> sim.SimulatedNight:
    chance = np.random.default_rng([seed, 4])
    events: list[Any] = []
    for start_s in np.arange(60.0, 3540.0, 50.0):
        at_s = float(start_s + chance.uniform(0.0, 12.0))
        slowing = sim.SlowingInPause() if chance.random() < 0.5 else None
        events.append(sim.Pause(at_s, float(chance.uniform(16.0, 24.0)), slowing))
        if chance.random() < 0.15:
            events.append(sim.LooseElectrode(at_s + 30.0, float(chance.uniform(6.0, 9.0))))
        if chance.random() < 0.15:
            events.append(sim.Standstill(at_s + 28.0, float(chance.uniform(4.5, 7.0))))
        if chance.random() < 0.15:
            events.append(sim.Tachycardia(at_s + 27.0, 240.0, 1.0, 8.0, 1.0))
    return sim.simulate_night(
        sim.Scenario(3600.0, ECG_HZ, IMPEDANCE_HZ, events=tuple(events)), seed
    )


def waited_s(event: im.Event) -> float:
    """Return how long a condition has to last before it may go active, in seconds."""
    limits = event.limits
    for name in ("limit_s", "hold_off_s", "delay_s"):
        if name in limits:
            return float(limits[name])
    return 0.0


def delays(count: int, first_seed: int = 8100) -> dict[str, Any]:
    """Review simulated hours until so many events have come; compare delay and stated delay."""
    stated, told, late = monitor().latencies_s, Counter[str](), list[str]()
    worst: defaultdict[str, float] = defaultdict(float)
    seed = first_seed
    while sum(told.values()) < count:
        for event in im.review(_night(seed).recording, PLAN).events:
            if event.unusable or event.kind not in stated or event.kind == "periodic breathing":
                continue  # an unusable stretch stops the clock, as the documentation says
            delay_s = event.known_s - event.onset_s - waited_s(event)
            told[event.kind] += 1
            worst[event.kind] = max(worst[event.kind], delay_s)
            if delay_s > stated[event.kind] + 1e-6:
                late.append(f"seed {seed}, {event.kind} at {event.onset_s:.2f} s: {delay_s:.3f} s")
        seed += 1
    return {
        "hours": seed - first_seed,
        "first_seed": first_seed,
        "kinds": {
            kind: {
                "events": told[kind],
                "worst_s": round(worst[kind], 3),
                "stated_s": round(stated[kind], 3),
            }
            for kind in sorted(told)
        },
        "late": late,
    }


# The report ---------------------------------------------------------------------------------------


def faults_of(result: dict[str, Any]) -> list[str]:
    """Return in words what fell short."""
    found = [*result["kills"]["faults"], *result["delays"]["late"]]
    for name in ("lines", "saves"):
        if result[name]["growth_mib"] > MOST_GROWTH_MIB:
            found.append(f"{name}: memory grew by {result[name]['growth_mib']} MiB")
        if result[name]["slowest_s"] > LONGEST_S:
            found.append(f"{name}: one took {result[name]['slowest_s']} s")
    return found


def _spent(part: dict[str, Any]) -> str:
    slowest_ms, growth_mib = 1000.0 * part["slowest_s"], part["growth_mib"]
    return f"slowest {slowest_ms:.0f} ms; memory {growth_mib:+.1f} MiB"


def _markdown(result: dict[str, Any]) -> str:
    killed, given, saved, delayed = (result[n] for n in ("kills", "lines", "saves", "delays"))
    acknowledged = (
        f"{killed['acknowledged']:,} acknowledged pushes, {len(killed['faults'])} faults "
        "(an acknowledged push lost, a change doubled or missing)"
    )
    skipped = f"{given['skipped']:,} told and skipped, {given['frames']} taken; {_spent(given)}"
    refused = f"{saved['refused']:,} refused, the others whole; {_spent(saved)}"
    done = (
        ("kills (signal 9) while an hour is recorded", f"{killed['kills']:,}", acknowledged),
        ("random and mutated lines", f"{given['lines']:,}", skipped),
        (f"damaged saved states of {saved['bytes']:,} bytes", f"{saved['saves']:,}", refused),
    )
    about = (
        "Made by `python -m benchmarks.stream_faults`. Population: invented infants (simulated); "
        "no recordings; nothing tuned. For replay and bench use only, not on an infant."
    )
    heading = (
        f"Delay of {sum(k['events'] for k in delayed['kinds'].values()):,} events of "
        f"{delayed['hours']} simulated hours (seeds from {delayed['first_seed']}) behind onset and "
        f"limit or hold-off; {len(delayed['late'])} later than stated:"
    )
    rows = [
        "# Faults on a stream",
        "",
        about,
        "",
        "| what | done | came out |",
        "| --- | --- | --- |",
    ]
    rows += [f"| {what} | {count} | {out} |" for what, count, out in done]
    rows += [
        "",
        heading,
        "",
        "| kind | events | worst, s | stated, s |",
        "| --- | --- | --- | --- |",
    ]
    rows += [
        f"| {kind} | {told['events']} | {told['worst_s']:.3f} | {told['stated_s']:.3f} |"
        for kind, told in delayed["kinds"].items()
    ]
    return "\n".join(rows) + "\n"


def main(arguments: list[str] | None = None) -> int:
    """Measure, print, store."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--kills", type=int, default=1000)
    asked.add_argument("--lines", type=int, default=1_000_000)
    asked.add_argument("--saves", type=int, default=20_000)
    asked.add_argument("--events", type=int, default=10_000)
    asked.add_argument("--out", type=Path)
    told = asked.parse_args(arguments)
    result: dict[str, Any] = {"run": run_facts()}
    with tempfile.TemporaryDirectory() as folder:
        result["kills"] = kills(told.kills, Path(folder), hour())
    result["lines"] = lines(told.lines)
    result["saves"] = saves(told.saves)
    result["delays"] = delays(told.events)
    faults = faults_of(result)
    result["peak_mib"] = round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, 1)
    text = _markdown(result)
    print(text + "\n".join(faults))
    if told.out:
        write_result(told.out, result | {"faults": faults}, text)
    return int(bool(faults))


if __name__ == "__main__":
    sys.exit(main())
