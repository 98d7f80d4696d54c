"""Two leads fused: by hand, against a slow twin, on simulated leads with faults, and on mitdb."""

import math
from statistics import median

import numpy as np
import pytest

import infantmon.simulate as sim
from infantmon import detect_r_peaks, fuse_r_peaks
from infantmon.errors import ArgumentError, StateError
from infantmon.labelled.known import databases
from infantmon.model.marks import FusedRPeaks, RPeaks
from infantmon.scoring.marks import score_marks
from infantmon.stages.lead_fusion import LeadFusion, LeadFusionSettings

RATE_HZ = 250.0
LAG_S = 1.0


def train(times_s, reliable=True, amplitude=1.0, settled_until_s=math.inf):
    times_s = np.asarray(times_s, dtype=float)
    return RPeaks(
        times_s,
        times_s + LAG_S,
        np.rint(times_s * RATE_HZ).astype(np.int64),
        np.full(len(times_s), float(amplitude)),
        np.broadcast_to(np.asarray(reliable, dtype=bool), times_s.shape).copy(),
        settled_until_s=settled_until_s,
    )


REGULAR = np.arange(0.5, 60.0, 0.5)


def fused(first, second, **more):
    return fuse_r_peaks(first, second, RATE_HZ, **more)


def test_beats_of_both_leads_are_one_train_at_the_marks_of_the_first():
    found = fused(train(REGULAR), train(REGULAR + 0.03, amplitude=-0.4))
    assert isinstance(found, FusedRPeaks)
    np.testing.assert_array_equal(found.time_s, REGULAR)
    assert set(found.seen_in) == {3}
    assert set(found.amplitude) == {1.0}
    assert np.all(found.reliable)


def test_the_distance_of_the_leads_is_taken_off_where_the_second_one_fills_in():
    lost = (REGULAR > 20.0) & (REGULAR < 40.0)
    found = fused(train(REGULAR[~lost]), train(REGULAR + 0.04))
    np.testing.assert_allclose(found.time_s, REGULAR, atol=1e-9)
    filled = (found.time_s > 20.0) & (found.time_s < 40.0)
    np.testing.assert_array_equal(found.seen_in[filled], 2)
    np.testing.assert_array_equal(found.sample, np.rint(found.time_s * RATE_HZ))


@pytest.mark.parametrize("swapped", [False, True])
def test_an_artefact_in_a_lead_that_errs_does_not_count(swapped):
    """Extra marks all over one lead for 20 s, which it says are reliable."""
    extra = np.arange(20.2, 40.0, 0.5)
    noisy = train(np.sort(np.concatenate((REGULAR, extra))))
    leads = (noisy, train(REGULAR)) if not swapped else (train(REGULAR), noisy)
    found = fused(*leads)
    wrong = np.abs(found.time_s[:, None] - REGULAR).min(axis=1) > 0.15
    assert np.sum(wrong) <= 3  # until the lead has shown that it errs
    assert score_marks(REGULAR, found.time_s, 0.15).tally.false_negatives == 0


def test_a_lead_that_shows_nothing_is_filled_in_but_a_beat_too_soon_is_not():
    missing = np.delete(REGULAR, [30, 50, 70])
    second = np.sort(np.append(REGULAR, REGULAR[80] + 0.2))
    found = fused(train(missing), train(second))
    np.testing.assert_array_equal(found.time_s, REGULAR)
    np.testing.assert_array_equal(np.flatnonzero(found.seen_in == 2), [30, 50, 70])


def test_a_premature_beat_that_only_the_first_lead_shows_stays():
    early = np.sort(np.append(REGULAR, REGULAR[60] + 0.3))
    found = fused(train(early), train(REGULAR))
    np.testing.assert_array_equal(found.time_s, early)
    assert found.seen_in[61] == 1


