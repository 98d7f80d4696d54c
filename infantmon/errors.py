"""The few exceptions of the library, and the helpers that word their messages.

Every message says what was wrong, the value seen with its unit, the limit, and what to do.
"""

from __future__ import annotations

import math

HIGHEST_RATE_HZ = 1e6
"""No signal here is sampled faster: a higher rate is a slip of the unit, and would fill memory."""


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
    number = float(value)  # type: ignore[arg-type]
    if not math.isfinite(number):
        raise ArgumentError(f"{name} is {number} {unit}; a finite number in {unit} is expected.")
    return number


def require_bound(value: object, *, name: str, unit: str) -> float:
    """Return the end of a stretch as a float: a number or infinity; else name it and raise."""
    if not isinstance(value, str) and _is_scalar(value) and math.isinf(float(value)):  # type: ignore[arg-type]
        return float(value)  # type: ignore[arg-type]
    return require_number(value, name=name, unit=unit)


def require_between(value: object, low: float, high: float, *, name: str, unit: str) -> float:
    """Return a number in [low, high], or raise an `ArgumentError` that names both limits."""
    number = require_number(value, name=name, unit=unit)
    if not low <= number <= high:
        raise ArgumentError(
            f"{name} is {number:g} {unit}; it must be between {low:g} and {high:g} {unit}."
        )
    return number


def _is_scalar(value: object) -> bool:
    """Tell whether a NumPy scalar (or another number-like) can stand for a float."""
    return hasattr(value, "__float__") and getattr(value, "ndim", 0) == 0
