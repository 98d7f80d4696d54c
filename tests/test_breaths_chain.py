"""From impedance to breaths: pauses, pulsation, latency; simulated and on preterm infants."""

from __future__ import annotations

import numpy as np
import pytest
from breath_inputs import infant, longest_near, matched, r_peaks

from infantmon.effort import detect_breaths
from infantmon.model.marks import Breaths

LATENCY_S = 3.3
PAUSES = tuple((40.0 + 60.0 * n, length) for n, length in enumerate((19.5, 20.5, 19.0, 22.0, 30.0)))


def check_pauses(data, breaths: Breaths) -> None:
    for onset_s, end_s in data.pauses:
        found_s, length_s = longest_near(breaths, onset_s, end_s)
        assert found_s == pytest.approx(onset_s, abs=1.0)
        assert length_s == pytest.approx(end_s - onset_s, abs=1.0)
        assert (length_s >= 20.0) == (end_s - onset_s >= 20.0)
    assert matched(data.breath_s, breaths.time_s, 0.5) >= 0.985 * len(data.breath_s)
    assert np.count_nonzero(np.diff(breaths.time_s) >= 10.0) == len(data.pauses)


@pytest.mark.parametrize("pulsation", [0.0, 0.2, 0.5])
@pytest.mark.parametrize("in_pause_bpm", [None, 65.0, 0.0], ids=["steady", "slowing", "standstill"])
def test_pauses_keep_their_length_under_pulsation(pulsation, in_pause_bpm):
    data = infant(5, 360.0, pulsation=pulsation, pauses=PAUSES, heart_in_pause_bpm=in_pause_bpm)
    check_pauses(data, detect_breaths(data.impedance, 62.5, r_peaks(data.beat_s)))


@pytest.mark.parametrize("pulsation", [0.0, 0.2, 0.3])
def test_pauses_keep_their_length_without_ecg(pulsation):
    data = infant(6, 360.0, pulsation=pulsation, pauses=PAUSES)
    check_pauses(data, detect_breaths(data.impedance, 62.5))


def test_pauses_keep_their_length_when_the_ecg_is_lost_before_them():
    data = infant(7, 360.0, pulsation=0.3, pauses=PAUSES)
    beats = data.beat_s[(data.beat_s < 35.0) | (data.beat_s > 300.0)]
    check_pauses(data, detect_breaths(data.impedance, 62.5, r_peaks(beats)))


def test_a_quantised_quiet_pause_is_a_pause_29_of_29():
    pauses = tuple((20.0 + 60.0 * n, 21.0) for n in range(29))
    data = infant(8, 1790.0, pulsation=0.0, noise=0.05, step=0.1, pauses=pauses)
    assert len(data.pauses) == 29
    check_pauses(data, detect_breaths(data.impedance, 62.5, r_peaks(data.beat_s)))


@pytest.mark.parametrize("share", [0.3, 0.5])
def test_a_slow_rebound_after_the_last_breath_is_no_breath(share):
    data = infant(9, 360.0, pulsation=0.1, pauses=PAUSES, rebound=share)
    check_pauses(data, detect_breaths(data.impedance, 62.5, r_peaks(data.beat_s)))


@pytest.mark.parametrize("beats_too", [True, False])
def test_known_no_later_than_the_stated_latency(beats_too):
    data = infant(10, 200.0, pauses=((60.0, 22.0),))
    peaks = r_peaks(data.beat_s) if beats_too else None
    breaths = detect_breaths(data.impedance, 62.5, peaks)
    assert np.all(breaths.known_s - breaths.time_s <= LATENCY_S)
    assert np.all(breaths.known_s >= breaths.time_s)
    assert np.all(np.diff(breaths.known_s) >= 0.0)
    assert breaths.known_s[-1] <= (len(data.impedance) - 1) / 62.5
    ticks = breaths.known_s * 62.5
    assert np.allclose(ticks, np.rint(ticks), atol=1e-6)


@pytest.mark.parametrize("per_min", [20, 30, 60, 90, 120])
def test_breathing_of_20_to_120_a_minute_is_counted_with_no_setting(per_min):
    data = infant(11, 120.0, breaths_per_min=per_min, pulsation=0.1, heart_bpm=150.0)
    breaths = detect_breaths(data.impedance, 62.5, r_peaks(data.beat_s))
    assert len(breaths) == pytest.approx(len(data.breath_s), rel=0.03)


