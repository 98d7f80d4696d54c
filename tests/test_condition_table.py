"""The table of the state machine in docs/events.md, row by row against the code."""

import re
from pathlib import Path

import pytest

from infantmon.events.condition import Condition

PAGE = Path(__file__).parents[1] / "docs" / "events.md"
LAG_S = 1.0


def rows():
    text = PAGE.read_text(encoding="utf-8")
    table = text[text.index("| state | what happens | next |") :].split("\n\n")[0]
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in table.splitlines()]
    return [tuple(row) for row in cells[2:]]


def begin(condition, onset_s):
    return condition.begin(onset_s, onset_s + 0.5, "limit passed")


def in_state(state, hold_off_s):
    """A condition brought into a state, and the time it is then."""
    condition = Condition(hold_off_s, LAG_S)
    if state == "absent":
        return condition, 100.0
    begin(condition, 10.0)
    if state == "pending":
        return condition, 12.0
    condition.wake(condition.wake_s)
    if state == "active":
        return condition, 50.0
    condition.end(60.0, 60.5, "ended by itself")
    if state == "latched":
        return condition, 100.0
    assert state == "pending, an earlier event latched"
    begin(condition, 100.0)
    return condition, 102.0


def ends_before(condition, now_s):
    return condition.end(now_s, now_s + 0.5, "ended by itself")


def reset_then_ends(condition, now_s):
    return condition.reset(now_s) + ends_before(condition, now_s)


ACTIONS = {
    "onset, no hold-off": (0.0, begin),
    "onset, the hold-off runs": (5.0, begin),
    "hold-off over": (5.0, lambda condition, _: condition.wake(condition.wake_s)),
    "ends before": (5.0, ends_before),
    "clears by itself": (5.0, ends_before),
    "reset": (5.0, lambda condition, now_s: condition.reset(now_s)),
    "reset, then ends before": (5.0, reset_then_ends),
}


@pytest.mark.parametrize(("state", "happens", "then"), rows())
def test_each_row_holds(state, happens, then):
    hold_off_s, action = ACTIONS[happens]
    condition, now_s = in_state(state, hold_off_s)
    before = state.split(",")[0]
    assert condition.state == before
    steps = action(condition, now_s)
    assert condition.state == then
    if then != before:
        assert steps[-1].state == then


def test_every_state_and_every_step_is_in_the_table():
    """What can happen to each state; a row left out would be a step that is not told."""
    told = {(state.split(",")[0], happens) for state, happens, _ in rows()}
    onsets = {"onset, no hold-off", "onset, the hold-off runs"}
    assert {happens for state, happens in told if state == "absent"} == onsets | {"reset"}
    assert {happens for state, happens in told if state == "latched"} == onsets | {"reset"}
    assert {happens for state, happens in told if state == "active"} == {
        "clears by itself",
        "reset",
    }
    assert {happens for state, happens in told if state == "pending"} == {
        "hold-off over",
        "ends before",
        "reset",
        "reset, then ends before",
    }


def test_the_diagram_shows_exactly_the_steps_that_change_a_state():
    text = PAGE.read_text(encoding="utf-8")
    diagram = re.search(r"```text\n(.*?)```", text, re.DOTALL)[1]
    arrows = set(re.findall(r"^(\w+) *--\[(.*?)\]-*> (\w+)", diagram, re.MULTILINE))
    steps = {(state.split(",")[0], happens, then) for state, happens, then in rows()}
    two_steps = {("pending", "reset, then ends before", "absent")}
    assert arrows == {step for step in steps if step[0] != step[2]} - two_steps
