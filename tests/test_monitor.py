"""Monitor, review and sweep are one: streams however cut, with channels missing, gaps and rates."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from monitored_night import (
    ECG_HZ,
    IMPEDANCE_HZ,
    PLAN,
    changes_of,
    monitor,
    night,
    pushes,
    random_pushes,
    reviewed,
    samples,
    through,
)

from infantmon.chain import AHEAD_S
from infantmon.errors import ArgumentError
from infantmon.events.log import fold
from infantmon.model.channel import Channel
from infantmon.model.prescription import KINDS, Prescription
from infantmon.model.recording import Recording
from infantmon.monitor import Monitor
from infantmon.reviewing import review, sweep
from infantmon.simulate import AtRail, Flat, LooseElectrode, Scenario, simulate_night

# One implementation -------------------------------------------------------------------------


def test_the_night_has_something_to_say():
    kinds = {event.kind for event in reviewed().events}
    assert {"apnea", "low heart rate", "signal unusable", "contact loss"} <= kinds


@pytest.mark.parametrize("step_s", [0.8, 16.0, 240.0])
def test_the_changes_of_a_stream_fold_into_the_events_of_the_review(step_s):
    found = changes_of(monitor(), pushes(step_s))
    assert fold(found) == (reviewed().events, reviewed().excursions)
    assert tuple(found) == reviewed().changes
    keys = [(change.known_s, change.kind) for change in found]
    assert keys == sorted(keys)


@pytest.mark.parametrize("seed", range(3))
def test_a_stream_cut_and_interleaved_anyhow_gives_the_same_changes(seed):
    assert tuple(changes_of(monitor(), random_pushes(seed))) == reviewed().changes


def test_a_change_is_given_by_the_push_that_brings_every_channel_to_its_known_time():
    made, before, count = monitor(), 0.0, 0
    for chunk in pushes(0.8):
        for change in made.push(**chunk):
            assert before < change.known_s <= made.state.reached_s
            count += 1
        before = made.state.reached_s
    assert count > 1


def test_apnea_is_known_at_onset_and_limit_and_the_stated_latency():
    latency_s = monitor().latencies_s["apnea"]
    apneas = reviewed().events.of_kind("apnea")
    assert latency_s <= 3.5
    clear = [event for event in apneas if not event.unusable]
    assert clear
    for event in clear:
        assert event.onset_s + 10.0 <= event.known_s <= event.onset_s + 10.0 + latency_s


def test_a_sweep_row_equals_the_review_under_that_plan():
    plans = [
        PLAN,
        Prescription(apnea={"limit_s": 12}),
        Prescription(low_heart_rate={"limit_bpm": 70, "hold_off_s": 0, "average_beats": 1}),
        Prescription(),
    ]
    rows = sweep(reviewed().findings, plans)
    assert [plan for plan, _ in rows] == plans
    for plan, events in rows:
        assert events == review(night(), plan).events
    assert len(rows[0][1]) > 0
    assert len(rows[3][1]) == 0


# Channels missing ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("roles", "kinds", "missing"),
    [
        (("ecg",), {"low heart rate", "high heart rate", "no heart beat"}, ("impedance",)),
        (("impedance",), {"apnea", "periodic breathing"}, ("ecg",)),
    ],
)
def test_a_recording_is_reviewed_for_what_it_has(roles, kinds, missing):
    found = reviewed(roles)
    technical = {"contact loss", "signal unusable"}
    assert {event.kind for event in found.events} <= kinds | technical
    assert {event.kind for event in found.events} & kinds
    assert found.missing_roles == missing
    assert set(found.latencies_s) == kinds | technical
    assert len(found.breaths if "ecg" in roles else found.r_peaks) == 0
    made = monitor(roles)
    assert tuple(changes_of(made, pushes(16.0, roles))) == found.changes
    assert set(made.state.conditions) == kinds | technical
    unseen = set(KINDS) - kinds - technical
    assert made.not_watched == found.not_watched == dict.fromkeys(unseen, "no channel for it")
    assert Monitor.resume(made.save()).not_watched == made.not_watched


def test_a_monitor_and_a_review_tell_what_has_no_limit():
    plan = Prescription(apnea={"limit_s": 20}, no_heart_beat={"limit_s": 4})
    unset = dict.fromkeys(plan.not_watched, "no limit set")
    assert Monitor(plan, ecg_hz=ECG_HZ, impedance_hz=IMPEDANCE_HZ).not_watched == unset
    blind = unset | {"apnea": "no channel for it"}
    assert Monitor(plan, ecg_hz=ECG_HZ, ecg2_hz=ECG_HZ).not_watched == blind
    assert review(Recording({"ecg": night().channels["ecg"]}), plan).not_watched == blind


def test_a_second_lead_is_only_evidence():
    both = Recording(night().channels | {"ecg2": night().channels["ecg"]})
    found = review(both, PLAN)
    assert [(e.kind, e.onset_s, e.end_s) for e in found.events if e.kind == "low heart rate"] == [
        (e.kind, e.onset_s, e.end_s) for e in reviewed().events if e.kind == "low heart rate"
    ]
    slow = found.events.of_kind("low heart rate")[0]
    assert any("second lead" in reason.text for reason in slow.reasons)
    made = Monitor(
        PLAN,
        ecg_hz=ECG_HZ,
        ecg2_hz=ECG_HZ,
        impedance_hz=IMPEDANCE_HZ,
        ecg_unit="mV",
        impedance_unit="ohm",
    )
    chunks = ({**chunk, "ecg2": chunk["ecg"]} for chunk in pushes(16.0))
    assert tuple(changes_of(made, chunks)) == found.changes


def test_an_empty_channel_counts_as_not_recorded():
    channels = {"ecg": night().channels["ecg"], "impedance": Channel([], IMPEDANCE_HZ)}
    found = review(Recording(channels), PLAN)
    assert found.missing_roles == ("impedance",)
    assert found.events == reviewed(("ecg",)).events


def test_a_monitor_that_never_got_a_sample_can_be_finished():
    assert monitor().finish() == []


def test_a_channel_that_never_came_is_a_hole():
    made = monitor()
    made.push(impedance=samples("impedance"))
    assert made.state.reached_s == -np.inf
    found = fold(made.finish())[0]
    assert "signal unusable" in {event.kind for event in found}
    assert "no heart beat" not in {event.kind for event in found}


# Gaps and running ahead ---------------------------------------------------------------------


def test_a_gap_is_a_hole_as_in_a_recording():
    """The impedance has nothing from 100 to 112.8 s: told by gap(), or by the recording's times."""
    first, after = samples("impedance")[: round(100 * IMPEDANCE_HZ)], round(112.8 * IMPEDANCE_HZ)
    rest = samples("impedance")[after:]
    joined = Channel.joined([(0.0, first), (after / IMPEDANCE_HZ, rest)], IMPEDANCE_HZ, "ohm")
    expected = review(Recording(night().channels | {"impedance": joined}), PLAN)
    made = monitor()
    found = made.push(ecg=samples("ecg"), impedance=first)
    found += made.gap("impedance", until_s=after / IMPEDANCE_HZ)
    found += [*made.push(impedance=rest), *made.finish()]
    assert tuple(found) == expected.changes
    lost = expected.blocked("impedance")
    assert any(abs(start - 100.0) < 0.1 for start in lost.start_s)


