"""Ectopic beats, a turned axis, obstruction, a second lead, clocks, clipping, rates in steps."""

import numpy as np
import pytest

import infantmon as im
from infantmon import simulate as sim
from infantmon.errors import ArgumentError
from infantmon.simulate.ages import RATES, rates_at

STILL = sim.EcgChannel(noise_mv=0.0, wander_mv=0.0)
STEADY = sim.Heart(slow_variability=0.0, breathing_coupling=0.0, jitter=0.0)
EVEN = sim.EcgLead(breathing_share=0.0)


def infant(*events, duration_s=120.0, seed=5, **parts):
    usual = {"heart": STEADY, "ecg": STILL, "lead": EVEN, "ecg2": STILL}
    return sim.InventedInfant(
        sim.Scenario(duration_s, 500.0, 62.5, events=events, **{**usual, **parts}), seed
    )


def ecg_of(made, role="ecg"):
    return made.night().recording.channels[role].segments[0].values


# ectopic beats


@pytest.mark.parametrize("every", [1, 2, 3, 8])
@pytest.mark.parametrize("first", [0, 1])
def test_ectopic_beats_come_early_and_the_next_comes_when_it_would(every, first):
    run = sim.EctopicBeats(30.0, 20.0, every=every, first=first, early_share=0.3)
    made, plain = infant(run), infant()
    early = made.truth.beat_ectopic
    inside = np.flatnonzero((plain.truth.beat_s >= 30.0) & (plain.truth.beat_s < 50.0))
    assert np.array_equal(np.flatnonzero(early), inside[first::every])
    usual = 60.0 / 142.0
    moved = plain.truth.beat_s - made.truth.beat_s
    assert np.allclose(moved[early], 0.3 * usual, atol=1e-3)
    assert np.all(moved[~early] == 0.0)


def test_without_a_length_one_beat_is_ectopic():
    made = infant(sim.EctopicBeats(40.0))
    (which,) = np.flatnonzero(made.truth.beat_ectopic)
    assert 0.0 <= made.truth.beat_s[which] - 40.0 + 0.3 * 60 / 142 < 60 / 142 + 1e-6


@pytest.mark.parametrize("times", [1.5, -1.2])
@pytest.mark.parametrize("inverted", [False, True])
def test_an_ectopic_beat_is_marked_at_its_largest_deflection(times, inverted):
    lead = sim.EcgLead(breathing_share=0.0, inverted=inverted, r_mv=0.8)
    made = infant(sim.EctopicBeats(40.0, times=times), lead=lead)
    at_s = made.truth.beat_s[made.truth.beat_ectopic][0]
    ecg = ecg_of(made)
    near = slice(round((at_s - 0.12) * 500), round((at_s + 0.12) * 500))
    peak = near.start + int(np.argmax(np.abs(ecg[near])))
    assert abs(peak / 500.0 - at_s) <= 0.003
    assert np.sign(ecg[peak]) == np.sign(times) * (-1 if inverted else 1)
    assert abs(ecg[peak]) == pytest.approx(0.8 * abs(times), rel=0.05)


def test_a_wide_beat_is_twice_as_wide():
    widths = []
    for events in ((), (sim.EctopicBeats(40.0, times=1.0, early_share=0.0),)):
        made = infant(*events)
        at_s = made.truth.beat_s[np.searchsorted(made.truth.beat_s, 40.0)]
        near = ecg_of(made)[round((at_s - 0.1) * 500) : round((at_s + 0.1) * 500)]
        widths.append(np.count_nonzero(near > 0.5 * np.max(near)))
    assert 1.7 <= widths[1] / widths[0] <= 2.3


def test_an_early_beat_that_is_not_wide_looks_like_the_others():
    made = infant(sim.EctopicBeats(40.0, times=1.0, wide=False))
    at_s = made.truth.beat_s[made.truth.beat_ectopic][0]
    assert np.max(ecg_of(made)[round((at_s - 0.02) * 500) :][:20]) == pytest.approx(0.9, rel=0.02)


@pytest.mark.parametrize(
    "wrong", [{"every": 0}, {"every": 1.5}, {"early_share": 0.9}, {"first": -1}]
)
def test_ectopic_beats_are_checked(wrong):
    with pytest.raises(ArgumentError):
        sim.EctopicBeats(0.0, **wrong)


# the axis


def test_a_turned_axis_changes_r_and_comes_back():
    made = infant(sim.AxisChange(40.0, 40.0, r_times=-0.8, s_times=1.0))
    ecg, beats = ecg_of(made), made.truth.beat_s
    height = np.array([ecg[round(t * 500)] for t in beats])
    before, during = beats < 39.0, (beats > 44.0) & (beats < 76.0)
    after = (beats > 81.0) & (beats < 119.0)
    assert np.allclose(height[before][2:], 0.9, rtol=0.03)
    assert np.allclose(height[after], 0.9, rtol=0.03)
    assert np.all(height[during] < -0.5)


