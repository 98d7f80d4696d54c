"""The R-peak detector on ECGs with known beats: rates, polarity, bad samples, odd inputs."""

from __future__ import annotations

import numpy as np
import pytest
from r_peak_inputs import beat_times, ecg_of, matched, narrow_ecg_of
from scipy.signal import butter, sosfilt

from infantmon import simulate as sim
from infantmon.errors import ArgumentError
from infantmon.selftest.drawing import ECG_HZ, at_rate, drawn
from infantmon.stages.r_peaks import RPeakDetector, RPeakSettings, detect_r_peaks


def clean(rate_bpm, length_s=60.0, rate_hz=250.0, seed=3, **shape):
    times = beat_times(rate_bpm, length_s, seed=seed)
    return times, ecg_of(times, length_s, rate_hz, **shape)


@pytest.mark.parametrize("rate_bpm", [30, 40, 60, 100, 140, 180, 200, 230, 260, 300])
def test_every_beat_at_every_rate(rate_bpm):
    times, ecg = clean(rate_bpm)
    peaks = detect_r_peaks(ecg, rate_hz=250.0)
    assert matched(times, peaks.time_s, 0.05) == (len(times), 0, 0)
    median_rate = 60.0 / np.median(np.diff(peaks.time_s))
    assert median_rate == pytest.approx(rate_bpm, rel=0.02)


@pytest.mark.parametrize("rate_hz", [62.5, 80, 100, 125, 128, 200, 250, 256, 360, 500, 1000, 2000])
def test_every_sampling_rate_gives_the_same_times(rate_hz):
    times, ecg = clean(150, 40.0, rate_hz)
    ecg += 0.02 * np.random.default_rng(1).standard_normal(len(ecg))
    peaks = detect_r_peaks(ecg, rate_hz=rate_hz)
    assert matched(times, peaks.time_s, 0.02) == (len(times), 0, 0)
    assert abs(np.median(peaks.time_s - times)) <= 1.0 / rate_hz + 0.002


def test_too_low_a_rate_is_refused_by_name():
    with pytest.raises(ArgumentError, match=r"rate_hz is 50 Hz; the lowest rate .* is 62\.5 Hz"):
        detect_r_peaks(np.zeros(100), rate_hz=50.0)


def test_the_rate_must_be_given():
    with pytest.raises(TypeError, match="rate_hz"):
        detect_r_peaks(np.zeros(100))


@pytest.mark.parametrize("bad", [0.0, -250.0, np.nan, np.inf, "250", None])
def test_a_wrong_rate_raises_at_once(bad):
    with pytest.raises(ArgumentError, match="rate_hz"):
        RPeakSettings(rate_hz=bad)


@pytest.mark.parametrize("rate_bpm", [70, 140, 250])
def test_inverted_gives_the_same_instants(rate_bpm):
    _, ecg = clean(rate_bpm)
    ecg += 0.03 * np.random.default_rng(2).standard_normal(len(ecg))
    upright, inverted = detect_r_peaks(ecg, 250.0), detect_r_peaks(-ecg, 250.0)
    np.testing.assert_array_equal(upright.sample, inverted.sample)
    np.testing.assert_array_equal(upright.amplitude, -inverted.amplitude)
    assert np.median(upright.amplitude) > 0.0


@pytest.mark.parametrize("gain", [1e-3, 1e3, 2.0**20, 1e-9])
def test_any_gain_gives_the_same_instants(gain):
    _, ecg = clean(140)
    one, other = detect_r_peaks(ecg, 250.0), detect_r_peaks(gain * ecg, 250.0)
    np.testing.assert_array_equal(one.sample, other.sample)
    np.testing.assert_allclose(other.amplitude, gain * one.amplitude, rtol=1e-6)


def test_a_huge_offset_changes_nothing():
    _, ecg = clean(140)
    one, other = detect_r_peaks(ecg, 250.0), detect_r_peaks(ecg + 2.0**20, 250.0)
    np.testing.assert_array_equal(one.sample, other.sample)


def test_integers_are_taken_as_they_are():
    times, ecg = clean(140)
    counts = np.round(200.0 * ecg).astype(np.int16)
    assert matched(times, detect_r_peaks(counts, 250.0).time_s, 0.05) == (len(times), 0, 0)


@pytest.mark.parametrize("late_s", [0.0, 0.02, 0.05, 0.1, 0.15, 0.2])
@pytest.mark.parametrize("rate_bpm", [100, 150, 220])
def test_the_first_beat_of_a_window_is_found(late_s, rate_bpm):
    times, ecg = clean(rate_bpm)
    first = round((times[5] - late_s) * 250.0)
    peaks = detect_r_peaks(ecg[first:], 250.0)
    truth = times[5:] - first / 250.0
    missed = matched(truth, peaks.time_s, 0.05)[1]
    assert missed <= int(late_s < 0.03), "only a complex that is itself cut may be missed"
    assert peaks.time_s[0] <= truth[1] + 0.05


