"""The band-passes: the response that is documented is the one that runs, and nothing is shifted."""

from __future__ import annotations

import numpy as np
import pytest

from infantmon.errors import ArgumentError, StateError
from infantmon.model.signal import Signal
from infantmon.stages.bandpass import (
    EcgBandPass,
    EcgBandPassSettings,
    ImpedanceBandPass,
    ImpedanceBandPassSettings,
)

RATES = (25.0, 30.0, 50.0, 62.5, 125.0, 250.0, 256.0, 500.0)


def impedance_band(rate_hz: float, start_s: float = 0.0) -> ImpedanceBandPass:
    return ImpedanceBandPass(ImpedanceBandPassSettings(rate_hz, start_s))


def ecg_band(rate_hz: float) -> EcgBandPass:
    return EcgBandPass(EcgBandPassSettings(rate_hz))


def tone_through(band, rate_hz: float, tone_hz: float) -> tuple[float, float]:
    """Amplitude and delay (s) of a tone after the band-pass, from its settled part."""
    time_s = np.arange(round(60 * rate_hz)) / rate_hz
    out = band.push(np.sin(2 * np.pi * tone_hz * time_s), last=True)
    settled = (out.time_s > 10) & (out.time_s < 50)
    # a whole number of periods, by least squares
    angle = 2 * np.pi * tone_hz * out.time_s[settled]
    design = np.stack([np.sin(angle), np.cos(angle)], axis=1)
    (s, c), *_ = np.linalg.lstsq(design, out.values[settled], rcond=None)
    return float(np.hypot(s, c)), float(-np.arctan2(c, s) / (2 * np.pi * tone_hz))


@pytest.mark.parametrize("rate_hz", RATES)
def test_impedance_passes_breathing_up_to_120_a_minute_and_stops_above_4_hz(rate_hz):
    for tone_hz, low, high in (
        (0.2, 0.98, 1.02),
        (1.0, 0.98, 1.05),
        (2.0, 0.7, 0.9),  # 120 a minute
        (2.5, 0.45, 0.55),
        (4.0, 0.0, 0.05),
    ):
        size, _ = tone_through(impedance_band(rate_hz), rate_hz, tone_hz)
        assert low <= size <= high, (tone_hz, size)


@pytest.mark.parametrize("rate_hz", RATES)
def test_impedance_is_not_shifted_in_time(rate_hz):
    for tone_hz in (0.3, 1.0, 2.0):
        _, delay_s = tone_through(impedance_band(rate_hz), rate_hz, tone_hz)
        assert abs(delay_s) < 1e-4


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_mains_does_not_fold_into_the_band(mains_hz):
    size, _ = tone_through(impedance_band(500.0), 500.0, mains_hz)
    time_s = np.arange(10_000) / 500.0
    out = impedance_band(500.0).push(np.sin(2 * np.pi * mains_hz * time_s), last=True)
    assert size < 0.01
    assert np.abs(out.values[50:-50]).max() < 0.02


@pytest.mark.parametrize("rate_hz", [100.0, 250.0, 500.0])
def test_ecg_band_edges_are_where_they_are_documented(rate_hz):
    for tone_hz, low, high in ((1.0, 0.0, 0.03), (8.0, 0.68, 0.73), (14.0, 0.97, 1.0)):
        size, _ = tone_through(ecg_band(rate_hz), rate_hz, tone_hz)
        assert low <= size <= high, (tone_hz, size)
    assert tone_through(ecg_band(rate_hz), rate_hz, 25.0)[0] == pytest.approx(0.707, abs=0.02)


def test_ecg_delay_is_taken_off_in_the_middle_of_the_band():
    band = ecg_band(250.0)
    time_s = np.arange(2500) / 250.0
    burst = np.exp(-(((time_s - 5.0) / 0.15) ** 2))
    out = band.push(burst * np.cos(2 * np.pi * np.sqrt(8 * 25) * (time_s - 5.0)), last=True)
    power = out.values**2
    assert np.sum(power * out.time_s) / np.sum(power) == pytest.approx(5.0, abs=0.004)


@pytest.mark.parametrize("make", [ecg_band, impedance_band])
def test_every_cutting_gives_the_same_samples(make):
    rng = np.random.default_rng(7)
    values = rng.standard_normal(3001).cumsum() + 1e6
    values[400:410] = np.nan
    values[0] = np.nan
    whole = make(125.0).push(values, last=True)
    for cuts in ([0, 1, 2, 3], rng.integers(0, 3001, 40), np.arange(0, 3001, 7), np.arange(3001)):
        band = make(125.0)
        parts = [band.push(part) for part in np.split(values, np.sort(cuts))]
        parts.append(band.push([], last=True))
        joined = Signal.joined(parts)
        assert joined.equals(whole)
        assert joined.settled_until_s == np.inf


def test_settled_samples_have_been_given_and_no_sample_comes_early():
    band = impedance_band(62.5)
    given = 0
    for tick in range(400):
        out = band.push([float(tick)])
        given += len(out)
        reached_s = tick / 62.5
        assert out.settled_until_s == pytest.approx(reached_s - band.latency_s)
        due = np.flatnonzero(
            band.clock.times_s(np.arange(400)) + band.latency_s <= reached_s + 1e-9
        )
        assert given == len(due)


def test_a_saved_band_goes_on_where_it_stood():
    values = np.random.default_rng(3).standard_normal(2000)
    for make in (ecg_band, impedance_band):
        whole = make(125.0).push(values, last=True)
        band = make(125.0)
        first = band.push(values[:777])
        rest = type(band).resume(band.save()).push(values[777:], last=True)
        assert Signal.joined([first, rest]).equals(whole)


def test_a_constant_of_any_size_gives_zero_and_bad_samples_hold_the_last_good_one():
    for level in (0.0, 1e9, -27.3):
        out = impedance_band(50.0).push(np.full(500, level), last=True)
        assert np.array_equal(out.values, np.zeros(250))
    out = impedance_band(50.0).push(np.full(500, np.nan), last=True)
    assert np.array_equal(out.values, np.zeros(250))


def test_samples_that_are_absurdly_large_are_held_as_lost_ones():
    values = np.random.default_rng(1).standard_normal(2000)
    lost, absurd = values.copy(), values.copy()
    lost[500:520], absurd[500:520] = np.nan, 1e300
    first, second = (
        EcgBandPass(EcgBandPassSettings(250.0)).push(some, last=True) for some in (lost, absurd)
    )
    assert first.equals(second)


@pytest.mark.parametrize("count", [0, 1, 2, 10])
def test_short_inputs_give_short_outputs(count):
    assert len(impedance_band(25.0).push(np.ones(count), last=True)) == count
    assert len(ecg_band(125.0).push(np.ones(count), last=True)) == count


def test_wrong_arguments_are_told_with_value_unit_and_what_to_do():
    with pytest.raises(ArgumentError, match=r"rate_hz is 10 Hz; the lowest rate .* is 20 Hz"):
        ImpedanceBandPassSettings(10.0)
    with pytest.raises(ArgumentError, match=r"cutoff_hz is 9 Hz"):
        ImpedanceBandPassSettings(50.0, cutoff_hz=9.0)
    with pytest.raises(ArgumentError, match=r"the band is 8 to 200 Hz; .* 125 Hz"):
        EcgBandPassSettings(250.0, high_hz=200.0)
    with pytest.raises(TypeError):
        ImpedanceBandPassSettings()  # type: ignore[call-arg]
    band = impedance_band(50.0)
    band.push([1.0], last=True)
    with pytest.raises(StateError, match="after its last push"):
        band.push([1.0])
