"""A monitor fed in odd ways gives what a review gives: any chunks, one channel ahead of the other,
a huge offset, holes, a state saved and resumed at any point.
"""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import infantmon as im
from infantmon import simulate as sim

ECG_HZ, IMPEDANCE_HZ = 125.0, 25.0
LENGTH_S = 40.0
PLAN = im.Prescription(
    apnea={"limit_s": 10},
    low_heart_rate={"limit_bpm": 80, "hold_off_s": 1, "average_beats": 4},
    no_heart_beat={"limit_s": 2},
    contact_loss={"delay_s": 1},
)


@pytest.fixture(scope="module")
def infant():
    """A pause with a standstill in it, then lost samples: four kinds of event in 40 s."""
    events = (
        sim.Pause(10.0, 13.0),
        sim.Standstill(14.0, 5.0),
        sim.MissingSamples(30.0, 4.0, ecg=False),
    )
    scenario = sim.Scenario(LENGTH_S, ECG_HZ, IMPEDANCE_HZ, events=events)
    recording = sim.simulate_night(scenario, seed=4).recording
    return {r: recording.channels[r].between(0.0, LENGTH_S)[1] for r in ("ecg", "impedance")}


@pytest.fixture(scope="module")
def expected(infant):
    changes = im.review(recording_of(infant), PLAN).changes
    active = {change.kind for change in changes if change.state == "active"}
    assert active >= {"apnea", "low heart rate", "no heart beat"}
    assert active & {"contact loss", "signal unusable"}
    return changes


def recording_of(samples):
    return im.Recording(
        {
            "ecg": im.Channel(samples["ecg"], ECG_HZ, "mV"),
            "impedance": im.Channel(samples["impedance"], IMPEDANCE_HZ, "ohm"),
        }
    )


def monitor():
    return im.Monitor(
        PLAN, ecg_hz=ECG_HZ, impedance_hz=IMPEDANCE_HZ, ecg_unit="mV", impedance_unit="ohm"
    )


def told_one_by_one(mon, samples, sizes):
    """Push chunks of the given sizes in turn, first the one channel, then the other."""
    changes, at = [], {"ecg": 0, "impedance": 0}
    turn = 0
    while any(at[r] < len(samples[r]) for r in at):
        for role in at:
            size = sizes[turn % len(sizes)]
            turn += 1
            changes += mon.push(**{role: samples[role][at[role] : at[role] + size]})
            at[role] += size
    return changes + mon.finish()


@pytest.mark.parametrize("sizes", [(0, 10, 70), (250, 0, 30), (9999,), (30, 2000, 0, 41)])
def test_chunks_of_any_size_and_an_uneven_feed_give_what_a_review_gives(infant, expected, sizes):
    assert tuple(told_one_by_one(monitor(), infant, sizes)) == expected


def test_single_samples_give_what_a_review_gives(infant):
    short = {"ecg": infant["ecg"][:1875], "impedance": infant["impedance"][:375]}
    plan = im.Prescription(
        low_heart_rate={"limit_bpm": 145, "hold_off_s": 0, "average_beats": 1},
        contact_loss={"delay_s": 1},
    )
    reviewed = im.review(recording_of(short), plan)
    mon = im.Monitor(
        plan, ecg_hz=ECG_HZ, impedance_hz=IMPEDANCE_HZ, ecg_unit="mV", impedance_unit="ohm"
    )
    assert tuple(told_one_by_one(mon, short, (1,))) == reviewed.changes
    assert len(reviewed.changes) >= 1


def test_one_channel_may_be_far_ahead(infant, expected):
    mon = monitor()
    changes = mon.push(impedance=infant["impedance"])
    assert changes == []
    changes += mon.push(ecg=infant["ecg"])
    assert tuple(changes + mon.finish()) == expected


@settings(max_examples=15, deadline=None)
@given(cuts=st.lists(st.integers(0, 5000), min_size=1, max_size=6), save=st.integers(0, 5))
def test_any_cutting_and_a_saved_state_in_the_middle(infant, expected, cuts, save):
    mon, changes = monitor(), []
    edges = sorted({0, *(min(c, 5000) for c in cuts), 5000})
    for number, (first, last) in enumerate(itertools.pairwise(edges)):
        if number == save:
            mon = im.Monitor.resume(mon.save())
        slow = slice(first // 5, last // 5)
        changes += mon.push(ecg=infant["ecg"][first:last], impedance=infant["impedance"][slow])
    assert tuple(changes + mon.finish()) == expected


def test_a_change_comes_with_the_very_push_that_makes_it_known(infant, expected):
    mon, late = monitor(), []
    for k in range(0, 5000, 25):
        block = {
            "ecg": infant["ecg"][k : k + 25],
            "impedance": infant["impedance"][k // 5 : k // 5 + 5],
        }
        before_s = mon.state.reached_s
        changes = mon.push(**block)
        reached_s = mon.state.reached_s
        late += [c for c in changes if not before_s < c.known_s <= reached_s + 1e-9]
    assert late == []
    assert len(expected) > 8


def test_a_huge_offset_moves_no_event(infant):
    plain, moved = (
        im.review(
            im.Recording(
                {
                    "ecg": im.Channel(infant["ecg"] + offset, ECG_HZ),
                    "impedance": im.Channel(infant["impedance"] + offset, IMPEDANCE_HZ),
                }
            ),
            PLAN,
        )
        for offset in (0.0, 1e6)
    )
    assert [e.kind for e in plain.events] == [e.kind for e in moved.events]
    for one, other in zip(plain.events, moved.events, strict=True):
        assert one.onset_s == pytest.approx(other.onset_s, abs=0.01)
        assert one.end_s == pytest.approx(other.end_s, abs=0.01)


def test_a_told_gap_equals_a_hole_of_the_recording(infant):
    until_s, from_s = 12.0, 20.0
    cut = {
        "ecg": (infant["ecg"][:1500], infant["ecg"][2500:]),
        "impedance": (infant["impedance"][:300], infant["impedance"][500:]),
    }
    joined = {
        role: im.Channel.joined([(0.0, cut[role][0]), (from_s, cut[role][1])], rate, unit)
        for role, rate, unit in (("ecg", ECG_HZ, "mV"), ("impedance", IMPEDANCE_HZ, "ohm"))
    }
    mon = monitor()
    changes = mon.push(ecg=cut["ecg"][0], impedance=cut["impedance"][0])
    changes += mon.gap("ecg", until_s=from_s) + mon.gap("impedance", until_s=from_s)
    changes += mon.push(ecg=cut["ecg"][1], impedance=cut["impedance"][1]) + mon.finish()
    reviewed = im.review(im.Recording(joined), PLAN)
    assert tuple(changes) == reviewed.changes
    assert not [e for e in reviewed.events if e.kind == "apnea" and e.onset_s < until_s]


def test_pushed_arrays_are_neither_changed_nor_kept(infant, expected):
    mon, changes = monitor(), []
    for first in range(0, 5000, 250):
        ecg = infant["ecg"][first : first + 250].copy()
        impedance = infant["impedance"][first // 5 : first // 5 + 50].copy()
        kept = ecg.copy(), impedance.copy()
        changes += mon.push(ecg=ecg, impedance=impedance)
        assert np.array_equal(ecg, kept[0], equal_nan=True)
        assert np.array_equal(impedance, kept[1], equal_nan=True)
        ecg[:], impedance[:] = 1e9, 1e9  # the caller may use its buffers again
    assert tuple(changes + mon.finish()) == expected
