"""The contact detector: its reasons and its marks."""

import math

import numpy as np
import pytest
from contact_inputs import breathing, run

from infantmon.errors import ArgumentError, StateError
from infantmon.model.spans import BLOCKING, DISTURBING, INTERFERING, SHIFTED, ContactMarks, Reason
from infantmon.stages.contact import ContactDetector, ContactSettings


def heart(seconds, rate_hz=250.0, *, noise=0.01, seed=3):
    rng = np.random.default_rng(seed)
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    phase = (t / 0.43) % 1.0
    return np.exp(-0.5 * ((phase - 0.5) / 0.03) ** 2) + noise * rng.normal(size=len(t))


IMPEDANCE = ContactSettings.for_impedance(50.0, unit="ohm")
ECG = ContactSettings.for_ecg(250.0, unit="mV")


def reasons(marks):
    return [
        (Reason(int(r)), u, b)
        for r, u, b in zip(marks.reason, marks.usable, marks.bridged, strict=True)
    ]


def test_nothing_to_tell_about_a_good_signal():
    assert len(run(breathing(120), IMPEDANCE)) == 0
    assert len(run(heart(60), ECG)) == 0


def test_a_long_nan_stretch_opens_after_one_second_and_closes_half_a_second_after_its_end():
    x = breathing(60)
    x[1000:1150] = np.nan  # 20.0 to 23.0 s
    marks = run(x, IMPEDANCE)
    assert reasons(marks) == [(Reason.NOT_FINITE, False, False), (Reason.NOT_FINITE, True, False)]
    np.testing.assert_allclose(marks.since_s, [20.0, 20.0])
    np.testing.assert_allclose(marks.time_s, [21.0, 23.0])
    np.testing.assert_allclose(marks.known_s, [21.0, 23.48])


@pytest.mark.parametrize(("samples", "marks"), [(1, 1), (50, 1), (51, 2)])
def test_up_to_one_second_is_bridged(samples, marks):
    x = breathing(60)
    x[1000 : 1000 + samples] = math.inf
    found = run(x, IMPEDANCE)
    assert len(found) == marks
    assert bool(found.bridged[-1]) == (marks == 1)
    assert found.time_s[-1] == pytest.approx(20.0 + samples / 50.0)


@pytest.mark.parametrize("bad", [math.nan, 512.5], ids=["invalid", "held"])
@pytest.mark.parametrize("samples", [1, 20, 38, 50])
def test_what_is_bad_at_the_very_end_does_not_vanish(samples, bad):
    """EDF fills its last data record, so a recording often ends in less than a second of this."""
    x = heart(60)
    ecg_samples = samples * 5
    x[-ecg_samples:] = bad
    found = run(x, ECG).blocking
    flat = not math.isnan(bad)
    assert len(found) == (0 if flat and ecg_samples <= 100 else 1)  # flat from 0.4 s on
    for mark in range(len(found)):
        assert found.bridged[mark]
        assert found.since_s[mark] == pytest.approx(60.0 - ecg_samples / 250.0)
        assert found.time_s[mark] == found.known_s[mark] == 60.0
    assert found.spans(60.0).total_s == pytest.approx(len(found) * ecg_samples / 250.0)


def test_stretches_less_than_half_a_second_apart_are_one():
    x = breathing(60)
    x[1000:1010] = np.nan
    x[1034:1040] = 5000.0  # 24 samples, 0.48 s later
    x[1065:1070] = np.nan  # 25 samples, 0.5 s later: one of its own
    marks = run(x, IMPEDANCE).blocking
    assert [Reason(int(r)) for r in marks.reason] == [
        Reason.NOT_FINITE | Reason.OUT_OF_RANGE,
        Reason.NOT_FINITE,
    ]
    np.testing.assert_allclose(marks.since_s, [20.0, 21.3])
    np.testing.assert_allclose(marks.time_s, [20.8, 21.4])
    assert marks.bridged.all()


