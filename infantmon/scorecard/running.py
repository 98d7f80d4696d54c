"""Detectors over databases: record by record, on several processes."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from infantmon.errors import ArgumentError, InfantmonError, require_text
from infantmon.labelled.database import Database, Labelled
from infantmon.labelled.known import database, known_names
from infantmon.labelled.wfdb_folder import wfdb_folder
from infantmon.model.arrays import Floats
from infantmon.scorecard.alarm_excerpts import score_excerpt
from infantmon.scorecard.card import Card
from infantmon.scorecard.detectors import (
    ALARM_MARKS,
    BEAT_MARKS,
    BREATH_MARKS,
    OURS,
    OURS_ALONE,
    Detected,
    find_detector,
)
from infantmon.scorecard.noise_stress import NoiseStress
from infantmon.scorecard.record_score import RecordScore, score_record

Progress = Callable[[str, float], None]

_SCORED_FOR = {
    "bidmc": (BREATH_MARKS,),
    "picsdb": (BEAT_MARKS, BREATH_MARKS),
    "challenge2015": (ALARM_MARKS,),
}
WINDOWS_S = {
    ("picsdb", BEAT_MARKS): (0.1, 0.05),
    ("picsdb", BREATH_MARKS): (0.5,),
    ("bidmc", BREATH_MARKS): (1.0, 0.5),
}
"""Match windows where they are not EC57's 150 ms (and 50 ms beside): marks of breaths sit within a
second of each other between annotators, those of preterm segments are a program's."""
_USUAL_WINDOWS_S = (0.15, 0.05)
_TOLD_OF = ("population", "label_origin", "tuned_on")


@dataclass(frozen=True)
class Source:
    """Where labelled recordings come from, in words that another process understands.

    Attributes
    ----------
    name : str
        A known database, or the path of a folder of WFDB records.
    annotator : str
        Suffix of the annotation files of such a folder.
    folder : Path or None
        The folder that holds the known databases; None for the usual places.
    population, label_origin, tuned_on : str or None
        Of a folder: whom its recordings show, who made the labels, and whether the detector was
        tuned on them; None where it is not told. Of a known database they are known.
    """

    name: str
    annotator: str = "atr"
    folder: Path | None = None
    population: str | None = None
    label_origin: str | None = None
    tuned_on: str | None = None

    def open(self) -> Database:
        """Return the database.

        Raises
        ------
        ArgumentError
            If there is none of that name, or something is told of a known one.
        RecordingError
            If the recordings are not at hand.
        """
        require_text(self.name, name="the database")
        told = {name: value for name in _TOLD_OF if (value := getattr(self, name)) is not None}
        if self.name in known_names():
            if told:
                raise ArgumentError(
                    f"of {self.name} this is known: {', '.join(told)}; leave that out, or give the "
                    "path of a folder."
                )
            return database(self.name, self.folder)
        if not Path(self.name).is_dir():
            raise ArgumentError(
                f"there is no database or folder {self.name!r}; give one of "
                f"{', '.join(known_names())}, or a folder of WFDB records with annotations."
            )
        for name, value in told.items():
            if not value.strip():
                raise ArgumentError(f"{name} is blank; say it in words, or leave it out.")
        return replace(wfdb_folder(Path(self.name), self.annotator), **told)

    def scored_for(self) -> tuple[str, ...]:
        """Return what its labels allow to score."""
        return _SCORED_FOR.get(self.name, (BEAT_MARKS,))

    def windows_s(self, what: str) -> tuple[float, ...]:
        """Return the usual match windows for it, in seconds."""
        return WINDOWS_S.get((self.name, what), _USUAL_WINDOWS_S)


@dataclass(frozen=True)
class Task:
    """What is scored, and how.

    Attributes
    ----------
    source : Source
        The recordings.
    what : str
        "beats", "breaths" or "alarms".
    detector : str
        A detector by name, or as module:function.
    windows_s : tuple of float
        Match windows, in seconds; the first is the headline. Empty for the usual ones.
    from_s : float or None
        Where the scored period begins, in seconds; None for the database's own learning period.
    noise : NoiseStress or None
        What is added to the signals first.
    """

    source: Source
    what: str
    detector: str = OURS
    windows_s: tuple[float, ...] = ()
    from_s: float | None = None
    noise: NoiseStress | None = None

    def detector_name(self) -> str:
        """Return what the detector is called in tables, without running it.

        Raises
        ------
        ArgumentError
            If there is no such database, detector or use of both.
        """
        if self.what not in self.source.scored_for():
            raise ArgumentError(
                f"{self.source.name} cannot be scored for {self.what}; its labels are "
                f"{', '.join(self.source.scored_for())}."
            )
        if self.noise is not None and self.what != BEAT_MARKS:
            raise ArgumentError(
                f"noise is added to an ECG whose beats are scored, not for {self.what}; leave it "
                "out."
            )
        if self.what != ALARM_MARKS:
            return find_detector(self.detector, self.what).name
        if self.detector != OURS:
            raise ArgumentError(f"alarms are scored for {OURS!r} alone, not for {self.detector!r}.")
        if self.windows_s or self.from_s is not None:
            raise ArgumentError(
                "alarms are kept or rejected over a whole excerpt; leave out match windows and the "
                "start of scoring."
            )
        return OURS


