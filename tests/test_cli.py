"""The command line: for people, for machines, in pipes, on narrow terminals, in the shell."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from infantmon.cli import main
from infantmon.cli_review import other_plans
from infantmon.errors import ArgumentError
from infantmon.formats import write_csv
from infantmon.model.prescription import Prescription
from infantmon.report.cautions import CAUTIONS, NOTICE, SHORT_NOTICE
from infantmon.report.plain_table import plain_table
from infantmon.report.schema import review_schema
from infantmon.simulate import Scenario, simulate_night

PLAN = '[apnea]\nlimit_s = 20\n[prescriber]\nname = "Dr. Madeup"\n'
COMMANDS = (
    "downloads",
    "demo",
    "review",
    "batch",
    "simulate",
    "selftest",
    "deidentify",
    "fetch",
    "score",
    "version",
)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A folder with a short recording and its limits, in which the commands run."""
    monkeypatch.chdir(tmp_path)
    write_csv(
        simulate_night(
            Scenario(duration_s=90.0, ecg_hz=250.0, impedance_hz=50.0), seed=3
        ).recording,
        "susie.csv",
    )
    Path("limits.toml").write_text(PLAN)
    return tmp_path


def review(*more: str) -> int:
    return main(["review", "susie.csv", "--prescription", "limits.toml", "--out", "out", *more])


