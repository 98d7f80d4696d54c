"""Recorded events of two invented weeks, judged, beside what is known to be true of them."""

from collections import Counter

import infantmon as im
from infantmon.recorded.event import recorded_events
from infantmon.simulate.downloads import two_weeks
from infantmon.simulate.night import simulate_night

plan = im.Prescription(
    apnea={"limit_s": 20},
    low_heart_rate={"limit_bpm": 80, "hold_off_s": 5, "average_beats": 8},
    contact_loss={"delay_s": 5},
)
table = Counter()
for number, excerpt in enumerate(two_weeks(1)):
    recording = simulate_night(excerpt.scenario, 1000 + number).recording
    listed = recorded_events([(excerpt.onset_s, excerpt.end_s, excerpt.kind, "", False)])
    (one,) = im.review(recording, plan, recorded=listed).recorded.judged
    table[excerpt.truth, one.judgement] += 1

print("60 recorded events of an invented infant; limits invented, no recommendation")
for (truth, judgement), count in sorted(table.items()):
    print(f"{truth:12} judged {judgement:15} {count:3}")
print("Research software, not a medical device; not for live use on an infant.")
