"""The state machine of one alarm condition: each transition in plain words, and a stateful test.

Alarm condition delay, latching and reset are terms of IEC 60601-1-8 (the terms; text not read).
"""

import math

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule
from slow_rules import SlowCondition

from infantmon.events.condition import Condition

HOLD_OFF_S, LAG_S = 5.0, 1.0


def steps(*lists):
    return [(step.known_s, step.state, step.cause) for found in lists for step in found]


def pending_since(onset_s=10.0):
    condition = Condition(HOLD_OFF_S, LAG_S)
    condition.begin(onset_s, onset_s + 0.5, "limit passed")
    return condition


def active_since(onset_s=10.0):
    condition = pending_since(onset_s)
    condition.wake(condition.wake_s)
    return condition


def latched_since(end_s=20.0):
    condition = active_since()
    condition.end(end_s, end_s + 0.5, "ended by itself")
    return condition


def test_begins_absent_with_nothing_due():
    condition = Condition(HOLD_OFF_S, LAG_S)
    assert (condition.state, condition.wake_s, condition.begun) == ("absent", math.inf, False)


def test_an_onset_is_pending_while_the_hold_off_runs():
    condition = Condition(HOLD_OFF_S, LAG_S)
    assert steps(condition.begin(10.0, 10.5, "limit passed")) == [(10.5, "pending", "limit passed")]


def test_the_hold_off_counts_from_the_onset_and_is_certain_a_latency_later():
    assert pending_since(10.0).wake_s == 16.0


def test_an_onset_without_hold_off_is_active_at_once():
    condition = Condition(0.0, LAG_S)
    assert steps(condition.begin(10.0, 10.5, "limit passed")) == [(10.5, "active", "limit passed")]


def test_an_onset_known_only_after_the_hold_off_is_active_at_once():
    condition = Condition(HOLD_OFF_S, LAG_S)
    assert steps(condition.begin(10.0, 16.0, "told late")) == [(16.0, "active", "told late")]
    condition = Condition(HOLD_OFF_S, LAG_S)
    condition.begin(10.0, 15.9, "told late")
    assert condition.state == "pending"


def test_a_pending_condition_goes_active_when_the_hold_off_is_over():
    condition = pending_since()
    assert steps(condition.wake(16.0)) == [(16.0, "active", "hold-off over")]
    assert condition.wake_s == math.inf


def test_a_pending_condition_that_ends_before_is_absent_and_never_was_active():
    condition = pending_since(10.0)
    assert steps(condition.end(14.9, 15.4, "ended by itself")) == [
        (15.4, "absent", "ended by itself")
    ]
    assert not condition.latched
    assert condition.wake_s == math.inf


@pytest.mark.parametrize(("end_s", "states"), [(14.9, ["absent"]), (15.0, ["active", "latched"])])
def test_exactly_the_hold_off_is_long_enough(end_s, states):
    assert [step.state for step in pending_since(10.0).end(end_s, 15.5, "over")] == states


@pytest.mark.parametrize(("end_s", "states"), [(15.0, ["absent"]), (15.1, ["active", "latched"])])
def test_where_longer_is_asked_for_exactly_the_hold_off_is_not(end_s, states):
    condition = Condition(HOLD_OFF_S, LAG_S, longer=True)
    condition.begin(10.0, 10.5, "lost")
    assert [step.state for step in condition.end(end_s, 15.5, "over")] == states


def test_an_active_condition_that_clears_by_itself_is_latched():
    condition = active_since()
    assert steps(condition.end(20.0, 20.5, "ended by itself")) == [
        (20.5, "latched", "ended by itself")
    ]


def test_a_new_onset_while_latched_is_pending_then_active_again():
    condition = latched_since()
    found = steps(condition.begin(30.0, 30.5, "limit passed"), condition.wake(36.0))
    assert found == [(30.5, "pending", "limit passed"), (36.0, "active", "hold-off over")]


def test_an_excursion_too_short_goes_back_to_latched():
    condition = latched_since()
    condition.begin(30.0, 30.5, "limit passed")
    assert steps(condition.end(33.0, 33.5, "over")) == [(33.5, "latched", "over")]


def test_reset_while_absent_does_nothing():
    condition = Condition(HOLD_OFF_S, LAG_S)
    assert condition.reset(5.0) == []
    assert condition.state == "absent"