def shell(*words: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run the program as a process of its own, its output in a pipe."""
    code = "from infantmon.cli import run; run()"
    return subprocess.run(
        [sys.executable, "-c", code, *words],
        env=os.environ | environment,
        capture_output=True,
        text=True,
        check=False,
        timeout=100,
    )


@pytest.mark.usefixtures("folder")
def test_json_is_one_document_with_the_notice_and_fits_the_schema(capsys) -> None:
    assert review("--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["notice"] == NOTICE
    assert all(Path(path).is_file() for path in told.pop("files"))
    Draft202012Validator(review_schema()).validate(told)


@pytest.mark.usefixtures("folder")
def test_nothing_identifying_is_written_unless_asked(capsys) -> None:
    assert review("--parquet", "--marks") == 0
    written = b"".join(path.read_bytes() for path in Path("out").iterdir())
    told = capsys.readouterr().out
    for word in ("susie", "Madeup"):
        assert word.encode() not in written
        assert word not in told
    assert review("--identity") == 0
    page = Path("out/review.html").read_text(encoding="utf-8")
    assert "susie" in page
    assert "Dr. Madeup" in page
    assert "susie: 1.5 min recorded" in capsys.readouterr().out


@pytest.mark.usefixtures("folder")
def test_quiet_prints_nothing(capsys) -> None:
    assert review("--quiet") == 0
    assert capsys.readouterr() == ("", "")


@pytest.mark.usefixtures("folder")
def test_the_page_has_the_what_if_table_and_the_hours_asked_for() -> None:
    assert review("--what-if", "apnea.limit_s=15,25", "--least-hours", "3") == 0
    page = Path("out/review.html").read_text(encoding="utf-8")
    assert "apnea: limit 15 s" in page
    assert "apnea: limit 25 s" in page
    assert "usable for 3.00 h or more" in page
    assert review() == 0
    page = Path("out/review.html").read_text(encoding="utf-8")
    assert "apnea: limit 18 s" in page
    assert "apnea: limit 22 s" in page
    assert "recommends no limit" in page


@pytest.mark.usefixtures("folder")
def test_hours_that_no_day_has_are_refused_before_anything_is_read(capsys) -> None:
    Path("susie.csv").unlink()
    assert review("--least-hours", "25") == 2
    assert "--least-hours is 25 h" in capsys.readouterr().err


def test_a_what_if_that_cannot_be_is_refused() -> None:
    plan = Prescription(apnea={"limit_s": 20})
    with pytest.raises(ArgumentError, match=r"--what-if is 'apnea.limit_s'; a limit and its"):
        other_plans(plan, ["apnea.limit_s"])
    with pytest.raises(ArgumentError, match=r"this prescription has apnea.limit_s"):
        other_plans(plan, ["low_heart_rate.limit_bpm=60"])


def test_the_demonstration_for_machines(tmp_path, capsys) -> None:
    assert main(["demo", "--out", str(tmp_path), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["notice"] == NOTICE
    assert {row["known"]["what"] for row in told["rows"] if row["known"]} >= {"apnea", "movement"}
    assert sorted(Path(path).name for path in told["files"]) == [
        "events.csv", "events.json", "review.html",
    ]  # fmt: skip


def test_simulation_and_copies_for_machines(folder, capsys) -> None:
    (folder / "night.toml").write_text(
        "duration_s = 30\necg_hz = 250\nimpedance_hz = 50\nseed = 2\n"
    )
    assert main(["simulate", "night.toml", "--out", "night", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["invented"] is True
    assert all(Path(path).is_file() for path in told["files"])
    assert main(["deidentify", "susie.csv", "--out", "copies", "--json"]) == 0
    (copy,) = json.loads(capsys.readouterr().out)["copies"]
    assert all(Path(path).is_file() for path in copy["files"])
    assert main(["version", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["version"]


@pytest.mark.usefixtures("folder")
def test_an_event_after_the_end_of_a_scenario_is_told(capsys) -> None:
    scene = "duration_s = 30\necg_hz = 250\nimpedance_hz = 50\nseed = 1\n"
    pauses = "".join(f'[[event]]\nkind = "pause"\nonset_s = {t}\nlength_s = 5\n' for t in (10, 90))
    Path("night.toml").write_text(scene + pauses)
    assert main(["simulate", "night.toml", "--out", "night"]) == 0
    told = [line for line in capsys.readouterr().out.splitlines() if line.startswith("event")]
    assert told == ["event 2 begins at 90 s: it never happens"]


def test_in_a_pipe_there_is_no_progress_no_colour_no_frame(folder) -> None:
    asked = ("review", "susie.csv", "--prescription", "limits.toml", "--out", "out")
    done = shell(*asked, FORCE_COLOR="", TERM="xterm-256color")
    assert done.returncode == 0
    assert done.stderr == ""
    assert "\x1b" not in done.stdout
    assert not set("─│┌┐━") & set(done.stdout)
    assert all(line == line.rstrip() for line in done.stdout.splitlines())
    assert all(caution in done.stdout for caution in CAUTIONS)
    assert folder.joinpath("out").is_dir()


@pytest.mark.parametrize("command", COMMANDS)
def test_help_has_examples_and_tells_of_json(command, capsys) -> None:
    assert main([command, "--help"]) == 0
    told = capsys.readouterr().out
    assert f"Usage: infantmon {command}" in told
    assert "Example" in told or command == "version"
    assert "--json" in told


def test_the_program_tells_examples_and_exit_codes(capsys) -> None:
    assert main(["--help"]) == 0
    told = capsys.readouterr().out
    assert "Examples:" in told
    assert "Exit codes:" in told
    assert [command for command in COMMANDS if command not in told] == []


@pytest.mark.parametrize(("asked", "code"), [(["nothing"], 2), (["review"], 2), (["--help"], 0)])
def test_exit_codes(asked, code) -> None:
    assert main(asked) == code


@pytest.mark.usefixtures("folder")
def test_an_unusual_limit_is_told_in_one_line_without_code() -> None:
    Path("limits.toml").write_text("[apnea]\nlimit_s = 40\n")
    done = shell("review", "susie.csv", "--prescription", "limits.toml", "--quiet")
    told = "apnea limit_s = 40 s is unusual (10 to 30 s is common practice); check that it was"
    assert done.stderr == f"infantmon: {told} meant.\n"


@pytest.mark.parametrize("kind", ["bash", "zsh", "fish"])
def test_the_shell_completes_commands(kind) -> None:
    asked = {"_INFANTMON_COMPLETE": f"complete_{kind}", "COMP_WORDS": "infantmon re"}
    asked |= {"COMP_CWORD": "1", "_TYPER_COMPLETE_ARGS": "infantmon re"}
    asked |= {"_TYPER_COMPLETE_FISH_ACTION": "get-args", "_TYPER_COMPLETE_WORD_TO_COMPLETE": "re"}
    code = "from infantmon.cli import app; app(prog_name='infantmon')"
    done = subprocess.run(
        [sys.executable, "-c", code],
        env=os.environ | asked,
        capture_output=True,
        text=True,
        check=False,
        timeout=100,
    )
    assert "review" in done.stdout
    assert "simulate" not in done.stdout


HEADS, ROWS = ("what", "onset", "kind"), [("apnea", "480.0 s", "1: apnea"), ("-", "", "2: slow")]


@pytest.mark.parametrize("width", [30, 40, 80])
def test_a_plain_table_fits_its_width(width) -> None:
    text = plain_table(HEADS, ROWS, width)
    assert all(len(line) <= width for line in text.splitlines())
    assert "480.0 s" in text
    assert "2: slow" in text


def test_a_plain_table_in_columns_and_in_paragraphs() -> None:
    assert plain_table(HEADS, ROWS, 80).splitlines() == [
        "what     onset  kind",
        "------------------------",
        "apnea  480.0 s  1: apnea",
        "-               2: slow",
    ]
    wide = [("x" * 20, "480.0 s", "1: apnea")]
    assert plain_table(HEADS, wide, 30).splitlines() == [
        "what xxxxxxxxxxxxxxxxxxxx;",
        "  onset 480.0 s; kind 1: apnea",
    ]


def test_each_row_of_a_table_carries_the_notice(folder) -> None:
    import pandas as pd
    import pyarrow.parquet as parquet

    write_csv(
        simulate_night(
            Scenario(duration_s=90.0, ecg_hz=250.0, impedance_hz=50.0), seed=3
        ).recording,
        "susie.csv",
    )
    Path("limits.toml").write_text("[contact_loss]\ndelay_s = 5\n[apnea]\nlimit_s = 5\n")
    with pytest.warns(UserWarning, match="unusual"):
        assert review("--parquet") == 0
    table = pd.read_csv(folder / "out" / "events.csv")
    stored = parquet.read_table(folder / "out" / "events.parquet")
    assert list(table.columns) == stored.column_names
    assert list(table.columns)[-1] == "notice"
    assert stored.schema.metadata[b"notice"].decode() == SHORT_NOTICE
    assert len(table) == stored.num_rows
    assert set(table["notice"]) <= {SHORT_NOTICE}
