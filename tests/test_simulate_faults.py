"""What each fault shows in the samples, and what the truth says of it."""

import numpy as np
import pytest
from simulated import differences, samples, scenario

from infantmon.model.spans import Reason
from infantmon.simulate import (
    AtRail,
    Flat,
    Held,
    ImpedanceChannel,
    LevelStep,
    LooseElectrode,
    Mains,
    MissingSamples,
    Movement,
    MuscleNoise,
    Noisy,
    OutOfRange,
    Scenario,
    simulate_night,
)


@pytest.mark.parametrize(
    ("shown", "reason"),
    [
        (AtRail(), Reason.SATURATED),
        (AtRail(upper=False), Reason.SATURATED),
        (Flat(12.0), Reason.FLAT),
        (Held(), Reason.FLAT),
        (OutOfRange(1900.0), Reason.OUT_OF_RANGE),
    ],
)
def test_a_loose_electrode_on_the_impedance_alone(shown, reason):
    parts = {"impedance": ImpedanceChannel(low_ohm=10.0, high_ohm=1999.0)}
    night = simulate_night(
        scenario(LooseElectrode(50.0, 30.0, impedance=shown, ecg=None), **parts), 4
    )
    plain = simulate_night(scenario(**parts), 4)
    values, time = samples(night, "impedance")
    inside = (time >= 50.0) & (time < 80.0)
    expected = {
        AtRail(): 1999.0,
        AtRail(upper=False): 10.0,
        Flat(12.0): 12.0,
        OutOfRange(1900.0): 1900.0,
    }
    before = samples(plain, "impedance")[0][time >= 50.0][0]
    level = expected.get(shown, before)
    noisy = reason == Reason.OUT_OF_RANGE
    assert values[inside] == pytest.approx(level, abs=0.5 if noisy else 0.06)
    assert (np.ptp(values[inside]) > 0.0) == noisy
    assert np.array_equal(values[time < 50.0], samples(plain, "impedance")[0][time < 50.0])
    assert np.array_equal(samples(night, "ecg")[0], samples(plain, "ecg")[0])
    lost = night.truth.impedance_lost
    assert (lost.start_s[0], lost.end_s[0], lost.reason[0]) == (50.0, 80.0, reason)
    assert len(night.truth.ecg_lost) == 0


def test_a_loose_electrode_on_the_ecg_alone():
    changed = differences(LooseElectrode(50.0, 30.0, impedance=None, ecg=Noisy(0.1)))
    assert np.all(changed["impedance"][0] == 0.0)
    night = simulate_night(scenario(LooseElectrode(50.0, 30.0, None, Noisy(0.1))), 4)
    values, time = samples(night, "ecg")
    assert values[(time >= 50.0) & (time < 80.0)].std() == pytest.approx(0.1, rel=0.05)
    assert night.truth.ecg_lost.reason[0] == Reason.NOISE


def test_contact_comes_back_with_a_jolt_that_dies_away():
    changed = differences(LooseElectrode(50.0, 30.0, jolt_mv=2.0, jolt_ohm=10.0))
    for role, size in (("ecg", 2.0), ("impedance", 10.0)):
        difference, time = changed[role]
        assert difference[time >= 80.0][0] == pytest.approx(size, rel=0.05)
        assert np.abs(difference[time >= 82.5]).max() < 0.005 * size
        assert np.all(difference[time >= 87.0] == 0.0)
        assert np.all(difference[time < 50.0] == 0.0)


def test_movement_is_large_without_rhythm_and_only_where_asked():
    changed = differences(Movement(30.0, 60.0, breaths=4.0, wander_mv=0.5))
    for role, size in (("impedance", 4.0), ("ecg", 0.5)):
        difference, time = changed[role]
        inside = (time >= 30.0) & (time < 90.0)
        assert np.all(difference[~inside] == 0.0)
        assert difference[inside].std() == pytest.approx(size, rel=0.4)
    difference, time = changed["impedance"]
    wild = difference[(time >= 31.0) & (time < 89.0)]
    power = np.abs(np.fft.rfft(wild - wild.mean())) ** 2
    assert power.max() < 0.35 * power.sum()


def test_muscle_noise_has_the_asked_size_and_no_step_at_the_seconds():
    for rate in (250.0, 1000.0):
        plain, spoilt = (
            simulate_night(Scenario(60.0, rate, 62.5, events=e), 2)
            for e in ((), (MuscleNoise(10.0, 40.0, mv=0.2),))
        )
        difference = samples(spoilt, "ecg")[0] - samples(plain, "ecg")[0]
        time = samples(plain, "ecg")[1]
        inside = (time > 10.5) & (time < 49.5)
        assert difference[inside].std() == pytest.approx(0.2, rel=0.1)
        assert np.all(difference[(time < 10.0) | (time >= 50.0)] == 0.0)
        near = difference[inside & (np.abs(time - np.round(time)) < 0.05)]
        assert near.std() == pytest.approx(0.2, rel=0.2)


@pytest.mark.parametrize("hz", [50.0, 60.0])
def test_mains_has_the_asked_frequency_and_size(hz):
    changed = differences(Mains(20.0, 60.0, mv=0.15, ohm=0.0, frequency_hz=hz))
    difference, time = changed["ecg"]
    wave = difference[(time >= 20.0) & (time < 80.0)]
    spectrum = np.abs(np.fft.rfft(wave))
    assert np.fft.rfftfreq(len(wave), 1 / 250.0)[np.argmax(spectrum)] == pytest.approx(hz)
    assert wave.std() == pytest.approx(0.15 / np.sqrt(2.0), rel=0.02)
    assert np.all(changed["impedance"][0] == 0.0)


def test_a_step_moves_the_level_for_as_long_as_asked():
    changed = differences(LevelStep(30.0, 20.0, mv=1.0, ohm=-3.0))
    for role, size in (("ecg", 1.0), ("impedance", -3.0)):
        difference, time = changed[role]
        inside = (time >= 30.0) & (time < 50.0)
        assert difference[inside] == pytest.approx(size)
        assert np.all(difference[~inside] == 0.0)


def test_missing_samples_are_nan_and_told():
    night = simulate_night(scenario(MissingSamples(30.0, 2.0, ecg=False)), 1)
    values, time = samples(night, "impedance")
    assert np.array_equal(np.isnan(values), (time >= 30.0) & (time < 32.0))
    assert not np.any(np.isnan(samples(night, "ecg")[0]))
    assert night.truth.impedance_lost.reason[0] == Reason.NOT_FINITE
    assert len(night.truth.ecg_lost) == 0
