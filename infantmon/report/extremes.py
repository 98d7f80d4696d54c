"""What heart and breathing did over the whole recording, whatever the limits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from infantmon.model.arrays import Floats
from infantmon.model.spans import Spans
from infantmon.report.reviewed import Reviewed
from infantmon.report.trend import bin_edges, breathing_rate, pauses
from infantmon.report.words import length_text, number_text, time_text

MINUTE_S = 60.0
_NOTHING = "nothing to tell"


@dataclass(frozen=True)
class ExtremeRow:
    """One quantity: its smallest, middle and largest value, and when they were.

    `smallest` and `largest` say at what time of the recording.
    """

    words: str
    smallest: str
    middle: str
    largest: str


def extremes_of(reviewed: Reviewed) -> tuple[ExtremeRow, ...]:
    """Return a row for the averaged heart rate, the breathing rate and the pauses.

    Only time in which the channel could be used counts. The channels that were not recorded have no
    row.
    """
    rows = []
    if "ecg" in reviewed.contact:
        rows.append(_heart(reviewed))
    if "impedance" in reviewed.contact:
        rows += [_breathing(reviewed), _pauses(reviewed)]
    return tuple(rows)


def _heart(reviewed: Reviewed) -> ExtremeRow:
    rates = reviewed.heart_rate
    usable = ~_inside(reviewed.contact["ecg"].blocking, rates.time_s)
    return _row(
        "averaged heart rate, beats/min",
        rates.time_s[usable],
        rates.heart_rate_bpm[usable],
    )


def _breathing(reviewed: Reviewed) -> ExtremeRow:
    edges = bin_edges(
        0.0, reviewed.recorded_s, count=1 + int(reviewed.recorded_s // MINUTE_S), least_s=MINUTE_S
    )
    rates = breathing_rate(reviewed.breaths.time_s, reviewed.contact["impedance"], edges)
    return _row("breaths in each minute", edges[:-1], rates)


def _pauses(reviewed: Reviewed) -> ExtremeRow:
    onset_s, length_s = pauses(reviewed.breaths.time_s, reviewed.contact["impedance"])
    words = "time from breath to breath"
    if not len(length_s):
        return ExtremeRow(words, "–", _NOTHING, "–")
    longest = int(np.argmax(length_s))
    at = f"{length_text(float(length_s[longest]))} at {time_text(float(onset_s[longest]))}"
    return ExtremeRow(words, "–", length_text(float(np.median(length_s))), at)


def _row(words: str, time_s: Floats, values: Floats) -> ExtremeRow:
    known = np.isfinite(values)
    time_s, values = time_s[known], values[known]
    if not len(values):
        return ExtremeRow(words, "–", _NOTHING, "–")
    low, high = int(np.argmin(values)), int(np.argmax(values))
    return ExtremeRow(
        words,
        f"{number_text(float(values[low]))} at {time_text(float(time_s[low]))}",
        number_text(float(np.median(values))),
        f"{number_text(float(values[high]))} at {time_text(float(time_s[high]))}",
    )


def _inside(spans: Spans, time_s: Floats) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Tell which times lie in a span (spans in order, apart)."""
    before = np.searchsorted(spans.start_s, time_s, side="right")
    ended = np.searchsorted(spans.end_s, time_s, side="right")
    return np.asarray(before > ended, dtype=np.bool_)
