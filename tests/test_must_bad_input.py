"""Bad input, at the command line and in Python: one clear error that names the thing and the fix.

At the command line: exit code 2, one message on standard error, no traceback, nothing written.
"""

import errno
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

import infantmon as im
from infantmon.cli import main

PLAN = "[apnea]\nlimit_s = 20\n"
TIMES_S = np.arange(0.0, 12.0, 0.01)


def table(head: str = "time_s,impedance [ohm],ecg [mV]", cells: dict | None = None) -> str:
    """A CSV of 12 s at 100 Hz; `cells` puts a text into (row, column)."""
    rows = [
        [f"{t:.3f}", f"{500 + np.sin(4 * t):.4f}", f"{np.sin(50 * t):.4f}"][: head.count(",") + 1]
        for t in TIMES_S
    ]
    for (row, column), text in (cells or {}).items():
        rows[row][column] = text
    return "\n".join([head, *(",".join(row) for row in rows)]) + "\n"


def stamped(hour: int, role: str) -> str:
    """A CSV with timestamps that begins at an hour."""
    rows = [f"2026-03-01T{hour:02}:00:{t:06.3f},{np.sin(4 * t):.4f}" for t in TIMES_S]
    return "\n".join([f"time,{role}", *rows]) + "\n"


def header(rate: str, samples: int = 10) -> str:
    return f"night 1 {rate} {samples}\nnight.dat 16 200/mV 16 0 0 0 0 ECG\n"


@dataclass(frozen=True)
class Bad:
    """Files, what is asked of the program, and words that its one message must hold."""

    files: dict[str, str | bytes]
    ask: str
    words: tuple[str, ...]
    plan: str | None = PLAN


