"""A folder of WFDB records with beat annotations: the databases of that kind, and any other."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from infantmon.errors import ArgumentError, RecordingError
from infantmon.formats.naming import looks_like_ecg
from infantmon.formats.source import Listed
from infantmon.formats.wfdb_files import wfdb_package
from infantmon.formats.wfdb_record import WfdbSource
from infantmon.labelled.database import Database, Labelled, SetApart
from infantmon.model.arrays import Floats
from infantmon.model.recording import Recording
from infantmon.model.units import IMPEDANCES

BEAT_CODES = frozenset("NLRBAaJSVrFejnE/fQ?")
"""Annotation codes that stand for a beat; all others are rhythm, quality or comment (WFDB)."""


def with_beats(folder: Path, name: str, annotator: str = "atr") -> Labelled:
    """Read the ECG of a WFDB record with its beat annotations.

    The leads are the first two signals, in the order of the file, whose name is one that an ECG
    has; where no name is, the first two that are no impedance, and a note says so.

    Parameters
    ----------
    folder : Path
        Where the record lies.
    name : str
        The record.
    annotator : str
        Suffix of the annotation file.

    Raises
    ------
    RecordingError
        If the record or its annotations cannot be read, naming it.
    """
    try:
        source = WfdbSource(folder / f"{name}.hea")
        listed, notes = _leads(source)
        leads = {role: source.load(one) for role, one in zip(("ecg", "ecg2"), listed, strict=False)}
        with wfdb_package() as wfdb:
            marks = wfdb.rdann(str(folder / name), annotator)
    except (RecordingError, OSError, ValueError, IndexError, KeyError) as fault:
        raise RecordingError(
            f"{name} with its annotations .{annotator} cannot be read ({fault}); a WFDB record "
            "with signals and an annotation file beside it is expected."
        ) from fault
    codes = np.array(marks.symbol)
    time_s = np.asarray(marks.sample) / float(marks.fs or leads["ecg"].rate_hz)
    beats = np.unique(time_s[np.isin(codes, sorted(BEAT_CODES))])
    recording = Recording(leads, name=name)
    end_s = recording.end_s
    if len(beats) and not 0.0 <= beats[0] <= beats[-1] <= end_s:
        raise RecordingError(
            f"{name}: beats are marked from {beats[0]:.3f} to {beats[-1]:.3f} s, the signal lasts "
            f"{end_s:.3f} s; the annotations belong to another rate or record."
        )
    return Labelled(
        recording,
        beats_s=beats,
        set_apart=flutter(codes, time_s),
        notes=(*notes, *source.notes),
    )


def _leads(source: WfdbSource) -> tuple[list[Listed], list[str]]:
    """Return the signals to take as ECG, at most two, and what had to be decided."""
    electric = [one for one in source.channels if one.unit not in IMPEDANCES]
    named = [one for one in electric if looks_like_ecg(one.name)]
    if named:
        return named[:2], []
    if not electric:
        told = ", ".join(one.words for one in source.channels)
        raise RecordingError(f"no signal can be an ECG; there is {told}")
    return electric[:2], [f"no signal is called an ECG; {electric[0].words} was taken for one"]


def flutter(
    codes: np.ndarray[tuple[int], np.dtype[np.str_]], times_s: Floats
) -> tuple[SetApart, ...]:
    """Return the stretches of ventricular flutter ([ to ]), in which no beats are marked.

    One that is not closed lasts to the end of the recording.
    """
    ends = times_s[codes == "]"]
    stretches: list[SetApart] = []
    for start in times_s[codes == "["]:
        later = ends[ends > start]
        end = float(later[0]) if len(later) else float("inf")
        why = "ventricular flutter: no beats are marked"
        stretches.append(SetApart(float(start), end, why, unmarked=True))
    return tuple(stretches)


def wfdb_folder(folder: Path, annotator: str = "atr") -> Database:
    """Return a folder of WFDB records with beat annotations as a database.

    Raises
    ------
    ArgumentError
        If the folder is not there, or holds no record with such annotations.
    """
    if not folder.is_dir():
        raise ArgumentError(
            f"there is no folder {folder}; give a known database or a folder of WFDB records."
        )
    headers = {path.stem for path in folder.glob("*.hea")}
    marked = {path.stem for path in folder.glob(f"*.{annotator}")}
    names = sorted(headers & marked)
    if not names:
        raise ArgumentError(
            f"{folder} holds {len(headers)} WFDB headers, none with annotations .{annotator} "
            "beside it; give the folder of the records, or another --annotator."
        )
    if marked - headers:
        raise ArgumentError(
            f"{folder} holds annotations .{annotator} without a record: "
            f"{', '.join(sorted(marked - headers))}; add the records or take the annotations away."
        )
    return Database(
        folder.name,
        population="not told (a folder of recordings)",
        label_origin=f"not told (annotations .{annotator})",
        names=tuple(names),
        load=lambda name: with_beats(folder, name, annotator),
    )
