"""A simulated night to disk, streamed, with its truth beside it."""

from __future__ import annotations

import csv
import os
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from infantmon.errors import require_path
from infantmon.formats.files import written_whole
from infantmon.formats.streamed import StreamedChannel, stream_arrays
from infantmon.formats.streamed_csv import stream_csv
from infantmon.formats.streamed_edf import stream_edf
from infantmon.formats.streamed_wfdb import stream_wfdb
from infantmon.formats.wfdb_annotations import (
    NORMAL,
    NOTE,
    VENTRICULAR,
    Annotation,
    write_annotations,
)
from infantmon.model.arrays import Floats, Ints
from infantmon.simulate.event_list import true_events
from infantmon.simulate.night import InventedInfant
from infantmon.simulate.scenario_file import scenario_to_toml

CHUNK_S = 60.0
AT_ONCE = 4096  # marks that are Python's numbers at one time
NAME = "night"
_PATH = str | os.PathLike[str]


@dataclass(frozen=True)
class _Night:
    """A simulated infant on its way to a folder."""

    infant: InventedInfant
    folder: Path
    progress: Callable[[float], None]

    @property
    def channels(self) -> list[StreamedChannel]:
        """What the files have to know of each channel."""
        scenario = self.infant.scenario
        ecg, ecg2, chest = scenario.ecg, scenario.ecg2, scenario.impedance
        rate_hz = scenario.ecg_hz
        made = [
            StreamedChannel("ecg", "ECG", "mV", rate_hz, ecg.low_mv, ecg.high_mv, ecg.step_mv),
            StreamedChannel(
                "impedance",
                "Impedance",
                "ohm",
                scenario.impedance_hz,
                chest.low_ohm,
                chest.high_ohm,
                chest.step_ohm,
                bits=32,
            ),
        ]
        if scenario.lead2 is not None:
            second = StreamedChannel(
                "ecg2", "ECG2", "mV", rate_hz, ecg2.low_mv, ecg2.high_mv, ecg2.step_mv
            )
            made.insert(1, second)
        return made

    def chunks(self) -> Iterator[Mapping[str, Floats]]:
        """Yield the samples of all channels, and tell how far it has come."""
        for chunk in self.infant.chunks(CHUNK_S):
            yield {"ecg": chunk.ecg, "ecg2": chunk.ecg2, "impedance": chunk.impedance}
            self.progress(chunk.end_s / self.infant.scenario.duration_s)


Writer = Callable[[_Night], list[Path]]


def _to_wfdb(night: _Night) -> list[Path]:
    paths = stream_wfdb(night.chunks(), night.channels, night.folder, NAME)
    return [*paths, *_annotated(night)]


def _to_edf(night: _Night) -> list[Path]:
    return [stream_edf(night.chunks(), night.channels, night.folder / f"{NAME}.edf")]


def _to_csv(night: _Night) -> list[Path]:
    return [stream_csv(night.chunks(), night.channels, night.folder / f"{NAME}.csv")]


def _to_arrays(night: _Night) -> list[Path]:
    return stream_arrays(night.chunks(), night.channels, night.folder)


WRITERS: dict[str, Writer] = {
    "wfdb": _to_wfdb,
    "edf": _to_edf,
    "csv": _to_csv,
    "npy": _to_arrays,
}
"""How a night can be written, by the name of the format."""


def write_simulated(
    infant: InventedInfant,
    folder: _PATH,
    writer: Writer,
    *,
    progress: Callable[[float], None] | None = None,
) -> list[Path]:
    """Write a simulated night and its truth; return the paths.

    Parameters
    ----------
    infant : InventedInfant
        The infant.
    folder : str or path
        Where the files go; it must exist.
    writer : callable
        One of `WRITERS`.
    progress : callable or None
        Called with the share done, 0 to 1.

    Raises
    ------
    ArgumentError
        If the folder does not exist, or the format cannot hold the channels.

    Notes
    -----
    Beside the samples: `beats.csv`, `breaths.csv` and `events.csv`, true times in seconds, with the
    sample number on the channel's own clock; and `scenario.toml`, from which the same night can be
    made again. With WFDB the same marks are annotations: ``.atr`` beats, ``.breaths``, ``.events``.
    Memory: what is true of the whole night, as arrays (about 50 MB a day), and a minute of samples.
    """
    night = _Night(
        infant, require_path(folder, name="folder"), progress if progress is not None else _silent
    )
    return [*writer(night), *_truth_files(night)]