@pytest.mark.parametrize(("lost_samples", "listed"), [(2, True), (62, True), (64, False)])
def test_samples_lost_while_an_electrode_is_off_hide_no_apnea(lost_samples, listed):
    """What would be bridged by itself (1.0 s, 62 samples) is no break in a longer stretch."""
    events = (LooseElectrode(100.0, 30.0, AtRail(upper=True), Flat()),)
    night = simulate_night(Scenario(180.0, 125.0, 62.5, events=events), seed=4).recording
    values = night.impedance.segments[0].values
    made = Monitor(Prescription(apnea={"limit_s": 20}), ecg_hz=125.0, impedance_hz=62.5)
    found = made.push(ecg=night.ecg.segments[0].values, impedance=values[:7000])
    found += made.gap("impedance", until_s=(7000 + lost_samples) / 62.5)
    found += [*made.push(impedance=values[7000 + lost_samples :]), *made.finish()]
    told = [(event.kind, event.judgement) for event in fold(found)[0]]
    assert told == ([("apnea", "not assessable")] if listed else [])


def test_a_gap_lets_the_other_channel_go_on():
    made = monitor()
    made.push(ecg=samples("ecg")[: round(50 * ECG_HZ)])
    made.push(impedance=samples("impedance")[: round(10 * IMPEDANCE_HZ)])
    assert made.state.reached_s < 10.0
    changes = made.gap("impedance", until_s=50.0)
    assert made.state.reached_s > 49.9
    assert ("signal unusable", "active") in {(c.kind, c.state) for c in changes}
    assert made.state.unusable == {"impedance": "nothing recorded"}
    assert made.state.behind_s["ecg"] < 0.1


def test_a_gap_over_samples_already_pushed_is_refused():
    made = monitor()
    made.push(impedance=samples("impedance")[:1000])
    with pytest.raises(ArgumentError, match="has been pushed up to 32 s; a gap can only follow"):
        made.gap("impedance", until_s=20.0)


@pytest.mark.parametrize("until_s", [np.nan, np.inf, "soon"])
def test_a_gap_needs_a_finite_time(until_s):
    with pytest.raises(ArgumentError, match="until_s"):
        monitor().gap("impedance", until_s=until_s)


def test_running_too_far_ahead_is_refused_before_anything_is_taken():
    made = monitor(ahead_s=20.0)
    made.push(ecg=samples("ecg")[: round(15 * ECG_HZ)])
    before = made.save()
    with pytest.raises(ArgumentError, match=r"ecg would be 30\.0 s ahead of impedance; the limit"):
        made.push(ecg=samples("ecg")[round(15 * ECG_HZ) : round(30 * ECG_HZ)])
    with pytest.raises(ArgumentError, match=r"tell its loss with gap\('impedance'"):
        made.gap("ecg", until_s=40.0)
    with pytest.raises(ArgumentError, match="impedance has shape"):
        made.push(ecg=samples("ecg")[:10], impedance=np.zeros((2, 2)))
    assert made.save() == before
    assert AHEAD_S == 600.0