def run_task(task: Task, *, workers: int = 2, progress: Progress | None = None) -> Card:
    """Score a detector over a database.

    Parameters
    ----------
    task : Task
        What is scored.
    workers : int
        Processes; 1 runs in this one.
    progress : callable, optional
        Told what is done, and the share of it between 0 and 1.

    Returns
    -------
    Card
        Records in the database's order. A record on which the detector failed counts as missed
        throughout, and says why.

    Raises
    ------
    ArgumentError
        If there is no such database, detector or use of both, or every record ends before the
        scored period begins.
    RecordingError
        If a recording or its labels cannot be read.
    """
    shelf = task.source.open()
    name = task.detector_name()
    tell = progress or (lambda _what, _share: None)
    scores: dict[str, RecordScore] = {}
    for record, score in _scores(task, shelf.names, workers):
        scores[record] = score
        tell(f"{task.what}, {name}", len(scores) / len(shelf.names))
    from_s = shelf.learning_s if task.from_s is None else task.from_s
    if not any(score.scored_s > 0.0 for score in scores.values()):
        longest_s = max((score.recorded_s for score in scores.values()), default=0.0)
        raise ArgumentError(
            f"nothing is scored: the scored period begins at {from_s:g} s, and the longest of "
            f"{len(scores)} records has {longest_s:.1f} s. Let it begin earlier (--from-s)."
        )
    return Card(
        shelf.name,
        shelf.population,
        shelf.label_origin,
        _tuned_on(task, shelf, name),
        task.what,
        name,
        from_s=from_s,
        records=tuple(scores[record] for record in shelf.names),
        noise="" if task.noise is None else task.noise.words,
    )


def _tuned_on(task: Task, shelf: Database, name: str) -> str:
    if task.source.tuned_on is not None or task.detector in (OURS, OURS_ALONE):
        return shelf.tuned_on
    return f"not known of {name}"


def _scores(task: Task, records: Sequence[str], workers: int) -> Iterator[tuple[str, RecordScore]]:
    if workers == 1 or len(records) == 1:
        shelf = task.source.open()
        for record in records:
            yield record, score_one(task, record, shelf)
        return
    with _pool(workers) as pool:
        waiting = {pool.submit(score_one, task, record): record for record in records}
        for done in as_completed(waiting):
            yield waiting[done], done.result()


@contextmanager
def _pool(workers: int) -> Iterator[ProcessPoolExecutor]:
    """Give a pool whose waiting work is dropped when something goes wrong."""
    pool = ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"))
    try:
        yield pool
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def score_one(task: Task, record: str, shelf: Database | None = None) -> RecordScore:
    """Score one record of a task."""
    shelf = shelf or task.source.open()
    labelled = shelf.load(record)
    if task.what == ALARM_MARKS:
        return score_excerpt(record, labelled)
    if task.noise is not None:
        labelled = task.noise.added_to(labelled)
    return score_labelled(
        record,
        labelled,
        task.what,
        task.detector,
        windows_s=task.windows_s or task.source.windows_s(task.what),
        from_s=shelf.learning_s if task.from_s is None else task.from_s,
    )


def score_labelled(
    record: str,
    labelled: Labelled,
    what: str,
    detector: str,
    *,
    windows_s: tuple[float, ...],
    from_s: float,
) -> RecordScore:
    """Score a detector on a recording with its labels.

    Parameters
    ----------
    record : str
        What the recording is called.
    labelled : Labelled
        The recording and its labels.
    what : str
        "beats" or "breaths".
    detector : str
        By name, or as module:function. One that fails has missed every mark, and says why.
    windows_s : tuple of float
        Match windows, in seconds; the first is the headline.
    from_s : float
        Where the scored period begins, in seconds.

    Raises
    ------
    ArgumentError
        If there is no such detector, the recording lacks what it needs, or has no such labels.
    """
    detected, failure = _detected(record, detector, what, labelled)
    score = score_record(
        record,
        labelled,
        _references(record, labelled, what),
        detected,
        windows_s=windows_s,
        from_s=from_s,
        signal_role="ecg" if what == BEAT_MARKS else "impedance",
    )
    if failure is None:
        return score
    told = f"{failure.rstrip('.')}; every mark counts as missed"
    bare = replace(score, known_wrong=None, strip=None)
    return replace(bare, notes=(told, *score.notes), failed=True)


def _detected(
    record: str, detector: str, what: str, labelled: Labelled
) -> tuple[Detected, str | None]:
    """Return what the detector found, or nothing and why it failed."""
    found = find_detector(detector, what)
    try:
        return found.detect(labelled), None
    except ArgumentError as fault:
        raise ArgumentError(f"{record}: {fault}") from fault
    except InfantmonError as fault:
        return Detected(np.empty(0)), str(fault)


def _references(record: str, labelled: Labelled, what: str) -> tuple[Floats, ...]:
    if what == BREATH_MARKS:
        references = labelled.breaths_s
    else:
        references = () if labelled.beats_s is None else (labelled.beats_s,)
    if not references:
        raise ArgumentError(f"{record} has no reference {what}; it cannot be scored for them.")
    return references
