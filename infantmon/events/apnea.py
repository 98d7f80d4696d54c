"""Apnea: time without breath, counted from the last breath that was detected."""

from __future__ import annotations

from typing import ClassVar

from infantmon.events.batch import Batch, Latencies
from infantmon.events.pause import PauseRule
from infantmon.model.marks import Breaths
from infantmon.model.prescription import ApneaLimit


class ApneaRule(PauseRule):
    """A pause in breathing effort of at least the limit, from breath mark to breath mark.

    The clock starts at the last detected breath, as 21 CFR 868.2377 describes an apnea monitor.
    Exactly the limit counts (sources differ; this is the project's choice). Impedance cannot see an
    obstructive apnea while the effort goes on.
    """

    kind = "apnea"
    role = "impedance"
    carried: ClassVar[tuple[str, ...]] = PauseRule.carried

    def __init__(self, limit: ApneaLimit, latencies: Latencies) -> None:
        limits: dict[str, float | int | str] = {
            "rule": "time from breath to breath of at least the limit",
            "limit_s": limit.limit_s,
            "latency_s": latencies.breaths_s,
        }
        super().__init__(limit.limit_s, limits, latencies.breaths_s, carries_over=True)

    def findings(self, batch: Batch) -> Breaths:
        """Return the breaths."""
        return batch.breaths