def _annotated(night: _Night) -> list[Path]:
    scenario, truth = night.infant.scenario, night.infant.truth
    beats = _samples(night, "ecg", truth.beat_s, scenario.ecg_hz)
    breaths = _samples(night, "impedance", truth.breath_s, scenario.impedance_hz)
    codes = np.where(truth.beat_ectopic, VENTRICULAR, NORMAL)
    beat_marks = (Annotation(s, code) for s, code in _rows(beats, codes))
    breath_marks = (
        Annotation(s, NOTE, "obstructed" if no_flow else "")
        for s, no_flow in _rows(breaths, truth.breath_obstructed)
    )
    sides = []
    for event in true_events(truth):
        detail = f"{event.kind}: {event.detail}" if event.detail else event.kind
        sides += [(event.start_s, detail), (event.end_s, f"end of {event.kind}")]
    sides = sorted((time_s, text) for time_s, text in sides if time_s >= 0.0)
    places = _samples(night, "ecg", np.array([time_s for time_s, _ in sides]), scenario.ecg_hz)
    texts = [text for _, text in sides]
    event_marks = [
        Annotation(s, NOTE, text) for s, text in zip(places.tolist(), texts, strict=True)
    ]
    stem = night.folder / NAME
    return [
        write_annotations(beat_marks, stem.with_suffix(".atr"), rate_hz=scenario.ecg_hz),
        write_annotations(
            breath_marks, stem.with_suffix(".breaths"), rate_hz=scenario.impedance_hz
        ),
        write_annotations(event_marks, stem.with_suffix(".events"), rate_hz=scenario.ecg_hz),
    ]


def _samples(night: _Night, role: str, time_s: Floats, rate_hz: float) -> Ints:
    """Return the nearest samples to true times (s) on a channel's own clock."""
    recorded = night.infant.scenario.recorded_s(role, time_s)
    return np.rint(recorded * rate_hz).astype(np.int64)


def _rows(*columns: npt.NDArray[Any]) -> Iterator[tuple[Any, ...]]:
    """Yield the rows of some columns, a few at a time as Python's numbers.

    Those of a whole night together would take many times the memory of the columns.
    """
    for first in range(0, len(columns[0]), AT_ONCE):
        some = (column[first : first + AT_ONCE].tolist() for column in columns)
        yield from zip(*some, strict=True)


def _truth_files(night: _Night) -> list[Path]:
    scenario, truth = night.infant.scenario, night.infant.truth
    beats = _samples(night, "ecg", truth.beat_s, scenario.ecg_hz)
    breaths = _samples(night, "impedance", truth.breath_s, scenario.impedance_hz)
    tables: dict[str, tuple[list[str], Iterator[tuple[object, ...]]]] = {
        "beats.csv": (
            ["time_s", "ecg_sample", "ectopic"],
            (
                (f"{time_s:.6f}", sample, int(ectopic))
                for time_s, sample, ectopic in _rows(truth.beat_s, beats, truth.beat_ectopic)
            ),
        ),
        "breaths.csv": (
            ["time_s", "impedance_sample", "size_ohm", "obstructed"],
            (
                (f"{time_s:.6f}", sample, f"{size_ohm:.6f}", int(obstructed))
                for time_s, sample, size_ohm, obstructed in _rows(
                    truth.breath_s, breaths, truth.breath_size_ohm, truth.breath_obstructed
                )
            ),
        ),
        "events.csv": (
            ["kind", "start_s", "end_s", "detail"],
            (
                (event.kind, f"{event.start_s:.6f}", f"{event.end_s:.6f}", event.detail)
                for event in true_events(truth)
            ),
        ),
    }
    names = (*tables, "scenario.toml")
    with written_whole(night.folder, names) as scratch:
        for name, (head, rows) in tables.items():
            with (scratch / name).open("w", encoding="utf-8", newline="") as file:
                table = csv.writer(file, lineterminator="\n")
                table.writerow(head)
                table.writerows(rows)
        text = scenario_to_toml(scenario, seed=night.infant.seed)
        (scratch / "scenario.toml").write_text(text, encoding="utf-8")
    return [night.folder / name for name in names]


def _silent(share: float) -> None:
    """Show no progress."""
