"""A monitor saved and resumed says the same; damaged saves are refused."""

import hashlib

import numpy as np
import pytest
from monitored_night import IMPEDANCE_HZ, PLAN, monitor, pushes, random_pushes, reviewed, through

from infantmon.errors import ArgumentError, StateError
from infantmon.model.prescription import Prescription
from infantmon.monitor import Monitor
from infantmon.stages.r_peaks import RPeakDetector, RPeakSettings


def test_saved_and_resumed_at_any_point_goes_on_the_same():
    made, found = monitor(), []
    for number, chunk in enumerate(random_pushes(9)):
        if number % 5 == 0:
            made = Monitor.resume(made.save(), PLAN if number % 2 else None)
        found += made.push(**chunk)
    made = Monitor.resume(made.save())
    found += made.finish()
    assert tuple(found) == reviewed().changes
    assert Monitor.resume(made.save()).state == made.state


def test_a_finished_monitor_stays_finished_when_resumed():
    made = monitor()
    made.finish()
    again = Monitor.resume(made.save())
    for act in (again.finish, again.push, lambda: again.gap("ecg", until_s=9.0)):
        with pytest.raises(StateError, match="has been finished; make a new Monitor"):
            act()


def test_another_plan_is_named_by_its_fields():
    blob = monitor().save()
    other = Prescription(**(PLAN.model_dump() | {"apnea": {"limit_s": 15}, "contact_loss": None}))
    with pytest.raises(
        StateError, match=r"differs from the saved one in: apnea\.limit_s, contact_loss"
    ):
        Monitor.resume(blob, other)


def test_a_plan_that_is_none_is_told():
    with pytest.raises(ArgumentError, match=r"plan is a dict; pass an infantmon\.Prescription"):
        Monitor.resume(monitor().save(), {"apnea": {"limit_s": 20}})


def test_resuming_does_not_warn_of_the_limits_again(recwarn):
    with pytest.warns(UserWarning, match="unusual"):
        plan = Prescription(apnea={"limit_s": 40})
    blob = Monitor(plan, impedance_hz=IMPEDANCE_HZ).save()
    recwarn.clear()
    Monitor.resume(blob)
    assert not recwarn.list


def test_damaged_and_foreign_states_are_refused():
    made = monitor()
    made.push(**next(pushes(40.0)))
    blob = made.save()
    chance = np.random.default_rng(1)
    for place in [0, 5, 20, len(blob) - 1, *chance.integers(0, len(blob), 40).tolist()]:
        flipped = bytearray(blob)
        flipped[place] ^= 1 << (place % 8)
        with pytest.raises(StateError):
            Monitor.resume(bytes(flipped))
        with pytest.raises(StateError):
            Monitor.resume(blob[:place])
    with pytest.raises(StateError, match="not of a monitor"):
        Monitor.resume(RPeakDetector(RPeakSettings(250.0)).save())
    with pytest.raises(StateError, match="RPeakDetector was asked for"):
        RPeakDetector.resume(blob)


@pytest.mark.parametrize("seed", range(4))
def test_saved_and_resumed_anywhere_it_says_the_same(seed):
    chance, made, found = np.random.default_rng(1000 + seed), monitor(), []
    for chunk in random_pushes(seed):
        found += made.push(**chunk)
        if chance.random() < 0.05:
            made = Monitor.resume(made.save(), PLAN)
    assert tuple(found + made.finish()) == reviewed().changes


def test_mutated_saves_are_refused_or_whole():
    """Damaged bytes, with and without a checksum made anew; never anything but a StateError."""
    made = monitor()
    through(made, 20.0)
    blob, chance, refused = made.save(), np.random.default_rng(3), 0
    assert len(blob) < 2**20
    for count in range(300):
        raw = bytearray(blob[:-32])
        for place in chance.integers(0, 3000, size=int(chance.integers(1, 4))):
            raw[place] = int(chance.integers(256))
        forged = bytes(raw) + (hashlib.sha256(raw).digest() if count % 2 else blob[-32:])
        try:
            Monitor.resume(forged)
        except StateError:
            refused += 1
        if count % 2 == 0 and bytes(raw) != blob[:-32]:
            with pytest.raises(StateError):
                Monitor.resume(forged)
    assert refused > 150
    for length in range(0, len(blob), 997):
        with pytest.raises(StateError):
            Monitor.resume(blob[:length])
