"""What is scored: the detectors of this library, ready adapters, or any function of one's own."""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass

import numpy as np

from infantmon.dsp.runs import last_true_index
from infantmon.effort import detect_breaths
from infantmon.errors import ArgumentError, require_text
from infantmon.labelled.database import Labelled
from infantmon.model.arrays import Bools, Floats
from infantmon.model.channel import Channel
from infantmon.model.recording import ROLE_WORDS, Recording
from infantmon.scorecard.peers import BEATS, BREATHS, Detect, require_installed
from infantmon.selftest.subject import load_detector, times_from
from infantmon.stages.contact import ContactDetector, ContactSettings
from infantmon.stages.r_peaks import detect_r_peaks

BEAT_MARKS, BREATH_MARKS, ALARM_MARKS = "beats", "breaths", "alarms"
"""What a database can be scored for."""

OURS, OURS_ALONE = "ours", "ours-alone"


@dataclass(frozen=True, eq=False)
class Detected:
    """What a detector made of one recording.

    Attributes
    ----------
    time_s : numpy.ndarray, shape (n,)
        Marks, in seconds, strictly increasing.
    reliable : numpy.ndarray of bool, shape (n,), or None
        Which marks the detector itself trusts; None where it does not say.
    shutdown_s : numpy.ndarray, shape (m, 2), or None
        Stretches that the detector itself calls unusable, in seconds; None where it does not say.
    doubled : int
        How many marks it gave a second time, at the very same instant; they are counted once.
    """

    time_s: Floats
    reliable: Bools | None = None
    shutdown_s: Floats | None = None
    doubled: int = 0


class Detector(ABC):
    """A detector that can be scored.

    Attributes
    ----------
    name : str
        What it is called in tables.
    """

    name: str

    @abstractmethod
    def detect(self, labelled: Labelled) -> Detected:
        """Return what it finds in a recording."""


class OwnBeats(Detector):
    """The R-peak detector of this library, on the first ECG lead."""

    name = OURS

    def detect(self, labelled: Labelled) -> Detected:
        """Return the R peaks, and where the electrode cannot be used."""
        ecg = one_piece(labelled.recording, "ecg")
        values = ecg.segments[0].values
        found = detect_r_peaks(values, ecg.rate_hz, unit=ecg.unit)
        contact = ContactSettings.for_ecg(ecg.rate_hz, ecg.unit)
        return Detected(found.time_s, found.reliable, _shutdown(contact, ecg))


class OwnBreaths(Detector):
    """The breath detector of this library.

    Parameters
    ----------
    led : bool
        Whether the R peaks of the ECG lead the artefact rejection, as in a review.
    """

    def __init__(self, *, led: bool) -> None:
        self.led = led
        self.name = OURS if led else OURS_ALONE

    def detect(self, labelled: Labelled) -> Detected:
        """Return the breaths, and where the electrode cannot be used."""
        impedance = one_piece(labelled.recording, "impedance")
        beats = None
        if self.led:
            ecg = one_piece(labelled.recording, "ecg")
            beats = detect_r_peaks(ecg.segments[0].values, ecg.rate_hz, unit=ecg.unit)
        values = impedance.segments[0].values
        found = detect_breaths(values, impedance.rate_hz, r_peaks=beats)
        contact = ContactSettings.for_impedance(impedance.rate_hz, impedance.unit)
        return Detected(found.time_s, None, _shutdown(contact, impedance))


class AdaptedDetector(Detector):
    """Any function of samples and rate that gives times in seconds.

    Samples that are missing are held at the one before: other people's code rarely takes NaN.

    Parameters
    ----------
    name : str
        What it is called in tables.
    detect : callable
        Takes samples, shape (n,), in the channel's own unit, and their rate in Hz; gives times of
        the marks in seconds.
    role : str
        The channel that it is given: "ecg" or "impedance".
    """

    def __init__(self, name: str, detect: Detect, role: str) -> None:
        self.name = name
        self._detect = detect
        self._role = role

    def detect(self, labelled: Labelled) -> Detected:
        """Return the marks of the function.

        Raises
        ------
        DetectorError
            If it fails, or gives something else than times within the recording.
        """
        channel = one_piece(labelled.recording, self._role)
        samples = channel.segments[0].values
        given = times_from(self._detect, _held(samples), channel.rate_hz, self.name)
        marks = np.unique(given)
        return Detected(marks, doubled=len(given) - len(marks))


def detector_names(what: str) -> list[str]:
    """Return the names of the ready detectors for beats, breaths or alarms."""
    own = [OURS, OURS_ALONE] if what == BREATH_MARKS else [OURS]
    ready = {BEAT_MARKS: BEATS, BREATH_MARKS: BREATHS}.get(what, {})
    return [*own, *(name.replace(" ", "-") for name in ready)]


def find_detector(name: str, what: str) -> Detector:
    """Return a detector by name, or by place such as ``my_module:my_function``.

    Raises
    ------
    ArgumentError
        If there is none, naming those that there are, or its package is not installed.
    """
    role = "ecg" if what == BEAT_MARKS else "impedance"
    if ":" in require_text(name, name="the detector"):
        return AdaptedDetector(name, load_detector(name).detect, role)  # type: ignore[arg-type]
    if what == BEAT_MARKS and name == OURS:
        return OwnBeats()
    if what == BREATH_MARKS and name in (OURS, OURS_ALONE):
        return OwnBreaths(led=name == OURS)
    ready = BEATS if what == BEAT_MARKS else BREATHS
    for known, (detect, package) in ready.items():
        if name in (known, known.replace(" ", "-")):
            require_installed(package)
            return AdaptedDetector(known, detect, role)
    raise ArgumentError(
        f"there is no detector {name!r} of {what}; give {', '.join(detector_names(what))}, or "
        "module:function."
    )


def one_piece(recording: Recording, role: str) -> Channel:
    """Return a channel in one piece from 0 s on, NaN where nothing was recorded.

    A detector counts time from the first sample that it is given; labels count from the start of
    the recording. In one piece from there on, both are the same.

    Parameters
    ----------
    recording : Recording
        What the channel is of; it may have holes, and begin late.
    role : str
        "ecg", "ecg2" or "impedance".

    Raises
    ------
    ArgumentError
        If it is not there.
    """
    channel = recording.channels.get(role)
    if channel is None:
        raise ArgumentError(
            f"the recording has no {ROLE_WORDS[role]}; this cannot be scored on it."
        )
    if len(channel.segments) == 1 and channel.segments[0].first_tick == 0:
        return channel
    _, values = channel.between(0.0, channel.end_s)
    return Channel(values, channel.rate_hz, channel.unit, name=channel.name)


def _held(samples: Floats) -> Floats:
    """Return a copy in which missing samples have the value before them."""
    finite = np.isfinite(samples)
    if finite.all():
        return samples.copy()
    place = last_true_index(finite)
    return np.where(place >= 0, samples[np.maximum(place, 0)], 0.0)


def _shutdown(settings: ContactSettings, channel: Channel) -> Floats:
    """Return the stretches in which a channel cannot be used, shape (n, 2)."""
    marks = ContactDetector(settings).push(channel.segments[0].values, last=True)
    spans = marks.blocking.spans(channel.end_s).unbridged
    return np.column_stack((spans.start_s, spans.end_s))
