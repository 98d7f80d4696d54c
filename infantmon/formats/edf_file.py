"""A recording as an EDF+ file of the library edfio, ready to be written."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import suppress
from fractions import Fraction
from itertools import chain, islice
from typing import Any

import numpy as np

from infantmon.dsp.runs import true_runs
from infantmon.errors import ArgumentError
from infantmon.formats.edf import INVALID_TEXT, UNRECORDED_TEXT
from infantmon.formats.gridding import Grid, Laid, gridded
from infantmon.formats.utc_offset import offset_words
from infantmon.model.recording import Recording

_FIELD = 8  # characters a number may have in an EDF header
_LEAST_END = 1e-4
_MOST_TRIES = 20  # lengths of a data record
_YEARS = range(1985, 2085)


class _UnsuitedError(Exception):
    """The library that writes EDF does not take this length of a record."""


def edf_of(recording: Recording) -> Any:
    """Return a recording as a file of edfio, with the first record length that edfio takes.

    It compares lengths of signals to 1e-12 s, closer than hours can be told to in float64.

    Parameters
    ----------
    recording : Recording
        What is to be written.

    Raises
    ------
    ArgumentError
        If the rates, or they and the length, fit into no common data record, or a value does not
        fit into EDF.
    """
    frame_hz = gridded(recording).frame_hz
    for frames, record_s in islice(_data_records(frame_hz), _MOST_TRIES):
        with suppress(_UnsuitedError):
            return _edf_in_records(recording, frames, record_s)
    raise ArgumentError(
        f"no EDF data record holds a whole number of samples at a common rate of {frame_hz} Hz, or "
        "none that suits a recording of this length; write WFDB instead."
    )


def _edf_in_records(recording: Recording, frames: int, record_s: float) -> Any:
    import edfio  # noqa: PLC0415 - loaded only for who writes EDF

    grid = gridded(recording, frames_at_a_time=frames)
    started_at = grid.started_at(recording)
    offset = offset_words(started_at)
    dated = started_at is not None and started_at.year in _YEARS
    labels = _edf_labels(grid)
    marks = [
        edfio.EdfAnnotation(onset_s, length_s, text + label)
        for laid, label in zip(grid.channels, labels, strict=True)
        for onset_s, length_s, text in _invalid(laid)
    ]
    signals = [_edf_signal(laid, label) for laid, label in zip(grid.channels, labels, strict=True)]
    told = edfio.Recording(
        startdate=started_at.date() if dated and started_at else None,
        additional=(offset,) if dated and offset else (),
    )
    try:
        return edfio.Edf(
            signals,
            recording=told,
            starttime=started_at.time() if dated and started_at else None,
            data_record_duration=record_s,
            annotations=marks,
        )
    except ValueError as fault:
        raise _UnsuitedError from fault


def _data_records(frame_hz: Fraction) -> Iterator[tuple[int, float]]:
    """Yield frames in a data record of about a second or more, and its length in 8 characters.

    Those come first with which one calculates exactly: 1, 2, 4, 8 or 16 s.
    """
    exact = [frame_hz * 2**power for power in range(5)]
    least = math.ceil(frame_hz)
    whole = (int(frames) for frames in exact if frames.denominator == 1)
    for frames in chain(whole, range(least, least + 200_000)):
        record_s = frames / frame_hz
        text = repr(float(record_s)).removesuffix(".0")
        if len(text) <= _FIELD and Fraction(text) == record_s:
            yield frames, float(record_s)


def _edf_signal(laid: Laid, label: str) -> Any:
    import edfio  # noqa: PLC0415

    low, high = laid.ends
    margin = max((high - low) * 2e-4, 2e-6, abs(high) * 1e-9)
    bottom, top = _short(low - margin, math.floor), _short(high + margin, math.ceil)
    finite = np.isfinite(laid.values)
    unit = (laid.channel.unit or "").encode("ascii", "ignore").decode()[:_FIELD]
    signal = edfio.EdfSignal(
        np.where(finite, laid.values, low),
        laid.channel.rate_hz,
        label=label,
        physical_dimension=unit,
        physical_range=(bottom, top),
    )
    signal.digital[~finite] = -32768
    return signal


def _edf_labels(grid: Grid) -> list[str]:
    """Return labels of at most 16 plain characters, all different."""
    labels = []
    for laid in grid.channels:
        label = laid.label.encode("ascii", "replace").decode()[:16].strip()
        labels.append(label if label not in labels else laid.role.upper())
    return labels


def _short(value: float, rounding: Any) -> float:
    """Return a number rounded outwards to the eight characters of an EDF header."""
    # Below 1e-4 the shortest text would have an exponent, which edfio cannot fit in.
    for decimals in (4,) if abs(value) < _LEAST_END else range(6, -1, -1):
        rounded = rounding(value * 10**decimals) / 10**decimals
        if len(f"{rounded:.{decimals}f}") <= _FIELD:
            return float(rounded)
    raise ArgumentError(
        f"the value {value:g} does not fit into the eight characters of an EDF header; "
        "use a larger unit, or write WFDB."
    )


def _invalid(laid: Laid) -> Iterator[tuple[float, float, str]]:
    """Yield onset and length, in seconds, of each stretch without a finite value, and what to say.

    At the end it is said what was not recorded, but only filled up.
    """
    rate_hz, count = laid.channel.rate_hz, len(laid.values)
    recorded = count - int(np.argmax(laid.recorded[::-1])) if laid.recorded.any() else 0
    for first, end in zip(*true_runs(~np.isfinite(laid.values[:recorded])), strict=True):
        yield round(first / rate_hz, 9), round((end - first) / rate_hz, 9), INVALID_TEXT
    if recorded < count:
        length_s = round((count - recorded) / rate_hz, 9)
        yield round(recorded / rate_hz, 9), length_s, UNRECORDED_TEXT
