"""Reference vectors for who carries the chain over to another language.

    python -m benchmarks.vectors              write them anew to docs/reference-vectors
    python -m benchmarks.vectors --check      compare with what the chain gives now

The input is the project's own simulation, rounded to the digits that stand in the file, so that the
file is the input.
"""

from __future__ import annotations

import argparse
import csv
import dataclasses
import io
import json
import sys
from pathlib import Path
from typing import Any, cast

import numpy as np

from benchmarks.results import PROJECT
from infantmon.chain import ChannelSetting, ChestStages, HeartStages
from infantmon.model.channel import Channel
from infantmon.model.event import Change
from infantmon.model.findings import Findings
from infantmon.model.prescription import Prescription
from infantmon.model.recording import Recording
from infantmon.model.signal import Signal
from infantmon.reviewing import review
from infantmon.simulate import (
    AtRail,
    Breathing,
    EcgChannel,
    Heart,
    LooseElectrode,
    Pause,
    PulsationByPhase,
    Scenario,
    SlowingInPause,
    simulate_night,
)
from infantmon.simulate.scenario_file import scenario_to_toml
from infantmon.stages.bandpass import EcgBandPass, EcgBandPassSettings, ImpedanceBandPass
from infantmon.stages.heart_rate import HeartRate, HeartRateSettings

FOLDER = PROJECT / "docs" / "reference-vectors"
ECG_HZ, IMPEDANCE_HZ = 125.0, 50.0
SEED = 5
RTOL = 1e-9
ATOL = 1e-12
AVERAGE_BEATS = 8
FORMAT = 1
EVENT_DIGITS = 6
INPUTS = ("ecg_input.csv", "impedance_input.csv")


def scene() -> Scenario:
    """Return the scene: breathing, a pause with a bradycardia, a loose electrode at the end."""
    return Scenario(
        44.0,
        ECG_HZ,
        IMPEDANCE_HZ,
        heart=Heart(rate_bpm=140.0),
        breathing=Breathing(rate_per_min=48.0),
        pulsation=PulsationByPhase(0.3, growth=0.3),
        ecg=EcgChannel(noise_mv=0.01, step_mv=0.001),
        events=(
            Pause(18.0, 13.0, SlowingInPause(70.0, delay_s=4.0, fall_s=3.0)),
            LooseElectrode(38.0, 3.0, impedance=AtRail(), ecg=None, jolt_ohm=1.0),
        ),
        name="invented infant of the reference vectors",
    )


def plan() -> Prescription:
    """Limits of the vectors; an example, not a recommendation."""
    return Prescription.model_validate(
        {
            "apnea": {"limit_s": 10},
            "low_heart_rate": {"limit_bpm": 90, "hold_off_s": 1, "average_beats": AVERAGE_BEATS},
            "no_heart_beat": {"limit_s": 4},
            "contact_loss": {"delay_s": 1},
        }
    )


def made() -> dict[str, str]:
    """Return every file by its name: what the chain gives now for a scene made anew."""
    night = simulate_night(scene(), SEED)
    ecg = np.round(night.recording.channels["ecg"].segments[0].values, 3)
    chest = np.round(night.recording.channels["impedance"].segments[0].values, 4)
    inputs = {
        "scenario.toml": scenario_to_toml(scene(), seed=SEED),
        "ecg_input.csv": _table({"ecg_mv": ecg}, digits=3),
        "impedance_input.csv": _table({"impedance_ohm": chest}, digits=4),
    }
    return inputs | outputs(ecg, chest)


def outputs(ecg: np.ndarray[Any, Any], chest: np.ndarray[Any, Any]) -> dict[str, str]:
    """Return the output of every stage for an input, as files by their names."""
    heart = HeartStages(ChannelSetting(ECG_HZ, "mV"))
    chests = ChestStages(ChannelSetting(IMPEDANCE_HZ, "ohm"), heart.beats.latency_s)
    ecg_pass = EcgBandPass(EcgBandPassSettings(ECG_HZ))
    chest_pass = ImpedanceBandPass(chests.effort.bandpass.settings)
    rate = HeartRate(HeartRateSettings(AVERAGE_BEATS, None, beat_lag_s=heart.beats.latency_s))
    ecg_passed = ecg_pass.push(ecg, last=True)
    passed = chest_pass.push(chest, last=True)
    ecg_contact, beats = heart.push([(ecg, False)], last=True)
    chest_contact, pulsation, breaths, passed_on, probability = chests.push(
        [(chest, False)], beats, last=True
    )
    cleaned = cast("Signal", passed_on)  # None only where there is no impedance
    settings = {
        "format": FORMAT,
        "ecg_hz": ECG_HZ,
        "impedance_hz": IMPEDANCE_HZ,
        "stages": {
            name: _stage(stage)
            for name, stage in (
                ("ecg_contact", heart.contact),
                ("ecg_bandpass", ecg_pass),
                ("r_peaks", heart.beats),
                ("heart_rate", rate),
                ("impedance_contact", chests.contact),
                ("impedance_bandpass", chest_pass),
                ("cardiac_artifact", chests.effort.rejector),
                ("breaths", chests.effort.breaths),
                ("apnea_probability", chests.opinion),
            )
        },
        "signals": {
            name: {"start_s": round(float(signal.time_s[0]), 9), "rate_hz": signal.clock.rate_hz}
            for name, signal in (
                ("ecg_bandpass", ecg_passed),
                ("impedance_bandpass", passed),
                ("impedance_cleaned", cleaned),
            )
        },
        "prescription": plan().model_dump(mode="json", exclude_none=True),
    }
    channels = {
        "ecg": Channel(ecg, ECG_HZ, "mV", name="ECG"),
        "impedance": Channel(chest, IMPEDANCE_HZ, "ohm", name="Impedance"),
    }
    found = review(Recording(channels, name="reference vectors"), plan())
    return {
        "settings.json": _json(settings),
        "ecg_bandpass.csv": _signal(ecg_passed),
        "ecg_contact.csv": _findings(ecg_contact),
        "r_peaks.csv": _findings(beats),
        "heart_rate.csv": _findings(rate.push(beats, ecg_contact, last=True)),
        "impedance_contact.csv": _findings(chest_contact),
        "impedance_bandpass.csv": _signal(passed),
        "impedance_cleaned.csv": _signal(cleaned),
        "pulsation.csv": _findings(pulsation),
        "breaths.csv": _findings(breaths),
        "apnea_probability.csv": _findings(probability),
        "changes.json": _json([_change(change) for change in found.changes]),
    }


