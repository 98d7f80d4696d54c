"""What `infantmon review --recorded` does: recorded events judged, printed and written."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

from infantmon.cli_screen import as_paths, console, say, say_cautions, say_json, say_written
from infantmon.errors import ArgumentError
from infantmon.formats.files import write_whole
from infantmon.formats.reading import read
from infantmon.model.counting import counted
from infantmon.model.prescription import Prescription
from infantmon.model.recording import Recording
from infantmon.recorded.decisions import Decisions
from infantmon.recorded.event import RecordedEvents
from infantmon.recorded.excerpts import judge_excerpts
from infantmon.recorded.judging import JudgedList
from infantmon.report.decided import conflict_texts
from infantmon.report.excerpts_page import Excerpts, write_excerpts_page
from infantmon.report.recorded_files import recorded_csv, recorded_json_text, recorded_text
from infantmon.reviewing import review
from infantmon.version import library_version

ENDINGS = (".edf", ".bdf", ".csv", ".parquet", ".hea")


def read_decisions(paths: list[Path]) -> Decisions:
    """Return the decisions of several readers' files together; none is overwritten."""
    whole = Decisions()
    for path in paths:
        whole = whole.merged(Decisions.read(path))
    return whole


def judge_folder(
    folder: Path, plan: Prescription, recorded: RecordedEvents
) -> tuple[JudgedList, Excerpts]:
    """Judge a list whose rows name excerpts in a folder, and keep what their page shows.

    Raises
    ------
    ArgumentError
        If no row names an excerpt.
    """
    kept = Excerpts(len(recorded), library_version())
    names = {p.stem: p for p in sorted(folder.iterdir()) if p.suffix.lower() in ENDINGS}
    if len(recorded) and not any(row.recording for row in recorded):
        raise ArgumentError(
            f"no row of the list names its excerpt; for the excerpts in {folder} the list needs a "
            "column 'recording' with the name of a file there, without its ending."
        )

    def loader(path: Path) -> Callable[[], Recording]:
        place = path.with_suffix("") if path.suffix == ".hea" else path
        return lambda: read(str(place))

    def judge(recording: Recording, rows: RecordedEvents) -> JudgedList:
        reviewed = review(recording, plan, recorded=rows)
        kept.add(reviewed, rows[0].recording)
        return reviewed.recorded or JudgedList(())

    load = {name: loader(path) for name, path in names.items()}
    return judge_excerpts(load, recorded, judge)[0], kept


def write_recorded(judged: JudgedList, decisions: Decisions, out: Path) -> list[Path]:
    """Write recorded.json and recorded.csv into a folder; return their paths."""
    out.mkdir(parents=True, exist_ok=True)
    texts = {
        "recorded.json": recorded_json_text(judged, decisions),
        "recorded.csv": recorded_csv(judged),
    }
    for name, text in texts.items():
        write_whole(out / name, text)
    return [out / name for name in texts]


def write_folder(
    judged: JudgedList,
    kept: Excerpts,
    decisions: Decisions,
    plan: Prescription,
    out: Path,
    *,
    identity: bool,
) -> list[Path]:
    """Write what was said of the events of a folder, with its page; return the paths."""
    paths = write_recorded(judged, decisions, out)
    page = out / "recorded.html"
    write_excerpts_page(page, judged, kept, decisions, plan, identity=identity)
    return [*paths, page]


def show_folder(
    judged: JudgedList, decisions: Decisions, paths: list[Path], *, as_json: bool, quiet: bool
) -> None:
    """Print what was said of the events of a folder."""
    if as_json:
        plain = json.loads(recorded_json_text(judged, decisions))
        say_json({**plain, "files": as_paths(paths)})
    elif not quiet:
        screen = console()
        say(screen, recorded_text(judged, screen.width))
        say_decisions(decisions)
        say_written(screen, paths)
        say_cautions(screen)


def say_decisions(decisions: Decisions) -> None:
    """Print how many decisions there are, and every conflict."""
    if not len(decisions):
        return
    screen = console()
    say(screen, f"{counted(len(decisions), 'decision')} by {', '.join(decisions.readers)}")
    for text in conflict_texts(decisions):
        say(screen, f"conflict: {text}")
