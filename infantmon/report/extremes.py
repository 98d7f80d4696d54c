"""What heart and breathing did over the whole recording, whatever the limits.

A value in an event that is not supported says so, and stands behind the furthest one in none.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from infantmon.model.arrays import Floats
from infantmon.model.event import SUPPORTED, Event
from infantmon.report.reviewed import Reviewed
from infantmon.report.trend import bin_edges, breathing_rate, pauses
from infantmon.report.words import length_text, number_text, time_text

MINUTE_S = 60.0
_NOTHING = "nothing to tell"
_OF_HEART = ("low heart rate", "high heart rate", "no heart beat")
_OF_PAUSES = ("apnea", "periodic breathing")


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
    usable = ~reviewed.contact["ecg"].blocking.inside(rates.time_s)
    return _row(
        "averaged heart rate, beats/min",
        rates.time_s[usable],
        rates.heart_rate_bpm[usable],
        _unsure(reviewed, _OF_HEART),
    )


def _breathing(reviewed: Reviewed) -> ExtremeRow:
    edges = bin_edges(
        0.0, reviewed.recorded_s, count=1 + int(reviewed.recorded_s // MINUTE_S), least_s=MINUTE_S
    )
    rates = breathing_rate(reviewed.breaths.time_s, reviewed.contact["impedance"], edges)
    return _row("breaths in each minute", edges[:-1], rates, ())


def _pauses(reviewed: Reviewed) -> ExtremeRow:
    onset_s, length_s = pauses(reviewed.breaths.time_s, reviewed.contact["impedance"])
    words = "time from breath to breath"
    if not len(length_s):
        return ExtremeRow(words, "–", _NOTHING, "–")
    longest = _furthest(onset_s, length_s, _unsure(reviewed, _OF_PAUSES), np.argmax, length_text)
    return ExtremeRow(words, "–", length_text(float(np.median(length_s))), longest)


def _row(words: str, time_s: Floats, values: Floats, unsure: Sequence[Event]) -> ExtremeRow:
    known = np.isfinite(values)
    time_s, values = time_s[known], values[known]
    if not len(values):
        return ExtremeRow(words, "–", _NOTHING, "–")
    return ExtremeRow(
        words,
        _furthest(time_s, values, unsure, np.argmin, number_text),
        number_text(float(np.median(values))),
        _furthest(time_s, values, unsure, np.argmax, number_text),
    )


def _unsure(reviewed: Reviewed, kinds: Sequence[str]) -> list[Event]:
    """Return the events of some kinds that are not supported."""
    return [one for one in reviewed.events if one.kind in kinds and one.judgement != SUPPORTED]


def _furthest(
    time_s: Floats,
    values: Floats,
    unsure: Sequence[Event],
    place_of: Callable[[Floats], np.intp],
    worded: Callable[[float], str],
) -> str:
    """Return the furthest value in no event that is not supported, and any further one in such."""

    def told(place: int) -> str:
        return f"{worded(float(values[place]))} at {time_text(float(time_s[place]))}"

    sure = np.ones(len(values), dtype=np.bool_)
    inside = None
    at = int(place_of(values))
    for event in unsure:
        end_s = np.inf if event.end_s is None else event.end_s
        first = int(np.searchsorted(time_s, event.onset_s))
        after = int(np.searchsorted(time_s, end_s, side="right"))
        sure[first:after] = False
        inside = event if inside is None and first <= at < after else inside
    if inside is None:
        return told(at)
    other = f"{told(at)} (event {inside.number}, {inside.judgement})"
    rest = np.flatnonzero(sure)
    return f"{told(int(rest[place_of(values[rest])]))}; {other}" if len(rest) else other
