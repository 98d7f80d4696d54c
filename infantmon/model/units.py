"""Units of channels in one spelling."""

from __future__ import annotations

from infantmon.errors import require_text

_UNITS = {
    "v": "V",
    "mv": "mV",
    "millivolt": "mV",
    "millivolts": "mV",
    "uv": "uV",
    "microvolt": "uV",
    "microvolts": "uV",
    "nv": "nV",
    "ohm": "ohm",
    "ohms": "ohm",
    "mohm": "mohm",
    "mohms": "mohm",
    "kohm": "kohm",
    "kohms": "kohm",
}
VOLTAGES = frozenset({"V", "mV", "uV", "nV"})
IMPEDANCES = frozenset({"ohm", "mohm", "kohm"})
_NO_UNIT = frozenset({"", "?", "-", "nu", "au", "a.u.", "arb", "arb.", "n/a", "none"})


def plain_unit(text: str) -> str | None:
    """Return a unit in plain spelling ("mV", "uV", "ohm"), others as they are, or None for none.

    Raises
    ------
    ArgumentError
        If it is no text.
    """
    stripped = require_text(text, name="unit").strip().strip("[]()").strip()
    if stripped.casefold() in _NO_UNIT:
        return None
    told = stripped.replace("\u00b5", "u").replace("\u03bc", "u")  # two micro signs
    told = told.replace("\u03a9", "ohm").replace("\u2126", "ohm")  # omega, ohm sign
    return _UNITS.get(told.casefold().replace(" ", ""), told)
