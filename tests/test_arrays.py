"""Samples from outside: whatever real numbers they are, and however they lie in memory."""

import numpy as np
import pytest

from infantmon.errors import HIGHEST_RATE_HZ, ArgumentError, require_rate
from infantmon.model.arrays import as_samples

VALUES = np.array([3.0, -1.0, 4.0, 1.0, 5.0])


@pytest.mark.parametrize(
    "given",
    [
        VALUES.tolist(),
        VALUES.astype(np.int16),
        VALUES.astype(np.float32),
        VALUES.astype(">f8"),
        np.repeat(VALUES, 3)[::3],
        VALUES[::-1].copy()[::-1],
        np.column_stack((VALUES, VALUES))[:, 1],
        np.ma.masked_array(VALUES),
    ],
)
def test_real_numbers_of_any_kind_become_the_same_samples(given):
    samples = as_samples(given)
    assert samples.dtype == np.float64
    assert type(samples) is np.ndarray
    np.testing.assert_array_equal(samples, VALUES)


@pytest.mark.parametrize("kind", [np.float64, np.int16])
def test_a_masked_sample_is_a_missing_one(kind):
    masked = np.ma.masked_array(VALUES.astype(kind), mask=VALUES > 3.5)
    samples = as_samples(masked)
    np.testing.assert_array_equal(samples, [3.0, -1.0, np.nan, 1.0, np.nan])
    assert masked.data.tolist() == VALUES.tolist()  # the caller's own stay as they are


def test_what_is_too_large_is_infinity_and_not_told_as_a_fault():
    if np.finfo(np.longdouble).max > np.finfo(np.float64).max:
        assert as_samples(np.array([np.longdouble("1e4000")])).tolist() == [np.inf]


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ([[1.0], [2.0, 3.0]], "ecg cannot be made an array"),
        (np.zeros((3, 2)), r"ecg has shape \(3, 2\); one dimension is expected"),
        (4.0, r"ecg has shape \(\); one dimension is expected"),
        ([1.0, None], "ecg has type object; real numbers are expected"),
        ([1j], "ecg has type complex128; real numbers are expected"),
        ("12", "ecg has type <U2; real numbers are expected"),
    ],
)
def test_what_is_no_row_of_numbers_is_told(given, words):
    with pytest.raises(ArgumentError, match=words):
        as_samples(given, name="ecg")


def test_a_rate_beyond_any_signal_is_a_slip_of_the_unit():
    assert require_rate(HIGHEST_RATE_HZ) == HIGHEST_RATE_HZ
    with pytest.raises(ArgumentError, match=r"ecg_hz is 2\.5e\+08 Hz; the highest .* 1e\+06 Hz"):
        require_rate(2.5e8, name="ecg_hz")
