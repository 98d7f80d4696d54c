"""The command that copies recordings without what tells whose they are: parses, calls, prints."""

from __future__ import annotations

from typing import Annotated

import typer

from infantmon.cli_screen import (
    AsJson,
    OutFolder,
    Quiet,
    as_paths,
    console,
    say,
    say_json,
    say_written,
    writing_to,
)
from infantmon.formats.deidentifying import deidentify as copy_without_identity

NO_PROMISE = (
    "Samples are as they were. Look through the copies before you give them away: no program can "
    "promise that a recording is anonymous."
)
EXAMPLES = """\b
Examples:
  infantmon deidentify night.edf --out copies
  infantmon deidentify mon tue wed --out copies --name infant7
"""


def add_deidentify(app: typer.Typer) -> None:
    """Add the command to a command line.

    Parameters
    ----------
    app : typer.Typer
        The command line.
    """

    @app.command(short_help="Copy recordings without identity.", epilog=EXAMPLES)
    def deidentify(
        record: Annotated[
            list[str],
            typer.Argument(help="WFDB record names, .edf, .bdf, .csv or .parquet, of one infant."),
        ],
        out: OutFolder,
        name: Annotated[str, typer.Option(help="What the copies are called.")] = "recording",
        json: AsJson = False,
        quiet: Quiet = False,
    ) -> None:
        """Copy recordings without what tells whose they are; dates moved by an unstated shift."""
        with writing_to(out):
            out.mkdir(parents=True, exist_ok=True)
        copies = copy_without_identity(record, out, name=name)
        if json:
            told = [
                {"files": as_paths(done.paths), "left_out": list(done.left_out)} for done in copies
            ]
            say_json({"copies": told, "told": NO_PROMISE})
        elif not quiet:
            screen = console()
            for done in copies:
                say_written(screen, done.paths)
                say(screen, f"  left out: {'; '.join(done.left_out)}")
            say(screen, NO_PROMISE)
