"""The contact detector on invented infants with known faults, and on preterm infants."""

import numpy as np
import pytest

from infantmon import simulate
from infantmon.labelled.known import databases
from infantmon.model.spans import Reason
from infantmon.stages.contact import ContactDetector, ContactSettings


def night(*events, seed=5, duration_s=180.0, **how):
    scenario = simulate.Scenario(
        duration_s=duration_s, ecg_hz=250.0, impedance_hz=62.5, events=events, **how
    )
    return simulate.simulate_night(scenario, seed=seed).recording


def marks_of(channel, settings):
    detector = ContactDetector(settings(channel.rate_hz, channel.unit))
    return detector.push(channel.segments[0].values, last=True)


def impedance_marks(recording):
    return marks_of(recording.impedance, ContactSettings.for_impedance)


def ecg_marks(recording):
    return marks_of(recording.ecg, ContactSettings.for_ecg)


@pytest.mark.parametrize(
    ("shown", "reason"),
    [
        (simulate.AtRail(), Reason.SATURATED),
        (simulate.AtRail(upper=False), Reason.SATURATED),
        (simulate.Flat(), Reason.FLAT),
        (simulate.Held(), Reason.FLAT),
        (simulate.OutOfRange(3500.0), Reason.OUT_OF_RANGE),
        (simulate.OutOfRange(20.0), Reason.OUT_OF_RANGE),
    ],
)
def test_a_loose_electrode_is_told_from_its_first_sample_to_its_last(shown, reason):
    fault = simulate.LooseElectrode(100.0, 20.0, impedance=shown)
    wide = simulate.ImpedanceChannel(high_ohm=4000.0)
    spans = impedance_marks(night(fault, impedance=wide)).blocking.spans(180.0)
    assert len(spans) == 1
    assert spans.start_s[0] == pytest.approx(100.0, abs=0.1)
    assert spans.end_s[0] == pytest.approx(120.0, abs=0.1)
    assert reason in Reason(int(spans.reason[0]))


@pytest.mark.parametrize("shown", [simulate.AtRail(), simulate.Flat(), simulate.Held()])
def test_an_ecg_electrode_too(shown):
    fault = simulate.LooseElectrode(100.0, 20.0, ecg=shown)
    spans = ecg_marks(night(fault)).blocking.spans(180.0)
    assert spans.start_s.tolist() == pytest.approx([100.0], abs=0.1)
    assert spans.end_s.tolist() == pytest.approx([120.0], abs=0.1)


@pytest.mark.parametrize("seed", range(3))
def test_whatever_an_infant_does_is_no_contact_fault(seed):
    """Pauses, a slow heart, sighs of up to four breaths, shallow breathing: no mark at all."""
    recording = night(
        simulate.Pause(40.0, 25.0),
        simulate.Sigh(85.0, times=4.0),
        simulate.ShallowBreathing(100.0, 20.0),
        simulate.Pause(140.0, 20.0, rebound=simulate.Rebound(share=0.5)),
        seed=seed,
    )
    assert len(impedance_marks(recording)) == 0
    assert len(ecg_marks(recording)) == 0


@pytest.mark.parametrize("seed", range(3))
def test_a_quantised_pause_is_no_contact_fault(seed):
    """A breath is about 10 steps, noise half a step (a Must of the project)."""
    coarse = simulate.ImpedanceChannel(step_ohm=0.1, noise_ohm=0.05)
    pauses = (simulate.Pause(at, 20.0) for at in (40.0, 90.0, 140.0))
    assert len(impedance_marks(night(*pauses, seed=seed, impedance=coarse))) == 0


def test_large_movement_is_told_and_blocks_nothing():
    """10 s of it: at least four fifths are told, in nights of ten seeds together."""
    inside = 0.0
    for seed in range(10):
        marks = impedance_marks(night(simulate.Movement(100.0, 10.0, breaths=6.0), seed=seed))
        assert len(marks.blocking) == 0
        inside += marks.disturbing.spans(180.0).overlap_s(100.0, 110.0)
    assert inside >= 80.0


@pytest.mark.recordings
def test_clean_preterm_segments_have_no_mark(recordings):
    shelf = databases(recordings)["picsdb"]
    assert len(shelf.names) == 10
    for name in shelf.names:
        recording = shelf.load(name).recording
        assert len(impedance_marks(recording)) == 0
        assert len(ecg_marks(recording)) == 0


@pytest.mark.recordings
def test_hours_of_adult_ecg_have_next_to_none(recordings):
    """13 h of mitdb: only record 116 has three stretches of exactly equal samples."""
    shelf = databases(recordings)["mitdb"]
    lost = {}
    shifted_s = 0.0
    for name in shelf.names:
        marks = ecg_marks(shelf.load(name).recording)
        shifted_s += marks.shifted.spans(np.inf).total_s
        if len(marks) > len(marks.shifted):
            lost[name] = marks.blocking.spans(np.inf).total_s
    assert 0.0 < shifted_s < 0.01 * 13 * 3600.0
    assert list(lost) == ["116"]
    assert lost["116"] < 3.0