def test_where_neither_lead_tells_one_of_them_is_given_as_unreliable():
    """Nothing is silent, and the artefacts of two leads are not added up."""
    draw = np.random.default_rng(3)
    one, other = (np.sort(draw.uniform(20.0, 40.0, 50)) for _ in range(2))
    calm = REGULAR[(REGULAR < 20.0) | (REGULAR > 40.0)]

    def lead(noise):
        times = np.sort(np.concatenate((calm, noise)))
        return train(times, reliable=~np.isin(times, noise))

    found = fused(lead(one), lead(other))
    inside = (found.time_s > 20.0) & (found.time_s < 40.0)
    assert 30 <= np.sum(inside) <= 60
    assert not np.any(found.reliable[inside])


def test_a_silent_lead_holds_nothing_back_once_its_frontier_is_told():
    stage = LeadFusion(LeadFusionSettings(RATE_HZ, LAG_S, LAG_S))
    some = train(REGULAR[REGULAR < 9.0], settled_until_s=9.0)
    assert len(stage.push(some, RPeaks.empty(settled_until_s=-1.0))) == 0
    found = stage.push(RPeaks.empty(settled_until_s=9.0), RPeaks.empty(settled_until_s=9.0))
    assert len(found) == np.sum(REGULAR + stage.latency_s <= 10.0 + 0.2)
    assert np.all(found.known_s <= 10.0)
    assert np.all(found.known_s <= found.time_s + stage.latency_s)
    stage.push(RPeaks.empty(), RPeaks.empty(), last=True)
    with pytest.raises(StateError, match="LeadFusion"):
        stage.push(RPeaks.empty(), RPeaks.empty())


def test_one_empty_lead_gives_the_other():
    for leads in ((train(REGULAR), RPeaks.empty()), (RPeaks.empty(), train(REGULAR))):
        np.testing.assert_array_equal(fused(*leads).time_s, REGULAR)
    assert len(fused(RPeaks.empty(), RPeaks.empty())) == 0


def test_nothing_is_known_after_the_end():
    found = fused(train(REGULAR), train(REGULAR), end_s=60.0)
    assert found.known_s.max() == 60.0
    assert np.all(np.diff(found.known_s) >= 0.0)


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"rate_hz": 0.0}, "rate_hz"),
        ({"first_lag_s": -1.0}, "first_lag_s"),
        ({"second_lag_s": math.nan}, "second_lag_s"),
    ],
)
def test_wrong_settings_raise(wrong, told):
    right = {"rate_hz": RATE_HZ, "first_lag_s": LAG_S, "second_lag_s": LAG_S}
    with pytest.raises(ArgumentError, match=told):
        LeadFusionSettings(**(right | wrong))


# A slow twin --------------------------------------------------------------------------------------


