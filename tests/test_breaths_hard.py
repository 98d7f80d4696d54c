"""The heart never passes for breathing, nor movement for its end: the hard cases."""

from __future__ import annotations

import lzma
from itertools import pairwise

import numpy as np
import pytest
from breath_inputs import Infant, infant, matched, r_peaks
from scipy import signal

from infantmon.effort import detect_breaths
from infantmon.stages.r_peaks import detect_r_peaks

PAUSES = tuple((40.0 + 60.0 * n, 21.0) for n in range(6))
SECONDS = 400.0


def found_pauses(data: Infant, marks_s: np.ndarray) -> int:
    """How many pauses begin and end within 1 s of where they do, with nothing between."""
    gaps = list(pairwise(marks_s))
    return sum(
        any(abs(a - onset) <= 1.0 and abs(b - end) <= 1.0 for a, b in gaps)
        for onset, end in data.pauses
    )


def kept_breaths(data: Infant, marks_s: np.ndarray) -> float:
    return matched(data.breath_s, marks_s, 0.5) / len(data.breath_s)


def long_gaps(marks_s: np.ndarray) -> int:
    return int(np.count_nonzero(np.diff(marks_s) >= 10.0))


@pytest.mark.parametrize("in_time", [False, True], ids=["by-phase", "in-time"])
@pytest.mark.parametrize("heart_bpm", [100.0, 140.0, 180.0])
@pytest.mark.parametrize("pulsation", [0.1, 0.4, 0.8])
def test_pulsation_of_10_to_80_percent_of_a_breath_hides_no_pause(pulsation, heart_bpm, in_time):
    data = infant(
        41, SECONDS, pulsation=pulsation, heart_bpm=heart_bpm, pauses=PAUSES, in_time=in_time
    )
    marks = detect_breaths(data.impedance, 62.5, r_peaks(data.beat_s)).time_s
    assert found_pauses(data, marks) == len(PAUSES) == long_gaps(marks)
    assert kept_breaths(data, marks) >= 0.99


@pytest.mark.parametrize("in_time", [False, True], ids=["by-phase", "in-time"])
def test_a_heart_that_slows_to_65_in_the_pause_hides_none(in_time):
    data = infant(
        42, SECONDS, pulsation=0.5, pauses=PAUSES, heart_in_pause_bpm=65.0, in_time=in_time
    )
    marks = detect_breaths(data.impedance, 62.5, r_peaks(data.beat_s)).time_s
    assert found_pauses(data, marks) == len(PAUSES) == long_gaps(marks)
    assert kept_breaths(data, marks) >= 0.99


@pytest.mark.parametrize("in_time", [False, True], ids=["by-phase", "in-time"])
@pytest.mark.parametrize("in_pause_bpm", [70.0, 45.0])
def test_a_heart_that_halves_from_one_beat_to_the_next_in_the_pause_hides_none(
    in_pause_bpm, in_time
):
    kept = {"pulsation": 0.4, "in_time": in_time, "pauses": PAUSES, "fall_s": 0.01}
    for seed in (43, 44):
        data = infant(seed, SECONDS, heart_in_pause_bpm=in_pause_bpm, **kept)
        marks = detect_breaths(data.impedance, 62.5, r_peaks(data.beat_s)).time_s
        assert found_pauses(data, marks) == len(PAUSES) == long_gaps(marks)
        assert kept_breaths(data, marks) >= 0.99


@pytest.mark.parametrize("in_time", [False, True], ids=["by-phase", "in-time"])
@pytest.mark.parametrize(("by", "pulsation"), [(0.25, 0.4), (0.35, 0.4), (0.45, 0.3)])
def test_beats_that_come_early_hide_few_pauses(by, pulsation, in_time):
    """One beat in twenty, its pulse with it; without them all are found (above)."""
    kept = {"pulsation": pulsation, "in_time": in_time, "early_beats": (0.05, by)}
    found = of = 0
    for seed in range(4):
        data = infant(seed, SECONDS, pauses=PAUSES, **kept)
        marks = detect_breaths(data.impedance, 62.5, r_peaks(data.beat_s)).time_s
        found, of = found + found_pauses(data, marks), of + len(PAUSES)
        assert kept_breaths(data, marks) >= 0.99
    assert found >= 0.85 * of


@pytest.mark.parametrize("share", [2, 3])
def test_breathing_at_a_half_or_a_third_of_the_heart_rate(share):
    data = infant(
        43, SECONDS, pulsation=0.5, pauses=PAUSES, breaths_per_min=140.0 / share, breath_spread=0.01
    )
    marks = detect_breaths(data.impedance, 62.5, r_peaks(data.beat_s)).time_s
    assert found_pauses(data, marks) == len(PAUSES) == long_gaps(marks)
    assert kept_breaths(data, marks) >= 0.99