def test_a_hole_of_the_recording_is_told_from_invalid_samples():
    detector = ContactDetector(IMPEDANCE)
    parts = [
        detector.push(breathing(10)),
        detector.push(np.full(100, np.nan), missing=True),
        detector.push(np.full(20, np.nan)),
        detector.push(breathing(10), last=True),
    ]
    marks = ContactMarks.joined(parts)
    assert reasons(marks) == [
        (Reason.MISSING | Reason.INTERRUPTED, False, False),
        (Reason.MISSING | Reason.INTERRUPTED | Reason.NOT_FINITE, True, False),
    ]
    assert Reason(int(marks.reason[0])).words == "nothing recorded"
    assert marks.time_s[1] == pytest.approx(12.4)


@pytest.mark.parametrize(("hole", "interrupted"), [(1, False), (50, False), (51, True)])
@pytest.mark.parametrize("cut", [1, 7, 100])
def test_a_hole_that_would_be_bridged_interrupts_no_unusable_stretch(hole, interrupted, cut):
    """Samples lost on the way while the electrode is off: up to 1.0 s, 50 samples here."""
    detector = ContactDetector(IMPEDANCE)
    parts = [detector.push(breathing(10)), detector.push(np.full(150, np.nan))]
    for first in range(0, hole, cut):
        some = np.full(min(cut, hole - first), np.nan)
        parts.append(detector.push(some, missing=True))
    parts += [detector.push(np.full(150, np.nan)), detector.push(breathing(10), last=True)]
    told = [Reason(int(reason)) for reason in ContactMarks.joined(parts).blocking.reason]
    assert told[0] == Reason.NOT_FINITE
    assert Reason.MISSING in told[1]
    assert (Reason.INTERRUPTED in told[1]) == interrupted


@pytest.mark.parametrize(
    ("how", "signal", "samples", "flat"),
    [
        (IMPEDANCE, breathing(60), 250, False),
        (IMPEDANCE, breathing(60), 251, True),
        (ECG, heart(60), 100, False),
        (ECG, heart(60), 101, True),
    ],
)
def test_flat_is_exactly_equal_for_long_enough(how, signal, samples, flat):
    x = signal.copy()
    x[1000 : 1000 + samples] = 500.0 if how is IMPEDANCE else 0.001
    marks = run(x, how).blocking
    assert (len(marks) > 0) == flat
    if flat:
        assert set(marks.reason.tolist()) == {int(Reason.FLAT)}
        assert marks.since_s[0] == pytest.approx(1000 / how.clock.rate_hz)


@pytest.mark.parametrize(("jump_steps", "told"), [(0, True), (3, True), (4, False), (50, False)])
def test_a_flat_ecg_that_begins_without_a_jump_is_told_as_such(jump_steps, told):
    """In steps of 0.05; a jump is four steps and more."""
    steps = np.round(heart(60) / 0.05)
    steps[1000:1500] = steps[999] + jump_steps
    x = np.where(np.arange(len(steps)) < 1500, steps, steps + 1) * 0.05
    of_ecg = [Reason(int(reason)) for reason in run(x, ECG).blocking.reason]
    assert len(of_ecg) == 2
    assert all(Reason.FLAT in reason and (Reason.NO_JUMP in reason) == told for reason in of_ecg)
    in_impedance = run(x, IMPEDANCE).blocking
    assert not np.any(in_impedance.reason & int(Reason.NO_JUMP))


def test_a_flat_impedance_opens_five_seconds_after_it_began():
    x = breathing(60)
    x[1000:1500] = 500.0
    marks = run(x, IMPEDANCE)
    np.testing.assert_allclose(marks.since_s, [20.0, 20.0])
    np.testing.assert_allclose(marks.time_s, [25.0, 30.0])


def test_quiet_is_not_flat():
    """Project rule: anything less than exactly equal is a pause, never a contact fault."""
    rng = np.random.default_rng(5)
    x = breathing(120, noise=0.0)
    x[2000:3000] = 500.0  # a pause of 20 s
    step = 0.2  # a breath is 10 steps; noise of half a step
    x = step * np.round((x + 0.5 * step * rng.normal(size=len(x))) / step)
    assert len(run(x, IMPEDANCE)) == 0


