"""Scenarios as TOML files: read with every fault told at once, and written so that they read back.

A file has `duration_s`, `ecg_hz`, `impedance_hz` and may have `name` and `seed`; the tables
`[infant]` (age), `[heart]`, `[breathing]`, `[lead]`, `[lead2]`, `[pulsation]`, `[ecg]`, `[ecg2]`,
`[impedance]`; and an `[[event]]` for each thing that happens. What is left out is as usual.
"""

from __future__ import annotations

import dataclasses
import json
import os
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from infantmon.errors import ArgumentError, require_path, require_text
from infantmon.model.counting import counted
from infantmon.simulate.ages import breathing_at, heart_at
from infantmon.simulate.breathing import Breathing
from infantmon.simulate.ecg import EcgLead
from infantmon.simulate.heart import Heart
from infantmon.simulate.scenario import EcgChannel, Event, ImpedanceChannel, Scenario
from infantmon.simulate.shown import Shown
from infantmon.simulate.tables import Reader
from infantmon.simulate.words import AS_BEFORE, EVENTS, PLAUSIBLE, PULSATIONS, SHOWN, word_of

_NUMBERS = ("duration_s", "ecg_hz", "impedance_hz")
_TABLES: dict[str, type[Any]] = {
    "heart": Heart,
    "breathing": Breathing,
    "lead": EcgLead,
    "lead2": EcgLead,
    "ecg": EcgChannel,
    "ecg2": EcgChannel,
    "impedance": ImpedanceChannel,
}
_KNOWN = ("name", "seed", *_NUMBERS, "infant", *_TABLES, "pulsation", "event")


@dataclass(frozen=True)
class _Infant:
    """The age whose published rates stand where the file gives none."""

    age_months: float
    heart_centile: float = 50.0
    breathing_centile: float = 50.0

    def __post_init__(self) -> None:
        heart_at(self.age_months, centile=self.heart_centile)
        breathing_at(self.age_months, centile=self.breathing_centile)


def read_scenario(path: str | os.PathLike[str]) -> tuple[Scenario, int | None]:
    """Return the scenario of a TOML file, and its seed if it has one.

    Parameters
    ----------
    path : str or path
        The file.

    Raises
    ------
    ArgumentError
        If the file cannot be read, or with every fault in it, one a line.
    """
    try:
        text = require_path(path).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as fault:
        told = getattr(fault, "strerror", None) or "it is not a text in UTF-8"
        raise ArgumentError(f"{path} cannot be read ({told}); pass a scenario as TOML.") from fault
    return scenario_from_toml(text, where=str(path))


def scenario_from_toml(text: str, *, where: str = "the scenario") -> tuple[Scenario, int | None]:
    """Return the scenario of a TOML text, and its seed if it has one.

    Parameters
    ----------
    text : str
        The text.
    where : str
        What to call it in messages.

    Raises
    ------
    ArgumentError
        With every fault, one a line.
    """
    try:
        table = tomllib.loads(require_text(text, name="text"))
    except tomllib.TOMLDecodeError as fault:
        raise ArgumentError(f"{where} is not TOML: {fault}.") from fault
    reader = Reader()
    reader.faults += [
        f"{name} is not known; known are {', '.join(_KNOWN)}."
        for name in table
        if name not in _KNOWN
    ]
    parts = _parts(reader, table)
    seed = _seed(reader, table.get("seed"))
    _check_numbers(reader, parts)
    made = None if reader.faults else _scenario(reader, parts)
    if made is None:
        listed = "\n  ".join(reader.faults)
        count = len(reader.faults)
        raise ArgumentError(f"{where} has {counted(count, 'fault')}:\n  {listed}")
    return made, seed


def scenario_to_toml(scenario: Scenario, *, seed: int | None = None) -> str:
    """Return a scenario as a TOML text, with every value written out.

    Parameters
    ----------
    scenario : Scenario
        What to write.
    seed : int or None
        Written too, if given.
    """
    lines = ["# An invented infant. Not a real one, and no limit or advice.", ""]
    lines += [f"name = {_told(scenario.name)}"]
    lines += [f"{name} = {_told(getattr(scenario, name))}" for name in _NUMBERS]
    lines += [] if seed is None else [f"seed = {seed}"]
    for name in _TABLES:
        part = getattr(scenario, name)
        if part is not None:
            lines += ["", f"[{name}]", *_fields(part)]
    model = word_of(scenario.pulsation, PULSATIONS)
    lines += ["", "[pulsation]", f"model = {_told(model)}", *_fields(scenario.pulsation)]
    for event in scenario.events:
        kind = word_of(event, EVENTS)
        lines += ["", "[[event]]", f"kind = {_told(kind)}", *_fields(event)]
    return "\n".join(lines) + "\n"


