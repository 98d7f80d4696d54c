"""Frames on a pipe: the same changes as one push; what is no frame is told, counted, skipped."""

import io
import json
import math
import os
import signal
import subprocess
import sys
import tracemalloc
from pathlib import Path

import numpy as np
import pytest

import infantmon as im
from infantmon import simulate as sim
from infantmon.cli import main
from infantmon.cli_stream import _Lines
from infantmon.disk_recorder import DiskRecorder
from infantmon.formats import write_edf
from infantmon.framed import LONGEST_LINE, FrameReader, frames_of

PLAN = im.Prescription(apnea={"limit_s": 10}, contact_loss={"delay_s": 5})
RATES = {"ecg": 125.0, "impedance": 50.0}


def monitor():
    return im.Monitor(PLAN, ecg_hz=125.0, impedance_hz=50.0)


@pytest.fixture(scope="module")
def recording():
    events = (sim.Pause(40.0, 15.0), sim.LooseElectrode(80.0, 15.0))
    return sim.simulate_night(sim.Scenario(120.0, 125.0, 50.0, events=events), 3).recording


def expected(recording):
    made = monitor()
    channels = recording.channels
    return made.push(**{r: channels[r].segments[0].values for r in RATES}) + made.finish()


def read(lines):
    made, told = monitor(), []
    reader = FrameReader(made, RATES, lambda number, why: told.append((number, why)))
    found = list(reader.changes(io.BytesIO(b"".join(lines))))
    return found + made.finish(), reader, told


@pytest.mark.parametrize("step_s", [0.37, 1.0, 60.0])
def test_frames_give_what_one_push_gives(recording, step_s):
    found, reader, _ = read(frames_of(recording, step_s=step_s))
    assert found == expected(recording)
    assert found
    assert reader.skipped == 0


@pytest.mark.parametrize("drift", [0.0, 300e-6, -300e-6])
def test_samples_that_come_otherwise_than_as_lines_are_taken_alike(recording, drift):
    """A binary source: each packet with a time of its own clock, which drifts against the ECG's."""
    made, told = monitor(), []
    reader = FrameReader(made, RATES, lambda number, why: told.append((number, why)))
    packets = []
    for role, rate, count, off in (("ecg", 125.0, 41, 0.0), ("impedance", 50.0, 17, drift)):
        values = recording.channels[role].segments[0].values
        packets += [
            (first / rate * (1.0 + off), {role: values[first : first + count]})
            for first in range(0, len(values), count)
        ]
    packets.sort(key=lambda packet: packet[0])
    found = [change for time_s, packet in packets for change in reader.push(time_s, **packet)]
    found += made.finish()
    known = [(c.kind, c.state) for c in found]
    assert known.count(("apnea", "active")) == 2  # the pause, and the electrode that came loose
    if not drift:
        assert sorted(map(repr, found)) == sorted(map(repr, expected(recording)))
    moved = reader.missing_s["impedance"] - reader.repeated_s["impedance"]
    assert moved == pytest.approx(120.0 * drift, abs=1.6 / 50.0)
    assert (reader.missing_s["ecg"], reader.repeated_s["ecg"]) == (0.0, 0.0)
    assert reader.skipped == 0


def test_a_push_of_wrong_arguments_raises_and_one_that_does_not_fit_is_told():
    made, told = monitor(), []
    reader = FrameReader(made, RATES, lambda number, why: told.append((number, why)))
    with pytest.raises(im.ArgumentError, match="time_s is '3'; a number in s is expected"):
        reader.push("3", ecg=[0.0])
    with pytest.raises(im.ArgumentError, match=r"channels \['ecg2'\]; ecg, impedance are expected"):
        reader.push(0.0, ecg2=[0.0])
    with pytest.raises(im.ArgumentError, match="ecg has shape"):
        reader.push(0.0, ecg=[[0.0]])
    assert reader.push(0.0, ecg=np.zeros(125)) == []
    assert reader.push(0.0, ecg=np.zeros(100)) == []
    assert reader.push(9000.0, ecg=np.zeros(100)) == []
    assert made.arrived == {"ecg": 125, "impedance": 0}
    assert [number for number, _ in told] == [2, 3]
    assert (reader.frames, reader.skipped) == (1, 2)


