"""What the heart says of an event: strange beats, and swings in step with it."""

import dataclasses

import numpy as np
import pytest
from heart_cases import beats_at, case_of

import infantmon as im
from infantmon import simulate as sim
from infantmon.events.evidence import judge, reasons_for
from infantmon.model.channel import Channel
from infantmon.model.event import Event
from infantmon.model.marks import Breaths, Pulsations, RPeaks
from infantmon.model.spans import ContactMarks, Reason


def slow(strange):
    """Twenty good beats, then one long interval at 108 to 109.1 s; some beats are strange."""
    time_s = np.concatenate([np.arange(98.0, 108.1, 0.5), [109.1, 109.6]])
    event = Event(1, "low heart rate", 108.75, 109.0, 109.6)
    return reasons_for(case_of(event, beats=beats_at(time_s, strange)))


def test_strange_beats_on_both_sides_of_a_long_interval_make_it_doubtful():
    assert judge(slow(strange=())) == "supported"
    reasons = slow(strange=(20, 21))  # 108.0 and 109.1 s: the artefact and the first after it
    assert judge(reasons) == "doubtful"
    assert "2 of the 3 beats it rests on do not look like their neighbours" in [
        reason.text for reason in reasons
    ]


def test_one_strange_beat_of_three_does_not():
    assert judge(slow(strange=(21,))) == "supported"


def suspected(strange, *, intervals_s=(1.1,), kind="low heart rate", limits=None, open_s=0.0):
    """Twenty good beats, then intervals beyond the limit; are beats said to be missing in them?

    Some beats are strange; the last interval may still be open.
    """
    long_s = 108.0 + np.cumsum(intervals_s)
    time_s = np.concatenate([np.arange(98.0, 108.1, 0.5), long_s, [long_s[-1] + 0.5]])
    limits = limits or {"limit_bpm": 80.0, "hold_off_s": 0.0}
    event = Event(1, kind, 108.75, 109.0, float(time_s[-1] + open_s), limits=limits)
    reasons = reasons_for(case_of(event, beats=beats_at(time_s, strange)))
    return any(
        "beats that were not counted" in reason.text and reason.side == "against"
        for reason in reasons
    )


@pytest.mark.parametrize(
    ("strange", "told"),
    [
        ((21,), True),
        ((20, 21), True),  # one lies between each two of the three
        ((19, 20, 21), False),  # a row, as in noise
        ((20,), False),
        ((22,), False),
        ((), False),
    ],
)
def test_a_beat_that_alone_is_strange_ends_an_interval_that_may_be_none(strange, told):
    assert suspected(strange) == told
    limits = {"limit_s": 1.0}
    assert suspected(strange, kind="no heart beat", limits=limits) == told


def test_but_not_with_good_ones_as_long_together_nor_while_one_is_open_nor_in_a_fast_heart():
    assert suspected((21, 23), intervals_s=(1.1, 1.1, 1.1))
    assert not suspected((21,), intervals_s=(1.1, 1.1))
    assert suspected((21,), intervals_s=(2.0, 0.9, 0.9))
    assert not suspected((21,), intervals_s=(1.7, 0.9, 0.9))
    assert not suspected((21,), open_s=1.0)
    assert not suspected((21,), kind="high heart rate")


@pytest.mark.parametrize("seed", [510, 512, 513, 514])
def test_beats_that_breathing_makes_too_small_are_no_slow_heart(seed):
    """R waves of 0.23 mV, a quarter less with each breath; the heart keeps to about 120."""
    lead, heart = sim.EcgLead(r_mv=0.23, breathing_share=0.25), sim.Heart(rate_bpm=120.0)
    night = sim.simulate_night(sim.Scenario(600.0, 250.0, 62.5, heart=heart, lead=lead), seed)
    limits = {"limit_bpm": 80, "hold_off_s": 2, "average_beats": 4}
    plan = im.Prescription.model_validate({"low_heart_rate": limits})
    events = im.review(night.recording, plan).events
    assert len(events) >= 2
    assert {event.judgement for event in events} == {"doubtful"}