def _parts(reader: Reader, table: Mapping[str, Any]) -> dict[str, Any]:
    """Return what the file gives of a scenario; a faulty part is missing and noted."""
    usual: dict[str, dict[str, Any]] = {}
    if "infant" in table:
        infant = reader.made(_Infant, table["infant"], "[infant]")
        if infant is not None:
            heart = heart_at(infant.age_months, centile=infant.heart_centile)
            breathing = breathing_at(infant.age_months, centile=infant.breathing_centile)
            usual["heart"] = {"rate_bpm": heart.rate_bpm}
            usual["breathing"] = {"rate_per_min": breathing.rate_per_min}
    parts = {name: table[name] for name in ("name", *_NUMBERS) if name in table}
    for name, kind in _TABLES.items():
        if name in table or name in usual:
            given = table.get(name, {})
            parts[name] = reader.made(kind, given, f"[{name}]", usual.get(name))
    if "pulsation" in table:
        found = reader.named(PULSATIONS, table["pulsation"], "model", "[pulsation]")
        parts["pulsation"] = found and reader.made(*found, "[pulsation]")
    parts["events"] = _events(reader, table.get("event", []))
    return parts


def _events(reader: Reader, tables: object) -> list[Event]:
    if not isinstance(tables, list):
        reader.faults.append("event: is one value; write each as [[event]].")
        return []
    events = []
    for number, table in enumerate(tables, start=1):
        where = f"event {number}"
        found = reader.named(EVENTS, table, "kind", where)
        if found is not None:
            events.append(reader.made(*found, f"{where} ({table['kind']})"))
    return events


def _check_numbers(reader: Reader, parts: Mapping[str, Any]) -> None:
    """Note what is wrong with the numbers at the top, each by itself."""
    good = {name: PLAUSIBLE[name] for name in _NUMBERS}
    for name in _NUMBERS:
        if name not in parts:
            reader.faults.append(f"{name} is missing.")
            continue
        try:
            Scenario(**{**good, name: parts[name]})
        except ArgumentError as fault:
            reader.faults.append(str(fault))
    if not isinstance(parts.get("name", ""), str):
        reader.faults.append(f"name is {parts['name']!r}; a text is expected.")


def _seed(reader: Reader, seed: object) -> int | None:
    if isinstance(seed, int) and not isinstance(seed, bool) and seed >= 0:
        return seed
    if seed is not None:
        reader.faults.append(f"seed is {seed!r}; a whole number of 0 or more is expected.")
    return None


def _scenario(reader: Reader, parts: dict[str, Any]) -> Scenario | None:
    """Return the scenario, or note which events do not go with those before them."""
    try:
        return Scenario(**parts)
    except ArgumentError:
        pass
    kept: list[Event] = []
    for event in parts["events"]:
        try:
            Scenario(**{**parts, "events": (*kept, event)})
        except ArgumentError as fault:
            number = parts["events"].index(event) + 1
            reader.faults.append(f"event {number} ({word_of(event, EVENTS)}): {fault}")
        else:
            kept.append(event)
    return None


def _fields(part: Any) -> Iterator[str]:
    """Yield the fields of a part, one a line; what is None and may be left out is left out."""
    for of in dataclasses.fields(part):
        value = getattr(part, of.name)
        if value is not None or str(of.type) == "Shown | None":
            yield f"{of.name} = {_told(value)}"


def _told(value: Any) -> str:
    """Return a value as TOML writes it."""
    if value is None:
        return json.dumps(AS_BEFORE)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, int):
        return str(value)
    if dataclasses.is_dataclass(value):
        fields = list(_fields(value))
        if isinstance(value, Shown):
            fields = [f"shows = {_told(word_of(value, SHOWN))}", *fields]
        return "{ " + ", ".join(fields) + " }"
    return repr(float(value))
