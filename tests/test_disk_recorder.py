"""The recorder on disk: killed anywhere, nothing acknowledged is lost and nothing doubled."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import infantmon as im
from infantmon import simulate as sim
from infantmon.disk_recorder import DiskRecorder
from infantmon.errors import ArgumentError, StateError
from infantmon.recorder import Recorder

RATES = {"ecg": 125.0, "impedance": 50.0}
PLAN = {
    "apnea": {"limit_s": 10},
    "low_heart_rate": {"limit_bpm": 80, "hold_off_s": 5, "average_beats": 8},
    "contact_loss": {"delay_s": 5},
}
LENGTH_S = 480.0


def monitor():
    plan = im.Prescription(**PLAN)
    return im.Monitor(plan, ecg_hz=125.0, impedance_hz=50.0, ecg_unit="mV", impedance_unit="ohm")


@pytest.fixture(scope="module")
def samples():
    pauses = [sim.Pause(60.0 + 80.0 * k, 15.0, sim.SlowingInPause()) for k in range(4)]
    loose = sim.LooseElectrode(400.0, 20.0)
    night = sim.simulate_night(sim.Scenario(LENGTH_S, 125.0, 50.0, events=(*pauses, loose)), 3)
    channels = night.recording.channels
    return {role: np.asarray(channels[role].segments[0].values) for role in RATES}


def chunks(samples, step_s, *, after=None):
    """Yield pushes of so many seconds, going on after what has arrived."""
    after = dict.fromkeys(RATES, 0) if after is None else dict(after)
    while any(after[role] < len(samples[role]) for role in RATES):
        part = {r: samples[r][after[r] : after[r] + round(step_s * RATES[r])] for r in RATES}
        yield part
        for role, values in part.items():
            after[role] += len(values)


@pytest.fixture(scope="module")
def expected(samples):
    made = monitor()
    changes = made.push(**samples)
    return changes + made.finish()


def in_memory(samples, **settings):
    made, recorder = monitor(), Recorder(RATES, **settings)
    for part in chunks(samples, 8.0):
        recorder.push(made.push(**part), **part)
    return recorder.finish(made.finish())


@pytest.mark.parametrize("step_s", [8.0, 96.0])
def test_the_store_on_disk_holds_what_the_one_in_memory_holds(samples, expected, step_s, tmp_path):
    recorder = DiskRecorder.begin(tmp_path / "a.db", monitor())
    for part in chunks(samples, step_s):
        recorder.push(**part)
    store = recorder.finish()
    assert store.equals(in_memory(samples, back_s=300.0))
    assert len(store) >= 5
    assert recorder.changes == expected


@pytest.mark.parametrize("step_s", [8.0, 500.0])
def test_the_oldest_make_room_and_that_is_told(samples, step_s, tmp_path):
    recorder = DiskRecorder.begin(tmp_path / "a.db", monitor(), most_events=3)
    for part in chunks(samples, step_s):
        recorder.push(**part)
    store, other = recorder.finish(), in_memory(samples, most_events=3)
    assert [stored.event for stored in store] == [stored.event for stored in other]
    assert dict(store.overwritten) == dict(other.overwritten)
    assert store.overwritten_events == other.overwritten_events
    assert len(store.overwritten_events) == store.overwritten_count
    assert store.overwritten_count > 0


def test_what_belongs_to_no_event_goes(samples, tmp_path):
    path = tmp_path / "a.db"
    recorder = DiskRecorder.begin(path, monitor(), most_events=1, back_s=60.0, longest_s=100.0)
    sizes = []
    for _ in range(3):
        for part in chunks(samples, 8.0):
            recorder.push(**part)
        (held,) = recorder._tables.execute("SELECT sum(count) FROM inputs").fetchone()
        sizes.append(held)
    whole = sum(len(values) for values in samples.values())
    assert max(sizes) < 0.6 * whole


@pytest.mark.parametrize("stop", [1, 7, 29, 58])
def test_closed_and_reopened_it_goes_on(samples, expected, stop, tmp_path):
    recorder = DiskRecorder.begin(tmp_path / "a.db", monitor())
    for place, part in enumerate(chunks(samples, 8.0)):
        recorder.push(**part)
        if place == stop:
            break
    recorder.close()
    recorder = DiskRecorder.reopen(tmp_path / "a.db")
    for part in chunks(samples, 8.0, after=recorder.arrived):
        recorder.push(**part)
    assert recorder.finish().equals(in_memory(samples))
    assert recorder.changes == expected


def test_gaps_and_resets_are_kept_too(samples, tmp_path):
    found = []
    for reopened in (False, True):
        path = tmp_path / f"{reopened}.db"
        recorder = DiskRecorder.begin(path, monitor())
        recorder.push(**{role: samples[role][: round(140 * RATES[role])] for role in RATES})
        recorder.gap("ecg", until_s=150.0)
        recorder.reset()
        if reopened:
            recorder.close()
            recorder = DiskRecorder.reopen(path)
        rest = {role: samples[role][recorder.arrived[role] :] for role in RATES}
        recorder.push(**rest)
        recorder.finish()
        found.append(recorder.changes)
    assert found[0] == found[1]
    assert any(change.cause == "reset" for change in found[0])


def test_a_refused_push_leaves_nothing_on_disk(tmp_path):
    recorder = DiskRecorder.begin(tmp_path / "a.db", monitor())
    with pytest.raises(ArgumentError, match="ahead"):
        recorder.push(ecg=np.zeros(125 * 700))
    assert recorder.arrived == {"ecg": 0, "impedance": 0}
    assert recorder._tables.execute("SELECT count(*) FROM inputs").fetchone() == (0,)


def test_files_that_are_not_ours_are_refused(tmp_path):
    with pytest.raises(StateError, match="is not there"):
        DiskRecorder.reopen(tmp_path / "none.db")
    (tmp_path / "b.db").write_bytes(b"text" * 1000)
    with pytest.raises(StateError, match="cannot be used"):
        DiskRecorder.reopen(tmp_path / "b.db")
    with pytest.raises(StateError, match=r"is there already; go on with it by reopen\(\)"):
        DiskRecorder.begin(tmp_path / "b.db", monitor())
    with pytest.raises(StateError, match=r"the folder .*none does not exist; make it first"):
        DiskRecorder.begin(tmp_path / "none" / "c.db", monitor())


def test_a_closed_recorder_says_so(tmp_path):
    recorder = DiskRecorder.begin(tmp_path / "a.db", monitor())
    recorder.close()
    for use in (
        lambda: recorder.push(ecg=[0.0]),
        lambda: recorder.gap("ecg", until_s=1.0),
        recorder.finish,
        lambda: recorder.store,
        lambda: recorder.changes,
    ):
        with pytest.raises(StateError, match=r"recorder of a\.db is closed; go on with reopen"):
            use()
    assert DiskRecorder.reopen(tmp_path / "a.db").arrived == {"ecg": 0, "impedance": 0}


def test_a_monitor_that_has_been_pushed_already_is_refused(tmp_path):
    made = monitor()
    made.push(ecg=np.zeros(10))
    with pytest.raises(StateError, match=r"taken .*10.* samples already"):
        DiskRecorder.begin(tmp_path / "c.db", made)
    assert not (tmp_path / "c.db").exists()


CHILD = """
import sys
sys.path.insert(0, sys.argv[2])
import numpy as np
from test_disk_recorder import DiskRecorder, RATES, chunks
samples = {role: np.load(f"{sys.argv[1]}/{role}.npy") for role in RATES}
recorder = DiskRecorder.reopen(f"{sys.argv[1]}/a.db")
print("ready", recorder.changes_count, flush=True)
for part in chunks(samples, 4.0, after=recorder.arrived):
    recorder.push(**part)
    print("acknowledged", recorder.changes_count, recorder.arrived["ecg"], flush=True)
