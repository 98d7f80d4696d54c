"""Noise stress: recorded noise added to a recording at a chosen signal-to-noise ratio.

References
----------
Moody GB, Muldrow WE, Mark RG, A noise stress test for arrhythmia detectors, Computers in Cardiology
11:381-384, 1984, as carried out for the 118 series of nstdb: clean for 5 min, then noisy and clean
in turn, 2 min each. Signal power is the square of the usual QRS peak-to-peak height over 8 (that of
a sine of that height), noise power the square of its usual height; SNR = 10 log10 of their ratio.
That both are trimmed means, over 300 beats and over 300 seconds, is from memory; with it the gains
of the published series come out within 0.2 dB.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from scipy.signal import resample_poly
from scipy.stats import trim_mean

from infantmon.errors import ArgumentError, RecordingError, as_floats, require_between, require_text
from infantmon.formats.wfdb_files import wfdb_package
from infantmon.labelled.database import Labelled
from infantmon.labelled.places import recordings_folder
from infantmon.model.arrays import Bools, Floats
from infantmon.model.channel import Channel
from infantmon.model.recording import Recording
from infantmon.scorecard.detectors import one_piece

NOISES = {"bw": "baseline wander", "em": "electrode motion", "ma": "muscle"}
CLEAN_S, TURN_S = 300.0, 120.0
_NOISE_HZ = 360
_QRS_S = 0.05
"""Half the width around a beat in which its QRS complex is measured, in seconds."""
_TRIMMED = 0.05  # of the heights at either end are left out of the mean
_MEASURED = 300
"""So many beats and so many seconds of noise are measured, from the start."""


@dataclass(frozen=True)
class NoiseStress:
    """Which noise is added, and how much.

    Attributes
    ----------
    kind : str
        "bw", "em" or "ma": wander, electrode motion or muscle noise of nstdb.
    snr_db : float
        Signal-to-noise ratio in the noisy minutes, in dB.
    folder : Path or None
        The folder that holds nstdb's folder; None for the usual places.
    """

    kind: str
    snr_db: float
    folder: Path | None = None

    def __post_init__(self) -> None:
        as_floats(self)
        if require_text(self.kind, name="kind") not in NOISES:
            told = ", ".join(f"{name} ({words})" for name, words in NOISES.items())
            raise ArgumentError(f"there is no noise {self.kind!r}; give {told}.")
        require_between(self.snr_db, -40.0, 80.0, name="snr_db", unit="dB")

    @property
    def words(self) -> str:
        """What is added, in words."""
        return f"{NOISES[self.kind]} noise at {self.snr_db:g} dB"

    def added_to(self, labelled: Labelled) -> Labelled:
        """Return a recording with the noise in its first ECG lead.

        Raises
        ------
        ArgumentError
            If the recording has no ECG, no reference beats to measure, or ends before noise begins.
        RecordingError
            If the noise is not at hand.
        """
        if labelled.recording.ecg is None or labelled.beats_s is None:
            raise ArgumentError(
                f"{labelled.recording.name} has no ECG with reference beats; noise at a ratio to "
                "its QRS complexes cannot be added."
            )
        ecg = one_piece(labelled.recording, "ecg")
        if not ecg.end_s > CLEAN_S:
            raise ArgumentError(
                f"{labelled.recording.name} ends at {ecg.end_s:g} s; noise is added from "
                f"{CLEAN_S:g} s on, so its figures would be those without noise."
            )
        noise = recorded_noise(self.kind, self.folder)
        values = stressed(ecg.segments[0].values, ecg.rate_hz, labelled.beats_s, noise, self.snr_db)
        channels = dict(labelled.recording.channels)
        channels["ecg"] = Channel(values, ecg.rate_hz, ecg.unit, name=ecg.name)
        return replace(labelled, recording=Recording(channels, name=labelled.recording.name))


def recorded_noise(kind: str, folder: Path | None = None) -> Floats:
    """Return the first channel of a noise record of nstdb, at 360 Hz.

    Raises
    ------
    RecordingError
        If it is not at hand.
    """
    place = (folder if folder is not None else recordings_folder()) / "nstdb" / kind
    if not place.with_suffix(".hea").is_file():
        raise RecordingError(
            f"the noise record {kind} is not at {place.parent}; it belongs to nstdb: infantmon "
            "fetch nstdb."
        )
    with wfdb_package() as wfdb:
        record = wfdb.rdrecord(str(place), channels=[0])
    noise: Floats = np.asarray(record.p_signal[:, 0], dtype=np.float64)
    return noise


def stressed(
    values: Floats, rate_hz: float, beats_s: Floats, noise: Floats, snr_db: float
) -> Floats:
    """Return an ECG with noise added in the noisy minutes.

    Parameters
    ----------
    values : numpy.ndarray, shape (n,)
        The ECG, in any unit.
    rate_hz : float
        Its rate, in Hz.
    beats_s : numpy.ndarray
        Reference beats, in seconds: the QRS complexes that are measured.
    noise : numpy.ndarray
        Two samples or more at 360 Hz, in any unit; used in its own time, backwards when it ends.
    snr_db : float
        The ratio, in dB.
    """
    gain = noise_gain(qrs_height(values, rate_hz, beats_s), noise, snr_db)
    there = noise
    if rate_hz != _NOISE_HZ:
        there = resample_poly(noise, round(rate_hz), _NOISE_HZ, padtype="edge")
    turn = 2 * (len(there) - 1)  # back and forth, so that its end makes no jump
    place = np.arange(len(values)) % turn
    added = gain * there[np.minimum(place, turn - place)]
    # Noise comes and goes without a jump: what it has moved the level by is kept.
    steps = np.where(noisy(len(values), rate_hz), np.diff(added, prepend=added[:1]), 0.0)
    total: Floats = values + np.cumsum(steps)
    return total


def noisy(count: int, rate_hz: float) -> Bools:
    """Tell which samples lie in noisy minutes: 5 to 7, 9 to 11 and so on."""
    time_s = np.arange(count) / rate_hz - CLEAN_S
    inside: Bools = (time_s >= 0.0) & (np.floor(time_s / TURN_S) % 2 == 0)
    return inside


def qrs_height(values: Floats, rate_hz: float, beats_s: Floats) -> float:
    """Return the usual peak-to-peak height of the QRS complexes of the first 300 beats.

    Raises
    ------
    ArgumentError
        If no beat is marked, or none of the first 300 can be measured.
    """
    half = round(_QRS_S * rate_hz)
    places = np.rint(beats_s * rate_hz).astype(np.int64)
    places = places[(places >= half) & (places + half < len(values))][:_MEASURED]
    if not len(places):
        raise ArgumentError("no beat is marked; a ratio to the QRS complexes cannot be made.")
    around = values[places[:, np.newaxis] + np.arange(-half, half + 1)]
    heights = np.ptp(around, axis=1)
    heights = heights[np.isfinite(heights)]
    if not len(heights):
        raise ArgumentError(
            f"samples are missing at each of the first {len(places)} beats; a ratio to the QRS "
            "complexes cannot be made."
        )
    return float(trim_mean(heights, _TRIMMED))


def noise_gain(height: float, noise: Floats, snr_db: float) -> float:
    """Return the factor that brings noise to a ratio to QRS complexes of a height.

    The noise's height is the mean of its standard deviation in each second: drift does not count.

    Raises
    ------
    ArgumentError
        If the noise is constant.
    """
    seconds = noise[: len(noise) // _NOISE_HZ * _NOISE_HZ].reshape(-1, _NOISE_HZ)[:_MEASURED]
    usual = float(trim_mean(seconds.std(axis=1), _TRIMMED)) if len(seconds) else 0.0
    if not usual > 0.0:
        raise ArgumentError("the noise is constant; it cannot be brought to a ratio.")
    return height / usual * float(10.0 ** (-snr_db / 20.0)) / math.sqrt(8.0)