def test_reset_while_pending_leaves_it_pending():
    condition = pending_since()
    assert condition.reset(12.0) == []
    assert condition.state == "pending"
    assert condition.wake(16.0)[0].state == "active"


def test_reset_while_active_keeps_it_active_and_it_latches_at_its_end():
    condition = active_since()
    assert condition.reset(18.0) == []
    assert condition.state == "active"
    assert condition.end(20.0, 20.5, "over")[0].state == "latched"


def test_reset_while_latched_makes_it_absent():
    assert steps(latched_since(20.0).reset(20.5)) == [(20.5, "absent", "reset")]


def test_a_reset_before_it_latched_does_not_act_on_it():
    condition = latched_since(20.0)
    assert condition.reset(20.4) == []
    assert condition.state == "latched"


def test_reset_while_pending_puts_out_the_indicator_of_the_event_before():
    condition = latched_since(20.0)
    condition.begin(30.0, 30.5, "limit passed")
    assert condition.reset(25.0) == []
    assert condition.end(33.0, 33.5, "over")[0].state == "absent"


def test_a_reset_of_the_past_does_not_act_on_what_latched_later():
    condition = latched_since(20.0)
    condition.begin(30.0, 30.5, "limit passed")
    assert condition.reset(20.0) == []
    assert condition.end(33.0, 33.5, "over")[0].state == "latched"


def test_an_end_without_an_excursion_does_nothing():
    assert Condition(HOLD_OFF_S, LAG_S).end(5.0, 5.5, "over") == []
    assert latched_since().end(25.0, 25.5, "over") == []


def test_an_end_is_never_before_its_onset():
    assert pending_since(10.0).end(9.0, 11.0, "lost")[0].end_s == 10.0


class AgainstTwin(RuleBasedStateMachine):
    """Random onsets, ends, resets and saves at random times, beside the slow twin.

    Onsets and ends become known up to the latency after their time, as findings do.
    """

    def __init__(self):
        super().__init__()
        self.condition = Condition(2.0, 1.0)
        self.twin = SlowCondition(2.0, 1.0)
        self.now = 0.0
        self.told = []
        self.truth = False  # whether the limit is passed, as far as known

    @rule(ticks=st.integers(1, 12))
    def time_passes(self, ticks):
        for _ in range(ticks):
            self.now += 0.25
            self.twin.tick(self.now)
        if self.condition.wake_s <= self.now:
            self.told += self.condition.wake(self.condition.wake_s)

    @precondition(lambda self: not self.truth)
    @rule(late=st.integers(0, 4))
    def onset(self, late):
        self.truth = True
        onset = self.now - late / 4
        self.told += self.condition.begin(onset, self.now, "limit passed")
        self.twin.begin(onset, self.now)

    @precondition(lambda self: self.truth)
    @rule(late=st.integers(0, 4))
    def over(self, late):
        self.truth = False
        self.told += self.condition.end(self.now - late / 4, self.now, "over")
        self.twin.end(self.now - late / 4, self.now)

    @rule(back=st.integers(0, 20))
    def reset(self, back):
        at = max(self.now - back / 4, 0.0)
        self.told += self.condition.reset(at)
        self.twin.reset(at)

    @rule()
    def saved_and_resumed(self):
        again = Condition(2.0, 1.0)
        again.restore(self.condition.snapshot())
        self.condition = again

    @invariant()
    def tells_the_same(self):
        told = [(s.known_s, s.state, s.onset_s, s.end_s, s.assessable) for s in self.told]
        assert told == self.twin.steps
        assert self.condition.state == self.twin.state

    @invariant()
    def an_alarm_has_its_condition(self):
        """Active only while the limit is passed, and never cleared by itself while it is."""
        assert self.condition.begun == self.truth

    @invariant()
    def no_event_is_lost_or_doubled(self):
        """Each excursion of the hold-off or more goes active once; no shorter one does."""
        ends = [s for s in self.told if s.end_s is not None]
        active = [s.onset_s for s in self.told if s.state == "active"]
        assert len(active) == len(set(active))
        lasted = {s.onset_s for s in ends if s.end_s - s.onset_s >= 2.0}
        going_on = {self.condition.onset_s} if self.condition.state == "active" else set()
        assert lasted | going_on == set(active)


AgainstTwin.TestCase.settings = settings(max_examples=150, stateful_step_count=40, deadline=None)
TestAgainstTwin = AgainstTwin.TestCase
