"""One recursion against the cascade of sections it stands for, and however it is cut."""

import numpy as np
import pytest
from scipy import signal

from infantmon.dsp.recursion import Recursion
from infantmon.dsp.sections import Sections, band_pass


@pytest.mark.parametrize("rate_hz", [62.5, 100.0, 125.0, 199.0])
def test_agrees_with_the_sections_from_whatever_level(rate_hz):
    sos = band_pass(8.0, min(25.0, 0.4 * rate_hz), order=2, rate_hz=rate_hz)
    draw = np.random.default_rng(1)
    values = np.cumsum(draw.standard_normal(200_000)) + 1e5 * (np.arange(200_000) > 1000)
    slow = Sections(sos).push(values)
    np.testing.assert_allclose(Recursion(sos).push(values), slow, rtol=0, atol=1e-12 * 1e5)
    assert np.std(slow[2000:]) > 0.1


@pytest.mark.parametrize("size", [1, 7, 1000])
def test_equal_however_it_is_cut(size):
    sos = signal.butter(2, (8.0, 25.0), btype="bandpass", fs=125.0, output="sos")
    values = np.random.default_rng(2).standard_normal(3000)
    cut = Recursion(sos)
    parts = [cut.push(values[at : at + size]) for at in range(0, len(values), size)]
    np.testing.assert_array_equal(np.concatenate(parts), Recursion(sos).push(values))
    assert len(cut.push(values[:0])) == 0