@pytest.mark.parametrize("length", [0, 1, 2, 3, 10, 100, 250])
def test_short_inputs_give_no_error(length):
    assert len(detect_r_peaks(np.zeros(length), 250.0)) == 0
    assert len(detect_r_peaks(np.full(length, 7.0), 250.0)) == 0


def test_the_end_of_a_window_is_searched():
    times, ecg = clean(140)
    stop = round((times[-1] + 0.05) * 250.0)
    peaks = detect_r_peaks(ecg[:stop], 250.0)
    assert matched(times, peaks.time_s, 0.05) == (len(times), 0, 0)
    assert peaks.known_s[-1] <= (stop - 1) / 250.0


def test_the_heart_from_140_to_standstill_invents_nothing():
    times = beat_times(140, 40.0, seed=5)
    draw = np.random.default_rng(5)
    for noise in (0.0, 0.01, 0.03):
        ecg = ecg_of(times, 70.0, 250.0)
        ecg += noise * draw.standard_normal(len(ecg))
        assert matched(times, detect_r_peaks(ecg, 250.0).time_s, 0.05) == (len(times), 0, 0)


def test_p_waves_that_go_on_are_no_beats():
    times = beat_times(120, 90.0, seed=6)
    dropped = (times > 30.0) & (times < 45.0)
    ecg = ecg_of(times[~dropped], 90.0, 250.0, p_height=0.13, p_only=times[dropped] - 0.1)
    peaks = detect_r_peaks(ecg, 250.0)
    assert matched(times[~dropped], peaks.time_s, 0.05) == (int(np.sum(~dropped)), 0, 0)


@pytest.mark.parametrize("dropped", ["every second", "all"])
def test_p_waves_so_large_that_they_are_counted_are_not_reliable_as_beats(dropped):
    """Nor are the beats between them: each tells that the other may be none."""
    times = beat_times(130, 60.0, seed=6)
    gone = (times > 30.0) & ((dropped == "all") | (np.arange(len(times)) % 2 == 1))
    ecg = ecg_of(times[~gone], 60.0, 250.0, p_height=0.35, t_height=0.1, p_only=times[gone] - 0.12)
    peaks = detect_r_peaks(ecg, 250.0)
    counted = matched(times[gone] - 0.12, peaks.time_s, 0.05)[0]
    assert counted > 0.9 * np.sum(gone), "otherwise there is nothing to doubt"
    assert peaks.reliable[peaks.time_s < 30.0].all()
    later = (peaks.time_s > 33.0) & (peaks.time_s < (60.0 if dropped == "every second" else 37.0))
    assert np.sum(later) > 5
    assert not peaks.reliable[later].any()


@pytest.mark.parametrize("rate_bpm", [60, 100, 140, 180])
@pytest.mark.parametrize("t_height", [0.5, 0.75, 1.0])
def test_a_tall_t_wave_is_no_beat(rate_bpm, t_height):
    times, ecg = clean(rate_bpm, t_height=t_height)
    assert matched(times, detect_r_peaks(ecg, 250.0).time_s, 0.08) == (len(times), 0, 0)


@pytest.mark.parametrize("rate_bpm", [100, 120, 140, 160, 180])
@pytest.mark.parametrize("t_height", [0.3, 0.6, 0.9, 1.2])
def test_complexes_of_40_ms_are_found_beside_a_tall_t_wave(rate_bpm, t_height):
    """Energy of such complexes lies above 20 Hz; a band for adults shows the T wave larger."""
    times = beat_times(rate_bpm, 60.0, seed=3)
    ecg = narrow_ecg_of(times, 60.0, 250.0, t_height=t_height)
    ecg += 0.02 * np.random.default_rng(1).standard_normal(len(ecg))
    _, missed, extra = matched(times, detect_r_peaks(ecg, 250.0).time_s, 0.05)
    assert missed + extra <= 1


@pytest.mark.parametrize("rate_bpm", [145.0, 150.0, 155.0])
@pytest.mark.parametrize("times", [0.3, -0.3])
def test_early_wide_beats_of_a_third_in_bigeminy_are_beats_once_the_t_wave_is_over(rate_bpm, times):
    """They are blunt, as the T wave is, and as soon after a beat as it is at a slow rate."""
    ectopic = sim.EctopicBeats(30.0, 60.0, every=2, early_share=0.3, times=times)
    heart = sim.Heart(rate_bpm=rate_bpm)
    lead = sim.EcgLead(r_mv=1.2)
    scenario = sim.Scenario(100.0, 250.0, 62.5, heart=heart, lead=lead, events=(ectopic,))
    night = sim.simulate_night(scenario, 4)
    found = detect_r_peaks(night.recording.ecg.segments[0].values, 250.0, unit="mV")
    true = night.truth.beat_s
    _, missed, extra = matched(true, found.time_s, 0.08)
    assert missed <= 2
    assert extra == 0