class SlowTwin:
    """All marks at hand, everything found anew from what was decided before: see `LeadFusion`."""

    def __init__(self, first, second):
        self.raw = [
            list(zip(m.time_s.tolist(), m.reliable.tolist(), strict=True)) for m in (first, second)
        ]
        self.heard = [[], []]  # (adjusted time, reliable) of marks gone through, by lead
        self.alone = [[], []]  # times of those that had no partner
        self.both, self.between = [], []  # beats in both leads; what lies between them, by lead
        self.apart, self.beats, self.leading = [], [], 0

    def usual(self):
        gaps = np.diff([t for t, *_ in self.beats])[-8:]
        if len(self.beats) <= 8:  # the first beat brings no interval
            gaps = np.diff([t for t, *_ in self.beats])
        return median(gaps.tolist()) if len(gaps) else 0.45

    def distance(self):
        return min(max(median(self.apart[-15:]), -0.1), 0.1) if self.apart else 0.0

    def adjusted(self, lead):
        return [(t - (self.distance() if lead else 0.0), r) for t, r in self.raw[lead]]

    def stale(self, lead, at):
        latest = self.heard[lead][-1][0] if self.heard[lead] else -math.inf
        return at - latest > max(3.0 * self.usual(), 1.5)

    def errors(self, lead):
        error = 0.0
        for counts, inside in self.between:
            error += 0.12 * (min(abs(counts[lead] - inside), 2) - error)
        return error

    def choose(self, at):
        if self.stale(0, at) != self.stale(1, at):
            self.leading = int(self.stale(0, at))
        elif self.leading == 0 and self.errors(1) < self.errors(0) - 0.15:
            self.leading = 1
        elif self.leading == 1 and self.errors(0) <= self.errors(1):
            self.leading = 0

    def next_of(self, lead, at):
        later = [t for t, _ in self.adjusted(lead)][:1]
        return [t for t in later if t <= at + 0.4]

    def is_artefact(self, other, at, reliable):
        tells = not self.stale(other, at) and self.heard[other] and self.heard[other][-1][1]
        if not tells or self.errors(1 - other) < 0.1:
            return False
        if not reliable:
            return True
        later = self.next_of(other, at)
        whole = later and later[0] - self.heard[other][-1][0] <= 1.3 * self.usual()
        return bool(whole) and all(r for _, r in self.heard[other][-8:])

    def fills(self, at):
        last = self.beats[-1][0] if self.beats else -math.inf
        later = self.next_of(self.leading, at)
        clear = at - last >= 0.8 * self.usual()
        if not later:
            return clear
        return (
            clear and later[0] - at >= 0.8 * self.usual() and later[0] - last >= 1.6 * self.usual()
        )

    def step(self):
        heads = [self.adjusted(lead)[:1] for lead in (0, 1)]
        lead = 0 if not heads[1] or (heads[0] and heads[0][0][0] <= heads[1][0][0]) else 1
        at, reliable = heads[lead][0]
        partner = heads[1 - lead]
        matched = bool(partner) and partner[0][0] - at <= 0.1
        following = self.adjusted(lead)[1:2]
        if matched and following:
            matched = abs(following[0][0] - partner[0][0]) >= partner[0][0] - at
        raw = [
            self.raw[0][0][0] if self.raw[0] else None,
            self.raw[1][0][0] if self.raw[1] else None,
        ]
        del self.raw[lead][0]
        self.heard[lead].append((at, reliable))
        if not matched:
            self.alone[lead].append(at)
            self.choose(at)
            if lead == self.leading:
                counts = not self.is_artefact(1 - lead, at, reliable)
            else:
                counts = reliable and self.fills(at)
            if counts:
                self.keep(at, reliable, lead + 1)
            return
        other_s, other_reliable = partner[0]
        del self.raw[1 - lead][0]
        self.heard[1 - lead].append((other_s, other_reliable))
        inside = max(round((at - self.both[-1]) / self.usual()) - 1, 0) if self.both else 0
        self.between.append(([len(self.alone[0]), len(self.alone[1])], inside))
        self.alone = [[], []]
        self.both.append(at)
        self.choose(at)
        self.keep(at if lead == self.leading else other_s, reliable or other_reliable, 3)
        if reliable and other_reliable:
            self.apart.append(raw[1] - raw[0])

    def keep(self, time_s, reliable, seen_in):
        if not self.beats or time_s - self.beats[-1][0] >= 0.12:
            self.beats.append((time_s, reliable, seen_in))

    def run(self):
        while self.raw[0] or self.raw[1]:
            self.step()
        return self.beats


def two_trains(seed):
    """Two leads of one rhythm with marks lost, added, jittered and doubted, in stretches."""
    draw = np.random.default_rng(seed)
    beats = 0.4 + np.cumsum(0.45 * (1.0 + 0.1 * draw.standard_normal(300)))
    leads = []
    for offset in (0.0, draw.uniform(-0.08, 0.08)):
        bad = (np.sin(beats / draw.uniform(4.0, 12.0) + draw.uniform(0, 6)) > 0.5) & (beats > 8.0)
        kept = beats[~(bad & (draw.random(len(beats)) < 0.5))]
        added = draw.uniform(8.0, beats[-1], 30)
        times = np.sort(
            np.concatenate((kept + offset + 0.01 * draw.standard_normal(len(kept)), added))
        )
        times = times[np.diff(times, prepend=-1.0) > 0.13]
        near = np.interp(times, beats, bad.astype(float)) > 0.5
        leads.append(train(times, reliable=~near | (draw.random(len(times)) < 0.3)))
    return leads


