"""Other openly licensed detectors, each as one function of samples and rate.

They are general-purpose libraries of signal analysis, run as their documentation has it, with their
defaults. None is needed by this library: each is loaded when first called, and the group `bench` of
pyproject.toml installs them.
"""

from __future__ import annotations

import importlib
import importlib.util
import warnings
from collections.abc import Callable
from types import ModuleType

import numpy as np

from infantmon.errors import ArgumentError
from infantmon.model.arrays import Floats

Detect = Callable[[Floats, float], Floats]
"""Samples and their rate in Hz in, times of the marks in seconds out."""


def neurokit2_beats(samples: Floats, rate_hz: float) -> Floats:
    """Return beat times (s): `ecg_clean` and `ecg_peaks` with their default method."""
    neurokit2 = _module("neurokit2")
    with _unheard():
        cleaned = neurokit2.ecg_clean(samples, sampling_rate=rate_hz)
        _, found = neurokit2.ecg_peaks(cleaned, sampling_rate=rate_hz)
    return _seconds(found["ECG_R_Peaks"], rate_hz)


def neurokit2_breaths(samples: Floats, rate_hz: float) -> Floats:
    """Return breath times (s): `rsp_clean` and the peaks of `rsp_peaks`, default methods."""
    neurokit2 = _module("neurokit2")
    with _unheard():
        cleaned = neurokit2.rsp_clean(samples, sampling_rate=rate_hz)
        _, found = neurokit2.rsp_peaks(cleaned, sampling_rate=rate_hz)
    return _seconds(found["RSP_Peaks"], rate_hz)


def xqrs_beats(samples: Floats, rate_hz: float) -> Floats:
    """Return beat times (s): wfdb's `xqrs_detect`."""
    processing = _module("wfdb.processing")
    with _unheard():
        found = processing.xqrs_detect(samples, rate_hz, verbose=False)
    return _seconds(found, rate_hz)


def gqrs_beats(samples: Floats, rate_hz: float) -> Floats:
    """Return beat times (s): wfdb's `gqrs_detect`, told 200 steps a unit (mV)."""
    processing = _module("wfdb.processing")
    with _unheard():
        found = processing.gqrs_detect(
            d_sig=np.rint(200.0 * samples).astype(np.int64), fs=rate_hz, adc_gain=200.0, adc_zero=0
        )
    return _seconds(found, rate_hz)


def sleepecg_beats(samples: Floats, rate_hz: float) -> Floats:
    """Return beat times (s): sleepecg's `detect_heartbeats`."""
    sleepecg = _module("sleepecg")
    with _unheard():
        found = sleepecg.detect_heartbeats(samples, rate_hz)
    return _seconds(found, rate_hz)


def biosppy_beats(samples: Floats, rate_hz: float) -> Floats:
    """Return beat times (s): biosppy's `hamilton_segmenter`, corrected to the R peaks."""
    ecg = _module("biosppy.signals.ecg")
    with _unheard():
        (found,) = ecg.hamilton_segmenter(signal=samples, sampling_rate=rate_hz)
        (found,) = ecg.correct_rpeaks(signal=samples, rpeaks=found, sampling_rate=rate_hz)
    return _seconds(found, rate_hz)


def biosppy_breaths(samples: Floats, rate_hz: float) -> Floats:
    """Return breath times (s): the zero crossings of biosppy's `resp`."""
    resp = _module("biosppy.signals.resp")
    with _unheard():
        found = resp.resp(signal=samples, sampling_rate=rate_hz, show=False)["zeros"]
    return _seconds(found[::2], rate_hz)


BEATS: dict[str, tuple[Detect, str]] = {
    "neurokit2": (neurokit2_beats, "neurokit2"),
    "wfdb xqrs": (xqrs_beats, "wfdb"),
    "wfdb gqrs": (gqrs_beats, "wfdb"),
    "sleepecg": (sleepecg_beats, "sleepecg"),
    "biosppy": (biosppy_beats, "biosppy"),
}
"""Detectors of heart beats, each with the package that it comes from."""

BREATHS: dict[str, tuple[Detect, str]] = {
    "neurokit2": (neurokit2_breaths, "neurokit2"),
    "biosppy": (biosppy_breaths, "biosppy"),
}
"""Detectors of breaths, each with the package that it comes from."""


def require_installed(package: str) -> None:
    """Raise if a package is not there.

    Raises
    ------
    ArgumentError
        If it is not installed.
    """
    if importlib.util.find_spec(package) is None:
        raise ArgumentError(
            f"{package} is not installed; it is only needed to compare with it: "
            f"pip install {package}."
        )


def _module(name: str) -> ModuleType:
    with _unheard():
        return importlib.import_module(name)


def _unheard() -> warnings.catch_warnings[None]:
    """Keep other people's warnings out of the way."""
    return warnings.catch_warnings(action="ignore")


def _seconds(samples: object, rate_hz: float) -> Floats:
    return np.asarray(samples, dtype=np.float64) / rate_hz