def test_both_channels_may_come_in_one_long_push():
    made = monitor(ahead_s=1.0)
    found = made.push(ecg=samples("ecg"), impedance=samples("impedance"))
    assert (*found, *made.finish()) == reviewed().changes


def test_a_channel_that_was_not_announced_is_refused():
    with pytest.raises(ArgumentError, match="channel 'ecg' is not one of impedance"):
        monitor(("impedance",)).push(ecg=[0.0])


def test_a_monitor_needs_a_rate_and_a_prescription():
    with pytest.raises(ArgumentError, match="give a rate of some of ecg_hz, impedance_hz, ecg2_hz"):
        Monitor(PLAN)
    with pytest.raises(ArgumentError, match="ecg_hz is 0 Hz"):
        Monitor(PLAN, ecg_hz=0.0)
    with pytest.raises(ArgumentError, match=r"plan is a dict; pass an infantmon\.Prescription"):
        Monitor({"apnea": 20}, ecg_hz=250.0)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"ecg_hz": 1e9}, r"ecg_hz is 1e\+09 Hz; the highest rate"),
        ({"ecg_unit": 3}, "unit is 3; a text is expected"),
        ({"ahead_s": -1.0}, "ahead_s is -1 s; it must be between 0 and 604800 s"),
    ],
)
def test_wrong_arguments_are_told_at_once(wrong, words):
    with pytest.raises(ArgumentError, match=words):
        Monitor(PLAN, **({"ecg_hz": ECG_HZ, "impedance_hz": IMPEDANCE_HZ} | wrong))


def test_what_is_no_channel_is_told_whatever_it_is():
    with pytest.raises(ArgumentError, match=r"channel \['ecg'\] is not one of ecg, impedance"):
        monitor().gap(["ecg"], until_s=1.0)


def test_hours_of_silence_are_told_in_turns():
    made = monitor()
    with pytest.raises(ArgumentError, match="where both are lost for longer, tell it in turns of"):
        made.gap("ecg", until_s=7200.0)
    changes = []
    for until_s in np.arange(600.0, 7201.0, 600.0):
        for role in ("ecg", "impedance"):
            changes += made.gap(role, until_s=until_s)
    assert made.state.reached_s == pytest.approx(7200.0, abs=0.1)
    assert ("signal unusable", "active") in {(c.kind, c.state) for c in changes}


def test_pushed_arrays_may_be_used_again():
    made, chunk = monitor(("ecg",)), np.empty(0)
    found = []
    for given in pushes(16.0, ("ecg",)):
        chunk = given["ecg"].copy()
        found += made.push(ecg=chunk)
        chunk[:] = 1e6
    assert (*found, *made.finish()) == reviewed(("ecg",)).changes


# What a monitor shows -----------------------------------------------------------------------


def test_the_state_tells_rates_and_times_since():
    made = monitor()
    assert dataclasses.asdict(made.state)["heart_rate_bpm"] is None
    through(made, 50.0)
    state = made.state
    found = reviewed()
    beats = found.r_peaks.time_s[found.r_peaks.known_s <= state.reached_s]
    breaths = found.breaths.time_s[found.breaths.known_s <= state.reached_s]
    assert state.heart_rate_bpm == pytest.approx(60 * 8 / (beats[-1] - beats[-9]))
    assert state.breathing_rate_bpm == pytest.approx(60 * 8 / (breaths[-1] - breaths[-9]))
    assert state.since_beat_s == state.reached_s - beats[-1]
    assert state.since_breath_s == state.reached_s - breaths[-1]
    assert set(state.conditions.values()) == {"absent"}
    assert state.unusable == {}


def test_each_stage_states_its_latency_and_the_docs_say_the_same():
    made = Monitor(PLAN, ecg_hz=250.0, impedance_hz=50.0, ecg_unit="mV", impedance_unit="ohm")
    page = (Path(__file__).parents[1] / "docs" / "streaming.md").read_text(encoding="utf-8")
    assert len(made.latency_budget_s) == 7
    for stage, latency_s in made.latency_budget_s.items():
        assert f"| {stage} | {latency_s:.2f} |" in page


def test_no_finding_is_later_than_its_stage_states():
    found = reviewed().findings.whole
    budget = monitor().latency_budget_s
    late = {
        "ecg R peaks": found.r_peaks,
        "impedance breaths": found.breaths,
        "ecg contact": found.contact["ecg"],
        "impedance contact": found.contact["impedance"],
        "impedance second opinion": found.apnea_probability,
    }
    for stage, table in late.items():
        assert len(table)
        assert (table.known_s - table.time_s).max() <= budget[stage] + 1e-9
