"""Scoring a detector: beats and breaths of an invented infant against its known truth.

The truth is simulated, so the figures say that the chain works, not how it does on infants; for
that see the benchmark results. Nothing was tuned on this seed.
"""

import infantmon as im
from infantmon.scoring import match_episodes, match_marks, percent
from infantmon.simulate import demo_scenario, simulate_night

night = simulate_night(demo_scenario(), seed=11)
ecg, impedance = night.recording.ecg, night.recording.impedance
beats = im.detect_r_peaks(ecg.segments[0].values, rate_hz=ecg.rate_hz, unit=ecg.unit)
breaths = im.detect_breaths(impedance.segments[0].values, rate_hz=impedance.rate_hz, r_peaks=beats)


def told(what, tally):
    """Print sensitivity and positive predictivity with their 95 % intervals (Wilson)."""
    for name, figure, interval in (
        ("sensitivity", tally.sensitivity, tally.sensitivity_interval()),
        (
            "positive predictivity",
            tally.positive_predictivity,
            tally.positive_predictivity_interval(),
        ),
    ):
        low, high = (percent(end) for end in interval)
        print(f"{what:8} {name:22} {percent(figure)} %  (95 % interval {low} to {high} %)")


# The first five minutes are for the detectors to settle (ANSI/AAMI EC57 leaves them out too).
start_s, end_s = 300.0, 900.0


def scored(marks):
    """Return the marks inside the scored period."""
    return marks[(marks >= start_s) & (marks < end_s)]


beat_match = match_marks(scored(night.truth.beat_s), scored(beats.time_s), window_s=0.15)
told("beats", beat_match.tally)
told("breaths", match_marks(scored(night.truth.breath_s), scored(breaths.time_s), 0.5).tally)

# Pauses are episodes: which of those of 20 s and more are found, and how exactly.
plan = im.Prescription(apnea={"limit_s": 20})  # an example, not a recommendation
apneas = im.review(night.recording, plan).events.of_kind("apnea")
true = night.truth.pauses.lasting(20.0)
match = match_episodes(
    list(zip(true.onset_s, true.end_s, strict=True)),
    [(event.onset_s, event.end_s) for event in apneas],
    end_s=night.recording.end_s,
)
print(f"apneas: {match.tally.found} of {len(true)} found, {match.tally.false} more listed")
print("onset found late by (s):", [round(float(error), 2) for error in match.onset_error_s])