def five_seconds(seed, noise_mv, *, still):
    """From 100 s on the heart stands still in noise, or noise hides beats of 0.4 of their size."""
    happen = (sim.Standstill(100.0, 5.0),) if still else ()
    scenario = sim.Scenario(150.0, 250.0, 62.5, heart=sim.Heart(rate_bpm=130.0), events=happen)
    channel = sim.simulate_night(scenario, seed).recording.ecg
    ecg = channel.segments[0].values.copy()
    at_s = np.arange(len(ecg)) / 250.0
    hidden = (at_s >= 100.0) & (at_s < 105.0) & (not still)
    noise = noise_mv * np.random.default_rng(seed).standard_normal(len(ecg))
    ecg = np.where(hidden, 0.4 * ecg, ecg) + np.where(hidden | still, noise, 0.0)
    plan = im.Prescription.model_validate(
        {
            "low_heart_rate": {"limit_bpm": 80, "hold_off_s": 2, "average_beats": 8},
            "no_heart_beat": {"limit_s": 2.0},
        }
    )
    return im.review(im.Recording({"ecg": im.Channel(ecg, 250.0, channel.unit)}), plan).events


@pytest.mark.parametrize("seed", range(6))
def test_beats_that_go_unseen_in_noise_are_no_sure_slow_or_stopped_heart(seed):
    events = five_seconds(seed, 0.1, still=False)
    assert {event.judgement for event in events} <= {"doubtful"}
    assert len(events) or seed == 4  # there all beats are seen


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("noise_mv", [0.02, 0.1])
def test_a_standstill_in_as_much_noise_is_supported(seed, noise_mv):
    events = five_seconds(seed, noise_mv, still=True)
    assert {event.judgement for event in events} == {"supported"}
    assert {event.kind for event in events} == {"low heart rate", "no heart beat"}


def pause_in_step(locked):
    """A pause at 100 to 130 s in which most of the swings kept step; `locked` tells the rest."""
    time_s = np.arange(60.0, 131.0)
    inside = time_s >= 105.0
    size = np.where(inside, 0.7, 0.4)
    led = np.full(len(time_s), True)
    pulsation = Pulsations(
        time_s, time_s, size, np.full(len(time_s), 1.0), led, ~led, inside | locked
    )
    breath_s = np.append(np.arange(60.0, 100.1, 1.0), 130.0)
    columns = [breath_s, breath_s, np.arange(len(breath_s)), np.ones(len(breath_s))]
    breaths = Breaths(*columns, breath_s - 0.4, breath_s + 0.4, np.full(len(breath_s), False))
    event = Event(1, "apnea", 100.0, 123.0, 130.0)
    return reasons_for(case_of(event, breaths=breaths, pulsation=pulsation))


@pytest.mark.parametrize(("locked", "judgement"), [(False, "doubtful"), (True, "not assessable")])
def test_swings_in_step_cannot_be_told_apart_only_if_they_were_in_step_before(locked, judgement):
    reasons = pause_in_step(locked)
    assert judge(reasons) == judgement
    assert any("step" in reason.text for reason in reasons)


def still(mains_s, *, kind="no heart beat", until_s=106.0):
    """Two beats a second but none from 100 s on; mains interference from one time to another."""
    since_s, end_s = mains_s
    marks = ContactMarks(
        np.array([since_s + 2.0, end_s]),
        np.array([since_s + 2.0, end_s + 1.0]),
        np.array([since_s, since_s]),
        np.array([int(Reason.MAINS)] * 2),
        np.array([False, True]),
        np.array([False, False]),
    )
    beats_s = np.concatenate([np.arange(60.0, 100.1, 0.5), np.arange(until_s, 120.0, 0.5)])
    event = Event(1, kind, 100.0, 104.0, until_s, limits={"limit_s": 4.0})
    reasons = reasons_for(case_of(event, beats=beats_at(beats_s), contact={"ecg": marks}))
    return any("mains" in reason.text and reason.side == "against" for reason in reasons)


@pytest.mark.parametrize(
    ("mains_s", "against"),
    [
        ((100.5, 106.5), True),
        ((103.0, 106.5), True),  # half of it
        ((103.1, 106.5), False),
        ((97.6, 106.5), True),  # 2.4 of the 10 s before
        ((97.5, 106.5), False),
        ((60.0, 110.0), False),  # it was there before, and so were the beats
    ],
)
def test_mains_that_begins_as_the_beats_vanish_speaks_against(mains_s, against):
    assert still(mains_s) == against


