"""The bench: all trials in order, run on one subject."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from infantmon.errors import ArgumentError
from infantmon.selftest.alarms import alarm_trials
from infantmon.selftest.breathing import breathing_trials
from infantmon.selftest.conditions import condition_trials
from infantmon.selftest.heart_rate import heart_rate_trials
from infantmon.selftest.row import (
    CHAIN,
    FALLS_SHORT,
    NOT_RUN,
    PASS,
    RECORDED,
    Bed,
    Measured,
    Row,
    Trial,
)
from infantmon.selftest.subject import DetectorError, OwnChain, Subject
from infantmon.selftest.waves import wave_trials
from infantmon.version import library_version

RECORDINGS_VARIABLE = "INFANTMON_RECORDINGS"
WAVEFORMS = "aami-ec13"  # folder of the recorded waveforms

TRIALS: tuple[Trial, ...] = (
    *heart_rate_trials(),
    *wave_trials(),
    *alarm_trials(),
    *breathing_trials(),
    *condition_trials(),
)
"""All trials, in the order of the table."""


@dataclass(frozen=True, slots=True)
class Bench:
    """What came of the bench.

    Attributes
    ----------
    subject : str
        What was tried.
    rows : tuple of Row
        In the order of `TRIALS`.
    version : str
        Of the library that ran it.
    states_delay : bool
        Whether the subject says when a beat was known; else its delay is not in the times.
    """

    subject: str
    rows: tuple[Row, ...]
    version: str
    states_delay: bool

    @property
    def counts(self) -> dict[str, int]:
        """How many rows have each verdict."""
        found = Counter(row.verdict for row in self.rows)
        return {verdict: found[verdict] for verdict in (PASS, FALLS_SHORT, NOT_RUN)}

    @property
    def short(self) -> tuple[Row, ...]:
        """Rows that fall short."""
        return tuple(row for row in self.rows if row.verdict == FALLS_SHORT)

    @property
    def falls_short(self) -> bool:
        """Whether any row falls short."""
        return len(self.short) > 0

    @property
    def sentence(self) -> str:
        """How many rows have each verdict, in words."""
        found = self.counts
        short = f"{found[FALLS_SHORT]} {FALLS_SHORT if found[FALLS_SHORT] == 1 else 'fall short'}"
        return f"{found[PASS]} {PASS}, {short}, {found[NOT_RUN]} {NOT_RUN}"


def run_bench(
    subject: Subject | None = None,
    *,
    trials: Iterable[Trial] = TRIALS,
    recordings: Path | None = None,
    progress: Callable[[str, float], None] | None = None,
) -> Bench:
    """Put a subject through the trials.

    Parameters
    ----------
    subject : Subject or None
        What is tried; by default this library's chain.
    trials : iterable of Trial
        Which trials.
    recordings : pathlib.Path or None
        The folder that holds `aami-ec13`; by default what ``INFANTMON_RECORDINGS`` says.
    progress : callable or None
        Called with the name of a trial and the share done, 0 to 1.

    Raises
    ------
    ArgumentError
        If a folder is given that does not hold `aami-ec13`.

    Notes
    -----
    Seeds are fixed: the same subject gives the same rows.
    """
    tried = OwnChain() if subject is None else subject
    bed = Bed(tried, _recordings(recordings))
    listed = tuple(trials)
    rows = []
    for number, trial in enumerate(listed):
        if progress is not None:
            progress("trying", number / len(listed))
        rows.append(_row(trial, bed))
    return Bench(tried.name, tuple(rows), library_version(), tried.states_delay)


def _recordings(given: Path | None) -> Path | None:
    if given is not None and not (given / WAVEFORMS).is_dir():
        raise ArgumentError(
            f"{given} has no folder {WAVEFORMS}; pass the folder that holds it, or leave it out: "
            "then the rows that need its waveforms are not run."
        )
    told = os.environ.get(RECORDINGS_VARIABLE)
    folder = given if given is not None else (Path(told) if told else None)
    return folder if folder is not None and (folder / WAVEFORMS).is_dir() else None


def _row(trial: Trial, bed: Bed) -> Row:
    told = (trial.group, trial.name, trial.source, trial.limit)
    if trial.needs == CHAIN and not bed.subject.is_chain:
        return Row(*told, "-", NOT_RUN, "the detector finds heart beats only")
    if trial.needs == RECORDED and bed.recordings is None:
        reason = f"the recorded waveforms are not at hand ({RECORDINGS_VARIABLE})"
        return Row(*told, "-", NOT_RUN, reason)
    try:
        measured = trial.measure(bed)
    except DetectorError as fault:
        measured = Measured("-", passed=False, reason=str(fault))
    verdict = PASS if measured.passed else FALLS_SHORT
    return Row(*told, measured.text, verdict, measured.reason, measured.numbers)