BAD = [
    b"\n", b"{\n", b"[]\n", b"{}\n", b'{"time_s": 5}\n', b'{"time_s": "5", "ecg": []}\n',
    b'{"time_s": 500, "ecg": 5}\n', b'{"time_s": 500, "ecg": [true]}\n', b"\xff\xfe\n",
    b'{"time_s": 500, "pulse": [1]}\n', b'{"time_s": 1e300, "ecg": [1]}\n', b"[" * 5000 + b"\n",
    b'{"time_s": 9000, "ecg": [1]}\n', b'{"time_s": NaN, "ecg": [1]}\n',
    b'{"time_s": 500, "ecg": [1' + b"0" * 400 + b"]}\n", b"7" * (2 * LONGEST_LINE) + b"\n",
]  # fmt: skip


def test_what_is_no_frame_is_told_with_its_line_and_skipped(recording):
    frames = list(frames_of(recording, step_s=1.0))
    found, reader, told = read([frames[0], *BAD, *frames[1:], frames[3]])
    assert found == expected(recording)
    assert reader.skipped == len(BAD)  # one of them is only empty, and one frame came twice
    assert [number for number, _ in told] == [*range(3, 2 + len(BAD)), reader.lines]
    assert "before the end of what has come" in told[-1][1]


def test_a_hole_between_frames_is_a_gap(recording):
    lost = [f for f in frames_of(recording, step_s=1.0) if not 60 <= json.loads(f)["time_s"] < 75]
    made = monitor()
    channels = {role: recording.channels[role].segments[0].values for role in RATES}
    want = made.push(**{r: v[: round(60 * RATES[r])] for r, v in channels.items()})
    for role in RATES:
        want += made.gap(role, until_s=75.0)
    want += made.push(**{r: v[round(75 * RATES[r]) :] for r, v in channels.items()})
    assert read(lost)[0] == want + made.finish()


def stamped(recording, stamp, step_s=1.0):
    """Frames of so many seconds, each with the time that a source gives it."""
    for line in frames_of(recording, step_s=step_s):
        frame = json.loads(line)
        yield json.dumps(frame | {"time_s": stamp(frame["time_s"])}).encode() + b"\n"


@pytest.mark.parametrize("rounded", [math.floor, math.ceil, round])
def test_a_source_that_rounds_its_times_and_its_samples_loses_nothing(rounded):
    rate, made, told = 62.5, im.Monitor(PLAN, impedance_hz=62.5), []
    values = np.sin(np.arange(6250) / 20.0)
    reader = FrameReader(made, {"impedance": rate}, lambda *what: told.append(what))
    for second in range(100):
        part = values[rounded(second * rate) : rounded((second + 1) * rate)]
        reader.take(json.dumps({"time_s": second, "impedance": part.tolist()}).encode())
    assert (told, reader.missing_s, reader.repeated_s) == ([], {"impedance": 0}, {"impedance": 0})
    assert made.arrived == {"impedance": 6250}


@pytest.mark.parametrize("drift", [-1e-3, 1e-3])
def test_a_clock_that_drifts_costs_no_more_than_it_drifts(recording, drift):
    found, reader, told = read(stamped(recording, lambda time_s: time_s * (1.0 + drift)))
    off_s = abs(drift) * 120.0
    seconds, other = reader.missing_s, reader.repeated_s
    if drift < 0.0:
        seconds, other = other, seconds
        assert "left out in part: ecg begins 0.016 s before the end" in told[0][1]
    assert reader.skipped == 0
    for role, rate in RATES.items():
        assert 0.0 < seconds[role] <= off_s + 2.0 / rate
        assert other[role] == 0.0
    kinds = [(change.kind, change.state) for change in found]
    assert kinds == [(change.kind, change.state) for change in expected(recording)]