@pytest.mark.parametrize(
    ("mains_end_s", "until_s", "against"),
    [
        (101.3, 101.3, True),
        (102.4, 101.3, True),  # its end is told a little late
        (102.6, 101.3, False),  # it goes on, with beats in it
        (101.1, 101.1, False),  # so long is the interval of a slow heart
    ],
)
def test_in_a_brief_time_only_if_it_is_over_as_the_beats_are_back(mains_end_s, until_s, against):
    assert still((100.0, mains_end_s), until_s=until_s) == against
    assert still((100.0, mains_end_s), until_s=until_s, kind="low heart rate") == against


def test_mains_that_was_there_only_as_beats_vanished_before_speaks_against_too():
    """The lead was off from 93 to 97 s, too: in 40 % of the 10 s before, with hardly a beat."""
    beats_s = np.concatenate(
        [np.arange(60.0, 93.1, 0.5), np.arange(97.0, 100.1, 0.5), np.arange(107.0, 120.0, 0.5)]
    )
    marks = ContactMarks(
        np.array([95.0, 97.0, 102.0, 107.0]),
        np.array([95.0, 98.0, 102.0, 108.0]),
        np.array([93.0, 93.0, 100.0, 100.0]),
        np.array([int(Reason.MAINS)] * 4),
        np.array([False, True, False, True]),
        np.array([False, False, False, False]),
    )
    event = Event(1, "no heart beat", 100.0, 104.0, 107.0, limits={"limit_s": 4.0})
    reasons = reasons_for(case_of(event, beats=beats_at(beats_s), contact={"ecg": marks}))
    assert any("mains" in reason.text and reason.side == "against" for reason in reasons)


def test_but_not_in_the_interval_of_a_slow_heart_nor_of_a_fast_one():
    assert still((100.0, 106.5), kind="low heart rate", until_s=102.6)
    assert not still((100.0, 106.5), kind="low heart rate", until_s=102.4)
    assert not still((100.0, 106.5), kind="high heart rate")


def flat(*, assessable, impedance_lost, kind="no heart beat"):
    """Reasons for 5 s without a beat, reached or not reached only by counting flat time."""
    beats = beats_at(np.concatenate((np.arange(90.0, 100.1, 0.5), np.arange(105.0, 110.0, 0.5))))
    contact = {}
    if impedance_lost:
        contact["impedance"] = ContactMarks(
            time_s=np.array([101.5, 104.5]),
            known_s=np.array([101.5, 105.0]),
            since_s=np.array([100.5, 100.5]),
            reason=np.full(2, int(Reason.SATURATED)),
            usable=np.array([False, True]),
            bridged=np.zeros(2, dtype=bool),
        )
    event = Event(1, kind, 100.0, 105.0, 105.0, limits={"limit_s": 4.0})
    case = dataclasses.replace(case_of(event, beats=beats, contact=contact), assessable=assessable)
    return reasons_for(case)


def test_a_time_without_a_beat_that_is_long_only_with_flat_time_cannot_be_assessed():
    assert judge(flat(assessable=False, impedance_lost=False)) == "not assessable"
    assert judge(flat(assessable=True, impedance_lost=False)) == "supported"


def test_and_is_doubtful_where_the_impedance_is_lost_with_it():
    reasons = flat(assessable=False, impedance_lost=True)
    assert judge(reasons) == "doubtful"
    assert any("exactly flat" in reason.text and reason.side == "against" for reason in reasons)


def beside_turned(turned, *, kind="low heart rate", intervals_s=(1.1, 0.5, 0.5), second=False):
    """Twenty beats, then some intervals; the beats at some places from the last of them on point
    the other way."""
    time_s = np.concatenate([np.arange(98.0, 107.6, 0.5), 107.5 + np.cumsum(intervals_s)])
    amplitude = np.where(np.isin(np.arange(len(time_s)) - 19, turned), 1.0, -0.5)
    beats = RPeaks(
        time_s, time_s, np.arange(len(time_s)), amplitude, np.ones(len(time_s), dtype=bool)
    )
    event = Event(
        1, kind, 108.25, 108.6, float(time_s[-1]), limits={"limit_bpm": 80, "hold_off_s": 0}
    )
    case = case_of(event, beats=beats, second=beats if second else None)
    return [r.side for r in reasons_for(case) if "points the other way" in r.text]


@pytest.mark.parametrize(
    ("turned", "against"),
    [((0,), True), ((1,), True), ((2,), False), ((0, 1), False), ((), False), ((-3,), False)],
)
def test_a_slow_heart_beside_the_only_turned_beat_is_doubtful(turned, against):
    assert beside_turned(turned) == ["against"] * against