def differences(stored: dict[str, str], now: dict[str, str]) -> list[str]:
    """Return where stored vectors and new ones differ by more than they may, in words.

    Samples, times and sizes may differ by a share of 1e-9; whole numbers, flags, words and events
    may not differ at all.
    """
    told = [f"{name} is missing" for name in sorted(set(now) - set(stored))]
    told += [f"{name} is not made any more" for name in sorted(set(stored) - set(now))]
    for name in sorted(set(now) & set(stored)):
        if name.endswith(".csv"):
            told += [f"{name}: {words}" for words in _csv_differences(stored[name], now[name])]
        elif stored[name] != now[name]:
            told.append(f"{name}: differs")
    return told


def stored(folder: Path = FOLDER) -> dict[str, str]:
    """Return the stored files by their names, without the README."""
    return {
        path.name: path.read_text(encoding="utf-8")
        for path in sorted(folder.iterdir())
        if path.suffix in {".csv", ".json", ".toml"}
    }


def stored_input(folder: Path = FOLDER) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """Return the stored ECG (mV) and impedance (ohm)."""
    ecg, chest = (
        np.array([float(row[0]) for row in _rows((folder / name).read_text(encoding="utf-8"))[1:]])
        for name in INPUTS
    )
    return ecg, chest


def _csv_differences(old: str, new: str) -> list[str]:
    before, after = _rows(old), _rows(new)
    if before[0] != after[0] or len(before) != len(after):
        return [f"{len(before) - 1} rows of {before[0]}, now {len(after) - 1} of {after[0]}"]
    told = []
    for number, (one, other) in enumerate(zip(before[1:], after[1:], strict=True), start=1):
        for name, a, b in zip(before[0], one, other, strict=True):
            if a != b and not _near(a, b):
                told.append(f"row {number}, {name}: {a}, now {b}")
    return told[:3]


def _near(a: str, b: str) -> bool:
    """Tell whether two cells are decimal numbers that are nearly equal."""
    if "." not in a and "e" not in a:
        return False  # whole numbers and flags have to be equal
    return bool(np.isclose(float(a), float(b), rtol=RTOL, atol=ATOL, equal_nan=True))


def _rows(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text)))


def _stage(stage: Any) -> dict[str, Any]:
    settings = {
        field.name: getattr(stage.settings, field.name)
        for field in dataclasses.fields(stage.settings)
    }
    return {"settings": _plain(settings), "latency_s": round(stage.latency_s, 9)}


def _plain(value: Any) -> Any:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return _plain(dataclasses.asdict(value))
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    return value


def _change(change: Change) -> dict[str, Any]:
    told: dict[str, Any] = {
        "known_s": round(change.known_s, EVENT_DIGITS),
        "kind": change.kind,
        "state": change.state,
        "cause": change.cause,
    }
    event = change.event
    if event is not None:
        told["event"] = {
            "number": event.number,
            "onset_s": round(event.onset_s, EVENT_DIGITS),
            "end_s": None if event.end_s is None else round(event.end_s, EVENT_DIGITS),
            "judgement": event.judgement,
            "linked": list(event.linked),
        }
    return told


def _signal(signal: Signal) -> str:
    return _table({"value": signal.values}, digits=None)


def _findings(found: Findings) -> str:
    return _table({name: getattr(found, name) for name in found.columns()}, digits=None)


def _table(columns: dict[str, np.ndarray[Any, Any]], *, digits: int | None) -> str:
    """Return columns as CSV, with twelve significant digits unless decimals are told."""
    lines = [",".join(columns)]
    cells = [[_cell(value, digits) for value in column.tolist()] for column in columns.values()]
    lines += [",".join(row) for row in zip(*cells, strict=True)]
    return "\n".join(lines) + "\n"


def _cell(value: float | int | bool, digits: int | None) -> str:  # noqa: PYI041
    if isinstance(value, bool):
        return str(int(value))
    if isinstance(value, int):
        return str(value)
    if digits is not None:
        return f"{value:.{digits}f}"
    text = f"{value:.12g}"
    return text if any(sign in text for sign in ".en") else f"{text}.0"


def _json(value: Any) -> str:
    return json.dumps(value, indent=1, sort_keys=True) + "\n"


def main(arguments: list[str] | None = None) -> int:
    """Run the command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--check", action="store_true", help="only compare, write nothing")
    options = parser.parse_args(arguments)
    now = made()
    if options.check:
        told = differences(stored(), now)
        print(*(told or ["no drift"]), sep="\n")
        return 1 if told else 0
    FOLDER.mkdir(parents=True, exist_ok=True)
    for name in stored():
        (FOLDER / name).unlink()
    for name, text in now.items():
        (FOLDER / name).write_text(text, encoding="utf-8")
    print(f"wrote {len(now)} files, {sum(map(len, now.values())) / 1000:.0f} kB, to {FOLDER.name}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