GOOD = {"night.csv": table()}
DAT = {"night.dat": np.ones(10, dtype="<i2").tobytes()}
CASES = {
    "missing table": Bad({}, "nowhere.csv", ("nowhere.csv does not exist", "Check the name")),
    "missing record": Bad({}, "nowhere", ("no recording nowhere", "nowhere.hea", "Pass a")),
    "missing EDF": Bad({}, "nowhere.edf", ("nowhere.edf", "does not exist", "Check the name")),
    "missing signal file": Bad({"night.hea": header("250")}, "night", ("night.dat",)),
    "a folder": Bad({}, ".", ("is a folder, not a recording", "Pass a")),
    "unknown ending": Bad({"night.xyz": "?"}, "night.xyz", (".xyz", "known format", "Pass a")),
    "unknown ECG channel": Bad(
        GOOD, "night.csv --ecg V9", ("no channel 'V9'", "as ecg", "It has impedance (ohm, 100 Hz)")
    ),
    "unknown impedance channel": Bad(
        GOOD, "night.csv --impedance air", ("no channel 'air'", "as impedance", "ecg (mV, 100 Hz)")
    ),
    "no channel by name and unit": Bad(
        {"night.csv": table("time_s,pleth,flow")}, "night.csv", ("pleth", "--ecg NAME")
    ),
    "one channel twice": Bad(
        GOOD, "night.csv --ecg ecg --impedance ecg", ("in two roles", "Choose another")
    ),
    "rate 0": Bad(
        {"night.hea": header("0"), **DAT}, "night", ("night.hea", "of 0 Hz", "above 0 Hz", "Write")
    ),
    "negative rate": Bad(
        {"night.hea": header("-250"), **DAT}, "night", ("night.hea", "of -250 Hz", "above 0 Hz")
    ),
    "rate NaN": Bad(
        {"night.hea": header("nan"), **DAT}, "night", ("night.hea", "of nan Hz", "above 0 Hz")
    ),
    "rate left out": Bad(
        {"night.hea": "night 1\nnight.dat 16 200/mV 16 0 0 0 0 ECG\n", **DAT},
        "night",
        ("night.hea", "states no sampling rate", "none is assumed", "Write it"),
    ),
    "no rate in a table": Bad(
        {"night.csv": table("impedance [ohm]")}, "night.csv", ("no time column", "never assumed")
    ),
    "a rate too low for the ECG": Bad(
        {"night.csv": "\n".join(["time_s,ecg [mV]", *(f"{k / 30:.5f},0.1" for k in range(300))])},
        "night.csv",
        ("30 Hz", "lowest rate", "62.5 Hz"),
    ),
    "a table without rows": Bad(
        {"night.csv": "time_s,ecg\n"}, "night.csv", ("no line of samples",)
    ),
    "an empty table": Bad({"night.csv": ""}, "night.csv", ("night.csv", "no header line")),
    "a record without samples": Bad(
        {"night.hea": header("250", 0), "night.dat": b""}, "night", ("night.hea", "no samples")
    ),
    "channels that do not overlap": Bad(
        {"a.csv": stamped(0, "ecg"), "b.csv": stamped(5, "impedance")},
        "a.csv b.csv",
        ("do not overlap in time", "18000 s", "Check their start times"),
    ),
    "records at the same time": Bad(
        {"a.csv": stamped(0, "ecg"), "b.csv": stamped(0, "ecg")},
        "a.csv b.csv",
        ("must not overlap", "of one infant?"),
    ),
    "text in a column of numbers": Bad(
        {"night.csv": table(cells={(300, 1): "loose"})},
        "night.csv",
        ("night.csv", "line 302", "'impedance'", "'loose'", "Correct it"),
    ),
    "text in the time column": Bad(
        {"night.csv": table(cells={(300, 0): "later"})}, "night.csv", ("line 302", "'later'")
    ),
    "time that goes back": Bad(
        {"night.csv": table(cells={(300, 0): "0.5"})}, "night.csv", ("line 302", "goes back")
    ),
    "missing prescription": Bad(GOOD, "night.csv", ("plan.toml", "check the path"), plan=None),
    "no prescription asked for": Bad(GOOD, "night.csv !", ("--prescription",)),
    "prescription that is no TOML": Bad(
        GOOD, "night.csv", ("plan.toml", "not valid TOML", "line 1"), plan="apnea = \n"
    ),
    "prescription of bytes": Bad(
        GOOD, "night.csv", ("plan.toml", "not valid TOML"), plan="# \udcff\n"
    ),
    "unknown table": Bad(
        GOOD, "night.csv", ("plan.toml", "snoring", "take it out"), plan="[snoring]\nlimit_s = 5\n"
    ),
    "limit left out": Bad(
        GOOD, "night.csv", ("apnea.limit_s", "no limit has a default"), plan="[apnea]\n"
    ),
    "limit out of range": Bad(
        GOOD, "night.csv", ("apnea.limit_s", "at least 5", "0.2"), plan="[apnea]\nlimit_s = 0.2\n"
    ),
    "limit NaN": Bad(
        GOOD, "night.csv", ("apnea.limit_s", "finite", "nan"), plan="[apnea]\nlimit_s = nan\n"
    ),
    "limit in quotes": Bad(
        GOOD, "night.csv", ("apnea.limit_s", "without quotes"), plan='[apnea]\nlimit_s = "20"\n'
    ),
    "a limit that is true": Bad(
        GOOD, "night.csv", ("apnea.limit_s", "a number", "True"), plan="[apnea]\nlimit_s = true\n"
    ),
    "a number for a table": Bad(
        GOOD, "night.csv", ("apnea", "must be a table", "20"), plan="apnea = 20\n"
    ),
    "a table and a limit that are not known": Bad(
        GOOD,
        "night.csv",
        ("low_hart_rate", "known are apnea, low_heart_rate", "apnea.limit", "known are limit_s)"),
        plan="[apnea]\nlimit_s = 20\nlimit = 20\n[low_hart_rate]\nlimit_bpm = 80\n",
    ),
    "two faults at once": Bad(
        GOOD,
        "night.csv",
        ("2 faults", "low_heart_rate.hold_off_s", "apnea.limit_s"),
        plan="[apnea]\n[low_heart_rate]\nlimit_bpm = 80\naverage_beats = 8\n",
    ),
    "limits the wrong way round": Bad(
        GOOD,
        "night.csv",
        ("low limit is 90", "high limit 80", "must be below"),
        plan="[low_heart_rate]\nlimit_bpm = 90\nhold_off_s = 0\naverage_beats = 1\n"
        "[high_heart_rate]\nlimit_bpm = 80\nhold_off_s = 0\naverage_beats = 1\n",
    ),
    "unknown option": Bad(GOOD, "night.csv --louder", ("--louder",)),
    "nothing to review": Bad(GOOD, "", ("record",)),
}