def test_but_not_with_another_long_interval_nor_of_another_kind_nor_if_two_leads_show_it():
    assert not beside_turned((0,), intervals_s=(1.1, 1.1, 0.5))
    assert not beside_turned((0,), kind="high heart rate")
    assert not beside_turned((0,), second=True)


def doubled(*intervals_s, kind="low heart rate", second=False):
    """Whether a heart of 0.4 s is said to have doubled its intervals; these come after 20 s."""
    time_s = 80.0 + np.cumsum([0.4] * 50 + list(intervals_s))
    beats = beats_at(time_s)
    limits = {"limit_bpm": 80.0, "hold_off_s": 0.0}
    event = Event(1, kind, float(time_s[52]), float(time_s[52]), float(time_s[-1]), limits=limits)
    reasons = reasons_for(case_of(event, beats=beats, second=beats if second else None))
    told = [reason for reason in reasons if "doubled" in reason.text]
    assert all(reason.side == "against" for reason in told)
    return bool(told)


@pytest.mark.parametrize(
    ("intervals_s", "told"),
    [
        ((0.8,) * 8, True),
        ((0.85,) * 8, True),
        ((0.8, 0.8, 0.8, 0.4, 0.4, 0.8), True),  # some of the others are seen
        ((0.8, 0.8, 0.4, 0.4, 0.8, 0.8, 0.4), False),  # never three in a row
        ((0.8, 0.3, 0.8, 0.3, 0.8, 0.3, 0.8), False),  # the pauses after early beats
        ((0.9,) * 8, False),  # more than doubled
        ((0.64,) + (0.8,) * 7, False),  # not at once
        ((0.8,) * 7 + (0.7,), False),  # nor does it keep to that
    ],
)
def test_intervals_that_double_from_one_beat_to_the_next_make_a_slow_heart_doubtful(
    intervals_s, told
):
    assert doubled(*intervals_s) == told


def test_but_not_where_two_leads_show_it_nor_of_another_kind_nor_without_beats_before():
    assert not doubled(*[0.8] * 8, second=True)
    assert not doubled(*[0.8] * 8, kind="high heart rate")
    few = beats_at(100.0 + np.cumsum([0.4] * 4 + [0.8] * 8))
    limits = {"limit_bpm": 80.0, "hold_off_s": 0.0}
    event = Event(1, "low heart rate", 103.0, 103.0, 108.0, limits=limits)
    assert not any("doubled" in r.text for r in reasons_for(case_of(event, beats=few)))


@pytest.mark.parametrize("ramp_s", [0.3, 1.0, 4.0])
@pytest.mark.parametrize("rate_bpm", [62.0, 68.0, 72.0, 76.0])
def test_a_heart_that_slows_quickly_to_about_half_its_rate_stays_supported(ramp_s, rate_bpm):
    slowing = sim.Bradycardia(60.0, rate_bpm, ramp_s=ramp_s, hold_s=20.0)
    heart = sim.Heart(rate_bpm=140.0)
    night = sim.simulate_night(sim.Scenario(120.0, 250.0, 62.5, heart=heart, events=(slowing,)), 3)
    low = {"limit_bpm": 80, "hold_off_s": 5, "average_beats": 8}
    events = im.review(night.recording, im.Prescription.model_validate({"low_heart_rate": low}))
    assert [event.judgement for event in events.events] == ["supported"]


def without_beats(kind, before, *, length_s=6.0, strange=()):
    """So many beats, half a second apart, then none for some seconds, then beats again."""
    first_s = 100.0 - 0.5 * np.arange(before)[::-1]
    time_s = np.concatenate([first_s, np.arange(100.0 + length_s, 112.0, 0.5)])
    event = Event(1, kind, 100.0, 104.0, 100.0 + length_s)
    return reasons_for(case_of(event, beats=beats_at(time_s, strange)))


@pytest.mark.parametrize("kind", ["no heart beat", "low heart rate"])
@pytest.mark.parametrize(
    ("before", "judgement"), [(1, "doubtful"), (4, "doubtful"), (5, "supported")]
)
def test_fewer_than_five_beats_before_a_time_without_one_make_it_doubtful(kind, before, judgement):
    reasons = without_beats(kind, before)
    assert judge(reasons) == judgement
    told = [reason.text for reason in reasons if "in the 30 s before" in reason.text]
    beats = "1 beat" if before == 1 else f"{before} beats"
    expected = [f"only {beats} in the 30 s before 6.0 s without one"]
    assert told == (expected if judgement == "doubtful" else [])


