"""Noise at a chosen ratio, against the published 118 series.

Moody GB, Muldrow WE, Mark RG, Computers in Cardiology 11:381-384, 1984.
"""

import numpy as np
import pytest

from infantmon.errors import ArgumentError, RecordingError
from infantmon.labelled.database import Labelled
from infantmon.labelled.known import database
from infantmon.model.channel import Channel
from infantmon.model.recording import Recording
from infantmon.scorecard.noise_stress import NoiseStress, noise_gain, noisy, stressed
from infantmon.selftest.drawing import ECG_HZ, at_rate, drawn


def test_minutes_5_to_7_and_9_to_11_are_noisy():
    minutes = noisy(15 * 60, 1.0)[30::60]
    assert np.flatnonzero(minutes).tolist() == [5, 6, 9, 10, 13, 14]


def test_twice_the_ratio_is_half_the_noise():
    noise = np.random.default_rng(1).standard_normal(3600)
    six_db_more = noise_gain(1.0, noise, 20.0) / noise_gain(1.0, noise, 20.0 + 20 * np.log10(2))
    assert six_db_more == pytest.approx(2.0)
    # a sine of the complex's height over white noise of the same power: 0 dB
    assert noise_gain(np.sqrt(8.0), noise, 0.0) == pytest.approx(1.0, abs=0.03)


def test_the_level_does_not_jump_when_noise_ends():
    ecg = drawn(at_rate(120.0, 480.0), 480.0)
    noise = 5.0 + np.cumsum(np.random.default_rng(1).standard_normal(36000)) / 20.0
    loud = stressed(ecg.samples_mv, ECG_HZ, ecg.beat_s, noise, 0.0)
    added = loud - ecg.samples_mv
    assert np.all(added[: int(300 * ECG_HZ)] == 0.0)
    ends = int(420 * ECG_HZ)
    assert np.ptp(added[ends:]) < 1e-9
    assert np.abs(np.diff(added)).max() < 0.5


@pytest.mark.recordings
@pytest.mark.parametrize(("name", "snr_db"), [("118e00", 0), ("118e06", 6), ("118e_6", -6)])
def test_the_published_series_comes_out(recordings, name, snr_db):
    """Gain within 0.2 dB; where the published steps of 5 uV are small beside the noise."""
    clean = database("mitdb", recordings).load("118")
    given = database("nstdb", recordings).load(name).recording.ecg.segments[0].values
    made = NoiseStress("em", snr_db, recordings).added_to(clean).recording.ecg.segments[0].values
    base = clean.recording.ecg.segments[0].values
    inside = noisy(len(base), 360.0)
    within = inside[1:] & inside[:-1]
    within[-1] = False  # the last sample of the published records is off by itself
    theirs, ours = np.diff(given - base)[within], np.diff(made - base)[within]
    assert np.corrcoef(theirs, ours)[0, 1] > 0.99
    assert abs(20 * np.log10((theirs @ ours) / (theirs @ theirs))) < 0.2


def test_what_cannot_be_added(tmp_path):
    with pytest.raises(ArgumentError, match="there is no noise 'xx'; give bw"):
        NoiseStress("xx", 6.0)
    with pytest.raises(ArgumentError, match="between -40 and 80 dB"):
        NoiseStress("em", 200.0)
    with pytest.raises(ArgumentError, match="constant"):
        noise_gain(1.0, np.ones(3600), 0.0)
    with pytest.raises(ArgumentError, match="no beat is marked"):
        stressed(np.zeros(1000), ECG_HZ, np.empty(0), np.arange(3600.0), 0.0)
    from infantmon.scorecard.noise_stress import recorded_noise

    with pytest.raises(RecordingError, match="infantmon fetch nstdb"):
        recorded_noise("em", tmp_path)


def test_a_ratio_to_beats_that_are_missing():
    samples = np.full(3600, np.nan)
    with pytest.raises(ArgumentError, match="samples are missing at each of the first 3 beats"):
        stressed(samples, 360.0, np.array([2.0, 3.0, 4.0]), np.arange(720.0) % 7, 6.0)


def test_a_recording_that_ends_before_noise_begins_is_not_scored_as_noisy():
    ecg = Channel(np.zeros(150 * 250), 250.0, "mV", name="ECG")
    short = Labelled(Recording({"ecg": ecg}, name="short"), beats_s=np.arange(1.0, 140.0))
    with pytest.raises(ArgumentError, match="short ends at 150 s; noise is added from 300 s on"):
        NoiseStress("em", 6.0).added_to(short)
