"""Pictures of the stages, drawn from simulation when the documentation is built."""

from __future__ import annotations

from pathlib import Path

import matplotlib as mpl

mpl.use("svg")

import matplotlib.pyplot as plt
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

import infantmon as im
from infantmon.model.marks import RPeaks
from infantmon.simulate import (
    LooseElectrode,
    Movement,
    Pause,
    PulsationByPhase,
    Scenario,
    ShallowBreathing,
    Sigh,
    SimulatedNight,
    SlowingInPause,
    Standstill,
    simulate_night,
)
from infantmon.stages.bandpass import (
    EcgBandPass,
    EcgBandPassSettings,
    ImpedanceBandPass,
    ImpedanceBandPassSettings,
)
from infantmon.stages.heart_rate import HeartRate, HeartRateSettings

INK, DEEP, SOFT = "#22303c", "#0d5567", "#a39b8b"
STYLE = {
    "svg.hashsalt": "infantmon",
    "font.size": 9,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.edgecolor": SOFT,
    "axes.labelcolor": INK,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "lines.linewidth": 0.9,
    "figure.facecolor": "#fffefb",
    "axes.facecolor": "#fffefb",
}


def make_pictures(folder: Path) -> None:
    """Draw every picture into a folder, as SVG."""
    folder.mkdir(parents=True, exist_ok=True)
    with mpl.rc_context(STYLE):
        for name, draw in PICTURES.items():
            figure = draw()
            figure.savefig(folder / f"{name}.svg", metadata={"Date": None})
            plt.close(figure)


def _rows(count: int, height: float = 1.3, *, share: bool = True) -> tuple[Figure, list[Axes]]:
    figure, axes = plt.subplots(
        count, 1, figsize=(7.2, height * count + 0.4), sharex=share, layout="constrained"
    )
    return figure, list(np.atleast_1d(axes))


def _night(*events: object, length_s: float = 120.0, share: float = 0.4) -> SimulatedNight:
    scenario = Scenario(
        length_s,
        ecg_hz=250.0,
        impedance_hz=62.5,
        events=tuple(events),  # type: ignore[arg-type]
        pulsation=PulsationByPhase(share=share, growth=0.9),
    )
    return simulate_night(scenario, seed=12)


def _samples(night: SimulatedNight, role: str) -> tuple[np.ndarray, np.ndarray]:
    return night.recording.channels[role].between(0.0, night.scenario.duration_s)


def _gain(stage: object, rate_hz: float, hz: np.ndarray) -> np.ndarray:
    """Return the response of a stage as it runs: from what it makes of a single step."""
    samples = np.zeros(round(60 * rate_hz))
    samples[round(20 * rate_hz) :] = 1.0
    signal = stage.push(samples, last=True)  # type: ignore[attr-defined]
    impulse = np.diff(signal.values)
    times = signal.time_s[1:]
    inside = (times > 10.0) & (times < 50.0)
    turns = np.exp(-2j * np.pi * hz[:, None] * times[None, inside])
    return np.abs(turns @ impulse[inside])


def bandpass() -> Figure:
    """Draw the responses of both band-passes, measured from their output."""
    figure, (ecg, impedance) = _rows(2, 1.7, share=False)
    hz = np.linspace(1.0, 60.0, 240)
    ecg.plot(hz, _gain(EcgBandPass(EcgBandPassSettings(250.0)), 250.0, hz), color=INK)
    ecg.set(
        ylabel="gain",
        title="ECG at 250 Hz: 8 to 25 Hz by default, not the band in which R peaks are found",
        xlabel="Hz",
    )
    hz = np.linspace(0.05, 6.0, 240)
    band = ImpedanceBandPass(ImpedanceBandPassSettings(62.5))
    impedance.plot(hz, _gain(band, 62.5, hz), color=INK)
    impedance.set(ylabel="gain", title="impedance at 62.5 Hz", xlabel="Hz")
    return figure


