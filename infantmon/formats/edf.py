"""EDF, EDF+ and BDF files in: at their own rates, each data record at its true time."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import numpy as np

from infantmon.errors import RecordingError
from infantmon.formats.edf_layout import EdfLayout, read_layout
from infantmon.formats.edf_records import EdfSamples, RecordRun, onsets_s, record_notes
from infantmon.formats.source import Listed, Source, channel_of, with_numbered_doubles
from infantmon.model.arrays import Floats
from infantmon.model.channel import Channel
from infantmon.model.units import plain_unit

INVALID_TEXT = "invalid samples in "
"""An annotation of this text and a channel's name marks samples that EDF has no value for."""
UNRECORDED_TEXT = "not recorded in "
"""Likewise: nothing was recorded. At the end of the file the channel ends before these samples."""

# A record whose onset is off by less than this belongs to the run before it: onsets are often
# rounded to a millisecond (common practice).
_LEAST_STEP_S = 1e-3
_BACK_S = 0.1  # an onset earlier than the end of the record before, by less: a wandering clock
_RATE_OFF = 0.01  # a clock further off than this is taken for gaps

_Noted = dict[str, list[tuple[float, float]]]


class EdfSource(Source):
    """An EDF or BDF file.

    Raises
    ------
    RecordingError
        If it is missing, damaged, or without samples.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.name = path.stem
        self.notes = []
        self._layout = layout = read_layout(path)
        ordinary = [i for i, s in enumerate(layout.labels) if s != layout.annotation_label]
        if not any(layout.samples[i] for i in ordinary):
            raise RecordingError(f"{path} holds only annotations; there is nothing to read.")
        onsets = onsets_s(layout)
        self._place_records(onsets, max(layout.samples[i] for i in ordinary))
        listed = [
            Listed(k, layout.labels[i], plain_unit(layout.units[i]), layout.samples[i] / self._step)
            for k, i in enumerate(ordinary)
        ]
        self._ordinary = ordinary
        self.channels = with_numbered_doubles(listed)
        self._invalid, self._unrecorded = _noted_spans(layout, float(onsets[0]))
        self.started_at = layout.started_at
        if self.started_at is None:
            self.notes.append("the header has no start date and time that can be used")
        else:
            self.started_at += timedelta(seconds=float(onsets[0]))
        self._tell_what_is_missing()

    def load(self, listed: Listed) -> Channel:
        """Read one channel in its physical unit."""
        place = self._ordinary[listed.index]
        samples = self._layout.samples[place]
        if not samples:
            raise RecordingError(f"{self.path}: channel {listed.words} holds no samples.")
        unit = listed.unit
        if self._layout.scale(place) is None:
            unit = None
            self.notes.append(f"{listed.name} has no usable scaling; its values are plain counts")
        rate_hz = samples / self._step
        pieces = [
            (
                run.start_s,
                EdfSamples(
                    self._layout,
                    place,
                    run,
                    self._spans_in(run, listed, self._invalid),
                    self._unfilled(run, listed),
                ),
            )
            for run in self._runs
        ]
        return channel_of(listed, pieces, rate_hz, unit)

    def _place_records(self, onsets: Floats, most_samples: int) -> None:
        layout = self._layout
        tolerance = max(layout.record_s / most_samples, _LEAST_STEP_S)
        self._step = _measured_step(onsets, layout.record_s, tolerance)
        if self._step != layout.record_s:
            self.notes.append(
                f"data records begin {self._step:.9g} s apart, not {layout.record_s:g} s as the "
                "header says; the measured rate is used"
            )
        self._runs, wandered = _runs(onsets, self._step, tolerance, self.path)
        if wandered:
            self.notes.append(
                f"{wandered} data records begin up to {_BACK_S} s before the one before has ended; "
                "they were put after it"
            )
        if len(self._runs) > 1 and layout.plus == "C":
            self.notes.append("the file says it is continuous, but its records have gaps")

    def _tell_what_is_missing(self) -> None:
        layout = self._layout
        if layout.declared == -1:
            self.notes.append(f"the recording was never closed: {layout.records} records are there")
        elif layout.records < layout.declared:
            self.notes.append(
                f"the file is shorter than its header says: {layout.records} of {layout.declared} "
                "data records could be read"
            )
        if layout.left_bytes:
            self.notes.append(
                f"{layout.left_bytes} bytes after the last whole data record were not read"
            )

    def _unfilled(self, run: RecordRun, listed: Listed) -> int:
        """Return how many samples of a run were recorded: the end of the last may be filled up."""
        count = run.count * self._layout.samples[self._ordinary[listed.index]]
        if run is not self._runs[-1]:
            return count
        for first, end in sorted(self._spans_in(run, listed, self._unrecorded), reverse=True):
            count = first if end == count else count
        return count

    def _spans_in(self, run: RecordRun, listed: Listed, noted: _Noted) -> list[tuple[int, int]]:
        """Return first sample and sample after of what annotations name in a run."""
        count = round(run.count * self._step * listed.rate_hz)
        spans = []
        for onset_s, length_s in noted.get(listed.name, ()):
            first = round((onset_s - run.start_s) * listed.rate_hz)
            end = min(first + round(length_s * listed.rate_hz), count)
            if end > max(first, 0):
                spans.append((max(first, 0), end))
        return spans


def _noted_spans(layout: EdfLayout, start_s: float) -> tuple[_Noted, _Noted]:
    """Return, by channel, onset and length of what annotations call invalid, or not recorded.

    What was not recorded is invalid, too.
    """
    invalid: _Noted = {}
    unrecorded: _Noted = {}
    for note in record_notes(layout):
        for text, told in ((INVALID_TEXT, [invalid]), (UNRECORDED_TEXT, [invalid, unrecorded])):
            if note.text.startswith(text):
                span = (note.onset_s - start_s, note.length_s or 0.0)
                for spans in told:
                    spans.setdefault(note.text.removeprefix(text), []).append(span)
    return invalid, unrecorded


def _measured_step(onsets: Floats, record_s: float, tolerance_s: float) -> float:
    """Return the time from record to record: measured where the clock is a little off."""
    steps = np.diff(onsets)
    near = steps[np.abs(steps - record_s) <= _RATE_OFF * record_s]
    if len(near) < 2:
        return record_s
    step = float(np.mean(near))
    return step if abs(step - record_s) * len(near) > tolerance_s else record_s


def _runs(
    onsets: Floats, step_s: float, tolerance_s: float, path: Path
) -> tuple[list[RecordRun], int]:
    """Return the runs of records without a gap, and how many records came a little early."""
    runs, first, start, wandered = [], 0, onsets[0], 0
    for number in range(1, len(onsets)):
        off = onsets[number] - (start + (number - first) * step_s)
        if off < -_BACK_S:
            raise RecordingError(
                f"{path}: data record {number + 1} begins at {onsets[number]:g} s, "
                f"{-off:.3f} s before the record before it has ended; its samples cannot be placed."
            )
        wandered += off < -tolerance_s
        if off > tolerance_s:
            runs.append(RecordRun(first, number - first, float(start - onsets[0])))
            first, start = number, onsets[number]
    runs.append(RecordRun(first, len(onsets) - first, float(start - onsets[0])))
    return runs, int(wandered)
