"""The command that reviews a recording: parses, calls, prints."""

from __future__ import annotations

import json as plain_json
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from infantmon.cli_recorded import (
    judge_folder,
    read_decisions,
    say_decisions,
    show_folder,
    write_folder,
    write_recorded,
)
from infantmon.cli_screen import (
    AsJson,
    Ecg2Name,
    EcgName,
    ImpedanceName,
    OutFolder,
    Quiet,
    as_paths,
    console,
    not_watched_lines,
    progress,
    say,
    say_cautions,
    say_json,
    say_written,
)
from infantmon.errors import ArgumentError, require_between
from infantmon.formats.marking import write_marks
from infantmon.formats.reading import read
from infantmon.model.prescription import Prescription
from infantmon.recorded.reading import read_recorded
from infantmon.report.days import LEAST_HOURS
from infantmon.report.export import events_as_json
from infantmon.report.files import write_files
from infantmon.report.recorded_files import recorded_text
from infantmon.report.table import event_table_text
from infantmon.reviewing import Review, sweep, variations
from infantmon.reviewing import review as review_recording
from infantmon.what_if import neighbours

EXAMPLES = """\b
Examples:
  infantmon review night.edf --prescription limits.toml --out review
  infantmon review night.csv --prescription limits.toml --impedance chest
  infantmon review mon.edf tue.edf --prescription limits.toml --identity
  infantmon review night.edf --prescription limits.toml --what-if apnea.limit_s=15,25
  infantmon review night.edf --prescription limits.toml --json | jq '.events[].kind'

Names, dates and who set the limits are left out of what is written, unless --identity is given.
"""


def add_review(app: typer.Typer) -> None:
    """Add the command to a command line.

    Parameters
    ----------
    app : typer.Typer
        The command line.
    """

    @app.command(short_help="List a recording's events with reasons.", epilog=EXAMPLES)
    def review(
        record: Annotated[
            list[str],
            typer.Argument(
                help="WFDB record, .edf, .bdf, .csv or .parquet; several are joined in time, or "
                "side by side if of other channels."
            ),
        ],
        prescription: Annotated[
            Path, typer.Option(help="Limits in force, as TOML. No limit has a default.")
        ],
        out: OutFolder = Path("infantmon-review"),
        ecg: EcgName = None,
        ecg2: Ecg2Name = None,
        impedance: ImpedanceName = None,
        identity: Annotated[
            bool, typer.Option("--identity", help="Show names, dates and who set the limits.")
        ] = False,
        what_if: Annotated[
            list[str] | None,
            typer.Option(
                help="Other values of one limit for the what-if table, as apnea.limit_s=15,25; "
                "may be repeated. Without it, each limit a tenth lower and higher."
            ),
        ] = None,
        least_hours: Annotated[
            float, typer.Option(help="Usable hours that a day free of events must have.")
        ] = LEAST_HOURS,
        marks: Annotated[
            bool, typer.Option("--marks", help="Write WFDB and EDF+ annotations as well.")
        ] = False,
        parquet: Annotated[
            bool, typer.Option("--parquet", help="Write the events as Parquet as well.")
        ] = False,
        recorded: Annotated[
            Path | None,
            typer.Option(
                help="Events that another device listed, to be judged: CSV with onset_s, end_s, "
                "kind (and recording), EDF+ or WFDB annotations. RECORD may be a folder of "
                "excerpts then."
            ),
        ] = None,
        decisions: Annotated[
            list[Path] | None,
            typer.Option(help="File of a reader's decisions; several are merged, conflicts shown."),
        ] = None,
        json: AsJson = False,
        quiet: Quiet = False,
    ) -> None:
        """Review a recording: list its events with reasons, and write the review page."""
        plan = Prescription.from_toml(prescription)
        listed = None if recorded is None else read_recorded(recorded)
        decided = read_decisions(decisions or [])
        if listed is not None and Path(record[0]).is_dir():
            if len(record) > 1:
                raise ArgumentError(
                    f"{record[0]} is a folder of excerpts; pass it alone, {record[1]} cannot be "
                    "joined to it."
                )
            decided = decided if identity else decided.without_identity()
            judged, kept = judge_folder(Path(record[0]), plan, listed)
            paths = write_folder(judged, kept, decided, plan, out, identity=identity)
            show_folder(judged, decided, paths, as_json=json, quiet=quiet)
            return
        others = other_plans(plan, what_if)
        require_between(least_hours, 0.0, 24.0, name="--least-hours", unit="h")
        with progress() as tell:
            tell("reading", 0.0)
            recording = read(*record, ecg=ecg, ecg2=ecg2, impedance=impedance)
            tell("reading", 1.0)
            found = review_recording(
                recording,
                plan,
                recorded=listed,
                decisions=decided,
                progress=lambda share: tell("reviewing", share),
            )
            tell("other limits", 0.0)
            tried = sweep(found.findings, others)
            tell("other limits", 1.0)
            tell("writing", 0.0)
            shown = found if identity else found.without_identity()
            paths = write_files(shown, out, least_hours=least_hours, what_if=tried, parquet=parquet)
            tell("writing", 1.0)
        paths += write_marks(found, out) if marks else []
        if shown.recorded is not None:
            paths += write_recorded(shown.recorded, shown.decisions, out)
        if json:
            say_json({**plain_json.loads(events_as_json(shown)), "files": as_paths(paths)})
        elif not quiet:
            screen = console()
            print_review(screen, shown)
            say_decisions(shown.decisions)
            say_written(screen, paths)
            say_cautions(screen)


def other_plans(plan: Prescription, asked: list[str] | None) -> list[Prescription]:
    """Return the plans of the what-if table: those asked for, or neighbours of the one in force.

    Raises
    ------
    ArgumentError
        If what was asked for is not a limit with values, or the prescription lacks that limit.
    """
    if not asked:
        return neighbours(plan)
    plans = []
    for text in asked:
        limit, _, values = text.partition("=")
        try:
            numbers = [float(value) for value in values.split(",")]
        except ValueError as fault:
            raise ArgumentError(
                f"--what-if is {text!r}; a limit and its values are needed, "
                "such as apnea.limit_s=15,25."
            ) from fault
        plans += variations(plan, limit.strip(), numbers)
    return plans


def print_review(screen: Console, reviewed: Review) -> None:
    """Print what was recorded, what is not watched, and the events."""
    name = reviewed.recording.name
    say(screen, f"{name}: {reviewed.recorded_s / 60:.1f} min recorded")
    for role, usable_s in reviewed.usable_s.items():
        say(screen, f"  {role}: usable for {usable_s / 60:.1f} min")
    for role in reviewed.missing_roles:
        say(screen, f"  {role}: not recorded")
    for note in reviewed.recording.notes:
        say(screen, f"  note: {note}")
    for line in not_watched_lines(reviewed.not_watched):
        say(screen, f"  {line}")
    say(screen)
    say(screen, event_table_text(reviewed.events, width=screen.width))
    say(screen)
    if reviewed.recorded is not None:
        say(screen, recorded_text(reviewed.recorded, screen.width))
        say(screen)
