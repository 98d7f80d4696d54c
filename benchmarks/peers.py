"""Other openly licensed detectors of heart beats, each as one function of samples and rate.

They are general-purpose libraries of signal analysis, run as their documentation has it, with their
defaults. Loaded when first called; the group `bench` of pyproject.toml installs them.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable

import numpy as np

from infantmon.model.arrays import Floats

Detector = Callable[[Floats, float], Floats]


def neurokit2_beats(samples_mv: Floats, rate_hz: float) -> Floats:
    """Return beat times (s): `ecg_clean` and `ecg_peaks` with their default method."""
    import neurokit2

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        cleaned = neurokit2.ecg_clean(samples_mv, sampling_rate=rate_hz)
        _, found = neurokit2.ecg_peaks(cleaned, sampling_rate=rate_hz)
    return np.asarray(found["ECG_R_Peaks"], dtype=np.float64) / rate_hz


def xqrs_beats(samples_mv: Floats, rate_hz: float) -> Floats:
    """Return beat times (s): wfdb's `xqrs_detect`."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from wfdb.processing import xqrs_detect

        found = xqrs_detect(samples_mv, rate_hz, verbose=False)
    return np.asarray(found, dtype=np.float64) / rate_hz


def sleepecg_beats(samples_mv: Floats, rate_hz: float) -> Floats:
    """Return beat times (s): sleepecg's `detect_heartbeats`."""
    import sleepecg

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = sleepecg.detect_heartbeats(samples_mv, rate_hz)
    return np.asarray(found, dtype=np.float64) / rate_hz


DETECTORS: dict[str, tuple[Detector, str]] = {
    "neurokit2": (neurokit2_beats, "neurokit2"),
    "wfdb xqrs": (xqrs_beats, "wfdb"),
    "sleepecg": (sleepecg_beats, "sleepecg"),
}
"""Each detector with the package that it comes from."""
