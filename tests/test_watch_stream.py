"""Findings drawn at random: the same events however cut, saved, reset or shared by many plans."""

import numpy as np
import pytest
from made_findings import batches_of, random_cuts
from watched import FULL, LATENCIES, ROLES, changes_of, random_night

from infantmon.events.batch import Batch
from infantmon.events.log import fold
from infantmon.events.shared import Shared
from infantmon.events.watch import Watch
from infantmon.model.prescription import Prescription


@pytest.mark.parametrize("seed", range(8))
def test_changes_are_equal_however_cut_and_ordered_by_known_time_and_kind(seed):
    plan, findings = random_night(seed)
    chance = np.random.default_rng(seed)
    whole = changes_of(plan, 400.0, **findings)
    assert len(whole) > 20
    keys = [(change.known_s, change.kind) for change in whole]
    assert keys == sorted(keys)
    for _ in range(4):
        cuts = random_cuts(chance, 400.0)[:-1]
        assert changes_of(plan, 400.0, cuts=cuts, **findings) == whole
    every_tick = np.arange(0.0, 400.0, 0.125).tolist()
    assert changes_of(plan, 400.0, cuts=every_tick, **findings) == whole


@pytest.mark.parametrize("seed", range(4))
def test_saved_and_resumed_at_any_cut(seed):
    plan, findings = random_night(seed)
    whole = changes_of(plan, 400.0, **findings)
    watch = Watch(plan, LATENCIES, ROLES)
    found = []
    for batch in batches_of([*np.arange(20.0, 400.0, 20.0), 400.0], **findings):
        again = Watch(plan, LATENCIES, ROLES)
        again.restore(watch.snapshot())
        watch = again
        found += watch.push(batch)
    assert found == whole


@pytest.mark.parametrize("seed", range(6))
def test_a_reset_at_any_instant_loses_and_adds_no_event(seed):
    """The events, their ends and judgements are those without a reset; only indicators go out."""
    plan, findings = random_night(seed)
    plain = changes_of(plan, 400.0, **findings)
    watch = Watch(plan, LATENCIES, ROLES)
    found, states = [], {}
    for batch in batches_of([*np.arange(10.0, 400.0, 10.0), 400.0], **findings):
        told = [*watch.push(batch), *watch.reset(batch.reached_s)]
        for change in told:
            assert change.state != states.get(change.kind) or change.event or change.excursion
            states[change.kind] = change.state
        found += told
        for kind, rule in watch.rules.items():
            assert rule.condition.state != "latched"
            assert states.get(kind, "absent") == rule.condition.state
    assert fold(found) == fold(plain)
    assert any(change.cause == "reset" for change in found)


@pytest.mark.parametrize("seed", range(4))
def test_plans_that_share_what_they_have_in_common_give_the_events_of_each_alone(seed):
    plan, findings = random_night(seed)
    tables = plan.model_dump(exclude_none=True)
    plans = [
        Prescription(
            **tables
            | {"apnea": {"limit_s": apnea_s}}
            | {"low_heart_rate": {"limit_bpm": low_bpm, "hold_off_s": 2, "average_beats": beats}}
        )
        for apnea_s in (10, 15)
        for low_bpm in (70, 90)
        for beats in (1, 5)
    ]
    shared = Shared(Batch.joined(batches_of([100.0, 250.0, 400.0], **findings)))
    for other in [*plans, *reversed(plans)]:
        swept = Watch(other, LATENCIES, ROLES, shared=shared).push(shared.whole)
        assert fold(swept) == fold(changes_of(other, 400.0, **findings))


def test_rules_without_their_channel_are_left_out():
    assert set(Watch(FULL, LATENCIES, ("impedance",)).rules) == {
        "apnea",
        "periodic breathing",
        "contact loss",
        "signal unusable",
    }
    assert "apnea" not in Watch(FULL, LATENCIES, ("ecg",)).rules
    assert list(Watch(Prescription(), LATENCIES, ROLES).rules) == []


def test_the_stated_latencies_name_every_kind_that_is_watched():
    stated = Watch(FULL, LATENCIES, ROLES).latencies_s
    assert stated["apnea"] == stated["periodic breathing"] == 3.5
    assert stated["low heart rate"] == stated["no heart beat"] == 1.25
    assert stated["contact loss"] == 0.5
