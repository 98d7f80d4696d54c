"""Bringing data from CSV: a table with its own names and units, and arrays of your own."""

import tempfile
from pathlib import Path

import numpy as np

import infantmon as im
from infantmon.simulate import Pause, Scenario, simulate_night

scenario = Scenario(duration_s=120.0, ecg_hz=250.0, impedance_hz=62.5, events=(Pause(70.0, 24.0),))
night = simulate_night(scenario, seed=8).recording
plan = im.Prescription(apnea={"limit_s": 20})  # an example, not a recommendation

with tempfile.TemporaryDirectory() as folder:
    # A table as a spreadsheet might export it: one time column, a column a channel, the unit in
    # the heading. A channel with fewer samples has empty cells where it has none.
    table = Path(folder) / "export.csv"
    ecg = night.ecg.to_frame().rename(columns={"value": "lead II (mV)"})
    impedance = night.impedance.to_frame().rename(columns={"value": "thorax (ohm)"})
    merged = ecg.merge(impedance, on="time_s", how="left")
    merged.to_csv(table, index=False, float_format="%.4f")
    print(*table.read_text().splitlines()[:5], sep="\n")

    # Names that say nothing to the reader are told to it; an error lists what is there.
    try:
        im.read(table, ecg="ECG I")
    except im.InfantmonError as fault:
        print("\nasked for a channel that is not there:", fault)
    recording = im.read(table, ecg="lead II", impedance="thorax")
    print("\n", recording, sep="")
    for note in recording.notes:
        print("note:", note)
    print(im.review(recording, plan))

# Arrays of your own need no file. The sampling rate is always asked for, never assumed; NaN marks
# samples that are missing, and is accounted for as lost time.
values = night.impedance.segments[0].values.copy()
values[1000:2000] = np.nan
own = im.Recording(
    {"impedance": im.Channel(values, rate_hz=62.5, unit="ohm", name="from an array")}
)
review = im.review(own, plan)
print(review)
print(review.contact["impedance"].to_frame())
