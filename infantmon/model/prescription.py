"""A prescription: the limits that a physician set.

No value has a default, and an absent table means that this is not watched. The library checks that
a prescription is plausible and complete. It never proposes one.
"""

from __future__ import annotations

import tomllib
import warnings
from collections.abc import Collection, Container, Iterable, Mapping
from datetime import date
from pathlib import Path
from typing import Any, Self, get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from infantmon.errors import PrescriptionError, require_path
from infantmon.model.counting import counted

KINDS = (
    "apnea",
    "low heart rate",
    "high heart rate",
    "no heart beat",
    "periodic breathing",
    "contact loss",
    "signal unusable",
)
"""Kinds of alarm condition; the last two are technical, the others physiological."""
AVERAGING = ("average_beats", "average_s")
"""Values of a limit on the heart rate that say over what it is averaged: one of the two."""
NO_LIMIT, NO_CHANNEL = "no limit set", "no channel for it"
"""Why a kind is not watched."""


def kinds_in_order(found: Iterable[str]) -> list[str]:
    """Return each kind once, in the order of `KINDS`; others follow by name."""
    once = set(found)
    return [*(kind for kind in KINDS if kind in once), *sorted(once - set(KINDS))]


def averaging_text(average_beats: int | None, average_s: float | None) -> str:
    """Return in words over what a heart rate is averaged: so many beats, or so many seconds."""
    if average_beats is not None:
        return f"mean of the last {average_beats} RR intervals"
    return f"mean of the RR intervals of the last {average_s:g} s"


class UnusualLimitWarning(UserWarning):
    """A limit is possible but outside what is common; check that it was meant."""


