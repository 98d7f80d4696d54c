"""The pulsation taken out of the impedance: how much, whatever the cutting and the beats."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from breath_inputs import infant, r_peaks

from infantmon import Prescription, review
from infantmon import simulate as sim
from infantmon.dsp.beat_fit import BEATS, POINTS, fit, rendered
from infantmon.dsp.beat_train import BeatTrain
from infantmon.errors import ArgumentError
from infantmon.model.marks import Pulsations, RPeaks
from infantmon.model.signal import Signal
from infantmon.stages.cardiac_artifact import (
    CardiacArtifactRejector,
    CardiacArtifactSettings,
    Cleaned,
)

RATE = 25.0
LAG = 0.4
BEAT_LAG = 1.2


def rejector(*, led_by_beats: bool = True) -> CardiacArtifactRejector:
    return CardiacArtifactRejector(
        CardiacArtifactSettings(
            RATE, input_lag_s=LAG, beat_lag_s=BEAT_LAG, led_by_beats=led_by_beats
        )
    )


def joined(parts: list[Cleaned]) -> tuple[Signal, Pulsations]:
    signals = [part.signal for part in parts]
    return Signal.joined(signals), Pulsations.joined([part.pulsation for part in parts])


def beats_between(peaks: RPeaks, from_s: float, until_s: float) -> RPeaks:
    """What a detector hands out while the ECG goes from one time to another."""
    part = peaks.where((peaks.known_s > from_s) & (peaks.known_s <= until_s))
    return replace(part, settled_until_s=until_s - BEAT_LAG)


def whole(data, peaks) -> tuple[Signal, Pulsations]:
    done = replace(peaks, settled_until_s=math.inf)
    return joined([rejector().push(data.impedance, done, last=True)])


DATA = infant(31, 60.0, rate_hz=RATE, pulsation=0.4, pauses=((25.0, 15.0),))
PEAKS = r_peaks(DATA.beat_s, latency_s=0.9)
EARLY = infant(
    31, 60.0, rate_hz=RATE, pulsation=0.4, pauses=((25.0, 15.0),), early_beats=(0.1, 0.35)
)


def test_pulsation_in_a_pause_is_taken_out_and_breaths_are_left():
    for seed, model in ((1, 140.0), (2, 100.0), (3, 180.0)):
        data = infant(
            seed,
            120.0,
            rate_hz=RATE,
            pulsation=0.5,
            heart_bpm=model,
            pauses=((60.0, 20.0),),
            noise=0.0,
        )
        pure = infant(
            seed,
            120.0,
            rate_hz=RATE,
            pulsation=0.0,
            heart_bpm=model,
            pauses=((60.0, 20.0),),
            noise=0.0,
        )
        signal, _ = whole(data, r_peaks(data.beat_s))
        onset_s, end_s = data.pauses[0]
        inside = (signal.time_s > onset_s + 1.5) & (signal.time_s < end_s - 1.0)
        assert np.ptp(signal.values[inside]) < 0.12
        outside = (signal.time_s > 20.0) & (signal.time_s < onset_s)
        error = signal.values[outside] - (pure.impedance - pure.impedance[0])[outside]
        assert np.std(error) < 0.1


@pytest.mark.parametrize("shown", [sim.Flat(0.0), sim.AtRail()], ids=["flat", "at the rail"])
@pytest.mark.parametrize("seed", [0, 2])
def test_an_electrode_off_in_a_pause_does_not_teach_that_the_heart_stands_still(shown, seed):
    """It is off at 106 to 112 s; after that the slowed heart is taken out as before."""
    night = sim.simulate_night(
        sim.Scenario(
            180.0,
            ecg_hz=250.0,
            impedance_hz=62.5,
            heart=sim.Heart(rate_bpm=140.0),
            breathing=sim.Breathing(rate_per_min=45.0),
            pulsation=sim.PulsationInTime(0.4),
            events=(
                sim.Pause(100.0, 40.0, bradycardia=sim.SlowingInPause()),
                sim.LooseElectrode(106.0, 6.0, impedance=shown, ecg=None),
            ),
        ),
        seed,
    )
    plan = Prescription(apnea={"limit_s": 20})
    breath_s = review(night.recording, plan).breaths.time_s
    assert np.count_nonzero((breath_s > 114.0) & (breath_s < 139.0)) <= 1


@pytest.mark.parametrize("size", [20.0, 400.0])
def test_a_burst_as_the_electrodes_are_put_on_is_not_taken_for_pulsation_for_long(size):
    data = infant(33, 120.0, rate_hz=RATE, breaths_per_min=27.0, heart_bpm=125.0, pulsation=0.1)
    time_s = np.arange(len(data.impedance)) / data.rate_hz
    burst = size * np.sin(2.0 * np.pi * 2.0 * time_s) * ((time_s > 2.0) & (time_s < 10.0))
    signal, pulsation = whole(data._replace(impedance=data.impedance + burst), r_peaks(data.beat_s))
    late = pulsation.time_s > 60.0
    assert np.median(pulsation.pulsation[late]) < 0.3
    calm = signal.time_s > 60.0
    assert np.ptp(signal.values[calm]) < 2.5


@pytest.mark.parametrize(("faster", "size"), [(1.05, 0.4), (1.1, 0.4), (0.95, 0.5)])
def test_movement_as_fast_as_the_heart_in_a_pause_leaves_no_pulsation_behind(faster, size):
    """4 s of it; what was learned from it is unlearned as soon as the pause goes on."""
    for seed in (0, 3, 4, 6):
        kept = {"pauses": ((50.0, 35.0),), "pulsation": 0.15, "noise": 0.01}
        data = infant(seed, 120.0, rate_hz=RATE, breaths_per_min=40.0, heart_bpm=140.0, **kept)
        onset_s, end_s = data.pauses[0]
        time_s = np.arange(len(data.impedance)) / RATE
        share = np.clip((time_s - onset_s - 10.0) / 4.0, 0.0, 1.0)
        hz = faster * 140.0 / 60.0
        moved = size * np.sin(np.pi * share) ** 2 * np.sin(2.0 * np.pi * hz * time_s)
        signal, _ = whole(data._replace(impedance=data.impedance + moved), r_peaks(data.beat_s))
        after = (signal.time_s > onset_s + 18.0) & (signal.time_s < end_s - 3.0)
        raw = data.impedance[(time_s > onset_s + 18.0) & (time_s < end_s - 3.0)]
        assert np.ptp(signal.values[after]) < 0.5 * np.ptp(raw)


@pytest.mark.parametrize("share", [2, 3])
def test_breathing_at_a_part_of_the_heart_rate_is_left_alone(share):
    time_s = np.arange(round(120 * RATE)) / RATE
    beat_s = np.arange(0.2, 121.0, 60.0 / 140.0)
    breath = 0.5 * np.cos(2 * np.pi * (140.0 / 60.0 / share) * time_s)
    out = rejector().push(breath, replace(r_peaks(beat_s), settled_until_s=math.inf), last=True)
    settled = time_s > 10.0
    assert np.ptp(out.signal.values[settled]) == pytest.approx(1.0, abs=0.1)


@pytest.mark.parametrize("data", [DATA, EARLY], ids=["even", "some beats early"])
@pytest.mark.parametrize("seed", range(4))
def test_cutting_and_interleaving_of_both_inputs_do_not_show(seed, data):
    peaks = r_peaks(data.beat_s, latency_s=0.9)
    signal, found = whole(data, peaks)
    rng = np.random.default_rng(seed)
    stage, parts = rejector(), []
    place, ecg_s = 0, -1.0
    while place < len(data.impedance) or ecg_s < 60.0:
        more = int(rng.choice([0, 1, 2, 40, 300]))
        values = data.impedance[place : place + more]
        place += len(values)
        until_s = ecg_s + float(rng.choice([0.0, 0.01, 0.5, 3.0, 10.0]))
        parts.append(stage.push(values, beats_between(peaks, ecg_s, until_s)))
        ecg_s = until_s
    rest = replace(peaks.where(peaks.known_s > ecg_s), settled_until_s=math.inf)
    parts.append(stage.push([], rest, last=True))
    again, found_again = joined(parts)
    assert again.equals(signal)
    assert found_again.equals(found)


@pytest.mark.parametrize("cut", [1, 20, 52, 168, 1490])
def test_the_sizes_do_not_look_ahead(cut):
    for led in (True, False):
        beats = replace(PEAKS, settled_until_s=math.inf) if led else None
        none = RPeaks.empty() if led else None
        whole_run = rejector(led_by_beats=led).push(DATA.impedance, beats, last=True)
        stage = rejector(led_by_beats=led)
        parts = [
            stage.push(DATA.impedance[:cut], beats),
            stage.push(DATA.impedance[cut:], none, last=True),
        ]
        assert joined(parts)[1].equals(whole_run.pulsation)


def test_each_sample_is_given_exactly_when_both_inputs_have_come_far_enough():
    stage = rejector()
    ahead_s = stage.latency_s
    given = 0
    for tick in range(1000):
        reached_s = tick / RATE + LAG
        beats = beats_between(PEAKS, reached_s - 1 / RATE, reached_s)
        out = stage.push(DATA.impedance[tick : tick + 1], beats)
        given += len(out.signal)
        due = math.floor((reached_s - ahead_s) * RATE + 1e-6) + 1
        assert given == max(due, 0)
        assert np.all(out.pulsation.known_s <= reached_s + 1e-9)
        assert np.all(out.pulsation.known_s == out.pulsation.time_s + ahead_s)
    waiting = rejector()
    beats = replace(PEAKS.where(PEAKS.known_s <= 10.0), settled_until_s=10.0 - BEAT_LAG)
    out = waiting.push(DATA.impedance, beats)
    assert out.signal.time_s[-1] == pytest.approx(10.0 - ahead_s, abs=1.0 / RATE)


def test_a_silent_ecg_stalls_nothing_and_is_told():
    stage = rejector()
    nothing = RPeaks.empty(settled_until_s=70.0 - BEAT_LAG)
    out = stage.push(DATA.impedance, nothing)
    assert out.signal.time_s[-1] == pytest.approx(60.0 - 1 / RATE + LAG - stage.latency_s, abs=0.05)
    assert not out.pulsation.led_by_beats.any()
    followed_s = out.pulsation.time_s[out.pulsation.followed].min()
    alone = np.flatnonzero(out.signal.time_s < followed_s - 3.0)
    assert len(alone) > 10.0 * RATE
    assert np.allclose(out.signal.values[alone], (DATA.impedance - DATA.impedance[0])[alone])


def test_without_ecg_it_runs_alone():
    out = rejector(led_by_beats=False).push(DATA.impedance, last=True)
    assert len(out.signal) == len(DATA.impedance)
    assert not out.pulsation.led_by_beats.any()


def test_beats_are_counted_where_they_can_be_trusted():
    done = replace(PEAKS, settled_until_s=math.inf)
    cycles = rejector().push(DATA.impedance, done, last=True).cycles
    assert len(cycles.values) == len(DATA.impedance)
    known = np.isfinite(cycles.values)
    assert known[cycles.time_s > 5.0].all()
    at = np.searchsorted(DATA.beat_s, cycles.time_s[known], side="right") - 1
    counted = np.floor(cycles.values[known] + 1e-9) - at
    assert np.mean(counted == np.median(counted)) > 0.95  # but where a beat's time is rounded
    assert np.diff(cycles.values[known]).min() >= -0.2
    alone = rejector(led_by_beats=False).push(DATA.impedance, last=True).cycles
    assert np.isnan(alone.values[alone.time_s < 14.0]).all()
    assert np.isfinite(alone.values[-5:]).all()  # the heart is followed in the impedance by then


def test_the_sizes_of_what_was_taken_out_and_left_are_told():
    _, found = whole(DATA, PEAKS)
    breathing = found.between(10.0, 24.0)
    paused = found.between(32.0, 38.0)
    assert breathing.led_by_beats.all()
    assert np.median(breathing.pulsation) == pytest.approx(0.4, abs=0.15)
    assert np.median(breathing.breath) == pytest.approx(1.0, abs=0.25)
    assert np.median(paused.pulsation) == pytest.approx(0.4, abs=0.12)
    assert np.all(paused.breath < 0.2)
    assert not found.locked.any()


def test_breathing_in_step_with_the_heart_is_told():
    time_s = np.arange(round(120 * RATE)) / RATE
    beat_s = np.arange(0.2, 121.0, 0.6)
    values = 0.5 * np.cos(2 * np.pi * time_s / 0.6)
    out = rejector().push(values, replace(r_peaks(beat_s), settled_until_s=math.inf), last=True)
    late = out.pulsation.time_s > 60.0
    assert out.pulsation.locked[late].all()


def test_a_saved_rejector_goes_on_where_it_stood():
    signal, found = whole(DATA, PEAKS)
    stage = rejector()
    first = stage.push(DATA.impedance[:700], beats_between(PEAKS, -1.0, 27.0))
    rest = replace(PEAKS.where(PEAKS.known_s > 27.0), settled_until_s=math.inf)
    second = CardiacArtifactRejector.resume(stage.save()).push(
        DATA.impedance[700:], rest, last=True
    )
    again, found_again = joined([first, second])
    assert again.equals(signal)
    assert found_again.equals(found)


def test_memory_is_bounded():
    stage = rejector()
    for minute in range(20):
        beats = replace(
            PEAKS,
            time_s=PEAKS.time_s + 60.0 * minute,
            known_s=PEAKS.known_s + 60.0 * minute,
            settled_until_s=60.0 * (minute + 1),
        )
        stage.push(DATA.impedance, beats)
        assert len(stage.save()) < 60_000


def test_the_fit_finds_harmonics_and_is_blind_to_level_and_slow_change():
    rng = np.random.default_rng(5)
    true = rng.standard_normal((50, 6))
    phase = np.tile((np.arange(BEATS * POINTS) + 0.5) / POINTS, (50, 1))
    samples = np.stack(
        [rendered(np.tile(h, (BEATS * POINTS, 1)).T, p) for h, p in zip(true, phase, strict=True)]
    )
    harmonics = fit((samples + 1e3).T).harmonics.T
    assert np.allclose(harmonics, true, atol=1e-9)
    slow = np.cos(2 * np.pi * phase / 3.0 + 0.3)
    assert np.allclose(fit((samples + slow).T).harmonics.T, true, atol=0.05)


def test_beats_are_mended_but_never_for_ever():
    train = BeatTrain()
    times = [0.0, 0.5, 1.0, 1.2, 1.5, 2.0, 3.0, 3.5]  # an extra one at 1.2, a missed one at 2.5
    beats = [train.take(time_s) for time_s in times]
    assert [b.cycle if b else None for b in beats] == [1, 2, 3, None, 4, 5, 7, 8]
    slow = [train.take(3.5 + 1.1 * n) for n in range(1, 8)]
    cycles = [b.cycle for b in slow if b]
    assert np.diff(cycles)[-3:].tolist() == [1, 1, 1]
    fast = [train.take(12.0 + 0.3 * n) for n in range(1, 12)]
    assert [f is not None for f in fast][-3:] == [True, True, True]


def test_a_train_saved_anywhere_mends_the_rest_alike():
    """An extra beat in each of eight intervals: the rhythm before it is known when it is back."""
    times = np.cumsum([0.4] * 20 + [0.2] * 8 + [0.4] * 20).tolist()
    whole = BeatTrain()
    expected = [whole.take(time_s) for time_s in times]
    for cut in range(len(times)):
        before, after = BeatTrain(), BeatTrain()
        beats = [before.take(time_s) for time_s in times[:cut]]
        after.restore(before.snapshot())
        assert beats + [after.take(time_s) for time_s in times[cut:]] == expected, cut


def test_wrong_arguments_are_told():
    with pytest.raises(ArgumentError, match="R peaks are expected"):
        rejector().push(DATA.impedance)
    with pytest.raises(ArgumentError, match="led_by_beats is False"):
        rejector(led_by_beats=False).push(DATA.impedance, PEAKS)
    with pytest.raises(ArgumentError, match=r"rate_hz is 10 Hz; the lowest"):
        CardiacArtifactSettings(10.0)
    with pytest.raises(ArgumentError, match=r"beat_lag_s is -1 s"):
        CardiacArtifactSettings(25.0, beat_lag_s=-1.0)
