"""Stretches in which heart beats cannot be told: what is marked does not look like beats.

In come heart beats, each reliable or not; out come marks where a long row of unreliable ones
begins and is over. To the technical condition "signal unusable" they are as contact marks are.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import ClassVar

import numpy as np

from infantmon.model.carried import Carried
from infantmon.model.marks import RPeaks
from infantmon.model.spans import Reason
from infantmon.model.usability import BlockingMark

ESTABLISHED_S = 5.0
"""Beats that all look strange for so long (s) are none that can be told (project's choice): so it
was nowhere in the preterm, fetal and adult breathing recordings looked at, in 0.4 % of the time of
twelve adult arrhythmia records, and wherever noise stood in place of a simulated ECG."""


class UntoldBeats(Carried):
    """Follows how long the beats of one lead have not been reliable, and tells it as marks.

    A stretch begins with the first strange beat, is told by the first that is 5 s later, and is
    over with the next reliable one.
    """

    carried: ClassVar[tuple[str, ...]] = ("_since_s", "_told")

    def __init__(self) -> None:
        self._since_s = math.inf  # first of the strange beats since the last reliable one
        self._told = False

    def push(self, beats: RPeaks) -> list[BlockingMark]:
        """Return the marks that follow from the next beats, in the order of known time."""
        marks: list[BlockingMark] = []
        if self._since_s == math.inf and beats.reliable.all():
            return marks
        turns = np.flatnonzero(np.diff(beats.reliable)) + 1
        edges = [0, *turns.tolist(), len(beats)]
        for first, after in pairwise(edges):
            if after > first and beats.reliable[first]:
                marks += self._over(float(beats.time_s[first]), float(beats.known_s[first]))
            elif after > first:
                marks += self._strange(beats.rows(first, after))
        return marks

    def _strange(self, beats: RPeaks) -> list[BlockingMark]:
        self._since_s = min(self._since_s, float(beats.time_s[0]))
        row = int(np.searchsorted(beats.time_s, self._since_s + ESTABLISHED_S))
        if self._told or row == len(beats):
            return []
        self._told = True
        return [self._mark(float(beats.time_s[row]), float(beats.known_s[row]), opens=True)]

    def _over(self, time_s: float, known_s: float) -> list[BlockingMark]:
        marks = [self._mark(time_s, known_s, opens=False)] if self._told else []
        self._since_s, self._told = math.inf, False
        return marks

    def _mark(self, time_s: float, known_s: float, *, opens: bool) -> BlockingMark:
        return BlockingMark(known_s, time_s, self._since_s, int(Reason.NOISE), opens)