def test_what_a_frame_says_again_is_left_out_and_counted(recording):
    """Each frame of two seconds holds the second before again."""
    channels = recording.channels
    again = []
    for second in range(120):
        first_s = max(second - 1, 0)
        parts = {role: channels[role].between(first_s, second + 1)[1].tolist() for role in RATES}
        again.append(json.dumps({"time_s": first_s} | parts).encode() + b"\n")
    found, reader, told = read(again)
    assert found == expected(recording)
    assert (reader.frames, reader.skipped) == (120, 0)
    assert reader.repeated_s == pytest.approx(dict.fromkeys(RATES, 119.0))
    assert [number for number, _ in told] == list(range(2, 121))


def test_one_channel_may_come_again_while_the_other_is_new():
    ecg, impedance = [0.1] * 125, [500.0] * 50
    reader = FrameReader(made := monitor(), RATES)
    reader.take(json.dumps({"time_s": 0, "ecg": ecg}).encode())
    reader.take(json.dumps({"time_s": 0, "ecg": ecg, "impedance": impedance}).encode())
    assert made.arrived == {"ecg": 125, "impedance": 50}
    assert reader.repeated_s == {"ecg": 1.0, "impedance": 0.0}


def test_after_hours_of_silence_the_stream_goes_on(recording):
    """One frame so far ahead may have a wrong time; one that follows it shows that it is right."""
    late = list(stamped(recording, lambda time_s: time_s + (7200.0 if time_s >= 60.0 else 0.0)))
    found, reader, told = read(late)
    assert told == [  # a frame holds one channel
        (121, "skipped: ecg begins 7200 s ahead; 3600 s at most"),
        (122, "skipped: impedance begins 7200 s ahead; 3600 s at most"),
    ]
    assert reader.missing_s == {"ecg": 7201.0, "impedance": 7201.0}
    usable_s = [change.known_s for change in found if change.cause == "signal usable again"]
    assert usable_s[0] == pytest.approx(7261.0, abs=1.5)


def test_wrong_times_do_not_carry_the_stream_away(recording):
    """Neither scattered ones, nor one beyond a week that others follow."""
    frames = list(frames_of(recording, step_s=1.0))
    far = [json.dumps({"time_s": at_s, "ecg": [0.0]}).encode() + b"\n" for at_s in (9e3, 5e4, 9e3)]
    weeks = [json.dumps({"time_s": 7e5 + k, "ecg": [0.0]}).encode() + b"\n" for k in range(5)]
    found, reader, told = read([*frames[:50], *far, *frames[50:90], *weeks, *frames[90:]])
    assert found == expected(recording)
    assert reader.skipped == len(told) == 8
    assert "604800 s at most" in told[-1][1]


def test_a_silent_channel_does_not_stop_the_other():
    lines = [
        json.dumps({"time_s": 1.0 * k, "ecg": [0.1] * 125}).encode() + b"\n" for k in range(900)
    ]
    found, _, _ = read(lines)
    assert ("signal unusable", "active") in {(c.kind, c.state) for c in found}


def test_random_lines_never_break_it_nor_grow_it():
    chance = np.random.default_rng(11)
    made = monitor()
    reader = FrameReader(made, RATES)
    words = [
        b'{"time_s":',
        b"1.5",
        b'"ecg":',
        b"[",
        b"]",
        b"}",
        b",",
        b"null",
        b"-",
        b"1e9",
        b"\x00",
    ]

    def lines(count):
        for _ in range(count):
            if chance.random() < 0.5:
                yield chance.bytes(int(chance.integers(1, 60)))
            else:
                yield b"".join(words[k] for k in chance.integers(0, len(words), 8))

    for line in lines(2000):
        reader.take(line)
    tracemalloc.start()
    before = tracemalloc.get_traced_memory()[0]
    for line in lines(20_000):
        reader.take(line)
    grown = tracemalloc.get_traced_memory()[0] - before
    tracemalloc.stop()
    assert grown < 200_000
    assert reader.skipped > 20_000


