"""An invented case: what truly happened in a simulated night beside what a review finds.

The infant, the night and the limits are invented (examples/scenario). The obstructive apnea in it
stays unseen: the effort goes on, and chest impedance shows effort, not the flow of air.
"""

from pathlib import Path

import infantmon as im
from infantmon.simulate import simulate_night
from infantmon.simulate.scenario_file import read_scenario

folder = Path(__file__).with_name("scenario")
scenario, seed = read_scenario(folder / "night.toml")
night = simulate_night(scenario, seed)
review = im.review(night.recording, im.Prescription.from_toml(folder / "limits.toml"))

print("What truly happened:")
for onset_s, length_s in zip(night.truth.pauses.onset_s, night.truth.pauses.length_s, strict=True):
    print(f"  {onset_s:6.1f} s  a pause of {length_s:.1f} s")
for start_s in night.truth.impedance_lost.start_s:
    print(f"  {start_s:6.1f} s  a loose electrode")
for onset_s in night.truth.obstructions.onset_s:
    print(f"  {onset_s:6.1f} s  an obstructive apnea")

print("What the review found:")
for event in review.events:
    length = "open" if event.length_s is None else f"{event.length_s:.1f} s"
    print(f"  {event.onset_s:6.1f} s  {event.kind}, {length}, {event.judgement}")

overview = review.plot_night()
