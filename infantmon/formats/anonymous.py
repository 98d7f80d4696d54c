"""What a header may keep when it must not tell whose recording it is."""

from __future__ import annotations

import re
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta

from infantmon.errors import RecordingError
from infantmon.model.units import plain_unit

_LEAST_DAYS, _MOST_DAYS = 366, 3652
_FIRST_YEAR = 1985  # the earliest that EDF can state
_UNIT = re.compile(r"[A-Za-z%/^.\d²-]{1,8}")
# What channels are called in headers (common practice); lead names are matched on their own.
_WORDS = frozenset(
    re.findall(
        r"\w+",
        """
        abd abdomen abdominal abp ac accelerometer activity air airflow annotations art base belt
        blood bp breathing bvp cardiac chest co2 count counter cvp date datetime dc diff direct ecg
        eeg effort ekg elapsed emg eog etco2 event events fetal fhr flow gyro heart hr ibp imp
        impedance ind indicator lead light marker mic ms mv nasal nibp nirs o2 ohm oral oximeter pap
        phase pleth plethysmogram pneumogram position ppg pressure pulse quality rate raw ref
        reference resp respiration respiratory rip rr sao2 sec seconds signal snore sound spo2 sqi
        status sum tcco2 temp temperature thor thoracic thorax time timestamp transthoracic trigger
        tti uterus uv v volume x y z
        """,
    )
)
_LEAD = re.compile(r"(mod)?(i{1,3}|av[rlf]|v\d{1,2}r?|m?v\d|mli{0,3}|mcl\d?|c[mcs]5|d\d)")


@dataclass(frozen=True)
class DateShift:
    """A number of days that dates are moved by; it is written nowhere.

    One shift for all files of one infant keeps them apart by the right time.
    """

    days: int

    @classmethod
    def drawn(cls) -> DateShift:
        """Return a shift of one to ten years back, drawn by the system's generator of secrets."""
        return cls(-(_LEAST_DAYS + secrets.randbelow(_MOST_DAYS - _LEAST_DAYS + 1)))

    def moved(self, start: datetime) -> datetime:
        """Return a start moved; the time of day stays. What would fall too early goes forward."""
        earlier = start + timedelta(days=self.days)
        return earlier if earlier.year >= _FIRST_YEAR else start - timedelta(days=self.days)


def plain_label(label: str, number: int) -> str:
    """Return a channel's label if it is made of words that any channel may have, else a number.

    Parameters
    ----------
    label : str
        As the file has it.
    number : int
        Which channel it is, from 1.
    """
    words = re.findall(r"[A-Za-z]+\d{0,2}[a-z]?|\d{1,2}", label)
    rest = re.sub(r"[A-Za-z]+\d{0,2}[a-z]?|\d{1,2}", "", label)
    known = all(
        word.isdigit()
        or word.casefold() in _WORDS
        or word.rstrip("0123456789").casefold() in _WORDS
        or _LEAD.fullmatch(word.casefold())
        for word in words
    )
    if (
        words
        and known
        and not re.search(r"\d{3}", label)
        and not re.sub(r"[\s_\-+./:#()\[\]]", "", rest)
    ):
        return label
    return f"ch{number}"


def plain_unit_text(unit: str) -> str:
    """Return a unit as the file has it if it can be one, else nothing."""
    return unit if plain_unit(unit) is not None and _UNIT.fullmatch(unit) else ""


def require_plain(text: str, pattern: str, what: str, where: object) -> str:
    """Return a field of a header if it has the form it should have.

    Raises
    ------
    RecordingError
        If not: what stands there instead could tell anything.
    """
    if not re.fullmatch(pattern, text):
        raise RecordingError(
            f"{where}: {what} is {text[:40]!r}, which is not of the form it should have; it may "
            "tell anything, so nothing was written. Correct the header."
        )
    return text
