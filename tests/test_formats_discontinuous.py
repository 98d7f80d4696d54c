"""Row 25 of the list of inputs that break other people's code, from the file to the events.

A discontinuous EDF+ with gaps of 10 s and of 1 h: true times, and no apnea that spans a gap or is
made by one.
"""

import numpy as np
import pytest
from format_files import edf_file

import infantmon as im
from infantmon import simulate

PAUSE_S = (100.0, 125.0)
GAPS_S = ((60.0, 70.0), (160.0, 3760.0))
PLAN = {
    "apnea": {"limit_s": 20},
    "no_heart_beat": {"limit_s": 4},
    "low_heart_rate": {"limit_bpm": 80, "hold_off_s": 3, "average_beats": 4},
}


@pytest.fixture(scope="module")
def night():
    scenario = simulate.Scenario(
        240.0, 250.0, 50.0, events=(simulate.Pause(PAUSE_S[0], PAUSE_S[1] - PAUSE_S[0]),)
    )
    return simulate.simulate_night(scenario, seed=4)


def true_time_s(time_s):
    """Time of an instant of the simulated night in the file: an hour is put in at 160 s."""
    return time_s + (3600.0 if time_s >= 160.0 else 0.0)


@pytest.fixture(scope="module")
def recording(night, tmp_path_factory):
    seconds = [s for s in range(240) if not 60 <= s < 70]
    ranges = {"ecg": (-10.0, 10.0), "impedance": (0.0, 2000.0)}
    signals = []
    for role, (low, high) in ranges.items():
        channel = night.recording.channels[role]
        counts = (channel.segments[0].values - low) / (high - low) * 65535 - 32768
        records = np.rint(counts).astype(int).reshape(240, -1)[seconds]
        signals.append(({"ecg": "ECG", "impedance": "Resp"}[role], channel.unit, records))
    path = edf_file(
        tmp_path_factory.mktemp("edf") / "a.edf",
        signals,
        onsets=[f"+{true_time_s(s):g}" for s in seconds],
        kind="EDF+D",
        physical=[(f"{low:g}", f"{high:g}") for low, high in ranges.values()],
    )
    return im.read(path)


def test_the_holes_are_where_they_were(recording):
    assert tuple(recording.ecg.holes_s()) == GAPS_S
    assert tuple(recording.impedance.holes_s()) == GAPS_S
    assert recording.end_s == 3840.0


def test_the_one_true_apnea_is_found_and_none_is_made_by_a_gap(recording):
    review = im.review(recording, im.Prescription(**PLAN))
    apneas = [event for event in review.events if event.kind == "apnea"]
    assert len(apneas) == 1
    assert apneas[0].onset_s == pytest.approx(PAUSE_S[0], abs=1.0)
    assert apneas[0].end_s == pytest.approx(PAUSE_S[1], abs=1.0)
    for event in review.events:
        assert not any(event.onset_s < start and event.end_s > end for start, end in GAPS_S)
    hearts = [e for e in review.events if e.kind in {"no heart beat", "low heart rate"}]
    assert not hearts


def test_beats_are_at_their_true_times_on_both_sides_of_each_gap(recording, night):
    review = im.review(recording, im.Prescription(**PLAN))
    truth = np.array([true_time_s(t) for t in night.truth.beat_s if not 60.0 <= t < 70.0])
    for start, end in ((0.0, 60.0), (70.0, 160.0), (3760.0, 3840.0)):
        inside = truth[(truth > start + 3.0) & (truth < end - 1.0)]
        found = review.r_peaks.time_s
        nearest = np.min(np.abs(inside[:, None] - found[None, :]), axis=1)
        assert np.mean(nearest < 0.05) >= 0.98
