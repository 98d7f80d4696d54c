"""What is put through the bench: this chain, or any detector of heart beats."""

from __future__ import annotations

import importlib
import sys
from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from infantmon.errors import ArgumentError, InfantmonError
from infantmon.model.arrays import Floats
from infantmon.model.marks import HeartRates, RPeaks
from infantmon.stages.heart_rate import HeartRate, HeartRateSettings
from infantmon.stages.r_peaks import detect_r_peaks

Detector = Callable[[Floats, float], npt.ArrayLike]
"""Takes samples in mV and their rate in Hz, gives the times of the beats in seconds."""

AVERAGE_BEATS = 8
"""Heart rates of the bench are means over this many RR intervals (project choice)."""


class DetectorError(InfantmonError):
    """A foreign detector failed, or gave something that is no list of beat times."""


@dataclass(frozen=True, eq=False)
class FoundBeats:
    """Beats that a detector found.

    Attributes
    ----------
    time_s : numpy.ndarray, shape (n,)
        When, in seconds.
    known_s : numpy.ndarray, shape (n,)
        When they were known, in seconds; equal to `time_s` where the detector does not say.
    """

    time_s: Floats
    known_s: Floats

    def rates(self) -> HeartRates:
        """Return the heart rate at each beat, the mean of up to 8 intervals."""
        count = len(self.time_s)
        marks = RPeaks(
            self.time_s,
            self.known_s,
            sample=np.zeros(count, dtype=np.int64),
            amplitude=np.zeros(count),
            reliable=np.ones(count, dtype=np.bool_),
        )
        return HeartRate(HeartRateSettings(average_beats=AVERAGE_BEATS)).push(marks, last=True)


class Subject(ABC):
    """What is put through the bench.

    Attributes
    ----------
    name : str
        What to call it.
    is_chain : bool
        Whether it finds breaths and judges events too.
    states_delay : bool
        Whether it says when a beat was known.
    """

    name: str
    is_chain: bool = False
    states_delay: bool = False

    @abstractmethod
    def beats(self, samples_mv: Floats, rate_hz: float) -> FoundBeats:
        """Return the beats in an ECG (mV) of a sampling rate (Hz)."""


class OwnChain(Subject):
    """The chain of this library."""

    name = "infantmon"
    is_chain = True
    states_delay = True

    def beats(self, samples_mv: Floats, rate_hz: float) -> FoundBeats:
        """Return the beats in an ECG (mV) of a sampling rate (Hz)."""
        found = detect_r_peaks(samples_mv, rate_hz, unit="mV")
        return FoundBeats(found.time_s, found.known_s)


class ForeignDetector(Subject):
    """Any other detector of heart beats.

    Parameters
    ----------
    detect : callable
        Takes samples in mV and their rate in Hz, gives the times of the beats in seconds.
    name : str
        What to call it.
    """

    def __init__(self, detect: Detector, name: str) -> None:
        self.detect = detect
        self.name = name

    def beats(self, samples_mv: Floats, rate_hz: float) -> FoundBeats:
        """Return the beats in an ECG (mV) of a sampling rate (Hz).

        Raises
        ------
        DetectorError
            If the detector raises, or gives anything but finite times within the signal.
        """
        given = times_from(self.detect, samples_mv.copy(), rate_hz, "the detector", slack_s=1.0)
        time_s = np.sort(given)
        return FoundBeats(time_s, time_s)


def times_from(
    detect: Detector, samples: Floats, rate_hz: float, called: str, *, slack_s: float = 0.0
) -> Floats:
    """Return the times that a detector of someone else's gives, in seconds.

    Parameters
    ----------
    detect : callable
        Takes samples and their rate in Hz, gives times in seconds.
    samples : numpy.ndarray, shape (n,)
        What it is given.
    rate_hz : float
        Their rate, in Hz.
    called : str
        What to call the detector in an error.
    slack_s : float
        How far outside the samples a time may lie, in seconds.

    Raises
    ------
    DetectorError
        If the detector raises, or gives anything but finite times within the samples.
    """
    try:
        given = np.asarray(detect(samples, rate_hz))
        time_s = given.astype(np.float64)
    except Exception as fault:
        told = f"{type(fault).__name__}: {fault}".splitlines()[0][:160]
        raise DetectorError(f"{called} failed ({told})") from fault
    end_s = len(samples) / rate_hz
    inside = time_s.ndim == 1 and np.all((time_s >= -slack_s) & (time_s <= end_s + slack_s))
    if given.dtype.kind == "b" or not inside:  # True would be a beat at 1 s
        raise DetectorError(
            f"{called} gave something else than times from 0 to {end_s:g} s; a list of seconds "
            "from the first sample is expected"
        )
    return time_s


def load_detector(place: str) -> ForeignDetector:
    """Return the detector that a text such as ``my_module:my_function`` names.

    Parameters
    ----------
    place : str
        Module, colon, function; the module may lie in the current folder.

    Raises
    ------
    ArgumentError
        If it cannot be imported, or is no function.
    """
    module, _, function = place.partition(":")
    if not module or not function:
        raise ArgumentError(
            f"{place!r} names no detector; write module:function, the function taking samples in "
            "mV and their rate in Hz and giving beat times in seconds."
        )
    here = str(Path.cwd())
    if here not in sys.path:
        sys.path.insert(0, here)
    try:
        found = getattr(importlib.import_module(module), function)
    except (ImportError, AttributeError) as fault:
        raise ArgumentError(f"the detector {place!r} cannot be loaded ({fault}).") from fault
    if not callable(found):
        raise ArgumentError(f"the detector {place!r} is {found!r}; a function is expected.")
    return ForeignDetector(found, place)
