"""A Lab Streaming Layer source on this machine, read into a monitor as it comes.

For replay and bench use only, not on an infant. Needs `pip install pylsl`. The source here is an
invented infant, sent twenty times as fast as it would breathe, from a thread; any other source with
one stream a channel is read the same way. Samples that the network lost show in their time stamps:
that is told as a gap.
"""

import os
import tempfile
import threading
import time
from pathlib import Path

# The layer looks for sources in the whole network; here only this machine is meant. It reads its
# settings when it is first loaded.
settings = Path(tempfile.mkdtemp()) / "lsl_api.cfg"
settings.write_text("[multicast]\nResolveScope = machine\n", encoding="utf-8")
os.environ.setdefault("LSLAPICFG", str(settings))

try:
    import pylsl
except ModuleNotFoundError:
    raise SystemExit("this example needs pylsl: python -m pip install pylsl") from None

import infantmon as im  # noqa: E402
from infantmon.framed import FrameReader  # noqa: E402
from infantmon.simulate import Pause, Scenario, simulate_night  # noqa: E402

RATES = {"ecg": 250.0, "impedance": 50.0}
UNITS = {"ecg": "mV", "impedance": "ohm"}
LENGTH_S, PACE, STEP_S = 60.0, 20.0, 0.5
LOST_S = (40.0, 43.0)  # what the network loses of the ECG, to show that it is told


def send(outlets: dict[str, pylsl.StreamOutlet]) -> None:
    """Send an invented minute, each sample stamped with its time in the recording."""
    night = simulate_night(
        Scenario(LENGTH_S, RATES["ecg"], RATES["impedance"], events=(Pause(15.0, 18.0),)), seed=8
    )
    for start_s in [STEP_S * n for n in range(int(LENGTH_S / STEP_S))]:
        for role, outlet in outlets.items():
            lost = role == "ecg" and LOST_S[0] <= start_s < LOST_S[1]
            times, values = night.recording.channels[role].between(start_s, start_s + STEP_S)
            if not lost:
                stamps = (1.0 + times).tolist()  # a stamp of 0 would mean "now"
                outlet.push_chunk([[value] for value in values.tolist()], stamps)
        time.sleep(STEP_S / PACE)


def receive() -> list[im.Change]:
    """Read both channels until the source falls silent; return the changes."""
    inlets = {}
    for role in RATES:
        (found,) = pylsl.resolve_byprop("name", f"invented infant, {role}", timeout=10.0)
        inlets[role] = pylsl.StreamInlet(found)
        inlets[role].open_stream(timeout=10.0)
    threading.Thread(target=send, args=(outlets,), daemon=True).start()
    plan = im.Prescription(  # an example, not a recommendation
        apnea={"limit_s": 15}, no_heart_beat={"limit_s": 4}, contact_loss={"delay_s": 2}
    )
    monitor = im.Monitor(
        plan,
        ecg_hz=RATES["ecg"],
        impedance_hz=RATES["impedance"],
        ecg_unit=UNITS["ecg"],
        impedance_unit=UNITS["impedance"],
    )
    reader = FrameReader(monitor, monitor.rates_hz)  # tells gaps, evens out clocks that drift
    changes: list[im.Change] = []
    latest = time.monotonic()
    while time.monotonic() - latest < 3.0:
        for role, inlet in inlets.items():
            values, stamps = inlet.pull_chunk(timeout=0.02)
            if not stamps:
                continue
            latest = time.monotonic()
            # A chunk may hold what came before a loss and what came after it.
            for value, stamp in zip(values, stamps, strict=True):
                changes += reader.push(stamp - 1.0, **{role: value})
    return changes + monitor.finish()


def outlet_of(role: str) -> pylsl.StreamOutlet:
    """Offer one channel on this machine."""
    told = pylsl.StreamInfo(
        f"invented infant, {role}", role, 1, pylsl.IRREGULAR_RATE, pylsl.cf_double64, f"im-{role}"
    )
    return pylsl.StreamOutlet(told)


outlets = {role: outlet_of(role) for role in RATES}
for change in receive():
    print(f"{change.known_s:7.2f} s  {change.kind:16} {change.state:8} {change.cause}")
