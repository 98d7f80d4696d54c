"""The state machine of one alarm condition, in the terms of IEC 60601-1-8.

States: absent, pending (the hold-off runs), active, latched (cleared by itself, its indicator still
on). Reset is a cause, not a state::

    absent  --onset, hold-off runs--> pending
    absent  --onset, no hold-off----> active
    pending --hold-off over---------> active
    pending --ends before-----------> absent (or back to latched)
    active  --clears by itself------> latched
    latched --onset-----------------> pending or active again
    latched --reset-----------------> absent

A pending condition that ends while an earlier event is still latched goes back to latched. A reset
while active keeps it active.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

from infantmon.model.carried import Carried
from infantmon.model.event import ABSENT, ACTIVE, LATCHED, PENDING


@dataclass(frozen=True, slots=True)
class Transition:
    """One step of a condition: what it is now, since which stream time, and why.

    `onset_s` is None for a reset; `end_s` is given where the excursion ended. `assessable` is false
    as long as the limit was reached only by counting unusable time.
    """

    known_s: float
    state: str
    cause: str
    onset_s: float | None = None
    end_s: float | None = None
    assessable: bool = True


class Condition(Carried):
    """One alarm condition.

    Parameters
    ----------
    hold_off_s : float
        Alarm condition delay: how long an excursion must last, in seconds.
    lag_s : float
        How far behind the input an end of the excursion may become known, in seconds. That an
        excursion has lasted until t is known at t + `lag_s`; so it goes active at the later of
        onset + hold-off + lag and the moment the onset became known.
    longer : bool
        Whether an excursion must last longer than the hold-off; otherwise exactly that is enough.

    Notes
    -----
    Calls come in the order of known time; `wake_s` tells when `wake` has to be called.
    """

    carried: ClassVar[tuple[str, ...]] = ("state", "latched_s", "onset_s", "wake_s", "changed_s")

    def __init__(self, hold_off_s: float, lag_s: float, *, longer: bool = False) -> None:
        self._hold_off_s = hold_off_s
        self._lag_s = lag_s
        self._longer = longer
        self.state = ABSENT
        self.latched_s = math.inf  # since when an earlier event's indicator is on
        self.onset_s = math.nan
        self.wake_s = math.inf
        self.changed_s = -math.inf

    @property
    def begun(self) -> bool:
        """Whether an excursion is under way, active or not yet."""
        return self.state in (PENDING, ACTIVE)

    @property
    def held_until_s(self) -> float:
        """Time until which the present excursion has to last to go active, in seconds."""
        return self.onset_s + self._hold_off_s

    @property
    def latched(self) -> bool:
        """Whether the indicator of an earlier event is still on."""
        return self.latched_s < math.inf

    def begin(self, onset_s: float, known_s: float, cause: str) -> list[Transition]:
        """Take the onset of an excursion."""
        self.onset_s = onset_s
        due_s = max(self.held_until_s + self._lag_s, known_s)
        if self._hold_off_s == 0.0 or due_s <= known_s:
            return [self._to(ACTIVE, known_s, cause)]
        self.wake_s = due_s
        return [self._to(PENDING, known_s, cause)]

    def wake(self, known_s: float) -> list[Transition]:
        """Let the hold-off run out."""
        if self.state != PENDING:
            return []
        return [self._to(ACTIVE, known_s, "hold-off over")]

    def end(self, end_s: float, known_s: float, cause: str) -> list[Transition]:
        """Take the end of an excursion; one that lasted the whole hold-off goes active first."""
        if not self.begun:
            return []
        end_s = max(end_s, self.onset_s)
        held_s = self.held_until_s
        lasted = end_s > held_s if self._longer else end_s >= held_s
        steps = self.wake(known_s) if lasted else []
        if self.state == ACTIVE:
            self.latched_s = known_s
        steps.append(self._to(LATCHED if self.latched else ABSENT, known_s, cause, end_s))
        return steps

    def reset(self, at_s: float) -> list[Transition]:
        """Reset by a person, acting on all that had changed by then.

        A latched condition becomes absent; an active one stays active; a pending one stays pending,
        but the indicator of the event before is off.
        """
        if self.state == LATCHED and self.changed_s <= at_s:
            self.latched_s = math.inf
            self.state, self.changed_s = ABSENT, at_s
            return [Transition(at_s, ABSENT, "reset")]
        if self.state == PENDING and self.latched_s <= at_s:
            self.latched_s = math.inf
        return []

    def _to(self, state: str, known_s: float, cause: str, end_s: float | None = None) -> Transition:
        self.state, self.changed_s = state, known_s
        if state != PENDING:
            self.wake_s = math.inf
        return Transition(known_s, state, cause, self.onset_s, end_s)
