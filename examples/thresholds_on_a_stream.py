"""Prototyping a threshold on a stream: alarm-condition changes as the samples arrive.

For replay and bench use only, not on an infant.
"""

import infantmon as im
from infantmon.simulate import demo_scenario, simulate_night

recording = simulate_night(demo_scenario(), seed=5).recording
plan = im.Prescription(  # an example, not a recommendation
    apnea={"limit_s": 15},
    low_heart_rate={"limit_bpm": 90, "hold_off_s": 3, "average_beats": 4},
    contact_loss={"delay_s": 5},
)
monitor = im.Monitor(
    plan,
    ecg_hz=recording.ecg.rate_hz,
    impedance_hz=recording.impedance.rate_hz,
    ecg_unit="mV",
    impedance_unit="ohm",
)
print("stated worst-case delay behind the limit, in seconds:", monitor.latencies_s)

for second in range(0, 600, 2):
    changes = monitor.push(
        ecg=recording.ecg.between(second, second + 2)[1],
        impedance=recording.impedance.between(second, second + 2)[1],
    )
    for change in changes:
        print(f"{change.known_s:7.2f} s  {change.kind:16} {change.state:8} {change.cause}")

print("after a reset:", [(change.kind, change.state) for change in monitor.reset()])
monitor = im.Monitor.resume(monitor.save())  # a power cut in between changes nothing
print(monitor.state)