recorder.finish()
print("finished", flush=True)
"""


def test_killed_at_any_instant_nothing_acknowledged_is_lost_or_doubled(samples, expected, tmp_path):
    for role, values in samples.items():
        np.save(tmp_path / f"{role}.npy", values)
    DiskRecorder.begin(tmp_path / "a.db", monitor()).close()
    chance, kills, told = np.random.default_rng(5), 0, (0, 0)
    while True:
        command = [sys.executable, "-c", CHILD, str(tmp_path), str(Path(__file__).parent)]
        child = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        after, ended = int(chance.integers(10, 45)), False
        for count, line in enumerate(child.stdout):
            words = line.split()
            ended |= words[0] == "finished"
            if words[0] == "acknowledged":
                told = (int(words[1]), int(words[2]))
            if count == after and not ended:
                os.kill(child.pid, signal.SIGKILL)
                kills += 1
                break
        child.stdout.close()
        child.wait()
        recorder = DiskRecorder.reopen(tmp_path / "a.db")
        assert recorder.changes_count >= told[0]
        assert recorder.arrived["ecg"] >= told[1]
        if ended:
            break
        assert recorder.changes == expected[: recorder.changes_count]
        recorder.close()
    assert kills >= 3
    assert recorder.changes == expected
    assert recorder.store.equals(in_memory(samples))


def test_after_the_disk_has_failed_nothing_is_acknowledged(samples, tmp_path, monkeypatch):
    recorder = DiskRecorder.begin(tmp_path / "a.db", monitor())

    def full(*_):
        raise OSError("no space left")

    monkeypatch.setattr("infantmon.disk_tables.put_samples", full)
    part = next(chunks(samples, 8.0))
    with pytest.raises(OSError, match="no space"):
        recorder.push(**part)
    monkeypatch.undo()
    with pytest.raises(StateError, match="reopen"):
        recorder.push(**part)
    recorder.close()
    recorder = DiskRecorder.reopen(tmp_path / "a.db")
    assert recorder.arrived == {"ecg": 0, "impedance": 0}
    recorder.push(**part)


def test_after_the_disk_has_failed_a_reset_nothing_is_acknowledged(samples, tmp_path, monkeypatch):
    """The monitor has been reset, the disk has not: a push that went on would not add up."""
    recorder = DiskRecorder.begin(tmp_path / "a.db", monitor())
    for part in chunks(samples, 8.0):
        recorder.push(**part)
        if "latched" in recorder.monitor.state.conditions.values():
            break
    held = recorder.changes

    def full(*_):
        raise OSError("no space left")

    monkeypatch.setattr("infantmon.disk_tables.put_reset", full)
    with pytest.raises(OSError, match="no space"):
        recorder.reset()
    monkeypatch.undo()
    with pytest.raises(StateError, match=r"did not come to the disk.*reopen"):
        recorder.push(**part)
    recorder.close()
    recorder = DiskRecorder.reopen(tmp_path / "a.db")
    assert recorder.changes == held
    assert [change.cause for change in recorder.reset()] == ["reset"]


def test_what_is_refused_leaves_the_recorder_as_it_was(tmp_path):
    recorder = DiskRecorder.begin(tmp_path / "a.db", monitor())
    for refused in (
        lambda: recorder.push(ecg=np.zeros(125 * 1000)),
        lambda: recorder.gap("pulse", until_s=1.0),
        lambda: recorder.reset(at_s=np.nan),
    ):
        with pytest.raises(ArgumentError):
            refused()
    recorder.push(ecg=np.zeros(125), impedance=np.zeros(50))
    assert recorder.arrived == {"ecg": 125, "impedance": 50}