@pytest.mark.parametrize(
    ("strange", "judgement"), [((0, 1), "not assessable"), ((0,), "doubtful"), ((), "doubtful")]
)
def test_nor_can_be_told_whether_a_heart_has_stopped_of_which_only_an_artefact_was_seen(
    strange, judgement
):
    assert judge(without_beats("no heart beat", 2, strange=strange)) == judgement


def test_but_not_where_no_interval_is_longer_than_2_5_s_nor_at_a_high_rate():
    short = without_beats("low heart rate", 3, length_s=2.4)
    assert not any("in the 30 s before" in reason.text for reason in short)
    assert judge(without_beats("high heart rate", 3)) == "supported"


@pytest.mark.parametrize(
    ("first_s", "end_s", "judgement"),
    [
        (100.0, 107.0, "doubtful"),  # over so soon after the first beat
        (99.0, 107.0, "doubtful"),
        (97.0, 107.0, "supported"),  # enough beats before
        (100.0, 111.0, "supported"),  # slow for longer
        (101.0, 115.0, "doubtful"),  # no beat before it
    ],
)
def test_a_slow_heart_that_is_over_before_beats_were_followed_is_doubtful(
    first_s, end_s, judgement
):
    before_s = np.arange(first_s, 100.0, 0.5)
    beats_s = np.concatenate([before_s, np.arange(max(first_s, 100.0), 120.0, 1.0)])
    limits = {"limit_bpm": 80.0, "hold_off_s": 5.0}
    event = Event(1, "low heart rate", 100.0, 105.0, end_s, limits=limits)
    assert judge(reasons_for(case_of(event, beats=beats_at(beats_s)))) == judgement


def test_no_beat_before_a_standstill_is_doubtful_once_one_comes_and_not_assessable_till_then():
    event = Event(1, "no heart beat", 100.0, 104.0, 106.0)
    assert judge(reasons_for(case_of(event, beats=beats_at(np.array([106.0]))))) == "doubtful"
    assert judge(reasons_for(case_of(event))) == "not assessable"


def lost_before(kind, onset_s, *, lost=True, end_s=104.0):
    """Two beats a second, none from 100 to 112 s, then 1 s apart; was the ECG lost meanwhile?

    Breathing goes on all the time, every 2 s. Returns what speaks against an event after it.
    """
    beats_s = np.concatenate([np.arange(60.0, 100.1, 0.5), np.arange(112.5, 140.0, 1.0)])
    breath_s = np.arange(60.0, 140.0, 2.0)
    ones, nothing = np.ones(len(breath_s)), np.full(len(breath_s), np.nan)
    count = np.arange(len(breath_s))
    breaths = Breaths(breath_s, breath_s, count, ones, nothing, nothing, ones < 0)
    contact = {}
    if lost:
        contact["ecg"] = ContactMarks(
            np.array([102.0, 112.0]),
            np.array([102.0, 112.5]),
            np.array([100.2, 100.2]),
            np.array([int(Reason.MISSING)] * 2),
            np.array([False, True]),
            np.array([False, False]),
        )
    event = Event(
        1, kind, onset_s, onset_s + 5.0, end_s, limits={"limit_bpm": 80.0, "hold_off_s": 5.0}
    )
    case = case_of(event, beats=beats_at(beats_s), breaths=breaths, contact=contact)
    return [reason.text for reason in reasons_for(case) if reason.side == "against"]


def test_time_in_which_the_ecg_was_lost_before_a_slow_heart_is_no_time_without_a_beat():
    assert lost_before("low heart rate", 112.75, end_s=125.0) == []
    assert lost_before("low heart rate", 113.5, end_s=125.0) == []


def test_but_it_is_one_where_the_ecg_could_be_used_or_the_event_began_before():
    went_on = "breathing went on as before through 12 s without a beat"
    assert went_on in lost_before("low heart rate", 113.5, lost=False, end_s=125.0)
    assert went_on in lost_before("low heart rate", 100.75, end_s=125.0)


