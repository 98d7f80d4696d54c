"""Mains interference: where it is told, that it changes no timer, and what it says of beats."""

import numpy as np
import pytest

import infantmon as im
from infantmon import simulate as sim
from infantmon.dsp.mains import MainsEdges, folded_hz
from infantmon.model.spans import Reason
from infantmon.stages.contact import ContactDetector, ContactSettings

MAINS = int(Reason.MAINS)


def chest(rate_hz, ohm, *, frequency_hz=50.0, at_s=(40.0, 60.0), length_s=100.0, seed=1):
    """Breathing of 1 ohm at 48 a minute, some noise, and mains of an amplitude for a while."""
    time_s = np.arange(round(length_s * rate_hz)) / rate_hz
    values = 500.0 + 0.5 * np.sin(2.0 * np.pi * 0.8 * time_s)
    values += np.random.default_rng(seed).normal(0.0, 0.01, len(time_s))
    inside = (time_s >= at_s[0]) & (time_s < at_s[1])
    return values + np.where(inside, ohm * np.sin(2.0 * np.pi * frequency_hz * time_s + 0.3), 0.0)


def told(values, rate_hz, cuts=()):
    stage = ContactDetector(ContactSettings.for_impedance(rate_hz, "ohm"))
    parts = np.split(values, cuts)
    marks = [stage.push(part, last=n == len(parts) - 1) for n, part in enumerate(parts)]
    found = marks[0].joined(marks)
    spans = found.interfering.spans(len(values) / rate_hz)
    return list(zip(spans.start_s.tolist(), spans.end_s.tolist(), strict=True))


@pytest.mark.parametrize(
    ("frequency_hz", "rate_hz", "folded"),
    [(50.0, 250.0, 50.0), (50.0, 62.5, 12.5), (60.0, 62.5, 2.5), (60.0, 25.0, 10.0)],
)
def test_sampling_folds_the_mains(frequency_hz, rate_hz, folded):
    """Arithmetic: the distance to the nearest multiple of the rate."""
    assert folded_hz(frequency_hz, rate_hz) == pytest.approx(folded)


@pytest.mark.parametrize(
    ("rate_hz", "frequency_hz"),
    [(62.5, 50.0), (125.0, 50.0), (125.0, 60.0), (250.0, 60.0), (50.0, 60.0), (25.0, 60.0)],
)
def test_it_is_told_from_its_first_second_to_its_last(rate_hz, frequency_hz):
    ((start, end),) = told(chest(rate_hz, 0.4, frequency_hz=frequency_hz), rate_hz)
    assert 39.0 <= start <= 41.0
    assert 60.0 <= end <= 62.0


@pytest.mark.parametrize(("rate_hz", "frequency_hz"), [(50.0, 50.0), (62.5, 60.0)])
def test_folded_into_breathing_it_cannot_be_told(rate_hz, frequency_hz):
    assert told(chest(rate_hz, 0.4, frequency_hz=frequency_hz), rate_hz) == []


@pytest.mark.parametrize(("ohm", "count"), [(0.13, 0), (0.17, 1)])
def test_from_0_3_of_the_usual_swing_on(ohm, count):
    """Peak to peak it is twice the amplitude, beside a swing of 1 ohm."""
    assert len(told(chest(125.0, ohm), 125.0)) == count


def test_one_second_of_it_is_not_enough():
    assert told(chest(125.0, 0.4, at_s=(40.0, 41.0)), 125.0) == []


@pytest.mark.parametrize("rate_hz", [62.5, 125.0, 250.0])
def test_noise_of_all_frequencies_is_none(rate_hz):
    values = chest(rate_hz, 0.0)
    values += np.random.default_rng(3).normal(0.0, 0.3, len(values))
    assert told(values, rate_hz) == []


@pytest.mark.parametrize("seed", range(4))
def test_however_it_is_cut(seed):
    values = chest(62.5, 0.4)
    values[3000:3100] = np.nan
    chance = np.random.default_rng(seed)
    cuts = np.sort(chance.integers(0, len(values), 40)).tolist()
    assert told(values, 62.5, cuts) == told(values, 62.5)


def test_saved_and_restored_it_goes_on_the_same():
    values = chest(125.0, 0.4)
    whole = MainsEdges(MAINS, 125.0)
    first, other = MainsEdges(MAINS, 125.0), MainsEdges(MAINS, 125.0)
    finite = np.ones(len(values), dtype=bool)
    edges = first.push(values[:5500], finite[:5500])
    other.restore(first.snapshot())
    edges += other.push(values[5500:], finite[5500:])
    assert edges == whole.push(values, finite)
    assert len(edges) == 2


def test_it_is_listed_but_changes_no_event():
    """The same night with and without it, in an apnea and around it."""

    def night(ohm):
        scenario = sim.Scenario(
            240.0,
            ecg_hz=250.0,
            impedance_hz=62.5,
            events=(sim.Pause(150.0, 25.0), sim.Mains(140.0, 50.0, mv=0.0, ohm=ohm)),
        )
        recording = sim.simulate_night(scenario, 2).recording
        return im.review(recording, im.Prescription(apnea={"limit_s": 20}))

    with_it, without = night(0.4), night(0.0)
    spans = with_it.contact["impedance"]
    assert [Reason(int(reason)).words for reason in spans.reason] == ["mains interference"]
    assert len(without.contact["impedance"]) == 0
    assert [event.judgement for event in with_it.events] == ["supported"]
    assert with_it.events[0].onset_s == pytest.approx(without.events[0].onset_s, abs=0.1)


def with_mains_on_the_ecg(*happen):
    scenario = sim.Scenario(150.0, 250.0, 62.5, events=happen)
    plan = im.Prescription(no_heart_beat={"limit_s": 4.0}, contact_loss={"delay_s": 10.0})
    return im.review(sim.simulate_night(scenario, 3).recording, plan)


LOOSE = sim.LooseElectrode(
    80.0, 6.0, impedance=None, ecg=sim.Noisy(0.05, mains=0.3, frequency_hz=50.0)
)


def test_in_the_ecg_it_is_told_too():
    reviewed = with_mains_on_the_ecg(LOOSE)
    spans = reviewed.contact["ecg"]
    assert [Reason(int(reason)) for reason in spans.reason] == [Reason.MAINS]
    assert 79.0 <= spans.start_s[0] <= 81.0
    assert 86.0 <= spans.end_s[0] <= 88.0
    assert not len(with_mains_on_the_ecg().contact["ecg"])


def test_beats_that_vanish_as_it_begins_are_no_sure_standstill():
    (event,) = with_mains_on_the_ecg(LOOSE).events
    assert (event.kind, event.judgement) == ("no heart beat", "doubtful")
    assert "mains interference began as the beats vanished" in " ".join(map(str, event.reasons))


def test_a_standstill_without_it_is_supported():
    (event,) = with_mains_on_the_ecg(sim.Standstill(80.0, 6.0)).events
    assert (event.kind, event.judgement) == ("no heart beat", "supported")
