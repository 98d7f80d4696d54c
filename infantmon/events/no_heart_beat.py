"""No heart beat: time since the last heart beat that was detected.

In come heart beats and the contact marks of the ECG; out come the steps of an alarm condition. As
with an apnea, a clock runs from the last beat; the condition begins when it reaches the limit.
"""

from __future__ import annotations

from typing import ClassVar

from infantmon.events.batch import Batch, Latencies
from infantmon.events.pause import PauseRule
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
        super().__init__(limit.limit_s, limits, latencies.beats_s, carries_over=False)

    def findings(self, batch: Batch) -> RPeaks:
        """Return the heart beats."""
        return batch.r_peaks
