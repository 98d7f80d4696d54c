"""A folder of recordings: each reviewed in a process of its own, one line each, faults told."""

import tempfile
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import infantmon as im
from infantmon.formats.writing import write_edf
from infantmon.simulate import Pause, Scenario, simulate_night

PLAN = im.Prescription(apnea={"limit_s": 20})  # an example, not a recommendation


def invent(folder, count):
    """Write a few invented infants as EDF files, and one file that is broken."""
    for number in range(1, count + 1):
        events = tuple(Pause(60.0 + 50.0 * turn, 18.0 + 3.0 * turn) for turn in range(number))
        scenario = Scenario(180.0, ecg_hz=250.0, impedance_hz=62.5, events=events)
        recording = simulate_night(scenario, seed=number).recording
        write_edf(recording, folder / f"invented-{number}.edf")
    (folder / "broken.edf").write_bytes(b"not a recording")


def reviewed(path):
    """Review one file; a fault is told in its line and stops nothing else."""
    try:
        review = im.review(im.read(path), PLAN)
    except im.InfantmonError as fault:
        return f"{path.name:16} could not be read: {str(fault).splitlines()[0]}"
    apneas = review.events.of_kind("apnea")
    longest = max((event.length_s for event in apneas), default=0.0)
    usable = review.usable_s["impedance"] / 60
    return (
        f"{path.name:16} {usable:4.1f} min usable, apneas: {len(apneas)}, longest {longest:.1f} s"
    )


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        invent(folder, 2)
        # Any executor of concurrent.futures will do, that of a cluster too.
        with ProcessPoolExecutor(max_workers=2) as pool:
            for line in pool.map(reviewed, sorted(folder.glob("*.edf"))):
                print(line)
    print("Impedance cannot see obstructive apnea: 'apneas: 0' never means that there was none.")