def laid_out(case: Bad, folder: Path) -> list[str]:
    """Write the files of a case, and return the arguments (! leaves the prescription out)."""
    for name, content in case.files.items():
        data = content if isinstance(content, bytes) else content.encode()
        (folder / name).write_bytes(data)
    if case.plan is not None:
        (folder / "plan.toml").write_bytes(case.plan.encode(errors="surrogateescape"))
    words = case.ask.split()
    plan = [] if "!" in words else ["--prescription", "plan.toml"]
    return ["review", *(w for w in words if w != "!"), *plan, "--out", "out"]


@pytest.mark.parametrize("name", CASES)
def test_one_clear_error_and_exit_code_2_and_nothing_written(name, tmp_path, monkeypatch, capsys):
    case = CASES[name]
    monkeypatch.chdir(tmp_path)
    arguments = laid_out(case, tmp_path)
    before = contents(tmp_path)
    assert main(arguments) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert_one_message(told.err, case.words)
    assert contents(tmp_path) == before


@pytest.mark.parametrize(
    "name",
    ["missing table", "text in a column of numbers", "unknown option", "missing prescription"],
)
def test_the_program_itself_ends_so_too(name, tmp_path):
    case = CASES[name]
    arguments = laid_out(case, tmp_path)
    before = contents(tmp_path)
    command = [sys.executable, "-m", "infantmon", *arguments]
    run = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert run.returncode == 2
    assert run.stdout == ""
    assert_one_message(run.stderr, case.words)
    assert contents(tmp_path) == before


def assert_one_message(text: str, words: tuple[str, ...]) -> None:
    assert "Traceback" not in text
    assert text.count("infantmon: ") + text.count("Error: ") == 1
    for word in words:
        assert word in text


def contents(folder: Path) -> dict[str, bytes]:
    """Everything in a folder: files with their bytes, folders as such."""
    return {
        str(p.relative_to(folder)): p.read_bytes() if p.is_file() else b"a folder"
        for p in folder.rglob("*")
    }


def test_a_folder_that_is_there_stays_as_it_was(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "review.html").write_text("yesterday")
    assert main(laid_out(CASES["text in a column of numbers"], tmp_path)) == 2
    assert contents(tmp_path / "out") == {"review.html": b"yesterday"}
    assert capsys.readouterr().out == ""


def test_a_place_that_cannot_be_written_to_is_told(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "night.csv").write_text(table())
    (tmp_path / "plan.toml").write_text(PLAN)
    (tmp_path / "out").write_text("a file, not a folder")
    assert main(["review", "night.csv", "--prescription", "plan.toml", "--out", "out"]) == 2
    told = capsys.readouterr().err
    assert_one_message(told, ("cannot write to out", "another folder with --out"))
    assert (tmp_path / "out").read_text() == "a file, not a folder"


@pytest.mark.parametrize("failing", ["write_json", "write_events_csv"])
@pytest.mark.parametrize("there", [True, False])
def test_a_disk_that_fills_leaves_nothing_half_written(
    tmp_path, monkeypatch, capsys, failing, there
):
    def full(*_told):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(f"infantmon.report.files.{failing}", full)
    (tmp_path / "night.csv").write_text(table())
    (tmp_path / "plan.toml").write_text(PLAN)
    if there:
        (tmp_path / "out").mkdir()
        (tmp_path / "out" / "review.html").write_text("yesterday")
    before = contents(tmp_path)
    assert main(["review", "night.csv", "--prescription", "plan.toml", "--out", "out"]) == 2
    assert_one_message(capsys.readouterr().err, ("cannot write to out", "No space left", "--out"))
    assert contents(tmp_path) == before


