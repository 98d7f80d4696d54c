"""All rules of a prescription over one stream of findings: alarm-condition changes, and events.

The same object serves the monitor (findings as they come), the review (findings of a replay) and
the what-if (stored findings under another prescription).
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Collection
from functools import partial
from typing import ClassVar

from infantmon.events.batch import Batch, Latencies
from infantmon.events.case import BEFORE_S, Case
from infantmon.events.condition import Transition
from infantmon.events.evidence import judge, reasons_for
from infantmon.events.heart_rate_limits import HeartRateRule
from infantmon.events.history import LONGEST_KEPT_S, History
from infantmon.events.measures import effort_free_s, unusable_inside, with_extreme_rate
from infantmon.events.rule import Rule
from infantmon.events.rules_of_plan import rules_for
from infantmon.events.shared import Shared
from infantmon.model.carried import Carried, CarriedSet
from infantmon.model.event import ABSENT, ACTIVE, PENDING, Change, Event, Excursion
from infantmon.model.prescription import Prescription

COUPLED_AFTER_ONSET_S = 50.0
COUPLED_AFTER_END_S = 25.0
"""Windows that couple a slow heart to an apnea: it begins after the apnea has begun, within 50 s of
the apnea's onset or 25 s of its end (Lee H et al., Physiol Meas 2012;33:1-17, as carried out in the
group's openly licensed code)."""
FORGET_EVERY_S = 10.0
"""What no event needs is dropped so often, in seconds: no answer depends on it."""

_SLOW = ("low heart rate", "no heart beat")


