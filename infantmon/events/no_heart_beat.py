"""No heart beat: time since the last heart beat that was detected.

In come heart beats and the contact marks of the ECG; out come the steps of an alarm condition. As
with an apnea, a clock runs from the last beat; the condition begins when it reaches the limit.

A stopped heart that is recorded in steps coarser than the noise is a row of equal samples, and so
is a lost electrode: which of both cannot be told. So a time without a beat that is long enough only
with such rows is listed, as not assessable; as doubtful, where the impedance is lost with it.
"""

from __future__ import annotations

from typing import ClassVar

from infantmon.events.batch import Batch, Latencies
from infantmon.events.condition import Transition
from infantmon.events.pause import PauseRule
from infantmon.events.rule import Edge
from infantmon.model.marks import RPeaks
from infantmon.model.prescription import NoHeartBeatLimit


class NoHeartBeatRule(PauseRule):
    """A time from beat to beat of at least the limit."""

    kind = "no heart beat"
    role = "ecg"
    carried: ClassVar[tuple[str, ...]] = PauseRule.carried

    def __init__(self, limit: NoHeartBeatLimit, latencies: Latencies) -> None:
        limits: dict[str, float | int | str] = {
            "rule": "time from heart beat to heart beat of at least the limit",
            "limit_s": limit.limit_s,
            "latency_s": latencies.beats_s,
        }
        super().__init__(limit.limit_s, limits, latencies.beats_s)

    def findings(self, batch: Batch) -> RPeaks:
        """Return the heart beats."""
        return batch.r_peaks

    def stretch_closes(self, edge: Edge, known_s: float) -> list[Transition]:
        """Apply the end of an unusable stretch: only a flat one may have been the heart's."""
        found = super().stretch_closes(edge, known_s)
        if not edge.flat:
            self._passed_over.begin_anew(edge.time_s)
        return found