class _Table(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class _Limits(_Table):
    @field_validator("*", mode="before")
    @classmethod
    def _no_guess(cls, value: object) -> object:
        """Refuse true, false and quoted numbers: what was meant would be a guess."""
        if isinstance(value, (bool, str)):
            raise ValueError("must be a number, without quotes")  # noqa: TRY004 - pydantic takes it
        return value


class ApneaLimit(_Limits):
    """A pause in breathing of `limit_s` or more, mark to mark, is an apnea."""

    limit_s: float = Field(ge=5, le=60, description="s")


class HeartRateLimit(_Limits):
    """A heart rate beyond `limit_bpm` for `hold_off_s`, averaged over beats or seconds.

    Below the limit (low) or above it (high), strictly. The averaging is over the last
    `average_beats` RR intervals, or over the intervals that end in the last `average_s` seconds;
    after a start or an unusable stretch over as many as there are.
    """

    limit_bpm: float = Field(ge=20, le=350, description="beats a minute")
    hold_off_s: float = Field(ge=0, le=120, description="s")
    average_beats: int | None = Field(default=None, ge=1, le=60)
    average_s: float | None = Field(default=None, ge=1, le=60, description="s")

    @model_validator(mode="after")
    def _one_averaging(self) -> Self:
        if (self.average_beats is None) == (self.average_s is None):
            raise ValueError("give either average_beats or average_s, one of the two")
        return self

    @property
    def averaging(self) -> str:
        """The averaging in words."""
        return averaging_text(self.average_beats, self.average_s)


class NoHeartBeatLimit(_Limits):
    """A time without a heart beat of `limit_s` or more."""

    limit_s: float = Field(ge=1, le=30, description="s")


class ContactLossLimit(_Limits):
    """An unusable signal for longer than `delay_s`."""

    delay_s: float = Field(ge=0, le=600, description="s")


class PeriodicBreathingLimit(_Limits):
    """At least `count` pauses of `pause_s` or more, each within `gap_s` of the one before."""

    pause_s: float = Field(ge=2, le=20, description="s")
    count: int = Field(ge=2, le=20)
    gap_s: float = Field(ge=1, le=120, description="s")


class Infant(_Table):
    """Who is watched, as far as it is given; no identity is needed."""

    label: str | None = None
    born_on: date | None = None
    postmenstrual_age_weeks: float | None = Field(default=None, ge=22, le=200)


class Prescriber(_Table):
    """Who set the limits and when, as free text."""

    name: str | None = None
    prescribed_on: date | None = None
    note: str | None = None


class Prescription(_Table):
    """The limits in force. An absent table means that this is not watched.

    A table is a mapping of its limits, in code as in a file; none of them has a default.

    Parameters
    ----------
    apnea : mapping or ApneaLimit
        `limit_s`, 5 to 60 s.
    low_heart_rate, high_heart_rate : mapping or HeartRateLimit
        `limit_bpm`, 20 to 350 beats a minute; `hold_off_s`, 0 to 120 s; and either
        `average_beats`, 1 to 60, or `average_s`, 1 to 60 s.
    no_heart_beat : mapping or NoHeartBeatLimit
        `limit_s`, 1 to 30 s.
    contact_loss : mapping or ContactLossLimit
        `delay_s`, 0 to 600 s; for "signal unusable" too.
    periodic_breathing : mapping or PeriodicBreathingLimit
        `pause_s`, 2 to 20 s; `count`, 2 to 20; `gap_s`, 1 to 120 s.
    infant : mapping or Infant
        `label`, `born_on`, `postmenstrual_age_weeks`, 22 to 200; each may be left out.
    prescriber : mapping or Prescriber
        `name`, `prescribed_on`, `note`; each may be left out.

    Raises
    ------
    PrescriptionError
        With all faults at once, each with the value seen and the limit.

    Examples
    --------
    The numbers are an example, not a recommendation.

    >>> plan = Prescription(apnea={"limit_s": 20}, contact_loss={"delay_s": 5})
    >>> plan.apnea.limit_s
    20.0
    >>> plan.not_watched
    ('low heart rate', 'high heart rate', 'no heart beat', 'periodic breathing')
    """

    apnea: ApneaLimit | None = None
    low_heart_rate: HeartRateLimit | None = None
    high_heart_rate: HeartRateLimit | None = None
    no_heart_beat: NoHeartBeatLimit | None = None
    contact_loss: ContactLossLimit | None = None
    periodic_breathing: PeriodicBreathingLimit | None = None
    infant: Infant | None = None
    prescriber: Prescriber | None = None

    def __init__(self, **tables: Any) -> None:
        try:
            super().__init__(**tables)
        except ValidationError as fault:
            raise PrescriptionError(_tell_all(fault)) from fault
        self._warn_of_unusual()

    @model_validator(mode="after")
    def _low_below_high(self) -> Self:
        low, high = self.low_heart_rate, self.high_heart_rate
        if low is not None and high is not None and low.limit_bpm >= high.limit_bpm:
            raise ValueError(
                f"the low limit is {low.limit_bpm:g} and the high limit {high.limit_bpm:g} beats a "
                "minute; the low one must be below the high one"
            )
        return self

    @classmethod
    def from_toml(cls, path: str | Path) -> Self:
        """Read a prescription from a TOML file.

        Parameters
        ----------
        path : str or path
            The file; see `examples/limits.toml` of the project.

        Raises
        ------
        PrescriptionError
            If the file cannot be read, is not TOML, or has faults (all told at once).
        """
        try:
            tables = tomllib.loads(require_path(path).read_text(encoding="utf-8"))
        except OSError as fault:
            why = fault.strerror or str(fault)
            raise PrescriptionError(
                f"the prescription {path} cannot be read ({why}); check the path."
            ) from fault
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
            raise PrescriptionError(
                f"the prescription {path} is not valid TOML ({fault}); mend that line."
            ) from fault
        try:
            return cls(**tables)
        except PrescriptionError as fault:
            raise PrescriptionError(f"{path}: {fault}") from fault

    @property
    def not_watched(self) -> tuple[str, ...]:
        """Kinds of condition that this prescription does not watch."""
        watched: Mapping[str, object | None] = {
            "apnea": self.apnea,
            "low heart rate": self.low_heart_rate,
            "high heart rate": self.high_heart_rate,
            "no heart beat": self.no_heart_beat,
            "periodic breathing": self.periodic_breathing,
            "contact loss": self.contact_loss,
            "signal unusable": self.contact_loss,
        }
        return tuple(kind for kind in KINDS if watched[kind] is None)

    def why_not_watched(self, watched: Container[str]) -> dict[str, str]:
        """Return why each kind that is not watched is not, in words.

        Parameters
        ----------
        watched : container of str
            Kinds that are: with a limit here, and the channel that they rest on.

        Returns
        -------
        dict of str to str
            By kind, those without a limit first: "no limit set" or "no channel for it".
        """
        unset = dict.fromkeys(self.not_watched, NO_LIMIT)
        unseen = (kind for kind in KINDS if kind not in unset and kind not in watched)
        return unset | dict.fromkeys(unseen, NO_CHANNEL)

    def _warn_of_unusual(self) -> None:
        if self.apnea is not None and not 10 <= self.apnea.limit_s <= 30:
            warnings.warn(
                f"apnea limit_s = {self.apnea.limit_s:g} s is unusual (10 to 30 s is common "
                "practice); check that it was meant.",
                UnusualLimitWarning,
                stacklevel=3,
            )


def _tell_all(fault: ValidationError) -> str:
    """Word every fault as one line: where, what was seen, what is expected."""
    lines = []
    for error in fault.errors():
        where = ".".join(str(part) for part in error["loc"]) or "prescription"
        seen = "" if isinstance(error["input"], (dict, BaseModel)) else f" (got {error['input']!r})"
        unit = _unit_of(error["loc"]) if error["type"] in _BOUNDS else ""
        known = _known_beside(error["loc"]) if error["type"] == "extra_forbidden" else ""
        lines.append(f"{where}: {_plain_words(error['type'], error['msg'])}{unit}{known}{seen}")
    return f"the prescription has {counted(len(lines), 'fault')}:\n  " + "\n  ".join(lines)


_BOUNDS = ("greater_than_equal", "less_than_equal")


def _known_beside(where: tuple[int | str, ...]) -> str:
    """Return the names that could stand where one is not known."""
    fields: Collection[str] = Prescription.model_fields
    for table in where[:-1]:
        kinds = get_args(Prescription.model_fields[str(table)].annotation)
        fields = [n for k in kinds if issubclass(k, _Table) for n in k.model_fields]
    return f" (known are {', '.join(fields)})"


def _unit_of(where: tuple[int | str, ...]) -> str:
    """Return the unit of a limit, with a space before it, as its table states it."""
    table, name = where
    for kind in get_args(Prescription.model_fields[str(table)].annotation):
        if issubclass(kind, _Table) and (unit := kind.model_fields[str(name)].description):
            return f" {unit}"
    return ""


_WORDS = {
    "missing": "is missing; no limit has a default",
    "extra_forbidden": "is not known here; take it out or mend its name",
    "model_type": "must be a table with its limits below, as [apnea] has limit_s",
    "float_type": "must be a number",
    "int_type": "must be a whole number",
    "int_from_float": "must be a whole number",
    "finite_number": "must be a finite number",
}


def _plain_words(kind: str, message: str) -> str:
    told = message.removeprefix("Value error, ").replace("Input should be", "must be")
    told = told.replace("greater than or equal to", "at least")
    return _WORDS.get(kind, told.replace("less than or equal to", "at most"))