class Watch(Carried):
    """Rules of one prescription, wired to one history of findings.

    Parameters
    ----------
    plan : Prescription
        What is watched, and the limits.
    latencies : Latencies
        How far behind the input the findings may be known.
    roles : collection of str
        Channels that are there; rules without their channel are left out.
    shared : Shared or None
        For many prescriptions over one whole recording: what they have in common is worked out
        once, and an event is judged once, when it settles. That comes to the same events.
    """

    carried: ClassVar[tuple[str, ...]] = (
        "rules",
        "_history",
        "_open",
        "_unsettled",
        "_assessable",
        "_count",
        "_slow",
        "_states",
        "_reached_s",
    )

    def __init__(
        self,
        plan: Prescription,
        latencies: Latencies,
        roles: Collection[str],
        *,
        shared: Shared | None = None,
    ) -> None:
        self.plan = plan
        self._shared = shared
        self.latencies = latencies
        rules = rules_for(plan, latencies, roles)
        self.rules = CarriedSet({rule.kind: rule for rule in rules})
        self._history = History() if shared is None else shared.history
        self._open: dict[str, Event] = {}  # by kind, until it ends
        self._unsettled: list[tuple[float, Event]] = []  # ended, with the time of settling
        self._assessable: dict[int, bool] = {}  # by number, until settled
        self._count = 0
        self._slow: list[tuple[int, float]] = []  # number and onset of the latest slow hearts
        self._states = dict.fromkeys(self.rules, ABSENT)  # as of the changes given so far
        self._reached_s = -math.inf

    @property
    def latencies_s(self) -> dict[str, float]:
        """Stated worst-case delay of each kind of event behind its limit, in seconds."""
        return {kind: float(rule.limits["latency_s"]) for kind, rule in self.rules.items()}

    @property
    def reached_s(self) -> float:
        """Stream time up to which all changes have been given."""
        return self._reached_s

    def push(self, batch: Batch) -> list[Change]:
        """Return the changes up to the time that the batch reaches, by known time and kind."""
        steps = self._steps(batch)
        steps.sort(key=lambda entry: entry[:2])
        changes: list[Change] = []
        for known_s, kind, step in steps:
            changes += self._settle_before(known_s)
            changes.append(self._apply(kind, step))
        changes += self._settle_through(batch.reached_s, last=batch.last)
        before_s, self._reached_s = self._reached_s, batch.reached_s
        if batch.last:
            changes += [self._closed(event) for event in self._open.values()]
            self._open = {}
            changes += self._left_pending()
        if batch.reached_s // FORGET_EVERY_S != before_s // FORGET_EVERY_S:
            self._forget()
        return sorted(changes, key=lambda change: (change.known_s, change.kind))

    def _steps(self, batch: Batch) -> list[tuple[float, str, Transition]]:
        """Return what the rules say, with the time and kind to sort it by."""
        shared = self._shared
        if shared is None:
            self._history.add(batch)
            courses = [(rule, rule.push(batch)) for rule in self.rules.values()]
        else:  # a rule's course depends on its limit alone

            def pushed(rule: Rule) -> tuple[Rule, list[Transition]]:
                rule.share(shared)
                return rule, rule.push(shared.whole)

            courses = [
                shared.once((rule.kind, *rule.limits.items()), partial(pushed, rule))
                for rule in self.rules.values()
            ]
            self.rules = CarriedSet({rule.kind: rule for rule, _ in courses})
        return [(step.known_s, rule.kind, step) for rule, steps in courses for step in steps]

    def reset(self, at_s: float) -> list[Change]:
        """Reset by a person, acting on everything that has changed up to `at_s` (seconds)."""
        changes = []
        for rule in self.rules.values():
            for step in rule.condition.reset(at_s):
                self._states[rule.kind] = step.state
                changes.append(Change(at_s, rule.kind, step.state, step.cause))
        return sorted(changes, key=lambda change: change.kind)

    def _forget(self) -> None:
        if self._shared is not None:
            return
        begun = [rule.begun_s for rule in self.rules.values()]
        unsettled = [event.onset_s for _, event in self._unsettled]
        first_s = min([*begun, *unsettled], default=math.inf)
        self._history.forget(self._reached_s, first_s - 2 * BEFORE_S)
        oldest_s = self._reached_s - LONGEST_KEPT_S
        self._slow = [entry for entry in self._slow if entry[1] >= oldest_s]

    def _closed(self, event: Event) -> Change:
        """Settle an event that is still open when the stream ends."""
        event = self._settled(event, self._reached_s)
        return Change(self._reached_s, event.kind, ACTIVE, "recording ended", event)

    def _left_pending(self) -> list[Change]:
        """Keep the excursions that had not gone active when the stream ended."""
        found = []
        for kind, rule in self.rules.items():
            if rule.condition.state == PENDING:
                end_s = max(self._reached_s, rule.condition.onset_s)
                excursion = Excursion(kind, rule.condition.onset_s, end_s, self._reached_s)
                cause = "recording ended"
                found.append(Change(self._reached_s, kind, PENDING, cause, excursion=excursion))
        return found

    # One transition ----------------------------------------------------------------------------

    def _apply(self, kind: str, step: Transition) -> Change:
        self._states[kind] = step.state
        if step.state == ACTIVE:
            return self._goes_active(kind, step)
        event = self._open.pop(kind, None) if step.end_s is not None else None
        if event is not None:
            return self._ends(event, step)
        excursion = None
        if step.end_s is not None and step.onset_s is not None:
            excursion = Excursion(kind, step.onset_s, step.end_s, step.known_s)
        return Change(step.known_s, kind, step.state, step.cause, excursion=excursion)

    def _goes_active(self, kind: str, step: Transition) -> Change:
        event = self._open.get(kind)
        if event is None:
            self._count += 1
            onset_s = float(step.onset_s if step.onset_s is not None else math.nan)
            limits = self.rules[kind].limits
            event = Event(self._count, kind, onset_s, step.known_s, limits=limits)
            if kind in _SLOW:
                self._slow.append((self._count, onset_s))
        elif step.onset_s is not None:  # the onset itself may have become certain only now
            event = dataclasses.replace(event, onset_s=step.onset_s)
        self._assessable[event.number] = step.assessable
        if self._shared is None:
            event = self._judged(event, step.known_s)
        self._open[kind] = event
        return Change(step.known_s, kind, ACTIVE, step.cause, event)

    def _ends(self, event: Event, step: Transition) -> Change:
        self._assessable[event.number] = step.assessable
        event = dataclasses.replace(event, end_s=step.end_s)
        due_s = self._settled_at_s(event, step.known_s)
        if due_s <= step.known_s:
            event = self._settled(event, step.known_s)
        else:
            if self._shared is None:
                event = self._judged(event, step.known_s)
            self._unsettled.append((due_s, event))
            self._unsettled.sort(key=lambda entry: (entry[0], entry[1].kind))
        return Change(step.known_s, event.kind, step.state, step.cause, event)

    # Settling ----------------------------------------------------------------------------------

    def _settled_at_s(self, event: Event, known_s: float) -> float:
        """Return when all that an event's judgement looks at is known."""
        if event.kind != "apnea" or event.end_s is None:
            return known_s
        return max(known_s, _coupled_until_s(event) + self._slow_wait_s)

    @property
    def _slow_wait_s(self) -> float:
        """How long after its onset a slow heart may go active, in seconds."""
        slow, none = self.plan.low_heart_rate, self.plan.no_heart_beat
        waits = [slow.hold_off_s if slow else 0.0, none.limit_s if none else 0.0]
        return max(waits) + self.latencies.beats_s

    def _settle_before(self, until_s: float) -> list[Change]:
        changes = []
        while self._unsettled and self._unsettled[0][0] < until_s:
            changes.append(self._settle_first(math.inf))
        return changes

    def _settle_through(self, until_s: float, *, last: bool) -> list[Change]:
        changes = []
        while self._unsettled and (last or self._unsettled[0][0] <= until_s):
            changes.append(self._settle_first(until_s))
        return changes

    def _settle_first(self, at_most_s: float) -> Change:
        due_s, event = self._unsettled.pop(0)
        known_s = min(due_s, at_most_s)
        state = self._states[event.kind]
        return Change(known_s, event.kind, state, "settled", self._settled(event, known_s))

    def _settled(self, event: Event, known_s: float) -> Event:
        settled = dataclasses.replace(self._judged(event, known_s), settled_s=known_s)
        self._assessable.pop(event.number, None)
        return settled

    def _judged(self, event: Event, known_s: float) -> Event:
        """Return the event with reasons, judgement and measures, as far as known by then."""
        assessable = self._assessable[event.number]
        if self._shared is None:
            found = self._evidence(event, known_s, assessable)
        else:  # and evidence on the event alone
            key = (event.kind, event.onset_s, event.end_s, known_s, assessable)
            work = partial(self._evidence, event, known_s, assessable)
            found = self._shared.once((*key, *event.limits.items()), work)
        linked = self._slow_hearts_beside(event) if event.kind == "apnea" else ()
        return dataclasses.replace(found, number=event.number, known_s=event.known_s, linked=linked)

    def _evidence(self, event: Event, known_s: float, assessable: bool) -> Event:
        until_s = known_s if event.end_s is None else event.end_s
        case = Case(event, assessable, until_s, known_s, self._history)
        reasons = reasons_for(case, self._shared)
        judged = dataclasses.replace(
            event, reasons=reasons, judgement=judge(reasons), unusable=unusable_inside(case)
        )
        if event.kind == "apnea":
            return dataclasses.replace(judged, effort_free_s=effort_free_s(case))
        rule = self.rules[event.kind]
        if isinstance(rule, HeartRateRule):
            return with_extreme_rate(judged, case, rule.averaging)
        return judged

    def _slow_hearts_beside(self, apnea: Event) -> tuple[int, ...]:
        """Return the numbers of the slow-heart events that are coupled to an apnea."""
        until_s = _coupled_until_s(apnea)
        return tuple(n for n, onset_s in self._slow if apnea.onset_s < onset_s < until_s)


def _coupled_until_s(apnea: Event) -> float:
    """Return until when a slow heart that begins is coupled to an apnea, as far as is known."""
    until_s = apnea.onset_s + COUPLED_AFTER_ONSET_S
    return until_s if apnea.end_s is None else max(until_s, apnea.end_s + COUPLED_AFTER_END_S)