def test_a_pause_at_the_lower_end_of_coarse_breaths_is_not_saturated():
    rng = np.random.default_rng(6)
    x = breathing(180, noise=0.0)
    for around in (2000, 4000):
        lowest = around + int(np.argmin(x[around : around + 70]))
        x[lowest : lowest + 1000] = x.min()
    for noise in (0.02, 0.1, 0.5):
        quantised = 0.2 * np.round(x / 0.2 + noise * rng.normal(size=len(x)))
        marks = run(quantised, IMPEDANCE)
        assert not (marks.reason & int(Reason.SATURATED)).any()


def test_flat_looks_through_single_invalid_samples():
    x = breathing(60)
    x[1000:1500] = 500.0
    x[1020:1500:40] = np.nan
    marks = run(x, IMPEDANCE)
    opened = marks.where(~marks.usable)
    assert opened.since_s.tolist() == [20.0]
    assert Reason.FLAT in Reason(int(opened.reason[0]))


def test_saturated_when_an_open_input_swings_from_end_to_end():
    x = heart(60)
    mains = 40.0 * np.sin(2 * np.pi * 7.0 * np.arange(5000) / 250)
    x[5000:10000] = np.clip(mains, -5.0, 5.0)
    marks = run(x, ECG).blocking
    assert set(marks.reason.tolist()) == {int(Reason.SATURATED)}
    spans = marks.spans(60.0)
    assert spans.start_s[0] == pytest.approx(20.0, abs=0.2)
    assert spans.end_s[-1] == pytest.approx(40.0, abs=2.1)


def test_clipped_tops_leave_a_signal_usable():
    """In the BIDMC recordings clipped breaths were counted by both annotators."""
    x = np.clip(3.0 * (breathing(60) - 500.0), -9.0, 1.5)
    assert len(run(x, ContactSettings.for_impedance(50.0))) == 0
    assert len(run(np.minimum(heart(60), 0.7), ECG)) == 0


@pytest.mark.parametrize(
    ("how", "signal", "opened_s"), [(ECG, heart(60), 1.0), (IMPEDANCE, breathing(60), 3.0)]
)
def test_saturated_when_held_at_the_end_of_the_range(how, signal, opened_s):
    x = signal.copy()
    at, until = round(20 * how.clock.rate_hz), round(24 * how.clock.rate_hz)
    x[at:until] = 2000.0
    marks = run(x, how).blocking
    assert all(Reason.SATURATED in Reason(r) for r in marks.reason.tolist())
    np.testing.assert_allclose(marks.since_s, [20.0, 20.0])
    np.testing.assert_allclose(marks.time_s, [20.0 + opened_s, 24.0])


def test_base_impedance_out_of_range_only_where_the_unit_is_one_of_impedance():
    x = breathing(60)
    x[1000:1200] += 3000.0
    assert Reason.OUT_OF_RANGE in Reason(int(run(x, IMPEDANCE).blocking.reason[0]))
    marks = run(x, ContactSettings.for_impedance(50.0, unit="kg"))
    assert not (marks.reason & int(Reason.OUT_OF_RANGE)).any()


@pytest.mark.parametrize(
    ("unit", "times"),
    [
        ("Ohms", 1.0),
        ("Ω", 1.0),
        ("kohm", 1e-3),
        ("kΩ", 1e-3),
        ("mohm", 1e3),
        ("m\N{OHM SIGN}", 1e3),
    ],
)
def test_base_impedance_is_judged_the_same_in_every_unit_of_impedance(unit, times):
    x = breathing(60)
    x[1000:1200] += 3000.0
    x[2000:2200] -= 450.0
    marks = run(times * x, ContactSettings.for_impedance(50.0, unit=unit)).blocking
    expected = run(x, IMPEDANCE).blocking
    assert (expected.reason & int(Reason.OUT_OF_RANGE)).any()
    np.testing.assert_array_equal(marks.reason, expected.reason)
    np.testing.assert_allclose(marks.time_s, expected.time_s)


def test_a_channel_without_a_base_level_is_not_under_range():
    """A channel in ohm may carry the changes only (they lie around 0)."""
    assert len(run(breathing(60, base=0.0), IMPEDANCE)) == 0
    x = breathing(60)
    x[1000:1200] -= 450.0  # from a base in range to a short circuit
    assert Reason.OUT_OF_RANGE in Reason(int(run(x, IMPEDANCE).blocking.reason[0]))