def test_the_command_says_first_that_it_is_no_live_use_and_flushes_at_the_end(recording, tmp_path):
    (tmp_path / "limits.toml").write_text("[apnea]\nlimit_s = 10\n", encoding="utf-8")
    call = [
        sys.executable, "-c", "from infantmon.cli import run; run()", "stream", "--prescription",
        str(tmp_path / "limits.toml"), "--ecg-hz", "125", "--impedance-hz", "50",
        "--record", str(tmp_path / "a.db"),
    ]  # fmt: skip
    sent = b"".join([*frames_of(recording, step_s=1.0), b"no frame\n"])
    done = subprocess.run(call, input=sent, capture_output=True, check=True)
    lines = done.stdout.decode().splitlines()
    assert lines[0] == "Replay and bench use only, not on an infant."
    assert any("apnea: active" in line for line in lines)
    assert lines[-1].endswith("1 skipped")
    assert b"skipped: not JSON" in done.stderr


@pytest.fixture
def streamed(tmp_path, monkeypatch, capsys):
    """Run the command in this process (the test above runs it in one of its own)."""
    (tmp_path / "limits.toml").write_text("[apnea]\nlimit_s = 10\n", encoding="utf-8")
    monkeypatch.chdir(tmp_path)

    def call(sent, *words):
        monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(sent)))
        code = main(["stream", "--prescription", "limits.toml", *words])
        told = capsys.readouterr()
        return code, told.out.splitlines(), told.err

    return call


def test_a_rate_that_is_stated_wrong_shows_in_what_is_told(recording, streamed):
    sent = b"".join(frames_of(recording, step_s=1.0))
    _, told, _ = streamed(sent, "--ecg-hz", "125", "--impedance-hz", "100")
    *_, missing, end = told
    assert missing == "impedance: 59.5 s missing between frames, if its rate is 100 Hz"
    assert end == "240 frames in 240 lines; 0 skipped"
    _, told, low = streamed(sent, "--ecg-hz", "125", "--impedance-hz", "40")
    assert "check time_s and the rate, 40 Hz" in low
    words = "impedance: 29.75 s had come already and were left out, if its rate is 40 Hz"
    assert told[-2] == words


def test_the_command_says_what_is_not_watched(streamed):
    _, told, _ = streamed(b"", "--ecg-hz", "125")
    assert told[1].startswith("not watched (no limit set): low heart rate, ")
    assert told[2] == "not watched (no channel for it): apnea"
    _, lines, _ = streamed(b"", "--ecg-hz", "125", "--json")
    assert {"apnea", "low heart rate"} <= set(json.loads(lines[0])["not_watched"])


def test_a_stream_of_which_no_line_was_taken_has_failed(recording, streamed):
    words = ("--ecg-hz", "125", "--impedance-hz", "50")
    code, told, fault = streamed(b"time_s,ecg\n0,0.1\n", *words)
    assert (code, told[-1]) == (2, "0 frames in 2 lines; 2 skipped")
    assert "not one of 2 lines was a frame; each is a JSON object" in fault
    first = next(frames_of(recording, step_s=10.0))
    assert streamed(b"no frame\n" + first, *words)[0] == 0
    assert streamed(b"", *words)[0] == 0


def test_a_stream_that_came_to_its_end_is_not_gone_on_with(recording, streamed):
    sent = b"".join(frames_of(recording, step_s=10.0))
    words = ("--ecg-hz", "125", "--impedance-hz", "50", "--record", "a.db")
    assert streamed(sent, *words)[0] == 0
    told = "infantmon: a.db holds a stream that came to its end; name another file.\n"
    assert streamed(sent, *words) == (2, [], told)


def test_a_file_that_was_begun_in_another_unit_is_not_gone_on_with(recording, streamed, tmp_path):
    first = next(frames_of(recording, step_s=10.0))
    words = ("--ecg-hz", "125", "--impedance-hz", "50")
    plan = im.Prescription(apnea={"limit_s": 10})
    begun = im.Monitor(plan, ecg_hz=125.0, impedance_hz=50.0)
    recorder = DiskRecorder.begin(tmp_path / "a.db", begun)
    recorder.close()
    code, told, fault = streamed(first, *words, "--ecg-unit", "mV", "--record", "a.db")
    assert (code, told) == (2, [])
    assert "begun with other limits, rates or units" in fault
    assert streamed(first, *words, "--record", "a.db")[0] == 0


