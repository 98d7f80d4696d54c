"""What-if of a limit: the same findings judged under other limits, without touching the signal."""

import infantmon as im
from infantmon.reviewing import variations
from infantmon.simulate import demo_scenario, simulate_night

recording = simulate_night(demo_scenario(), seed=5).recording
plan = im.Prescription(  # an example, not a recommendation
    apnea={"limit_s": 20},
    low_heart_rate={"limit_bpm": 80, "hold_off_s": 5, "average_beats": 8},
)
review = im.review(recording, plan)

print("apnea limit   apneas   supported")
for other, events in im.sweep(review.findings, variations(plan, "apnea.limit_s", range(10, 26, 3))):
    apneas = events.of_kind("apnea")
    supported = sum(event.judgement == "supported" for event in apneas)
    print(f"{other.apnea.limit_s:9.0f} s {len(apneas):8d} {supported:11d}")

# `review.to_html("review.html", what_if=variations(...))` puts such a table on the review page.
print("Limits are for a licensed prescriber to set; this table recommends none.")