def test_movement_is_told_and_is_no_blocking_reason():
    rng = np.random.default_rng(8)
    x = breathing(120)
    x[3000:3250] += 10.0 * np.sin(2 * np.pi * 1.3 * np.arange(250) / 50 + rng.normal(size=250))
    marks = run(x, IMPEDANCE)
    assert len(marks.blocking) == 0
    assert Reason.MOVEMENT in Reason(int(marks.reason[0]))
    span = marks.disturbing.spans(120.0)
    assert span.start_s[0] == pytest.approx(60.0, abs=0.5)
    assert span.end_s[-1] == pytest.approx(65.0, abs=1.5)


@pytest.mark.parametrize("size", [3.0, 4.0])
def test_a_sigh_is_no_movement(size):
    x = breathing(120)
    n = round(2.0 * 50)
    sigh = 0.5 * (1 - np.cos(2 * np.pi * np.arange(n) / n))
    x[3000 : 3000 + n] += 2.0 * (size - 1.0) * sigh
    assert len(run(x, IMPEDANCE)) == 0


def test_steady_large_breaths_become_the_usual_ones():
    """Anything learned needs a way back: rhythmic swings are not movement for long."""
    x = breathing(200)
    x[5000:] = 500.0 + 8.0 * (x[5000:] - 500.0)
    marks = run(x, IMPEDANCE).disturbing
    assert marks.spans(200.0).end_s.max() < 112.0
    assert marks.usable[-1]


def test_sharp_breaths_between_long_rests_become_the_usual_ones():
    """Anything learned needs a way back, even if most of the time is quiet."""
    rng = np.random.default_rng(2)
    t = np.arange(300 * 50) / 50.0
    phase = t % 10.0
    breath = 3.0 * np.clip((phase - 1.0) / 0.2, 0.0, 1.0) * np.clip((3.0 - phase) / 0.2, 0.0, 1.0)
    marks = run(breath + 0.01 * rng.normal(size=len(t)), ContactSettings.for_impedance(50.0))
    assert marks.time_s.max(initial=0.0) < 70.0


def test_a_pause_does_not_make_the_next_breath_a_movement():
    x = breathing(120)
    x[3000:4500] = 500.0 + 0.02 * (x[3000:4500] - 500.0)  # 30 s, far less than a breath
    assert len(run(x, IMPEDANCE)) == 0


@pytest.mark.parametrize("left", [0.02, 0.3])  # of a breath: noise, or the heart's pulsation
@pytest.mark.parametrize("breaths_s", [3.0, 6.0, 10.0])
def test_nor_do_many_long_pauses_with_a_few_breaths_between_them(breaths_s, left):
    x = breathing(400)
    at_s = np.arange(len(x)) / 50.0
    still = (at_s > 40.0) & ((at_s - 40.0) % (28.0 + breaths_s) < 28.0)
    x[still] = 500.0 + left * (x[still] - 500.0)
    assert len(run(x, IMPEDANCE)) == 0


def test_but_after_a_minute_far_smaller_swings_are_the_usual_ones():
    x = breathing(240)
    x[3000:] = 500.0 + 0.05 * (x[3000:] - 500.0)
    x[9000:9250] += 0.5 * np.sin(2 * np.pi * 1.3 * np.arange(250) / 50)  # 120 s later
    marks = run(x, IMPEDANCE).disturbing
    assert marks.spans(240.0).start_s[0] == pytest.approx(180.0, abs=0.5)


def test_a_level_jump_is_a_step():
    x = breathing(120)
    x[3000:] += 30.0
    marks = run(x, IMPEDANCE)
    assert set(marks.reason.tolist()) == {int(Reason.STEP)}
    assert marks.since_s[0] == pytest.approx(60.0, abs=0.25)


def test_one_wild_sample_is_nothing():
    x = breathing(120)
    x[3000] += 80.0
    assert len(run(x, IMPEDANCE)) == 0


