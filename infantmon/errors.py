"""The few exceptions of the library, and the helpers that word their messages.

Every message says what was wrong, the value seen with its unit, the limit, and what to do.
"""

from __future__ import annotations

import dataclasses
import math
import os
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, TypeVar

_K = TypeVar("_K")

HIGHEST_RATE_HZ = 1e6
"""No signal here is sampled faster: a higher rate is a slip of the unit, and would fill memory."""
LONGEST_NAME = 255
"""Bytes of the longest name of a file or folder, as in most file systems."""


class InfantmonError(Exception):
    """Base of every error that the library raises on purpose."""


class ArgumentError(InfantmonError, ValueError):
    """A caller passed a value that cannot be used."""


class RecordingError(InfantmonError):
    """A recording, or a file that should hold one, cannot be used."""


class PrescriptionError(InfantmonError, ValueError):
    """A prescription has faults; all of them are told at once."""


class StateError(InfantmonError):
    """A saved state is damaged, of another format, or of other settings."""


def require_rate(rate_hz: object, *, name: str = "rate_hz", lowest_hz: float = 0.0) -> float:
    """Return a sampling rate as a float, or say why it cannot be one.

    Parameters
    ----------
    rate_hz : object
        What the caller passed, in Hz.
    name : str
        The argument's name, for the message.
    lowest_hz : float
        The lowest rate that can be used, in Hz; 0 admits every positive rate.

    Raises
    ------
    ArgumentError
        If it is not a finite number above 0 Hz, at least `lowest_hz`, and at most 1 MHz.
    """
    value = require_number(rate_hz, name=name, unit="Hz")
    if value <= 0.0:
        raise ArgumentError(
            f"{name} is {value:g} Hz; a sampling rate must be above 0 Hz. "
            "Pass the rate at which the samples were taken."
        )
    if value < lowest_hz:
        raise ArgumentError(
            f"{name} is {value:g} Hz; the lowest rate that works here is {lowest_hz:g} Hz. "
            "Record at a higher rate; resampling does not bring back what is missing."
        )
    if value > HIGHEST_RATE_HZ:
        raise ArgumentError(
            f"{name} is {value:g} Hz; the highest rate that is taken is {HIGHEST_RATE_HZ:g} Hz. "
            "Pass samples a second."
        )
    return value


def require_number(value: object, *, name: str, unit: str) -> float:
    """Return a finite number as a float, or raise an `ArgumentError` that names it."""
    if isinstance(value, (bool, str)) or not _is_scalar(value):
        raise ArgumentError(f"{name} is {value!r}; a number in {unit} is expected.")
    number = _as_float(value)
    if not math.isfinite(number):
        raise ArgumentError(f"{name} is {number} {unit}; a finite number in {unit} is expected.")
    return number


def require_whole(value: object, low: int, high: int, *, name: str, unit: str = "") -> int:
    """Return a whole number in [low, high], or raise an `ArgumentError` that names both limits."""
    whole = _is_scalar(value) and not isinstance(value, (bool, str))
    if not whole or not low <= _as_float(value) <= high or _as_float(value) % 1.0:
        raise ArgumentError(
            f"{name} is {_shown(value)}; a whole number from {low} to {high} is expected"
            f"{unit and f' ({unit})'}."
        )
    return int(value)  # type: ignore[call-overload,no-any-return]  # floats are not exact


def require_bound(value: object, *, name: str, unit: str) -> float:
    """Return the end of a stretch as a float: a number or infinity; else name it and raise."""
    if not isinstance(value, str) and _is_scalar(value) and math.isinf(_as_float(value)):
        return _as_float(value)
    return require_number(value, name=name, unit=unit)


def require_between(value: object, low: float, high: float, *, name: str, unit: str) -> float:
    """Return a number in [low, high], or raise an `ArgumentError` that names both limits."""
    number = require_number(value, name=name, unit=unit)
    if not low <= number <= high:
        raise ArgumentError(
            f"{name} is {number:g} {unit}; it must be between {low:g} and {high:g} {unit}."
        )
    return number