def test_a_time_without_a_beat_long_before_a_slow_heart_says_nothing_of_it():
    assert lost_before("low heart rate", 122.5, lost=False, end_s=130.0) != []
    assert lost_before("low heart rate", 122.6, lost=False, end_s=130.0) == []


def test_breathing_says_nothing_of_a_fast_heart_in_which_the_ecg_was_lost():
    assert lost_before("high heart rate", 95.0, end_s=125.0) == []


def dropped(interval_s, lost_s, *, kind="low heart rate", limits=None):
    """Beats at 0.7 s, one interval of another length with a drop-out in it, and beats again."""
    beats_s = np.concatenate([100.0 - 0.7 * np.arange(40)[::-1], 100.0 + interval_s + np.arange(9)])
    since_s, end_s = lost_s
    contact = {}
    if end_s > since_s:
        contact["ecg"] = ContactMarks(
            np.array([end_s]),
            np.array([end_s]),
            np.array([since_s]),
            np.array([int(Reason.NOT_FINITE)]),
            np.array([True]),
            np.array([True]),
        )
    limits = limits or {"limit_bpm": 80.0, "hold_off_s": 5.0}
    until_s = 100.0 + interval_s
    event = Event(1, kind, 100.7, until_s, until_s, limits=limits)
    reasons = reasons_for(case_of(event, beats=beats_at(beats_s), contact=contact))
    return [reason.text for reason in reasons if reason.side == "against"]


def test_a_beat_may_be_missing_in_a_brief_drop_out_and_then_nothing_was_slow():
    (told,) = dropped(1.4, (100.5, 100.9))
    assert told.startswith("beats may be missing in 0.4 s in which the ECG could not be used")
    limits = {"limit_s": 2.0}
    assert dropped(2.1, (100.6, 101.4), kind="no heart beat", limits=limits) != []


@pytest.mark.parametrize(
    ("interval_s", "lost_s", "kind"),
    [
        (1.4, (0.0, 0.0), "low heart rate"),  # none is lost
        (1.4, (100.1, 100.3), "low heart rate"),  # and then 1.1 s without a beat
        (1.4, (90.1, 90.3), "low heart rate"),  # another interval is lost
        (1.4, (80.1, 80.3), "low heart rate"),  # one long before
        (1.4, (100.5, 100.9), "high heart rate"),
    ],
)
def test_but_not_where_an_interval_is_long_without_it(interval_s, lost_s, kind):
    assert dropped(interval_s, lost_s, kind=kind) == []


@pytest.mark.parametrize("kind", ["low heart rate", "high heart rate", "no heart beat"])
@pytest.mark.parametrize(("grown", "judgement"), [(2.5, "supported"), (4.0, "doubtful")])
def test_beats_far_larger_than_before_may_be_swings_of_the_electrodes(kind, grown, judgement):
    time_s = np.concatenate([np.arange(80.0, 100.1, 0.5), np.arange(101.2, 112.0, 1.2)])
    beats = beats_at(time_s)
    beats.amplitude[time_s > 97.0] *= grown
    limits = {"limit_bpm": 70.0, "hold_off_s": 5.0} if "rate" in kind else {"limit_s": 1.0}
    event = Event(1, kind, 100.5, 106.0, 110.0, limits=limits)
    assert judge(reasons_for(case_of(event, beats=beats))) == judgement


@pytest.mark.parametrize(("size", "judgement"), [(0.3, "doubtful"), (0.4, "supported")])
def test_a_beat_far_smaller_that_ends_a_standstill_tells_that_those_before_were_none(
    size, judgement
):
    time_s = np.concatenate([np.arange(80.0, 100.1, 0.5), [110.0]])
    beats = beats_at(time_s)
    beats.amplitude[-1] = size
    event = Event(1, "no heart beat", 100.0, 104.0, 110.0, limits={"limit_s": 4.0})
    assert judge(reasons_for(case_of(event, beats=beats))) == judgement


@pytest.mark.parametrize("swing_mv", [10.0, 30.0])
def test_swings_of_the_electrodes_that_were_taken_for_beats_leave_no_stopped_heart(swing_mv):
    night = sim.simulate_night(sim.Scenario(60.0, 250.0, 62.5), 3)
    ecg = night.recording.ecg.segments[0].values
    time_s = np.arange(len(ecg)) / 250.0
    swung = ecg + swing_mv * np.sign(np.sin(2.0 * np.pi * 1.2 * time_s)) * (time_s < 5.9)
    recording = im.Recording({"ecg": Channel(swung, 250.0, "mV")})
    plan = im.Prescription.model_validate({"no_heart_beat": {"limit_s": 4}})
    events = im.review(recording, plan).events
    assert [event.judgement for event in events] == ["doubtful"]