@pytest.mark.parametrize(("breaths_per_min", "heart_bpm"), [(90.0, 98.0), (110.0, 100.0)])
def test_breathing_within_10_percent_of_the_heart_rate(breaths_per_min, heart_bpm):
    data = infant(
        44,
        SECONDS,
        pulsation=0.4,
        pauses=PAUSES,
        breaths_per_min=breaths_per_min,
        heart_bpm=heart_bpm,
        breath_spread=0.04,
    )
    marks = detect_breaths(data.impedance, 62.5, r_peaks(data.beat_s)).time_s
    assert kept_breaths(data, marks) >= 0.98
    assert found_pauses(data, marks) >= 0.85 * len(PAUSES)


@pytest.mark.parametrize("kind", ["missing and jitter", "random", "every second", "in bursts"])
def test_bad_r_peaks_are_never_worse_than_none(kind):
    data = infant(45, SECONDS, pulsation=0.3, pauses=PAUSES)
    rng = np.random.default_rng(1)
    beat_s = data.beat_s
    bad_s = {
        "missing and jitter": np.sort(
            (beat_s + 0.02 * rng.standard_normal(len(beat_s)))[rng.random(len(beat_s)) > 0.1]
        ),
        "random": np.sort(rng.uniform(0.0, SECONDS, len(beat_s))),
        "every second": beat_s[::2],
        "in bursts": beat_s[beat_s % 30.0 < 20.0],
    }[kind]
    without = detect_breaths(data.impedance, 62.5).time_s
    with_bad = detect_breaths(data.impedance, 62.5, r_peaks(bad_s)).time_s
    assert found_pauses(data, with_bad) >= found_pauses(data, without) == len(PAUSES)
    assert kept_breaths(data, with_bad) >= kept_breaths(data, without) - 0.002


def test_after_crying_breathing_is_followed_again_within_2_s():
    data = infant(46, 300.0, pulsation=0.2)
    values = data.impedance.copy()
    rng = np.random.default_rng(3)
    spans = ((60.0, 90.0), (180.0, 210.0))
    for start_s, end_s in spans:
        inside = slice(round(start_s * 62.5), round(end_s * 62.5))
        count = inside.stop - inside.start
        cry = np.convolve(rng.standard_normal(count + 40), np.hanning(25), "same")[20:-20]
        values[inside] += 3.0 * cry / np.std(cry)
    marks = detect_breaths(values, 62.5, r_peaks(data.beat_s)).time_s
    calm = data.breath_s[[not any(a - 1 < t < b + 2 for a, b in spans) for t in data.breath_s]]
    near = np.min(np.abs(calm[:, None] - marks[None, :]), axis=1)
    assert np.mean(near < 0.5) >= 0.95


def test_breathing_in_step_with_the_heart_for_a_while_is_kept():
    data = infant(
        47,
        300.0,
        pulsation=0.3,
        breaths_per_min=80.0,
        heart_bpm=80.0,
        breath_spread=0.04,
        pauses=((200.0, 21.0),),
    )
    marks = detect_breaths(data.impedance, 62.5, r_peaks(data.beat_s)).time_s
    assert kept_breaths(data, marks) >= 0.95


@pytest.mark.recordings
def test_real_impedance_with_the_breathing_taken_out_in_windows(recordings):
    hits = windows = 0
    for path in sorted((recordings / "picsdb").glob("infant*_segment*.npz")):
        with np.load(path) as stored:
            data = {name: stored[name] for name in stored.files}
        rate_hz = float(data["resp_fs"])
        marks_s = data["locmax_resp"] / rate_hz
        beats = r_peaks(np.unique(data["locmax_ecg"]) / float(data["ecg_fs"]))
        values, spans = without_breathing(data["resp"].astype(float), rate_hz, marks_s, beats)
        found = detect_breaths(values, rate_hz, beats).time_s
        gaps = list(pairwise(found))
        seen = [any(abs(a - s) <= 1.5 and abs(b - e) <= 1.5 for a, b in gaps) for s, e in spans]
        hits, windows = hits + sum(seen), windows + len(spans)
        assert long_gaps(found) <= len(spans)
    assert windows >= 15
    assert hits >= 0.97 * windows


def without_breathing(values, rate_hz, marks_s, beats):
    """Take the band of breathing out between marks 10 to 30 s apart; the heart stays."""
    heart_hz = 1.0 / np.median(np.diff(beats.time_s))
    high_hz = min(1.75, 0.83 * heart_hz)
    sos = signal.butter(5, [0.15, high_hz], "band", fs=rate_hz, output="sos")
    breathing = signal.sosfiltfilt(sos, values)
    usual_s = np.median(np.diff(marks_s))
    time_s = np.arange(len(values)) / rate_hz
    rng = np.random.default_rng(5)
    spans, from_s = [], 15.0
    while True:
        first = int(np.searchsorted(marks_s, from_s))
        last = int(np.searchsorted(marks_s, from_s + rng.uniform(10.0, 30.0)))
        if last >= len(marks_s) - 2:
            return values, spans
        if np.diff(marks_s[first - 1 : last + 2]).min() < 1.0 / (0.85 * high_hz):
            from_s += 2.0  # breaths faster than the band: they could not be taken out
            continue
        start_s, end_s = marks_s[first], marks_s[last]
        edge_s = 0.45 * usual_s
        weight = np.clip((time_s - start_s - edge_s + 0.15) / 0.3, 0.0, 1.0)
        weight *= np.clip((end_s - edge_s + 0.15 - time_s) / 0.3, 0.0, 1.0)
        values = values - weight * breathing
        spans.append((start_s, end_s))
        from_s = end_s + 12.0