def test_a_fall_and_a_jump_of_the_rate_are_followed():
    def falling(at):
        return max(50.0, 140.0 - 18.0 * max(0.0, at - 20.0))

    def jumping(at):
        return 145.0 if at < 20.0 else 250.0

    for course in (falling, jumping):
        times, ecg = clean(course)
        assert matched(times, detect_r_peaks(ecg, 250.0).time_s, 0.05) == (len(times), 0, 0)


def disturbed(kind, ecg, rate_hz=250.0):
    """The ECG with something done to it from 30 s on; returns it and the time when it is over."""
    start = round(30 * rate_hz)
    before, after = ecg[:start], ecg[start:]
    third, rest = ecg[start : 2 * start], ecg[2 * start :]
    burst = 2.0 * np.random.default_rng(8).standard_normal(len(after))
    burst[round(10 * rate_hz) :] = 0.0
    spike = np.where(np.arange(len(after)) < 3, 50.0, 0.0)
    changed = {
        "burst": ([after + burst], 40.0),
        "spike": ([after + spike], 30.0),
        "step": ([after + 20.0], 30.0),
        "gain up": ([4.0 * after], 30.0),
        "gain down": ([after / 4.0], 30.0),
        "flat": ([np.full(len(third), ecg[start]), rest], 60.0),
        "lead off": ([np.full(len(third), 30.0), rest], 60.0),
        "missing": ([np.full(len(third), np.nan), rest], 60.0),
    }
    parts, over_s = changed[kind]
    return np.concatenate((before, *parts)), over_s


@pytest.mark.parametrize(
    "kind", ["burst", "spike", "step", "gain up", "gain down", "flat", "lead off", "missing"]
)
@pytest.mark.parametrize("rate_bpm", [60, 140, 220])
def test_normal_again_within_three_seconds(kind, rate_bpm):
    times, ecg = clean(rate_bpm, 100.0)
    ecg += 0.01 * np.random.default_rng(4).standard_normal(len(ecg))
    ecg, over_s = disturbed(kind, ecg)
    found = detect_r_peaks(ecg, 250.0).time_s
    for low, high in ((0.0, 29.9), (over_s + 3.0, 100.0)):
        truth = times[(times >= low) & (times < high)]
        marks = found[(found >= low - 0.02) & (found < high + 0.02)]
        hits, missed, _ = matched(truth, marks, 0.05)
        assert (hits, missed) == (len(truth), 0)
    if kind in ("flat", "missing"):
        assert not np.any((found > 30.5) & (found < 59.9))


@pytest.mark.parametrize("rate_bpm", [75, 180])
def test_beats_that_become_smaller_for_good_in_noise_are_found_again(rate_bpm):
    longest_s = []
    band = butter(1, (1.0, 40.0), "band", fs=ECG_HZ, output="sos")
    for seed in range(6):
        made = drawn(at_rate(rate_bpm, 80.0, seed=seed), 80.0, seed=seed)
        noise = sosfilt(band, np.random.default_rng([seed, 1]).standard_normal(len(made.time_s)))
        ecg = np.where(made.time_s < 30.0, 1.0, 0.4) * made.samples_mv
        found = detect_r_peaks(ecg + 0.05 * noise / noise.std(), ECG_HZ, unit="mV").time_s
        longest_s.append(np.diff(found[found > 25.0], append=80.0).max())
    assert np.mean(longest_s) < 7.0  # it took 17 and 12 s


@pytest.mark.parametrize("rate_bpm", [30, 34, 38])
def test_slow_beats_with_noise_between_them_are_reliable(rate_bpm):
    times, ecg = clean(rate_bpm, 120.0)
    ecg += 0.03 * np.random.default_rng(5).standard_normal(len(ecg))
    found = detect_r_peaks(ecg, 250.0, unit="mV")
    assert matched(times, found.time_s, 0.05) == (len(times), 0, 0)
    assert np.mean(found.reliable) > 0.95


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf, 1e300])
def test_one_bad_sample_changes_nothing_else(bad):
    times, ecg = clean(140)
    ecg[[0, 4000, -1]] = bad
    peaks = detect_r_peaks(ecg, 250.0)
    assert matched(times, peaks.time_s, 0.05) == (len(times), 0, 0)


def test_all_missing_gives_nothing():
    assert len(detect_r_peaks(np.full(10_000, np.nan), 250.0)) == 0


def test_a_long_constant_leaves_the_good_parts_as_if_alone():
    times, ecg = clean(140, 120.0)
    whole = np.concatenate((ecg, np.full(1_800_000, ecg[-1]), ecg))
    peaks = detect_r_peaks(whole, 250.0)
    later = 120.0 + 7200.0
    truth = np.concatenate((times, times + later))
    assert matched(truth, peaks.time_s, 0.05) == (len(truth), 0, 0)


