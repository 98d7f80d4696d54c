"""Which channel is the ECG and which the chest impedance: by name and unit, never by position.

The names are those in use across recorders and databases (common practice); lead names are those of
electrocardiography, MCL and ML the modified chest and limb leads of monitoring.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from pathlib import Path

from infantmon.errors import ArgumentError, RecordingError, require_text
from infantmon.formats.source import Listed
from infantmon.model.recording import ROLE_WORDS
from infantmon.model.units import IMPEDANCES, VOLTAGES

_COUNTS = frozenset({"adu", "raw", "count", "counts", "digit", "digits", "lsb"})

_LEADS = (
    *("ii", "mlii", "ml ii", "i", "mli", "ml i", "iii", "mliii", "ml iii"),
    *(
        "mcl",
        *(f"mcl{n}" for n in range(1, 7)),
        "v",
        *(f"v{n}" for n in (5, 4, 6, 3, 2, 1, 7, 8, 9)),
    ),
    *("avf", "avl", "avr", "mv1", "mv2", "mv5", "cm5", "cc5", "cs5", "d1", "d2", "d3", "d4"),
)
_IMPEDANCE_NAMES = (
    *("impedance", "thoracic impedance", "chest impedance", "transthoracic impedance"),
    *("thorax impedance", "respiratory impedance", "respiration impedance", "resp impedance"),
    *("impedance pneumogram", "impedance pneumography", "impedance respiration", "impedance resp"),
    *("imp", "imp resp", "resp imp", "thor imp", "tti", "z", "pneumogram"),
    *("resp", "respiration", "respiratory", "breathing", "resp1", "resp 1"),
)
_NOT_A_WAVEFORM = re.compile(
    r"\b(hr|rr|rate|heart rate|quality|sqi|status|alarm|pulse|st|off|base|trend|flow|nasal|oral|"
    r"rip|belt|effort|temp|co2|mean|limit)\b"
)
LOWEST_RATE_HZ = {"ecg": 25.0, "ecg2": 25.0, "impedance": 4.0}
"""A channel below this is a trend of numbers, not a waveform (project rule); ask for it by name."""


def role_label(name: str, role: str) -> str:
    """Return a channel's name for a file, such that reading the file finds its role again."""
    written = {"ecg": "ECG", "ecg2": "ECG 2", "impedance": "IMPEDANCE"}[role]
    for label in (name, f"{written} {name}"):
        folded = _folded(label)
        rank = _impedance_rank(folded, None) if role == "impedance" else _ecg_rank(folded)
        if name and rank is not None:
            return label
    return written


def choose(
    channels: Sequence[Listed],
    asked: Mapping[str, str | None],
    where: Path,
    elsewhere: Collection[str] = (),
) -> tuple[dict[str, Listed], list[str]]:
    """Return which channel takes which role, and notes on what had to be decided.

    Parameters
    ----------
    channels : sequence of Listed
        What the file has.
    asked : mapping of str to str or None
        For "ecg", "ecg2" and "impedance" the name that the caller chose, or None to find it.
    where : pathlib.Path
        The file, for messages.
    elsewhere : collection of str
        Roles that another file fills: it is not told that they are missing here.

    Raises
    ------
    RecordingError
        If a channel asked for is not there, or no channel is ECG or impedance by name and unit.
    ArgumentError
        If one channel is asked for in two roles, or a name is no text.
    """
    _require_names(asked)
    chosen = {role: _named(channels, name, role, where) for role, name in asked.items() if name}
    indices = [listed.index for listed in chosen.values()]
    if len(set(indices)) < len(indices):
        told = ", ".join(f"{role}={listed.name!r}" for role, listed in chosen.items())
        raise ArgumentError(f"one channel is asked for in two roles: {told}. Choose another.")
    notes = [
        f"{listed.words} was asked for as {role}, but ohm is no unit of an ECG; check the name"
        for role, listed in chosen.items()
        if role != "impedance" and listed.unit in IMPEDANCES
    ]
    for role in ("ecg", "impedance"):
        if role not in chosen:
            free = [listed for listed in channels if listed.index not in indices]
            found, told_notes = _found(free, role)
            notes += told_notes
            if found is not None:
                chosen[role] = found
    if not chosen:
        raise RecordingError(
            f"{where}: no channel is known as ECG or chest impedance by its name and unit. "
            f"It has {_listing(channels)}. Choose with ecg=NAME and impedance=NAME "
            "(--ecg NAME, --impedance NAME)." + "".join(f" {note}." for note in notes)
        )
    for role in ("ecg", "impedance"):
        if role not in chosen and role not in elsewhere:
            notes.append(
                f"no {ROLE_WORDS[role]} found by name and unit among {_listing(channels)}; "
                f"{role}=NAME (--{role} NAME) chooses one"
            )
    return chosen, notes


