"""A reset of a monitor: what it acts on, and when."""

from functools import cache

import numpy as np
import pytest
from monitored_night import changes_of, latched_time, monitor, pushes, reviewed, through

from infantmon.errors import ArgumentError, StateError
from infantmon.events.log import fold
from infantmon.monitor import Monitor


def test_a_reset_makes_a_latched_condition_absent_and_says_so():
    made, known = monitor(), latched_time()
    through(made, known + 1.0)
    assert made.state.conditions["low heart rate"] == "latched"
    changes = [c for c in made.reset() if c.kind == "low heart rate"]
    assert [(c.known_s, c.state, c.cause, c.event) for c in changes] == [
        (made.state.reached_s, "absent", "reset", None)
    ]
    assert made.state.conditions["low heart rate"] == "absent"
    assert made.reset() == []


def test_a_reset_keeps_an_active_condition_active():
    made = monitor()
    slow = reviewed().events.of_kind("low heart rate")[0]
    through(made, slow.known_s + 0.5)
    assert "low heart rate" not in {change.kind for change in made.reset()}
    assert made.state.conditions["low heart rate"] == "active"


def test_a_reset_of_the_past_acts_only_on_what_had_changed_by_then():
    made, known = monitor(), latched_time()
    through(made, known + 1.0)
    assert [c for c in made.reset(at_s=known - 0.1) if c.kind == "low heart rate"] == []
    assert made.state.conditions["low heart rate"] == "latched"
    assert "low heart rate" in {c.kind for c in made.reset(at_s=known)}
    assert made.state.conditions["low heart rate"] == "absent"


@pytest.mark.parametrize("step_s", [0.8, 16.0, 240.0])
def test_a_reset_ahead_of_time_acts_at_its_time_however_the_stream_is_cut(step_s):
    at_s = [latched_time() + 0.3, latched_time("apnea") + 5.0, 239.9, 5000.0]
    made = monitor()
    assert [made.reset(at_s=time_s) for time_s in at_s] == [[], [], [], []]
    found = changes_of(made, pushes(step_s))
    resets = [(c.known_s, c.kind) for c in found if c.cause == "reset"]
    assert (at_s[0], "low heart rate") in resets
    assert (at_s[1], "apnea") in resets
    assert {time_s for time_s, _ in resets} <= set(at_s[:3])
    keys = [(change.known_s, change.kind) for change in found]
    assert keys == sorted(keys)
    assert fold(found)[0] == reviewed().events
    assert found == changes_with_resets(tuple(at_s))


@cache
def changes_with_resets(at_s):
    made = monitor()
    for time_s in at_s:
        made.reset(at_s=time_s)
    return changes_of(made, pushes(7.36))


def test_a_waiting_reset_is_saved():
    made = monitor()
    at_s = latched_time() + 0.3
    made.reset(at_s=at_s)
    found = changes_of(Monitor.resume(made.save()), pushes(16.0))
    assert (at_s, "low heart rate", "reset") in {(c.known_s, c.kind, c.cause) for c in found}


@pytest.mark.parametrize("at_s", [np.nan, "now", True])
def test_a_reset_needs_a_time(at_s):
    with pytest.raises(ArgumentError, match="at_s"):
        monitor().reset(at_s=at_s)


def test_after_the_end_no_reset_is_waited_for():
    made, known = monitor(), latched_time()
    through(made, known + 1.0)
    made.finish()
    with pytest.raises(StateError, match="has been finished"):
        made.reset(at_s=made.state.reached_s + 1.0)
    assert "low heart rate" in {change.kind for change in made.reset()}