def contact() -> Figure:
    """Draw a loose electrode and a movement, with what the contact stage says of them."""
    night = _night(Movement(25.0, 8.0), LooseElectrode(60.0, 25.0))
    review = im.review(night.recording, im.Prescription())
    figure, axes = _rows(2)
    for axis, role, unit in zip(axes, ("ecg", "impedance"), ("mV", "ohm"), strict=True):
        axis.plot(*_samples(night, role), color=INK, linewidth=0.4)
        spans = review.contact[role]
        blocked = spans.blocking
        for start, end in zip(spans.start_s, spans.end_s, strict=True):
            axis.axvspan(start, end, facecolor="none", edgecolor=SOFT, hatch="..", linewidth=0)
        for start, end in zip(blocked.start_s, blocked.end_s, strict=True):
            axis.axvspan(start, end, facecolor="#f1efea", edgecolor=SOFT, hatch="//", linewidth=0)
        axis.set_ylabel(f"{role if role == 'impedance' else 'ECG'}, {unit}")
    low, high = np.quantile(_samples(night, "impedance")[1], (0.0, 0.75))
    axes[1].set_ylim(low - 3, high + 6)
    axes[-1].set_xlabel("time, s (hatched: cannot be used; dotted: only with care)")
    return figure


def r_peaks() -> Figure:
    """Draw an ECG upright and inverted, with the marks on both."""
    night = _night(length_s=20.0)
    times, values = _samples(night, "ecg")
    figure, axes = _rows(2)
    for axis, sign, name in zip(axes, (1, -1), ("ECG, mV", "inverted, mV"), strict=True):
        beats = im.detect_r_peaks(sign * values, rate_hz=250.0)
        axis.plot(times, sign * values, color=INK, linewidth=0.7)
        axis.plot(beats.time_s, sign * values[beats.sample], "o", color=DEEP, markersize=4)
        axis.set(ylabel=name, xlim=(10, 15))
    axes[-1].set_xlabel("time, s")
    return figure


def beats_in_trouble() -> Figure:
    """Draw clean beats, a burst of movement, a standstill, and two leads of which one is bad."""
    clean = _samples(_night(length_s=30.0), "ecg")
    burst = _samples(
        _night(Movement(12.0, 6.0, wander_mv=1.2, muscle_mv=0.3), length_s=30.0), "ecg"
    )
    still = _samples(_night(Standstill(12.0, 8.0), length_s=30.0), "ecg")
    figure, axes = _rows(4)
    titles = ("clean", "a burst of movement (hollow: marked as unreliable)", "a standstill")
    for axis, (times, values), title in zip(axes, (clean, burst, still), titles, strict=False):
        found = im.detect_r_peaks(values, rate_hz=250.0, unit="mV")
        axis.plot(times, values, color=INK, linewidth=0.5)
        _beat_marks(axis, found, values[found.sample])
        axis.set(ylabel="mV", xlim=(8, 26))
        axis.set_title(title, loc="left", fontsize=9)
    leads = [im.detect_r_peaks(lead, rate_hz=250.0, unit="mV") for _, lead in (burst, clean)]
    fused = im.fuse_r_peaks(*leads, rate_hz=250.0)
    axes[3].plot(*burst, color=SOFT, linewidth=0.5)
    axes[3].plot(clean[0], clean[1] + 3.0, color=INK, linewidth=0.5)
    _beat_marks(axes[3], fused, np.full(len(fused), 5.0))
    axes[3].set(ylabel="mV", xlabel="time, s")
    axes[3].set_title("the burst in one of two leads: both fused", loc="left", fontsize=9)
    return figure


def _beat_marks(axis: Axes, beats: RPeaks, heights: np.ndarray) -> None:
    filled = beats.reliable
    axis.plot(beats.time_s[filled], heights[filled], "o", color=DEEP, markersize=3)
    axis.plot(
        beats.time_s[~filled], heights[~filled], "o", mec=DEEP, mfc="none", markersize=3, mew=0.8
    )


def heart_rate() -> Figure:
    """Draw a step from 140 to 65 a minute as three averages show it."""
    intervals = np.concatenate([np.full(60, 60 / 140), np.full(30, 60 / 65)])
    time_s = np.cumsum(intervals)
    count = len(time_s)
    beats = RPeaks(time_s, time_s, np.arange(count), np.ones(count), np.ones(count, dtype=np.bool_))
    figure, (axis,) = _rows(1, 2.2)
    for average, style in ((1, ":"), (4, "--"), (8, "-")):
        rates = HeartRate(HeartRateSettings(average_beats=average)).push(beats, last=True)
        axis.plot(rates.time_s, rates.heart_rate_bpm, style, color=INK, label=f"mean of {average}")
    axis.set(xlim=(20, 40), ylabel="beats a minute", xlabel="time, s")
    axis.legend(frameon=False)
    return figure


