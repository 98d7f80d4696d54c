"""Pulsation in an apnea: the heart's own movement in the impedance can pass for breathing.

During a pause the heart slows and its pulsation in the impedance grows (Southall et al., Arch Dis
Child 1980;55:63-65). Here it grows to nearly the size of a breath: without the R peaks it is
counted as breathing, and the pause is broken up.
"""

import numpy as np

import infantmon as im
from infantmon.simulate import (
    Pause,
    PulsationByPhase,
    Scenario,
    SlowingInPause,
    simulate_night,
)

scenario = Scenario(
    duration_s=300.0,
    ecg_hz=250.0,
    impedance_hz=62.5,
    events=(Pause(180.0, 30.0, bradycardia=SlowingInPause()),),
    pulsation=PulsationByPhase(share=0.5, growth=0.9),
    name="invented infant, large pulsation",
)
night = simulate_night(scenario, seed=3)
ecg, impedance = night.recording.ecg, night.recording.impedance
beats = im.detect_r_peaks(ecg.segments[0].values, rate_hz=ecg.rate_hz)

for told, r_peaks in (("without R peaks", None), ("led by R peaks", beats)):
    breaths = im.detect_breaths(impedance.segments[0].values, impedance.rate_hz, r_peaks)
    inside = breaths.between(181.0, 209.0)
    longest_s = float(np.diff(breaths.time_s).max())
    print(f"{told:16} {len(inside):2d} breaths marked in the pause, longest gap {longest_s:5.1f} s")

plan = im.Prescription(apnea={"limit_s": 20})  # an example, not a recommendation
review = im.review(night.recording, plan)
for event in review.events:
    print(f"{event.kind}: {event.onset_s:.1f} to {event.end_s:.1f} s, {event.judgement}")
    print(*(f"  {reason}" for reason in event.reasons), sep="\n")

taken = review.pulsation.between(185.0, 205.0)
print(f"taken out in the pause: {np.median(taken.pulsation):.2f} ohm, beat by beat")

strip = review.plot(review.events[0])
