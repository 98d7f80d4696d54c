"""Recordings with what is known about them: whom they show, and who made the reference marks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from infantmon.model.arrays import Floats
from infantmon.model.recording import Recording


@dataclass(frozen=True, eq=False)
class SetApart:
    """A stretch of a recording in which a comparison means something else than elsewhere.

    Attributes
    ----------
    start_s, end_s : float
        Where it lies, in seconds.
    why : str
        In words.
    unmarked : bool
        The reference marks nothing there, by its own rule (EC57 compares no beats in ventricular
        flutter and fibrillation): nothing there is scored. Otherwise the reference is known to be
        wrong there: it is scored, and the figures without it are told beside.
    """

    start_s: float
    end_s: float
    why: str
    unmarked: bool = False


@dataclass(frozen=True, eq=False)
class Labelled:
    """A recording with what is known about it.

    Attributes
    ----------
    recording : Recording
        The signals.
    beats_s : numpy.ndarray or None
        Reference heart beats, in seconds; None where there are none.
    breaths_s : tuple of numpy.ndarray
        Reference breaths, in seconds, one array an annotator.
    set_apart : tuple of SetApart
        Stretches that are scored apart.
    alarm : tuple of str and bool, or None
        Kind of the alarm at the end of the recording, and whether it was a true one.
    notes : tuple of str
        What had to be decided when it was read, and what could not be read.
    """

    recording: Recording
    beats_s: Floats | None = None
    breaths_s: tuple[Floats, ...] = ()
    set_apart: tuple[SetApart, ...] = ()
    alarm: tuple[str, bool] | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Database:
    """A set of recordings of one origin.

    Attributes
    ----------
    name : str
        Its name, that of its folder.
    population : str
        Whom it shows.
    label_origin : str
        Who or what made the reference marks.
    names : tuple of str
        The recordings that are here.
    load : callable
        Returns one of them.
    tuned_on : str
        Whether the detectors of this library were tuned on it.
    learning_s : float
        The first so many seconds are not scored: a detector may learn there (EC57: 300 s).
    """

    name: str
    population: str
    label_origin: str
    names: tuple[str, ...]
    load: Callable[[str], Labelled] = field(repr=False)
    tuned_on: str = "not known"
    learning_s: float = 0.0