def test_an_interrupt_ends_the_stream_between_two_frames(recording, tmp_path):
    """However it falls: what has come is said, and is on disk."""
    (tmp_path / "limits.toml").write_text("[apnea]\nlimit_s = 10\n", encoding="utf-8")
    call = [
        sys.executable, "-m", "infantmon", "stream", "--prescription", "limits.toml",
        "--ecg-hz", "125", "--impedance-hz", "50", "--record", "a.db",
    ]  # fmt: skip
    here = os.environ | {"PYTHONPATH": str(Path(__file__).parents[1])}
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    with subprocess.Popen(call, cwd=tmp_path, env=here, **pipes) as child:
        lines = list(frames_of(recording, step_s=1.0))
        child.stdin.write(b"".join(lines[:130]))
        child.stdin.flush()
        while b"apnea: active" not in (line := child.stdout.readline()):
            assert line  # it has not ended
        child.send_signal(signal.SIGINT)  # while frames are left in the pipe: mostly in a push
        out, errors = child.communicate()
    assert (child.returncode, errors) == (0, b"")
    frames = int(out.decode().splitlines()[-1].split()[0])
    assert 0 < frames <= 130
    recorder = DiskRecorder.reopen(tmp_path / "a.db")
    assert recorder.finished
    seconds = math.ceil(frames / 2)  # a frame is a second of one channel
    assert recorder.arrived == {"ecg": seconds * 125, "impedance": seconds * 50}


def test_lines_end_at_an_interrupt_but_a_push_is_not_broken_off():
    lines = _Lines(io.BytesIO(b"one\ntwo\n"))
    assert lines.readline(99) == b"one\n"
    lines.interrupt()  # as from a signal that falls in a push: nothing is raised
    assert lines.readline(99) == b""
    with pytest.raises(KeyboardInterrupt):
        lines.interrupt()  # a second one breaks off

    class Waits(io.BytesIO):
        def readline(self, *_):
            waiting.interrupt()

    waiting = _Lines(Waits())
    assert waiting.readline(99) == b""


def test_a_replay_keeps_pace(recording):
    import time

    begun = time.monotonic()
    list(frames_of(recording, step_s=10.0, pace=240.0))
    assert 0.5 <= time.monotonic() - begun < 5.0


def test_a_recording_of_two_files_is_replayed_by_the_names_of_its_channels(
    recording, tmp_path, capsysbinary
):
    """Two leads in a file of their own, of which the second is asked for, beside the impedance."""
    ecg, chest = recording.channels["ecg"], recording.channels["impedance"]
    values = ecg.segments[0].values
    leads = [
        im.Channel(v, rate_hz=125.0, unit="mV", name=n) for v, n in ((values, "I"), (-values, "V"))
    ]
    write_edf(im.Recording(dict(zip(("ecg", "ecg2"), leads, strict=True))), tmp_path / "a.edf")
    write_edf(im.Recording({"impedance": chest}), tmp_path / "b.edf")
    files = [str(tmp_path / name) for name in ("a.edf", "b.edf")]
    assert main(["replay", *files, "--ecg", "V", "--pace", "0"]) == 0
    told = capsysbinary.readouterr()
    joined = im.read(*files, ecg="V")
    assert np.allclose(joined.ecg.segments[0].values[: len(values)], -values, atol=0.01)
    assert told.out == b"".join(frames_of(joined))
    options = b"--ecg-hz 125 --ecg-unit mV --impedance-hz 50 --impedance-unit ohm"
    assert told.err.strip() == b"infantmon stream " + options


def test_a_stream_without_a_channel_says_which_options_to_give(tmp_path, capsys):
    (tmp_path / "limits.toml").write_text("[apnea]\nlimit_s = 20\n")
    assert main(["stream", "--prescription", str(tmp_path / "limits.toml")]) == 2
    assert "give --ecg-hz, --impedance-hz or both" in capsys.readouterr().err
