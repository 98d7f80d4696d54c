"""What happens in a simulated night, as one list in order of time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from infantmon.model.spans import Reason, Spans
from infantmon.simulate.truth import Truth


@dataclass(frozen=True, slots=True)
class TrueEvent:
    """Something that is true of a stretch of a simulated night.

    Attributes
    ----------
    kind : str
        What it is.
    start_s, end_s : float
        The stretch, in seconds; for a pause mark to mark.
    detail : str
        What else is known, in words.
    """

    kind: str
    start_s: float
    end_s: float
    detail: str = ""


def true_events(truth: Truth) -> list[TrueEvent]:
    """Return all that happens, in order of time."""
    found = [*_pauses(truth), *_obstructions(truth), *_heart(truth), *_faults(truth)]
    return sorted(found, key=lambda event: (event.start_s, event.kind))


def _pauses(truth: Truth) -> Iterator[TrueEvent]:
    pauses = truth.pauses
    for number in range(len(pauses)):
        free = pauses.effort_free_onset_s[number], pauses.effort_free_end_s[number]
        detail = f"without effort {free[0]:.3f} to {free[1]:.3f} s"
        detail += ", with bradycardia" if pauses.with_bradycardia[number] else ""
        onset_s, end_s = pauses.onset_s[number], pauses.end_s[number]
        yield TrueEvent("pause", float(onset_s), float(end_s), detail)


def _obstructions(truth: Truth) -> Iterator[TrueEvent]:
    found = truth.obstructions
    for number in range(len(found)):
        kind = "mixed apnea" if found.mixed[number] else "obstructive apnea"
        detail = f"no flow; effort from {found.effort_from_s[number]:.3f} s"
        yield TrueEvent(kind, float(found.onset_s[number]), float(found.end_s[number]), detail)


def _heart(truth: Truth) -> Iterator[TrueEvent]:
    for kind, changes in (("bradycardia", truth.bradycardias), ("tachycardia", truth.tachycardias)):
        for number in range(len(changes)):
            detail = f"{changes.rate_bpm[number]:g} a minute"
            start_s, end_s = changes.start_s[number], changes.end_s[number]
            yield TrueEvent(kind, float(start_s), float(end_s), detail)
    still = truth.standstills
    for onset_s, end_s in zip(still.onset_s.tolist(), still.end_s.tolist(), strict=True):
        yield TrueEvent("standstill", onset_s, end_s, "beat to beat")


def _faults(truth: Truth) -> Iterator[TrueEvent]:
    listed: tuple[tuple[str, Spans], ...] = (
        ("ECG lost", truth.ecg_lost),
        ("ECG2 lost", truth.ecg2_lost),
        ("impedance lost", truth.impedance_lost),
        ("movement", truth.movements),
    )
    for kind, spans in listed:
        columns = (spans.start_s.tolist(), spans.end_s.tolist(), spans.reason.tolist())
        for start_s, end_s, reason in zip(*columns, strict=True):
            yield TrueEvent(kind, start_s, end_s, Reason(reason).words)