def test_the_demonstration_tells_it_too(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "out").write_text("a file, not a folder")
    assert main(["demo", "--out", "out"]) == 2
    assert_one_message(capsys.readouterr().err, ("cannot write to out", "--out"))


def test_the_same_command_works_when_nothing_is_wrong(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "night.csv").write_text(table())
    (tmp_path / "plan.toml").write_text(PLAN)
    assert main(["review", "night.csv", "--prescription", "plan.toml", "--out", "out"]) == 0
    assert {p.name for p in (tmp_path / "out").iterdir()} >= {"review.html", "events.json"}
    assert "infantmon: " not in capsys.readouterr().err


def channel(**more):
    return im.Channel(np.zeros(100), **{"rate_hz": 100.0, **more})


@pytest.mark.parametrize("rate_hz", [0, 0.0, -250.0, np.nan, np.inf, "250", None, True])
@pytest.mark.parametrize(
    "call",
    [
        lambda rate: im.Channel(np.zeros(100), rate_hz=rate),
        lambda rate: im.detect_r_peaks(np.zeros(100), rate_hz=rate),
        lambda rate: im.detect_breaths(np.zeros(100), rate_hz=rate),
        lambda rate: (
            im.Monitor(im.Prescription(), ecg_hz=rate, impedance_hz=50.0)
            if rate is not None
            else im.Monitor(im.Prescription())
        ),
    ],
    ids=["Channel", "detect_r_peaks", "detect_breaths", "Monitor"],
)
def test_a_rate_that_cannot_be_one_raises_at_once(call, rate_hz):
    with pytest.raises(im.ArgumentError, match=r"(_hz is .*Hz|give a rate)"):
        call(rate_hz)


@pytest.mark.parametrize("call", [im.detect_r_peaks, im.detect_breaths, im.Channel])
def test_a_rate_left_out_is_a_type_error_that_names_it(call):
    with pytest.raises(TypeError, match="rate_hz"):
        call(np.zeros(100))


@pytest.mark.parametrize("call", [im.detect_r_peaks, im.detect_breaths])
@pytest.mark.parametrize("wrong", [np.zeros((2, 50)), np.array(["a", "b"]), np.array([1j, 2j])])
def test_samples_that_are_none_raise_at_once(call, wrong):
    with pytest.raises(im.ArgumentError, match=r"(shape|type).*expected"):
        call(wrong, rate_hz=100.0)


def test_a_recording_without_samples_says_so():
    with pytest.raises(im.RecordingError, match="holds no samples; nothing can be reviewed"):
        im.Recording({"ecg": im.Channel([], rate_hz=100.0)})


def test_channels_that_do_not_overlap_say_so():
    with pytest.raises(im.RecordingError, match=r"do not overlap.*Check their start times"):
        im.Recording({"ecg": channel(), "impedance": channel(start_s=60.0)})


def test_a_role_that_is_none_says_which_there_are():
    with pytest.raises(im.ArgumentError, match=r"'pleth'.*ecg, ecg2, impedance"):
        im.Recording({"pleth": channel()})


def test_a_missing_file_in_python():
    with pytest.raises(im.RecordingError, match=r"nowhere\.csv does not exist.*Check the name"):
        im.read("nowhere.csv")


def test_an_ill_prescription_in_python():
    with pytest.raises(im.PrescriptionError, match=r"apnea\.limit_s.*finite"):
        im.Prescription(apnea={"limit_s": np.nan})


@pytest.mark.parametrize("swap", ["recording", "plan"])
def test_review_says_which_argument_is_of_another_kind(swap):
    right = {"recording": im.Recording({"ecg": channel()}), "plan": im.Prescription()}
    with pytest.raises(im.ArgumentError, match=f"{swap} is a str; pass an infantmon"):
        im.review(**{**right, swap: "night"})
