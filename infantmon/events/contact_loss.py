"""Contact loss and signal unusable: the two technical conditions.

In come the contact marks of all channels (and stretches of beats that do not look like beats); out
come the steps of an alarm condition. Each is active once any channel has been out for longer than
the delay, until all are back. They differ in the reason alone: one points to the electrode, the
other does not.
"""

from __future__ import annotations

import math
from typing import ClassVar

from infantmon.events.batch import Batch, Latencies
from infantmon.events.condition import Condition, Transition
from infantmon.events.rule import Rule
from infantmon.events.untold_beats import UntoldBeats
from infantmon.model.event import ACTIVE, PENDING
from infantmon.model.prescription import ContactLossLimit
from infantmon.model.spans import LOST_CONTACT, Reason
from infantmon.model.usability import BlockingMark, blocking_marks

BEATS = "ecg beats"
"""What the marks that follow from beats are told of; no channel has this name."""


class TechnicalRule(Rule):
    """One channel cannot be used for longer than the delay (exactly the delay is not longer).

    Active until every channel can be used again.
    """

    carried: ClassVar[tuple[str, ...]] = ("condition", "_open")

    def __init__(self, limit: ContactLossLimit, latencies: Latencies) -> None:
        limits: dict[str, float | int | str] = {
            "rule": "a channel cannot be used for longer than the delay",
            "delay_s": limit.delay_s,
            "latency_s": latencies.contact_s,
        }
        super().__init__(Condition(limit.delay_s, latencies.contact_s, longer=True), limits)
        self._open: dict[str, float] = {}  # since when each channel is out

    def concerns(self, reason: Reason) -> bool:
        """Tell whether a stretch for this reason belongs to this condition."""
        raise NotImplementedError

    def push(self, batch: Batch) -> list[Transition]:
        """Return the transitions that follow from a batch, in the order of known time."""
        marks = [
            (mark, role)
            for role in sorted(batch.contact)
            for mark in blocking_marks(batch.contact[role])
        ]
        marks += [(mark, BEATS) for mark in self._of_beats(batch)]
        marks.sort(key=lambda pair: pair[0].known_s)
        found: list[Transition] = []
        for mark, role in marks:
            found += self._wake(mark.known_s, inclusive=False)
            found += self._opens(mark, role) if mark.opens else self._closes(mark, role)
        return found + self._wake(batch.reached_s, inclusive=True, last=batch.last)

    def _of_beats(self, batch: Batch) -> list[BlockingMark]:  # noqa: ARG002 - one of the two looks at them
        """Return marks that follow from the beats."""
        return []

    def _opens(self, mark: BlockingMark, role: str) -> list[Transition]:
        if not self.concerns(Reason(mark.reason)):
            return []
        self._open[role] = mark.since_s
        state, onset_s = self.condition.state, self.condition.onset_s
        if state == ACTIVE or (state == PENDING and mark.since_s >= onset_s):
            return []
        return self.condition.begin(mark.since_s, mark.known_s, _cause(mark, role))

    def _closes(self, mark: BlockingMark, role: str) -> list[Transition]:
        since_s = self._open.pop(role, None)
        if since_s is None:
            return []
        if not self._open:
            return self.condition.end(mark.time_s, mark.known_s, "signal usable again")
        if mark.time_s > self.condition.held_until_s:
            return self.condition.wake(mark.known_s)
        next_s = min(self._open.values())
        if self.condition.state == ACTIVE or next_s <= self.condition.onset_s:
            return []
        # the longest stretch was not too long: the delay counts from the one that is still open
        found = self.condition.end(mark.time_s, mark.known_s, "signal usable again")
        longest = min(self._open, key=self._open.__getitem__)
        cause = f"{longest.partition(' ')[0]}: still unusable"
        return found + self.condition.begin(next_s, mark.known_s, cause)

    def _wake(self, until_s: float, *, inclusive: bool, last: bool = False) -> list[Transition]:
        due_s = self.condition.wake_s
        if due_s == math.inf:
            return []
        if last:
            ripe = self.condition.held_until_s < until_s
        else:
            ripe = due_s <= until_s if inclusive else due_s < until_s
        return self.condition.wake(min(due_s, until_s)) if ripe else []


class ContactLossRule(TechnicalRule):
    """The electrode is off, or the signal looks as if it were."""

    kind = "contact loss"

    def concerns(self, reason: Reason) -> bool:
        """Tell whether the reason points to the electrode."""
        return bool(reason & LOST_CONTACT)


class SignalUnusableRule(TechnicalRule):
    """A signal cannot be used, for a reason that does not point to the electrode.

    So is an ECG whose beats have not looked like beats for long: noise in place of the heart.
    """

    kind = "signal unusable"
    carried: ClassVar[tuple[str, ...]] = (*TechnicalRule.carried, "_untold")

    def __init__(self, limit: ContactLossLimit, latencies: Latencies) -> None:
        super().__init__(limit, latencies)
        self._untold = UntoldBeats()

    def _of_beats(self, batch: Batch) -> list[BlockingMark]:
        return self._untold.push(batch.r_peaks)

    def concerns(self, reason: Reason) -> bool:
        """Tell whether the reason does not point to the electrode."""
        return not reason & LOST_CONTACT


def _cause(mark: BlockingMark, role: str) -> str:
    return f"{role.partition(' ')[0]}: {Reason(mark.reason).words}"