def test_noise_alone_gives_no_reliable_beats():
    noise = np.random.default_rng(9).standard_normal(30 * 250)
    peaks = detect_r_peaks(noise, 250.0)
    assert len(peaks) <= 3


def test_the_input_is_not_changed():
    _, ecg = clean(140, 10.0)
    ecg[100] = np.nan
    before = ecg.copy()
    RPeakDetector(RPeakSettings(250.0)).push(ecg, last=True)
    np.testing.assert_array_equal(ecg, before)


def pulses(height_mv, width_s, rate_bpm=80.0, length_s=40.0, rate_hz=500.0):
    """Triangles of a height and a width at the base, on a flat line."""
    at = np.arange(round(length_s * rate_hz)) / rate_hz
    times = np.arange(0.5, length_s - 0.1, 60.0 / rate_bpm)
    ecg = np.zeros(len(at))
    for time in times:
        ecg += height_mv * np.maximum(0.0, 1.0 - np.abs(at - time) / (0.5 * width_s))
    return times, ecg


@pytest.mark.parametrize("width_s", [0.04, 0.08, 0.12])
@pytest.mark.parametrize("height_mv", [0.5, 1.0, 5.0, -0.5, -5.0])
@pytest.mark.parametrize("rate_bpm", [30.0, 80.0, 200.0])
def test_complexes_of_half_a_millivolt_and_more_are_found(height_mv, width_s, rate_bpm):
    """QRS complexes of 0.5-5 mV and 40-120 ms: IEC 60601-2-27, from memory."""
    times, ecg = pulses(height_mv, width_s, rate_bpm)
    found = detect_r_peaks(ecg, 500.0, unit="mV").time_s
    assert matched(times, found, 0.03) == (len(times), 0, 0)


@pytest.mark.parametrize("width_s", [0.04, 0.08, 0.12])
def test_complexes_of_15_hundredths_of_a_millivolt_do_not_count(width_s):
    """0.15 mV and less must not be counted: IEC 60601-2-27, from memory."""
    times, ecg = pulses(0.15, width_s)
    assert len(detect_r_peaks(ecg, 500.0, unit="mV")) == 0
    assert len(detect_r_peaks(1e-3 * ecg, 500.0, unit="V")) == 0
    assert matched(times, detect_r_peaks(ecg, 500.0).time_s, 0.03) == (len(times), 0, 0)


@pytest.mark.parametrize("unit", ["mv", " mV ", "millivolt", "[mV]"])
def test_a_unit_may_be_spelt_otherwise(unit):
    _, ecg = pulses(0.15, 0.08)
    assert len(detect_r_peaks(ecg, 500.0, unit=unit)) == 0


@pytest.mark.parametrize("side", [1.0, -1.0])
@pytest.mark.parametrize("rate_hz", [200.0, 250.0, 360.0, 500.0])
def test_what_is_too_small_does_not_depend_on_the_sampling_rate(rate_hz, side):
    """Of complexes of 30 ms the median of three takes up to half, as it has three samples there."""
    times = beat_times(140, 60.0, seed=11)
    shape = narrow_ecg_of(times, 60.0, rate_hz, t_height=0.2, width_s=0.0045)
    ecg = side * shape + 0.005 * np.random.default_rng(11).standard_normal(len(shape))
    found = detect_r_peaks(0.3 * ecg, rate_hz, unit="mV")
    assert matched(times, found.time_s, 0.03) == (len(times), 0, 0)
    assert found.reliable[8:].all()
    assert len(detect_r_peaks(0.14 * ecg, rate_hz, unit="mV")) == 0


@pytest.mark.parametrize(("height_mv", "doubtful"), [(0.25, True), (0.7, False)])
def test_a_beat_after_a_complex_just_too_small_to_count_is_not_reliable(height_mv, doubtful):
    """0.19 mV, of which 0.14 are seen over the baseline, before 0.25 or 0.7 mV."""
    times, ecg = pulses(height_mv, 0.08)
    small = np.isin(np.arange(len(times)), (20, 21, 35))
    small_s = times[small]
    at = np.arange(len(ecg)) / 500.0
    near = (np.abs(at[:, np.newaxis] - small_s) < 0.1).any(axis=1)
    shrunk = np.where(near, 0.19 / height_mv * ecg, ecg)
    found = detect_r_peaks(shrunk, 500.0, unit="mV")
    assert matched(times[~small], found.time_s, 0.03) == (len(times) - 3, 0, 0)
    after = np.isin(np.searchsorted(times, found.time_s - 0.3), (22, 36))
    assert np.array_equal(found.reliable, ~(after & doubtful))
