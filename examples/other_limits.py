"""What-if: the same findings judged under other limits, without touching the signal again."""

import infantmon as im
from infantmon.simulate import demo_scenario, simulate_night

recording = simulate_night(demo_scenario(), seed=5).recording
limits_s = (10, 12, 15, 20, 25)
plans = [im.Prescription(apnea={"limit_s": limit_s}) for limit_s in limits_s]

review = im.review(recording, plans[0])
print("apnea limit   apneas   supported")
for plan, events in im.sweep(review.findings, plans):
    supported = sum(event.judgement == "supported" for event in events)
    print(f"{plan.apnea.limit_s:9.0f} s {len(events):8d} {supported:11d}")
print("Limits are for a licensed prescriber to set; this table recommends none.")
