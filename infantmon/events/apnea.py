"""Apnea: time without breath, counted from the last breath that was detected.

In come breaths and what is known of the impedance; out come the steps of one alarm condition. The
idea is a clock that each breath sets back to nothing: an apnea begins when it reaches the limit.
What is not so simple stands in `PauseRule` (time in which the signal could not be used) and in
`BreathDoubts` (swings that may have been no breaths).
"""

from __future__ import annotations

from typing import ClassVar

from infantmon.events.batch import Batch, Latencies
from infantmon.events.breath_doubts import BreathDoubts, RecalledDoubts
from infantmon.events.condition import Transition
from infantmon.events.passed_over import Doubts
from infantmon.events.pause import PauseRule
from infantmon.events.shared import Shared
from infantmon.model.findings import Findings
from infantmon.model.marks import Breaths
from infantmon.model.prescription import ApneaLimit


class ApneaRule(PauseRule):
    """A pause in breathing effort of at least the limit, from breath mark to breath mark.

    The clock starts at the last detected breath, as 21 CFR 868.2377 describes an apnea monitor.
    Exactly the limit counts (sources differ; this is the project's choice). Impedance cannot see an
    obstructive apnea while the effort goes on.

    A swing that a disturbance or an electrode may have made counts as a breath, as every other, and
    so does a large one alone in a silence; but a pause that reaches the limit when these are not
    counted is listed too, as not assessable.
    """

    kind = "apnea"
    role = "impedance"
    carried: ClassVar[tuple[str, ...]] = (*PauseRule.carried, "_doubts_of_breaths")

    def __init__(self, limit: ApneaLimit, latencies: Latencies) -> None:
        limits: dict[str, float | int | str] = {
            "rule": "time from breath to breath of at least the limit",
            "limit_s": limit.limit_s,
            "latency_s": latencies.breaths_s,
        }
        super().__init__(limit.limit_s, limits, latencies.breaths_s)
        self._doubts_of_breaths = BreathDoubts()

    def share(self, shared: Shared) -> None:
        """Take the doubts from what rules with other limits have in common with this one."""
        told: list[Doubts] = shared.once((self.kind, "doubts"), list)
        self._doubts_of_breaths = RecalledDoubts(told)

    def push(self, batch: Batch) -> list[Transition]:
        """Return the transitions that follow from a batch, in the order of known time."""
        self._doubts_of_breaths.learn(batch)
        return super().push(batch)

    def findings(self, batch: Batch) -> Breaths:
        """Return the breaths."""
        return batch.breaths

    def doubts(self, findings: Findings) -> Doubts:
        """Tell which breaths a disturbance, an electrode or the heart may have made."""
        if not isinstance(findings, Breaths):
            return super().doubts(findings)
        return self._doubts_of_breaths.tell(findings)
