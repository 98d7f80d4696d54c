"""Several downloads of one infant summed up: use by day, events, alarms, limits in force.

Three invented nights of one invented infant, the limits changed before the last. The sums advise
nothing: limits and their change are the prescriber's.
"""

import dataclasses
import tempfile
from datetime import UTC, datetime, timedelta

import infantmon as im
from infantmon.downloads import (
    Prescribed,
    download_of,
    downloads_text,
    summarise_downloads,
    write_downloads,
)
from infantmon.simulate import LooseElectrode, Pause, Scenario, SlowingInPause, simulate_night

FIRST = datetime(2031, 5, 2, 21, 30, tzinfo=UTC)
PLANS = (20.0, 20.0, 15.0)  # seconds; an example, not a recommendation

downloads = []
for night, limit_s in enumerate(PLANS):
    events = (
        Pause(1500.0, 22.0, SlowingInPause()),
        Pause(3000.0 + 300.0 * night, 17.0),
        LooseElectrode(4200.0, 240.0),
    )
    made = simulate_night(Scenario(1.5 * 3600.0, 125.0, 50.0, events=events), seed=70 + night)
    started = FIRST + timedelta(days=2 * night)
    recording = dataclasses.replace(made.recording, name=f"night {night + 1}", started_at=started)
    plan = im.Prescription(
        apnea={"limit_s": limit_s},
        low_heart_rate={"limit_bpm": 80, "hold_off_s": 5, "average_beats": 8},
        contact_loss={"delay_s": 5},
    )
    downloads.append(download_of(im.review(recording, plan)))

prescribed = Prescribed(FIRST.date(), FIRST.date() + timedelta(days=6), hours_a_day=1.0)
summary = summarise_downloads(downloads, prescribed=prescribed)
print(downloads_text(summary, 100))
with tempfile.TemporaryDirectory() as folder:  # the page and the document, to look at
    for path in write_downloads(summary, folder):
        print("wrote", path.name)