@pytest.mark.parametrize("seed", [1, 2])
def test_beats_missed_since_their_complexes_are_too_small_are_no_slow_heart(seed):
    """R waves of 0.15 mV on average, 0.135 without their tops: about half are too small."""
    night = sim.simulate_night(sim.Scenario(600.0, 250.0, 62.5), seed)
    ecg = night.recording.ecg.segments[0].values
    usual = float(np.median(np.abs(im.detect_r_peaks(ecg, 250.0, unit="uV").amplitude)))
    faint = Channel(ecg * (0.135 / usual), 250.0, "mV")
    plan = im.Prescription.model_validate(
        {
            "low_heart_rate": {"limit_bpm": 80, "hold_off_s": 5, "average_beats": 8},
            "no_heart_beat": {"limit_s": 4},
        }
    )
    events = im.review(im.Recording({"ecg": faint}), plan).events
    assert len(events) >= 10
    assert not [event for event in events if event.judgement == "supported"]


LONG_S = 2000.0


@pytest.mark.parametrize(
    ("kind", "happens"),
    [
        ("low heart rate", [sim.Bradycardia(100.0, 60.0, hold_s=LONG_S)]),
        ("high heart rate", [sim.Tachycardia(100.0, 200.0, hold_s=LONG_S)]),
        ("no heart beat", [sim.Standstill(100.0, LONG_S)]),
        ("periodic breathing", [sim.Pause(100.0 + 15.0 * k, 5.0) for k in range(134)]),
    ],
)
def test_that_nothing_was_seen_before_is_not_said_of_what_is_no_longer_known(kind, happens):
    """What came before an event of over half an hour is no longer kept when it is judged."""
    scenario = sim.Scenario(LONG_S + 200.0, 125.0, 50.0, events=tuple(happens))
    plan = im.Prescription(
        low_heart_rate={"limit_bpm": 80, "hold_off_s": 5, "average_beats": 8},
        high_heart_rate={"limit_bpm": 180, "hold_off_s": 5, "average_beats": 8},
        no_heart_beat={"limit_s": 4},
        periodic_breathing={"pause_s": 3, "count": 3, "gap_s": 20},
    )
    events = im.review(sim.simulate_night(scenario, seed=2).recording, plan).events
    (event,) = events.of_kind(kind)
    assert event.length_s > 1800.0
    told = [str(reason) for reason in event.reasons]
    assert "beside: it lasted so long that what came before is no longer known" in told
    assert not [text for text in told if "before" in text and text.startswith("against")]
    assert event.judgement == "supported"


def spread_out(uneven_s, uneven_mv, *, second=False):
    """A fast heart from 100 s on, beats 0.3 s apart; its judgement."""
    draw = np.random.default_rng(4)
    count = 60
    time_s = 90.0 + np.cumsum(0.3 + uneven_s * draw.uniform(-1.0, 1.0, count))
    amplitude = 1.0 + uneven_mv * draw.uniform(-1.0, 1.0, count)
    flags = np.full(count, True)
    beats = RPeaks(time_s, time_s, np.arange(count), amplitude, flags)
    limits = {"limit_bpm": 160.0, "hold_off_s": 5.0}
    event = Event(1, "high heart rate", 94.0, 99.0, float(time_s[-1]), limits=limits)
    return judge(reasons_for(case_of(event, beats=beats, second=beats if second else None)))


@pytest.mark.parametrize(
    ("uneven_s", "uneven_mv", "judgement"),
    [
        (0.2, 0.5, "doubtful"),  # electrodes that move
        (0.2, 0.1, "supported"),  # fibrillating atria
        (0.05, 0.5, "supported"),  # every second beat smaller
        (0.05, 0.1, "supported"),
    ],
)
def test_a_fast_heart_of_beats_uneven_in_time_and_height_may_be_artefacts(
    uneven_s, uneven_mv, judgement
):
    assert spread_out(uneven_s, uneven_mv) == judgement
    assert spread_out(uneven_s, uneven_mv, second=True) == "supported"