# obstruction


def test_effort_goes_on_in_an_obstructive_apnea_and_the_truth_says_so():
    apnea = sim.ObstructiveApnea(40.0, 25.0, effort_start=0.5, effort_end=1.5)
    made, plain = infant(apnea), infant()
    truth = made.truth
    assert len(truth.pauses) == 0
    assert (truth.obstructions.onset_s[0], truth.obstructions.end_s[0]) == (40.0, 65.0)
    assert not truth.obstructions.mixed[0]
    assert np.array_equal(truth.breath_s, plain.truth.breath_s)  # efforts go on
    no_flow = truth.breath_obstructed
    assert np.array_equal(no_flow, (truth.breath_s >= 40.0) & (truth.breath_s < 65.0))
    share = truth.breath_size_ohm[no_flow] / plain.truth.breath_size_ohm[no_flow]
    assert np.all(np.diff(share) > 0.0)
    assert 0.5 <= share[0] < 0.65
    assert 1.35 < share[-1] <= 1.5


def test_a_mixed_apnea_shows_only_its_first_part():
    apnea = sim.MixedApnea(40.0, 14.0, 12.0, bradycardia=sim.SlowingInPause(rate_bpm=70.0))
    truth = infant(apnea, duration_s=150.0).truth
    assert truth.pauses.length_s.tolist() == [14.0]
    assert truth.pauses.with_bradycardia.tolist() == [True]
    found = truth.obstructions
    assert (found.onset_s[0], found.effort_from_s[0], found.end_s[0]) == (40.0, 54.0, 66.0)
    assert found.mixed.tolist() == [True]
    efforts = truth.breath_s[truth.breath_obstructed]
    assert abs(efforts[0] - 54.0) < 1e-6
    assert efforts[-1] < 66.0
    assert truth.bradycardias.start_s.tolist() == [49.3]


# a second lead


def test_a_second_lead_shows_the_same_beats_with_noise_of_its_own():
    lead2 = sim.EcgLead(r_mv=0.4, inverted=True, breathing_share=0.0)
    made = infant(
        lead2=lead2, ecg=sim.EcgChannel(noise_mv=0.05), ecg2=sim.EcgChannel(noise_mv=0.05)
    )
    plain = infant(ecg=sim.EcgChannel(noise_mv=0.05))
    assert np.array_equal(ecg_of(made), ecg_of(plain))  # the first lead does not change
    rows = np.rint(made.truth.beat_s[1:-1] * 500).astype(int)
    assert np.mean(ecg_of(made, "ecg2")[rows]) == pytest.approx(-0.4, abs=0.03)
    quiet = infant(lead2=lead2)
    noise = [ecg_of(made, role) - ecg_of(quiet, role) for role in ("ecg", "ecg2")]
    assert abs(np.corrcoef(*noise)[0, 1]) < 0.05


def test_a_lead_can_be_loose_while_the_other_is_not():
    loose = sim.LooseElectrode(30.0, 20.0, impedance=None, ecg=None, ecg2=sim.Flat(0.0))
    missing = sim.MissingSamples(60.0, 5.0, impedance=False, ecg=False)
    made = infant(loose, missing, lead2=sim.EcgLead())
    second = ecg_of(made, "ecg2")
    assert np.all(second[30 * 500 : 50 * 500] == 0.0)
    assert np.all(np.isnan(second[60 * 500 : 65 * 500]))
    plain = infant(lead2=sim.EcgLead())
    assert np.array_equal(ecg_of(made), ecg_of(plain))
    assert len(made.truth.ecg2_lost) == 2
    assert len(made.truth.ecg_lost) == 0


def test_chunks_with_a_second_lead_join_to_the_whole():
    made = infant(lead2=sim.EcgLead(), duration_s=65.0)
    joined = np.concatenate([chunk.ecg2 for chunk in made.chunks(7.3)])
    assert np.array_equal(joined, ecg_of(made, "ecg2"))


# clocks and clipping


def test_a_fast_clock_gives_more_samples_and_true_times_stay_true():
    chest = sim.ImpedanceChannel(clock_error=-0.0014)
    made = infant(ecg=sim.EcgChannel(0.0, 0.0, clock_error=0.0014), impedance=chest, duration_s=300)
    ecg = ecg_of(made)
    assert len(ecg) == pytest.approx(300.0 * 500.0 * 1.0014, abs=1)
    assert len(ecg_of(made, "impedance")) == pytest.approx(300.0 * 62.5 * 0.9986, abs=1)
    on_file = made.scenario.recorded_s("ecg", made.truth.beat_s[1:-1])
    off = [np.argmax(ecg[r - 20 : r + 21]) - 20 for r in np.rint(on_file * 500).astype(int)]
    assert np.max(np.abs(off)) <= 1
    assert np.array_equal(made.truth.beat_s, infant(duration_s=300).truth.beat_s)