def cardiac_artifact() -> Figure:
    """Draw the impedance before and after, in a pause with a slowing heart."""
    night = _night(Pause(60.0, 24.0, bradycardia=SlowingInPause()))
    review = im.review(night.recording, im.Prescription())
    figure, (before, after) = _rows(2)
    times, values = _samples(night, "impedance")
    before.plot(times, values, color=INK)
    before.set(ylabel="before, ohm", xlim=(50, 95))
    if review.cleaned is not None:
        after.plot(review.cleaned.time_s, review.cleaned.values, color=INK)
    beats = review.r_peaks.between(50, 95).time_s
    after.set(ylabel="after, ohm", xlabel="time, s (strokes: R peaks)")
    before.vlines(beats, *_top_of(before, 0.1), color=DEEP, linewidth=0.6)
    return figure


def _top_of(axis: Axes, share: float) -> tuple[float, float]:
    low, high = axis.get_ylim()
    axis.set_ylim(low, high + share * (high - low))
    return high, high + share * (high - low)


def breaths() -> Figure:
    """Draw marks, a pause from mark to mark, and the part of it without effort."""
    night = _night(Pause(60.0, 15.0))
    review = im.review(night.recording, im.Prescription())
    figure, (axis,) = _rows(1, 2.4)
    signal = review.cleaned
    if signal is not None:
        axis.plot(signal.time_s, signal.values, color=INK)
        heights = np.interp(review.breaths.time_s, signal.time_s, signal.values)
        axis.plot(review.breaths.time_s, heights, "v", color=DEEP, markersize=5)
    found = review.breaths.between(58.0, 77.0)
    longest = int(np.argmax(np.diff(found.time_s)))
    base, _ = axis.get_ylim()
    for place, start, end, words in (
        (base - 0.3, found.time_s[longest], found.time_s[longest + 1], "compared with the limit"),
        (base - 0.7, found.fall_end_s[longest], found.rise_start_s[longest + 1], "effort-free"),
    ):
        axis.annotate(
            "", (start, place), (end, place), arrowprops={"arrowstyle": "<->", "color": INK}
        )
        axis.text((start + end) / 2, place, words, ha="center", va="bottom")
    axis.set(xlim=(50, 85), ylim=(base - 0.9, None), ylabel="ohm", xlabel="time, s")
    return figure


def breaths_in_trouble() -> Figure:
    """Draw what is hard about breaths: each before (light) and after the pulsation is taken out."""
    scenes = {
        "clean": (),
        "pulsation in an apnea": (Pause(58.0, 20.0),),
        "an apnea with bradycardia": (Pause(58.0, 20.0, bradycardia=SlowingInPause()),),
        "a sigh": (Sigh(65.0),),
        "movement": (Movement(62.0, 6.0),),
        "shallow breathing (hollow: marked as shallow)": (ShallowBreathing(58.0, 20.0, 0.4),),
    }
    figure, axes = _rows(len(scenes), 1.1)
    for axis, (title, events) in zip(axes, scenes.items(), strict=True):
        night = _night(*events, length_s=100.0)
        review = im.review(night.recording, im.Prescription())
        times, values = _samples(night, "impedance")
        axis.plot(times, values - np.median(values), color=SOFT, linewidth=0.6)
        if review.cleaned is not None:
            level = np.median(review.cleaned.values)
            axis.plot(review.cleaned.time_s, review.cleaned.values - level, color=INK)
            found = review.breaths.between(52.0, 84.0)
            heights = np.interp(found.time_s, review.cleaned.time_s, review.cleaned.values) - level
            for some, filled in ((~found.shallow, DEEP), (found.shallow, "none")):
                axis.plot(
                    found.time_s[some], heights[some], "v", mec=DEEP, mfc=filled, markersize=4
                )
        axis.set(ylabel="ohm", xlim=(52, 84))
        axis.set_title(title, loc="left", fontsize=9)
    axes[-1].set_xlabel("time, s")
    return figure


PICTURES = {
    "bandpass": bandpass,
    "contact": contact,
    "r_peaks": r_peaks,
    "beats_in_trouble": beats_in_trouble,
    "heart_rate": heart_rate,
    "cardiac_artifact": cardiac_artifact,
    "breaths": breaths,
    "breaths_in_trouble": breaths_in_trouble,
}
"""Every picture by the name under which the pages show it."""