@pytest.mark.parametrize("seed", range(12))
def test_equals_its_slow_twin(seed):
    first, second = two_trains(seed)
    wanted = SlowTwin(first, second).run()
    found = fused(first, second)
    np.testing.assert_allclose(found.time_s, [t for t, *_ in wanted], atol=1e-9)
    np.testing.assert_array_equal(found.reliable, [r for _, r, _ in wanted])
    np.testing.assert_array_equal(found.seen_in, [s for *_, s in wanted])
    assert {1, 2, 3} <= set(found.seen_in)
    assert not np.all(found.reliable)


# Signals ------------------------------------------------------------------------------------------


def two_leads(seed, length_s=120.0):
    lead2 = sim.EcgLead(r_mv=0.5, inverted=True)
    night = sim.simulate_night(sim.Scenario(length_s, RATE_HZ, 62.5, lead2=lead2), seed)
    leads = [night.recording.ecg, night.recording.ecg2]
    return [lead.segments[0].values.copy() for lead in leads], night.truth.beat_s


def scored(beats_s, found, until_s):
    return score_marks(beats_s, found.time_s, 0.15, start_s=1.0, end_s=until_s - 1.0).tally


def test_a_burst_in_one_lead_costs_next_to_nothing():
    """Seed not used in tuning; 1.5 mV rms of movement and muscle in 40 of 120 s of the first."""
    values, beats_s = two_leads(9860)
    draw = np.random.default_rng(9860)
    for start in (20, 50, 80, 100):
        here = slice(start * 250, (start + 10) * 250)
        slow = np.convolve(draw.standard_normal(2500 + 30), np.ones(31), mode="valid")
        values[0][here] += 1.5 * slow / np.std(slow) + 0.3 * draw.standard_normal(2500)
    one, other = (detect_r_peaks(v, RATE_HZ, unit="mV") for v in values)
    alone = scored(beats_s, one, 120.0)
    both = scored(beats_s, fused(one, other, end_s=120.0), 120.0)
    assert alone.false_negatives + alone.false_positives > 30
    assert both.false_negatives + both.false_positives <= 6


def test_a_lost_lead_costs_nothing_and_a_standstill_is_not_filled_in():
    values, beats_s = two_leads(9861)
    values[0][40 * 250 : 70 * 250] = 0.0
    one, other = (detect_r_peaks(v, RATE_HZ, unit="mV") for v in values)
    both = scored(beats_s, fused(one, other, end_s=120.0), 120.0)
    assert (both.false_negatives, both.false_positives) == (0, 0)
    still = [
        np.concatenate((v[: 60 * 250], np.zeros(15 * 250), v[60 * 250 :]))
        for v in two_leads(9862)[0]
    ]
    one, other = (detect_r_peaks(v, RATE_HZ, unit="mV") for v in still)
    found = fused(one, other)
    assert not np.any((found.time_s > 60.5) & (found.time_s < 74.5))


@pytest.mark.recordings
def test_on_mitdb_both_leads_err_no_more_than_the_first(recordings):
    """Odd-numbered records, not used while building the fusion. Adults, labels by experts."""
    shelf = databases(recordings)["mitdb"]
    errors = np.zeros(2, dtype=int)
    for name in ("101", "107", "109", "115", "119"):
        labelled = shelf.load(name)
        leads = (labelled.recording.ecg, labelled.recording.ecg2)
        beats = [
            detect_r_peaks(lead.segments[0].values, lead.rate_hz, unit=lead.unit) for lead in leads
        ]
        for n, found in enumerate((beats[0], fuse_r_peaks(*beats, leads[0].rate_hz))):
            tally = score_marks(labelled.beats_s, found.time_s, 0.15, start_s=300.0).tally
            errors[n] += tally.false_negatives + tally.false_positives
    assert errors[1] <= errors[0]