def test_alternating_large_and_small_breaths_are_all_counted():
    data = infant(12, 300.0, pulsation=0.1, sizes=(1.0, 0.35))
    breaths = detect_breaths(data.impedance, 62.5, r_peaks(data.beat_s))
    assert matched(data.breath_s, breaths.time_s, 0.5) >= 0.98 * len(data.breath_s)


def test_polarity_changes_neither_count_nor_pauses():
    data = infant(13, 300.0, pulsation=0.2, pauses=((60.0, 22.0), (150.0, 12.0)))
    up = detect_breaths(data.impedance, 62.5, r_peaks(data.beat_s))
    down = detect_breaths(-data.impedance, 62.5, r_peaks(data.beat_s))
    assert abs(len(up) - len(down)) <= 1
    for onset_s, end_s in data.pauses:
        assert longest_near(up, onset_s, end_s)[1] == pytest.approx(
            longest_near(down, onset_s, end_s)[1], abs=0.5
        )


@pytest.mark.parametrize("rate_hz", [25.0, 31.3, 50.0, 125.0, 250.0, 500.0])
def test_the_sampling_rate_does_not_matter(rate_hz):
    data = infant(14, 150.0, rate_hz=rate_hz, pauses=((60.0, 22.0),))
    breaths = detect_breaths(data.impedance, rate_hz, r_peaks(data.beat_s))
    check_pauses(data, breaths)
    assert np.max(np.abs(breaths.sample / rate_hz - breaths.time_s)) <= 0.5 / rate_hz + 1e-9


@pytest.mark.parametrize(
    "change", [lambda x: 1e-3 * x, lambda x: 1e4 * x, lambda x: x + 1e6], ids=["m", "k", "offset"]
)
def test_unit_gain_and_offset_do_not_matter(change):
    data = infant(15, 120.0)
    peaks = r_peaks(data.beat_s)
    plain = detect_breaths(data.impedance, 62.5, peaks)
    changed = detect_breaths(change(data.impedance), 62.5, peaks)
    assert np.allclose(plain.time_s, changed.time_s, atol=1e-6)


def test_one_missing_value_changes_nothing_far_away_and_all_missing_gives_nothing():
    data = infant(16, 120.0)
    holed = data.impedance.copy()
    holed[[0, 3000, -1]] = np.nan
    plain, after = (detect_breaths(x, 62.5) for x in (data.impedance, holed))
    assert matched(plain.time_s, after.time_s, 0.05) == len(plain) == len(after)
    assert len(detect_breaths(np.full(4000, np.nan), 62.5)) == 0
    assert len(detect_breaths(np.zeros(4000), 62.5)) == 0


@pytest.mark.parametrize("count", [0, 1, 2, 10, 100])
def test_short_inputs_give_few_or_no_breaths(count):
    assert len(detect_breaths(np.arange(count, dtype=float), 62.5)) <= 1


@pytest.mark.parametrize("breaths", [0, 1, 2])
def test_no_one_and_two_breaths_in_a_whole_record(breaths):
    time_s = np.arange(6000) / 50.0
    values = sum(
        (np.exp(-(((time_s - 40.0 - 2 * n) / 0.3) ** 2)) for n in range(breaths)), 0 * time_s
    )
    assert len(detect_breaths(values, 50.0)) == breaths


@pytest.mark.recordings
def test_preterm_infants_agree_with_the_stored_marks(recordings):
    # Gee et al., IEEE TBME 2017;64:2300-2308: segments of infants 1 and 2; marks by an algorithm
    hits = stored = found = 0
    for path in sorted((recordings / "picsdb").glob("infant*_segment*.npz")):
        with np.load(path) as data:
            rate_hz = float(data["resp_fs"])
            reference = data["locmax_resp"] / rate_hz
            beats = r_peaks(np.unique(data["locmax_ecg"]) / float(data["ecg_fs"]))
            breaths = detect_breaths(data["resp"], rate_hz, beats)
        assert np.max(np.diff(breaths.time_s)) < 10.0, path.name
        hits += matched(reference, breaths.time_s, 0.5)
        stored, found = stored + len(reference), found + len(breaths)
    assert stored > 1000
    assert hits / stored >= 0.975
    assert hits / found >= 0.995