def test_clipping_holds_a_stretch_between_two_levels():
    made = infant(sim.Clipping(30.0, 20.0, mv=0.2, low_ohm=400.0, high_ohm=500.2))
    plain = infant()
    for role, low, high, rate in (("ecg", -0.2, 0.2, 500), ("impedance", 400.0, 500.2, 62.5)):
        clipped, whole = ecg_of(made, role), ecg_of(plain, role)
        inside = slice(round(30 * rate), round(50 * rate))
        assert np.array_equal(clipped[inside], np.clip(whole[inside], low, high))
        assert not np.array_equal(clipped, whole)
        clipped[inside] = whole[inside]
        assert np.array_equal(clipped, whole)


# rates in steps


def test_heart_rates_in_steps_from_30_to_300():
    rates = [30.0, 60.0, 120.0, 180.0, 240.0, 300.0]
    made = infant(*sim.heart_rate_steps(rates, hold_s=30.0), duration_s=180.0)
    for number, rate in enumerate(rates):
        beats = made.truth.beat_s
        inside = beats[(beats > 30.0 * number + 0.5) & (beats < 30.0 * (number + 1) - 0.5)]
        assert np.allclose(60.0 / np.diff(inside), rate, rtol=0.01)


def test_breathing_rates_in_steps_from_20_to_120():
    rates = [20.0, 40.0, 60.0, 90.0, 120.0]
    steps = sim.breathing_rate_steps(rates, hold_s=60.0, start_s=30.0)
    even = sim.Breathing(period_variability=0.0)
    made = infant(*steps, duration_s=360.0, breathing=even)
    for number, rate in enumerate(rates):
        start = 30.0 + 60.0 * number
        breaths = made.truth.breath_s
        inside = breaths[(breaths > start - 1e-6) & (breaths < start + 60.0 + 1e-6)]
        assert inside[0] == pytest.approx(start)
        assert inside[-1] == pytest.approx(start + 60.0)
        assert np.allclose(60.0 / np.diff(inside), rate, rtol=0.02)
        assert len(inside) == rate + 1


def test_a_pause_keeps_its_length_where_the_rate_changes():
    truth = infant(sim.BreathingRate(30.0, 40.0, 80.0), sim.Pause(50.0, 25.0)).truth
    assert truth.pauses.length_s.tolist() == [25.0]
    gaps = np.diff(truth.breath_s)
    assert np.sum(gaps > 10.0) == 1
    assert truth.breath_s[np.argmax(gaps)] == pytest.approx(50.0)


def test_overlapping_breathing_rates_are_refused():
    with pytest.raises(ArgumentError, match="begins before the one at 30 s has ended"):
        infant(sim.BreathingRate(30.0, 40.0, 80.0), sim.BreathingRate(60.0, 40.0, 30.0))


# ages


def test_centiles_rise_and_ages_are_in_order():
    """Fleming et al., Lancet 2011;377:1011-1018."""
    assert [row.until_months for row in RATES] == sorted(row.until_months for row in RATES)
    for row in RATES:
        assert list(row.heart_bpm) == sorted(row.heart_bpm)
        assert list(row.breathing_per_min) == sorted(row.breathing_per_min)


@pytest.mark.parametrize(
    ("months", "heart", "breathing"),
    [(0.0, 127, 43), (1.0, 143, 43), (3.0, 140, 41), (11.9, 128, 37), (20.0, 116, 31)],
)
def test_median_rates_by_age(months, heart, breathing):
    assert sim.heart_at(months).rate_bpm == heart
    assert sim.breathing_at(months).rate_per_min == breathing


def test_ages_outside_the_table_are_refused():
    for months in (-1.0, 36.0, 400.0):
        with pytest.raises(ArgumentError, match="months"):
            rates_at(months)
    with pytest.raises(ArgumentError, match="centile"):
        sim.heart_at(1.0, centile=100.0)


def test_a_newborn_has_newborn_intervals():
    """QRS 40 +- 10, PR 90 +- 20, QTc 400 +- 30 ms: abstracts on newborn ECG, n = 364."""
    lead = sim.newborn_lead()
    assert (lead.qrs_s, lead.pr_s, lead.qtc_s) == (0.04, 0.09, 0.4)


def test_the_chain_does_not_see_an_obstructive_apnea_and_sees_the_first_part_of_a_mixed_one():
    """A limit of the method, not a wish: effort without flow looks like breathing."""
    events = (sim.ObstructiveApnea(60.0, 30.0), sim.MixedApnea(140.0, 22.0, 15.0))
    night = infant(*events, duration_s=220.0).night()
    plan = im.Prescription(apnea={"limit_s": 20})
    apneas = [e for e in im.review(night.recording, plan).events if e.kind == "apnea"]
    assert len(apneas) == 1
    assert abs(apneas[0].onset_s - 140.0) < 1.0
    assert abs(apneas[0].end_s - 162.0) < 1.0