def test_level_excursions_of_the_ecg_are_movement():
    rng = np.random.default_rng(9)
    x = heart(120)
    x[15000:16000] += 6.0 * np.sin(2 * np.pi * 0.9 * np.arange(1000) / 250 + rng.normal())
    marks = run(x, ECG)
    assert len(marks.blocking) == 0
    assert Reason.MOVEMENT in Reason(int(marks.reason[0]))


def test_spans_of_the_two_groups_are_kept_apart():
    marks = ContactMarks(
        time_s=np.array([11.0, 12.0, 15.0, 16.0, 30.0]),
        known_s=np.array([11.0, 12.0, 15.5, 16.5, 30.0]),
        since_s=np.array([10.0, 10.5, 10.0, 10.5, 25.0]),
        reason=np.array([2, 32, 2, 32, 4]),
        usable=np.array([False, False, True, True, False]),
        bridged=np.zeros(5, dtype=bool),
    )
    spans = marks.spans(until_s=40.0)
    assert spans.start_s.tolist() == [10.0, 10.5, 25.0]
    assert spans.end_s.tolist() == [15.0, 16.0, 40.0]
    assert spans.reason.tolist() == [2, 32, 4]
    assert marks.blocking.spans(40.0).reason.tolist() == [2, 4]
    assert marks.disturbing.spans(40.0).total_s == 5.5


def test_every_reason_is_in_one_group():
    assert not BLOCKING & DISTURBING
    assert not (BLOCKING | DISTURBING) & INTERFERING
    assert not (BLOCKING | DISTURBING | INTERFERING) & SHIFTED
    everything = Reason(0)
    for reason in Reason:
        everything |= reason
    assert everything == BLOCKING | DISTURBING | INTERFERING | SHIFTED


def test_a_stretch_told_after_another_had_closed_is_merged_in_spans():
    """Flat is told back to its first sample, over a short gap that was bridged meanwhile."""
    x = breathing(60)
    x[1000:1500] = 500.0
    x[1020:1030] = np.nan
    marks = run(x, IMPEDANCE)
    assert marks.bridged.tolist() == [True, False, False]
    spans = marks.spans(60.0)
    assert spans.start_s.tolist() == [20.0]
    assert spans.reason.tolist() == [int(Reason.FLAT | Reason.NOT_FINITE)]


def test_an_open_stretch_at_the_end_gets_no_closing_mark():
    x = breathing(60)
    x[-200:] = np.nan
    marks = run(x, IMPEDANCE)
    assert reasons(marks) == [(Reason.NOT_FINITE, False, False)]
    assert marks.spans(until_s=60.0).end_s.tolist() == [60.0]


def test_an_end_seen_just_before_the_stream_ends_is_told_with_the_last_sample():
    x = breathing(60)
    x[-200:-5] = np.nan
    marks = run(x, IMPEDANCE)
    assert marks.time_s[-1] == pytest.approx(59.9)
    assert marks.known_s[-1] == pytest.approx(59.98)


@pytest.mark.parametrize("values", [[], np.full(500, np.nan), np.zeros(500), np.ones(1)])
def test_odd_inputs_do_not_raise(values):
    for how in (IMPEDANCE, ECG):
        marks = run(np.asarray(values, dtype=float), how)
        assert marks.settled_until_s == math.inf


def test_huge_samples_are_invalid_not_an_overflow():
    x = breathing(20)
    x[300:310] = 1.7e308
    x[320] = -1.7e308
    assert run(x, IMPEDANCE).reason[0] == int(Reason.NOT_FINITE)


def test_settings_and_state_errors():
    with pytest.raises(ArgumentError, match=r"rate_hz is 0 Hz"):
        ContactSettings.for_ecg(0.0)
    with pytest.raises(ArgumentError, match="set both ends"):
        ContactSettings(IMPEDANCE.clock, flat_s=5.0, rail_held_s=3.0, lowest=1.0)
    with pytest.raises(ArgumentError, match="lowest must be below highest"):
        ContactSettings(IMPEDANCE.clock, flat_s=5.0, rail_held_s=3.0, lowest=2.0, highest=1.0)
    detector = ContactDetector(ECG)
    detector.push([], last=True)
    with pytest.raises(StateError, match="after its last push"):
        detector.push([0.0])