def require_text(value: object, *, name: str) -> str:
    """Return a text, or raise an `ArgumentError` that names it."""
    if not isinstance(value, str):
        raise ArgumentError(f"{name} is {_shown(value)}; a text is expected.")
    return value


def require_path(value: object, *, name: str = "path") -> Path:
    """Return a path, or raise an `ArgumentError` that names it."""
    if not isinstance(value, (str, Path)) and not hasattr(value, "__fspath__"):
        raise ArgumentError(f"{name} is {_shown(value)}; the path of a file or folder is expected.")
    text = os.fspath(value)
    if not isinstance(text, str) or "\0" in text:
        raise ArgumentError(f"{name} is {_shown(text)}; a text without NUL is expected as a path.")
    path = Path(text)
    longest = max((len(part.encode(errors="replace")) for part in path.parts), default=0)
    if longest > LONGEST_NAME:
        raise ArgumentError(
            f"{name} holds a name of {longest} bytes; the longest of a file has {LONGEST_NAME}."
        )
    return path


def require_kind(
    value: object, kind: type[_K] | tuple[type[_K], ...], *, name: str, called: str
) -> _K:
    """Return a value of the kind expected, or raise an `ArgumentError` that says what to pass."""
    if not isinstance(value, kind):
        raise ArgumentError(f"{name} is a {type(value).__name__}; pass {called}.")
    return value


def require_mapping(value: object, *, name: str, called: str) -> Mapping[Any, Any]:
    """Return a mapping, or raise an `ArgumentError` that says what to pass."""
    if not isinstance(value, Mapping):
        raise ArgumentError(f"{name} is a {type(value).__name__}; pass {called}.")
    return value


def require_row(values: object, *, name: str, called: str) -> tuple[Any, ...]:
    """Return what stands in a row, or raise an `ArgumentError` that says what to pass."""
    none = isinstance(values, (str, bytes)) or getattr(values, "ndim", 1) == 0
    if none or not isinstance(values, Iterable):
        raise ArgumentError(f"{name} is a {type(values).__name__}; pass a list of {called}.")
    return tuple(values)


def require_each(values: object, kind: type[_K], *, name: str, called: str) -> tuple[_K, ...]:
    """Return values of one kind in a row, or raise an `ArgumentError` that says what to pass."""
    if isinstance(values, kind):
        raise ArgumentError(f"{name} is one {type(values).__name__}; pass a list of them.")
    row: tuple[_K, ...] = require_row(values, name=name, called=called)
    for value in row:
        require_kind(value, kind, name=f"one of {name}", called=called)
    return row


def as_floats(settings: object) -> None:
    """Make numbers of any type floats in the fields of a frozen dataclass that hold floats.

    What is no number is left as it is, for the checks that follow. So a rate from an array of
    float32, or an exact fraction, gives what the same rate as a float gives.
    """
    for field in dataclasses.fields(settings):  # type: ignore[arg-type]
        value = getattr(settings, field.name)
        number = not isinstance(value, (bool, str, float)) and _is_scalar(value)
        if field.type in ("float", "float | None") and (number or isinstance(value, float)):
            object.__setattr__(settings, field.name, _as_float(value))


def _as_float(value: object) -> float:
    """Return a number as a float: infinity where it is too large for one, NaN where it is none."""
    try:
        return float(value)  # type: ignore[arg-type]
    except OverflowError:
        return math.inf
    except (TypeError, ValueError):
        return math.nan


def _is_scalar(value: object) -> bool:
    """Tell whether a NumPy scalar (or another number-like) can stand for a float."""
    real = getattr(getattr(value, "dtype", None), "kind", "f") in "fiu"
    return real and hasattr(value, "__float__") and getattr(value, "ndim", 0) == 0


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else f"a {type(value).__name__}"