def looks_like_ecg(name: str) -> bool:
    """Tell whether a channel's name alone is one that an ECG has."""
    return _ecg_rank(_folded(name)) is not None


def has_channel(channels: Sequence[Listed], name: str) -> bool:
    """Tell whether one of the channels has a name."""
    return _of_name(channels, name) is not None


def has_kind(channels: Sequence[Listed], role: str) -> bool:
    """Tell whether one of the channels is, by its name and unit, of the kind of a role."""
    found, _ = _found(channels, "impedance" if role == "impedance" else "ecg")
    return found is not None


def _require_names(asked: Mapping[str, str | None]) -> None:
    for role, name in asked.items():
        if name is not None:
            require_text(name, name=role)


def _named(channels: Sequence[Listed], name: str, role: str, where: Path) -> Listed:
    """Return the channel that the caller asked for by its name."""
    listed = _of_name(channels, name)
    if listed is None:
        raise RecordingError(
            f"{where} has no channel {name!r} to take as {role}. It has {_listing(channels)}."
        )
    return listed


def _of_name(channels: Sequence[Listed], name: str) -> Listed | None:
    wanted = name.strip()
    for same in (str, str.casefold):
        for listed in channels:
            names = {listed.name.strip(), f"{listed.name} [{listed.unit}]"}
            if same(wanted) in {same(n) for n in names}:
                return listed
    return None


def _found(channels: Sequence[Listed], role: str) -> tuple[Listed | None, list[str]]:
    """Return the channel of best rank for a role, with notes on the others."""
    ranked = [(_rank(listed, role), listed) for listed in channels]
    fitting = sorted(
        ((rank, listed.index, listed) for rank, listed in ranked if rank is not None),
        key=lambda entry: entry[:2],
    )
    waves = [entry[2] for entry in fitting if _is_wave(entry[2], role)]
    notes = [
        f"{listed.words} is too slow for a waveform and was not taken as {role}"
        for _, _, listed in fitting
        if not _is_wave(listed, role)
    ]
    if not waves:
        return None, notes
    if len(waves) > 1:
        others = ", ".join(listed.words for listed in waves[1:])
        notes.append(
            f"{role} is {waves[0].words}, first by the order of preference; also there: {others}"
        )
    return waves[0], notes


def _is_wave(listed: Listed, role: str) -> bool:
    return listed.rate_hz >= LOWEST_RATE_HZ[role]


def _rank(listed: Listed, role: str) -> int | None:
    """Return how well name and unit fit a role (0 is best), or None where they do not."""
    unit = listed.unit if listed.unit and listed.unit.casefold() not in _COUNTS else None
    name = _folded(listed.name)
    if role == "impedance":
        known = unit is None or unit in IMPEDANCES or unit in VOLTAGES
        return _impedance_rank(name, unit) if known else None
    return _ecg_rank(name) if unit is None or unit in VOLTAGES else None


def _ecg_rank(name: str) -> int | None:
    if _NOT_A_WAVEFORM.search(name):
        return None
    bare = re.sub(r"^(ecg|ekg|lead)\b ?", "", re.sub(r"^(ecg|ekg)(?=\d)", r"\1 ", name))
    if bare in _LEADS:
        return 1 + _LEADS.index(bare)
    if bare == name:
        return None
    return 0 if not bare else 100


def _impedance_rank(name: str, unit: str | None) -> int | None:
    if _NOT_A_WAVEFORM.search(name):
        return None
    if name in _IMPEDANCE_NAMES:
        return _IMPEDANCE_NAMES.index(name)
    if re.search(r"\bimpedance\b", name):
        return len(_IMPEDANCE_NAMES)
    return len(_IMPEDANCE_NAMES) + 1 if unit in IMPEDANCES else None


def _folded(name: str) -> str:
    """Return a name in lower case with single blanks, without the number that tells doubles."""
    return re.sub(r"[\s_\-./:]+", " ", name.split("#", maxsplit=1)[0]).strip().casefold()


def _listing(channels: Sequence[Listed]) -> str:
    if not channels:
        return "no channels"
    told = ", ".join(listed.words for listed in channels[:40])
    return told + (f" and {len(channels) - 40} more" if len(channels) > 40 else "")
