"""The published quality index of the impedance: each of its four figures, by hand."""

import math

import numpy as np
import pytest

from infantmon.errors import ArgumentError
from infantmon.scoring.impedance_quality import WindowQuality, impedance_quality

RATE_HZ = 50.0


def signal_of(marks, length_s=32.0):
    """A wave with a maximum at each mark."""
    time_s = np.arange(0.0, length_s, 1.0 / RATE_HZ)
    phase = np.interp(time_s, marks, np.arange(len(marks)))
    return np.cos(2 * np.pi * phase)


EVEN = np.arange(0.5, 32.0, 1.0)


def test_even_breathing_is_good():
    (window,) = impedance_quality(signal_of(EVEN), RATE_HZ, EVEN)
    assert window.good
    assert (window.start_s, window.end_s) == (0.0, 32.0)
    assert window.covered == pytest.approx(31.0 / 32.0)
    assert (window.odd, window.variation) == (0.0, pytest.approx(0.0, abs=1e-9))
    assert window.alike == pytest.approx(1.0, abs=1e-3)


@pytest.mark.parametrize(
    ("covered", "odd", "variation", "alike", "good"),
    [
        (0.61, 0.14, 0.24, 0.75, True),
        (0.60, 0.14, 0.24, 0.75, False),
        (0.61, 0.15, 0.24, 0.75, False),
        (0.61, 0.14, 0.25, 0.75, False),
        (0.61, 0.14, 0.24, 0.74, False),
        (0.61, 0.14, 0.24, math.nan, False),
    ],
)
def test_the_published_limits(covered, odd, variation, alike, good):
    """Charlton et al., Biomed Signal Process Control 2021;65:102339."""
    assert WindowQuality(0.0, 32.0, covered, odd, variation, alike).good is good


def test_odd_lengths_and_their_variation():
    """Ten breaths of 1 s, two of 2 s: 2 of 12 odd; mean 14/12, variance 5/36."""
    marks = np.cumsum([1.0, *np.ones(10), 2.0, 2.0])
    (window,) = impedance_quality(signal_of(marks), RATE_HZ, marks)
    assert window.odd == pytest.approx(2 / 12)
    assert window.variation == pytest.approx(math.sqrt(5 / 36) / (14 / 12))
    assert not window.good


def test_breaths_too_short_or_too_long_cover_nothing():
    marks = np.arange(0.5, 32.0, 5.0)
    (window,) = impedance_quality(signal_of(marks), RATE_HZ, marks)
    assert window.covered == 0.0
    (window,) = impedance_quality(signal_of(marks), RATE_HZ, marks, lengths_s=(1.0, 15.0))
    assert window.covered > 0.9


def test_noise_is_alike_to_nothing():
    noise = np.random.default_rng(1).standard_normal(round(32 * RATE_HZ))
    (window,) = impedance_quality(noise, RATE_HZ, EVEN)
    assert window.alike < 0.5
    assert not window.good


def test_windows_bad_samples_and_no_breaths():
    samples = signal_of(np.arange(0.5, 100.0, 1.0), 100.0)
    samples[:200] = np.nan
    found = impedance_quality(samples, RATE_HZ, np.arange(0.5, 64.0, 1.0))
    assert [window.good for window in found] == [True, True, False]
    assert math.isnan(found[2].alike)
    assert impedance_quality([], RATE_HZ, []) == []


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"rate_hz": 0.0}, "rate_hz"),
        ({"breath_s": [2.0, 1.0]}, "in order"),
        ({"window_s": 1.0}, "window_s"),
        ({"lengths_s": (4.0, 0.5)}, "lengths_s"),
    ],
)
def test_wrong_arguments_raise(wrong, told):
    right = {"impedance": np.zeros(1000), "rate_hz": RATE_HZ, "breath_s": [1.0, 2.0]}
    with pytest.raises(ArgumentError, match=told):
        impedance_quality(**(right | wrong))
