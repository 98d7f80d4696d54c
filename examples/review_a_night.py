"""A first review: an invented infant, its events with the reasons for and against each."""

from pathlib import Path

import infantmon as im
from infantmon.simulate import demo_scenario, simulate_night

plan = im.Prescription.from_toml(Path(__file__).with_name("limits.toml"))
night = simulate_night(demo_scenario(), seed=5)

review = im.review(night.recording, plan)
print(review)

for event in review.events.of_kind("apnea"):
    print(f"\napnea at {event.onset_s:.1f} s, {event.length_s:.1f} s long: {event.judgement}")
    for reason in event.reasons:
        print(f"  {reason}")
    if event.linked:
        print(f"  goes together with event {', '.join(map(str, event.linked))}")

for role, usable_s in review.usable_s.items():
    print(f"{role}: {usable_s / 60:.1f} of {review.recorded_s / 60:.1f} min could be used")

# In a notebook the last line of a cell is enough; `save("night.svg")` keeps one as a file.
overview = review.plot_night()
strip = review.plot(review.events.of_kind("apnea")[0])