@pytest.mark.recordings
@pytest.mark.slow
def test_bidmc_agrees_with_both_annotators(recordings):
    # Pimentel et al., IEEE TBME 2017;64:1914-1923: adults, breaths marked by two annotators
    hits, marked, found = np.zeros(2), np.zeros(2), np.zeros(2)
    folder = recordings / "bidmc" / "bidmc_csv"
    for path in sorted(folder.glob("*_Signals.csv.xz")):
        with lzma.open(path, "rt") as lines:
            names = [name.strip() for name in lines.readline().split(",")]
            table = np.loadtxt(
                lines, delimiter=",", usecols=[names.index("RESP"), names.index("II")]
            )
        text = (folder / path.name.replace("_Signals.csv.xz", "_Breaths.csv")).read_text()
        annotators = np.genfromtxt(text.splitlines(), delimiter=",", skip_header=1).T
        peaks = detect_r_peaks(table[:, 1], 125.0)
        for way, beats in enumerate((peaks, None)):
            marks = detect_breaths(table[:, 0], 125.0, beats).time_s
            for samples in annotators:
                reference = samples[np.isfinite(samples)] / 125.0
                hits[way] += matched(reference, marks, 1.0)
                marked[way] += len(reference)
                found[way] += len(marks)
    led, alone = zip(hits / marked, hits / found, strict=True)
    assert led[0] >= 0.985
    assert led[1] >= 0.975
    assert alone[0] >= 0.98
    assert alone[1] >= 0.94


@pytest.mark.parametrize("heart_in_pause_bpm", [None, 65.0], ids=["steady", "slowing"])
def test_a_long_pause_does_not_end_before_it_ends(heart_in_pause_bpm):
    data = infant(
        48,
        360.0,
        pulsation=0.4,
        pauses=((60.0, 60.0), (180.0, 120.0)),
        heart_in_pause_bpm=heart_in_pause_bpm,
    )
    marks = detect_breaths(data.impedance, 62.5, r_peaks(data.beat_s)).time_s
    assert found_pauses(data, marks) == 2 == long_gaps(marks)


def test_an_uneven_pulsation_does_not_pass_for_shallow_breathing_in_a_long_pause():
    """Each beat makes it up to a half larger or smaller; the heart at 80, a pause of 50 s."""
    ended = 0
    for seed in range(16):
        kept = {"heart_bpm": 80.0, "breaths_per_min": 40.0, "pauses": ((60.0, 50.0),)}
        data = infant(seed, 130.0, pulsation=0.4, **kept)
        pulse = data.impedance - infant(seed, 130.0, pulsation=0.0, **kept).impedance
        time_s = np.arange(len(data.impedance)) / data.rate_hz
        onset_s, end_s = data.pauses[0]
        larger = np.random.default_rng(seed).uniform(-0.5, 0.5, len(data.beat_s))
        uneven = np.interp(time_s, data.beat_s, larger) * ((time_s > onset_s) & (time_s < end_s))
        values = data.impedance + uneven * pulse
        marks = detect_breaths(values, data.rate_hz, r_peaks(data.beat_s)).time_s
        ended += bool(np.any((marks > onset_s + 0.5) & (marks < end_s - 0.5)))
    assert ended <= 4  # of 16; where nothing knew of the heart 12


@pytest.mark.parametrize("heart_bpm", [100.0, 120.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_pulsation_that_grows_in_a_pause_is_followed_though_the_heart_keeps_its_rate(
    seed, heart_bpm
):
    # 0.8 of a breath, up to 1.5 and 50 ms later over 16 s, and back over 8 s as breathing is back
    pauses = ((60.0, 28.0), (140.0, 28.0), (220.0, 28.0))
    data = infant(seed, 300.0, pulsation=0.0, heart_bpm=heart_bpm, pauses=pauses)
    time_s = np.arange(len(data.impedance)) / 62.5
    impedance = data.impedance.copy()
    for beat in data.beat_s:
        grown = sum(
            np.interp(beat, (onset + 4.0, onset + 20.0, end, end + 8.0), (0.0, 1.0, 1.0, 0.0))
            for onset, end in data.pauses
        )
        pulse = np.exp(-0.5 * ((time_s - beat - 0.18 - 0.05 * grown) / 0.07) ** 2)
        impedance += (0.8 + 0.7 * grown) * pulse
    marks = detect_breaths(impedance, 62.5, r_peaks(data.beat_s)).time_s
    assert found_pauses(data, marks) == 3 == long_gaps(marks)
