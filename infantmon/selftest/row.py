"""One row of the bench: what is tried, after which source, what was measured, and whether it does.

A trial measures; its row is what came of it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from infantmon.selftest.subject import Subject

PASS, FALLS_SHORT, NOT_RUN = "pass", "falls short", "not run"
"""Verdicts of a row."""

BEATS, CHAIN, RECORDED = "beats", "chain", "recorded beats"
"""What a trial needs: heart beats of a signal; the whole chain; beats of recorded waveforms."""


@dataclass(frozen=True, slots=True)
class Measured:
    """What a trial has measured.

    Attributes
    ----------
    text : str
        In words, with unit.
    passed : bool
        Whether it keeps the limit.
    numbers : dict of str to float
        The figures, for machines.
    reason : str
        Why it falls short, as far as it is known.
    """

    text: str
    passed: bool
    numbers: dict[str, float] = field(default_factory=dict)
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Bed:
    """What a trial works on.

    Attributes
    ----------
    subject : Subject
        What is tried.
    recordings : pathlib.Path or None
        The folder of the recorded waveforms, where they are at hand.
    """

    subject: Subject
    recordings: Path | None


@dataclass(frozen=True, slots=True)
class Trial:
    """One published test.

    Attributes
    ----------
    group, name : str
        What it is about; the name is unique.
    source : str
        Where the test and its limit come from, and how that is known.
    limit : str
        What has to be kept, in words.
    needs : str
        `BEATS`, `CHAIN` or `RECORDED`.
    measure : callable
        Does the measuring.
    """

    group: str
    name: str
    source: str
    limit: str
    needs: str
    measure: Callable[[Bed], Measured]


@dataclass(frozen=True, slots=True)
class Row:
    """What came of a trial.

    Attributes
    ----------
    group, name, source, limit : str
        As in `Trial`.
    measured : str
        What was measured, in words.
    verdict : str
        `PASS`, `FALLS_SHORT` or `NOT_RUN`.
    reason : str
        Why it was not run or falls short.
    numbers : dict of str to float
        The figures, for machines.
    """

    group: str
    name: str
    source: str
    limit: str
    measured: str
    verdict: str
    reason: str = ""
    numbers: dict[str, float] = field(default_factory=dict)
