"""What is asked of one recording, and what came of it: plain data that any process understands."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from dataclasses import dataclass

from infantmon.errors import (
    ArgumentError,
    as_floats,
    require_each,
    require_kind,
    require_number,
    require_row,
    require_text,
)
from infantmon.model.prescription import Prescription
from infantmon.report.identity import plan_without_identity

LAYOUT = 2
"""Raised when a column of the dataset changes its meaning or goes away."""
UNCHANGED, UNFINISHED = "unchanged", "unfinished"
"""What can come of a task besides what the dataset tells; unfinished: a piece of a long recording
is done, the next can follow."""


@dataclass(frozen=True)
class Settings:
    """How every recording of a corpus is reviewed.

    Parameters
    ----------
    plan : Prescription
        The limits in force. Who set them, and for whom, is dropped: a corpus has many.
    what_if : tuple of Prescription
        Other limits to try on the same findings.
    beats, breaths : bool
        Whether to keep every heart beat and breath.
    ecg, ecg2, impedance : str or None
        Names of channels in the files, as for `infantmon.read`.

    Raises
    ------
    ArgumentError
        If the plan or one of the others is no prescription.
    """

    plan: Prescription
    what_if: tuple[Prescription, ...] = ()
    beats: bool = False
    breaths: bool = False
    ecg: str | None = None
    ecg2: str | None = None
    impedance: str | None = None

    def __post_init__(self) -> None:
        called = "an infantmon.Prescription"
        plan = require_kind(self.plan, Prescription, name="plan", called=called)
        others = require_each(self.what_if, Prescription, name="what_if", called=called)
        object.__setattr__(self, "plan", _bare(plan))
        object.__setattr__(self, "what_if", tuple(map(_bare, others)))

    @property
    def sha256(self) -> str:
        """A hash that changes with any setting, and with the layout of the dataset."""
        whole = {
            "layout": LAYOUT,
            "plan": self.plan.model_dump(mode="json"),
            "what_if": [plan.model_dump(mode="json") for plan in self.what_if],
            "kept": [self.beats, self.breaths],
            "channels": [self.ecg, self.ecg2, self.impedance],
        }
        return hashlib.sha256(json.dumps(whole, sort_keys=True).encode()).hexdigest()

    @property
    def not_watched(self) -> tuple[str, ...]:
        """The kinds of events that the limits in force leave out."""
        return tuple(self.plan.not_watched)

    @property
    def labels(self) -> None:
        """Ending of files of labels: a review needs none."""
        return


USUAL_WINDOWS_S = {"beats": (0.15, 0.05), "breaths": (1.0, 0.5)}
"""Match windows (s) unless told otherwise: EC57's 150 ms for beats, and 50 ms; for breaths 1 s
and 0.5 s, since marks of breaths sit within a second of each other between annotators."""


@dataclass(frozen=True)
class ScoreSettings:
    """How a detector is scored on every recording of a corpus, against labels beside it.

    Parameters
    ----------
    what : str
        "beats" or "breaths".
    detector : str
        By name, as for ``infantmon score``, or as module:function.
    labels : str
        Ending of the files of labels: WFDB annotations, beside ``night.edf`` in ``night.atr``.
    windows_s : tuple of float
        Match windows (s), the first is the headline; empty for the usual ones.
    from_s : float
        Scored from this second on (EC57 leaves out the first 300 s).
    ecg, ecg2, impedance : str or None
        Names of channels in the files, as for `infantmon.read`.

    Raises
    ------
    ArgumentError
        If there is no such detector or kind of labels, or a number is out of range.
    """

    what: str
    detector: str = "ours"
    labels: str = "atr"
    windows_s: tuple[float, ...] = ()
    from_s: float = 0.0
    ecg: str | None = None
    ecg2: str | None = None
    impedance: str | None = None

    def __post_init__(self) -> None:
        from infantmon.scorecard.detectors import find_detector  # noqa: PLC0415 - heavy

        as_floats(self)
        for name in ("what", "detector", "labels"):
            require_text(getattr(self, name), name=name)
        if self.what not in USUAL_WINDOWS_S:
            raise ArgumentError(
                f"a corpus cannot be scored for {self.what!r}; pass {' or '.join(USUAL_WINDOWS_S)}."
            )
        find_detector(self.detector, self.what)
        told = require_row(self.windows_s, name="windows_s", called="seconds")
        windows_s = tuple(require_number(one, name="windows_s", unit="s") for one in told)
        object.__setattr__(self, "windows_s", windows_s or USUAL_WINDOWS_S[self.what])
        for window_s in self.windows_s:
            if not window_s > 0.0:
                raise ArgumentError(f"a match window is {window_s:g} s; it must be above 0 s.")
        if not require_number(self.from_s, name="from_s", unit="s") >= 0.0:
            raise ArgumentError(f"from_s is {self.from_s:g} s; 0 s or more is expected.")
        if not self.labels or not self.labels.isalnum():
            raise ArgumentError(
                f"labels is {self.labels!r}; pass the ending of their files, such as 'atr'."
            )

    @property
    def not_watched(self) -> tuple[str, ...]:
        """No events are looked for."""
        return ()

    @property
    def sha256(self) -> str:
        """A hash that changes with any setting, and with the layout of the dataset."""
        whole = {"layout": LAYOUT, "score": dataclasses.asdict(self)}
        return hashlib.sha256(json.dumps(whole, sort_keys=True).encode()).hexdigest()


def _bare(plan: Prescription) -> Prescription:
    return plan_without_identity(plan).model_copy(update={"infant": None})


@dataclass(frozen=True)
class Task:
    """One recording to review.

    Attributes
    ----------
    key : str
        What the recording is called in the dataset: made from its place, without its name.
    addresses : tuple of str
        Where its files are: paths, or addresses that fsspec understands.
    stamp : str
        Sizes and times of change of its files, as they were listed.
    settings : Settings or ScoreSettings
        How to review it, or how to score a detector on it.
    out : str
        Folder of the dataset.
    age_weeks : float or None
        Postmenstrual age in weeks, where it is known.
    infant : str or None
        What tells whose recording it is, without a name; recordings of one infant share it.
    known_sha256 : str or None
        Hash of the files when they were reviewed last under the same settings and version.
    piece_s : float or None
        A longer recording is reviewed in pieces of this many seconds, one task each.
    piece : int
        Which piece is next.
    """

    key: str
    addresses: tuple[str, ...]
    stamp: str
    settings: Settings | ScoreSettings
    out: str
    age_weeks: float | None = None
    infant: str | None = None
    known_sha256: str | None = None
    piece_s: float | None = None
    piece: int = 0


@dataclass(frozen=True)
class Outcome:
    """What came of a task.

    Attributes
    ----------
    key : str
        Of the recording.
    status : str
        "done", "unchanged" (its files are as before), "unfinished" or "failed".
    reason : str
        Why it failed, with the file's name; for the screen of who started the run.
    bare_reason : str
        The same without the names of files, for the dataset.
    recorded_s, processor_s : float
        Length of the recording, and processor time it took, in seconds.
    peak_mib : float
        Most memory the worker has held so far, in MiB.
    """

    key: str
    status: str
    reason: str = ""
    bare_reason: str = ""
    recorded_s: float = 0.0
    processor_s: float = 0.0
    peak_mib: float = 0.0
