"""What is measured over a recorded event: pauses, rates, pulsation, contact, movement."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from infantmon.events.case import BEFORE_S
from infantmon.model.arrays import Floats
from infantmon.model.marks import Breaths, HeartRates, Pulsations, RPeaks
from infantmon.model.spans import Spans


class Findings(Protocol):
    """What is needed of a review."""

    @property
    def breaths(self) -> Breaths:
        """Breaths."""

    @property
    def r_peaks(self) -> RPeaks:
        """Heart beats."""

    @property
    def heart_rate(self) -> HeartRates:
        """Averaged heart rate at each beat."""

    @property
    def pulsation(self) -> Pulsations:
        """How much heart pulsation was taken out."""

    def spans(self, role: str) -> Spans | None:
        """Stretches of a channel that could not be used, or only with care; None if not there."""


@dataclass(frozen=True, slots=True)
class Measures:
    """What was measured over a recorded event; None where it cannot be told.

    Attributes
    ----------
    longest_pause_s : float or None
        Longest time between two breaths that reaches into it, mark to mark, in seconds; one that a
        stretch cuts in which the impedance could not be used (over 1.0 s) is not counted.
    effort_free_s : float or None
        The same pause from edge to edge of effort, in seconds.
    lowest_bpm, highest_bpm : float or None
        Extremes of the averaged heart rate in it, in beats a minute.
    pulsation_ratio : float or None
        Median pulsation taken out in it over the median breath in the 30 s before; None without
        reliable R peaks for most of it.
    unusable, disturbed : mapping of str to float
        By role: share of it in which the channel could not be used, or only with care.
    """

    longest_pause_s: float | None
    effort_free_s: float | None
    lowest_bpm: float | None
    highest_bpm: float | None
    pulsation_ratio: float | None
    unusable: dict[str, float]
    disturbed: dict[str, float]


def measures_of(found: Findings, start_s: float, end_s: float, roles: tuple[str, ...]) -> Measures:
    """Measure a stretch of a reviewed recording.

    Parameters
    ----------
    found : Findings
        Findings of the review.
    start_s, end_s : float
        The stretch, in seconds.
    roles : tuple of str
        Channels that were recorded.
    """
    lost = lost_stretches(found.spans("impedance"))
    pause_s, free_s = _longest_pause(found.breaths, lost, start_s, end_s)
    rates = found.heart_rate.between(start_s, np.nextafter(end_s, np.inf)).heart_rate_bpm
    rates = rates[np.isfinite(rates)]
    length_s = max(end_s - start_s, 1e-9)
    spans = {role: told for role in roles if (told := found.spans(role)) is not None}
    return Measures(
        pause_s,
        free_s,
        float(rates.min()) if len(rates) else None,
        float(rates.max()) if len(rates) else None,
        _pulsation(found, lost, start_s, end_s),
        {r: s.blocking.overlap_s(start_s, end_s) / length_s for r, s in spans.items()},
        {r: s.disturbing.overlap_s(start_s, end_s) / length_s for r, s in spans.items()},
    )


def lost_stretches(spans: Spans | None) -> Spans:
    """Return the stretches too long to be bridged in which a channel could not be used.

    Parameters
    ----------
    spans : Spans or None
        Those of a channel; None where it was not recorded.
    """
    return Spans.none() if spans is None else spans.blocking.unbridged


def _longest_pause(
    breaths: Breaths, lost: Spans, start_s: float, end_s: float
) -> tuple[float | None, float | None]:
    """Return the longest interval between breaths that reaches into a stretch, both ways.

    One that a lost stretch cuts is none: nobody knows whether there was a breath.
    """
    time_s: Floats = breaths.time_s
    first = max(int(np.searchsorted(time_s, start_s, "right")) - 1, 0)
    after = min(int(np.searchsorted(time_s, end_s, "left")) + 1, len(time_s))
    if after - first < 2:
        return None, None
    lengths = np.diff(time_s[first:after])
    lengths[lost.touch(time_s[first : after - 1], time_s[first + 1 : after])] = -1.0
    if lengths.max() < 0.0:
        return None, None
    place = first + int(np.argmax(lengths))
    return float(lengths.max()), breaths.effort_free_s(place, place + 1)


def _pulsation(found: Findings, lost: Spans, start_s: float, end_s: float) -> float | None:
    """Return the pulsation of a stretch over a breath before; an earlier pause has none."""
    taken = found.pulsation.between(start_s, end_s)
    taken = taken.where(~lost.inside(taken.time_s))
    before = found.pulsation.between(start_s - BEFORE_S, start_s)
    before = before.where(~lost.inside(before.time_s)).holding(found.breaths.time_s)
    if not len(taken) or not len(before) or taken.mostly_without(found.r_peaks):
        return None
    breath = float(np.median(before.breath))
    return float(np.median(taken.pulsation)) / breath if breath > 0 else None
