"""The command that fetches open annotated recordings: parses, calls, prints."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from infantmon.cli_screen import AsJson, Quiet, console, progress, say, say_json, writing_to
from infantmon.labelled.fetching import EDITIONS, PHYSIONET, fetch
from infantmon.labelled.places import cache_folder

EXAMPLES = """\b
Examples:
  infantmon fetch mitdb
  infantmon fetch nstdb --out recordings
"""
LICENCE = "The recordings belong to PhysioNet's contributors: read their licence, cite them."


def add_fetch(app: typer.Typer) -> None:
    """Add the command to a command line.

    Parameters
    ----------
    app : typer.Typer
        The command line.
    """

    @app.command(name="fetch", short_help="Fetch open annotated recordings.", epilog=EXAMPLES)
    def fetch_database(
        database: Annotated[str, typer.Argument(help=", ".join(EDITIONS))],
        out: Annotated[
            Path | None, typer.Option(help="Folder for it; by default the cache.")
        ] = None,
        base: Annotated[str, typer.Option(help="Address below which databases lie.")] = PHYSIONET,
        json: AsJson = False,
        quiet: Quiet = False,
    ) -> None:
        """Fetch open annotated recordings from PhysioNet; checked, and resumed where cut off."""
        folder = cache_folder() if out is None else out
        with writing_to(folder), progress() as tell:
            done = fetch(database, folder, base=base, progress=tell)
        if json:
            counts = {"files": done.files, "loaded": done.loaded, "resumed": done.resumed}
            say_json({"folder": str(done.folder), **counts})
        elif not quiet:
            screen = console()
            say(screen, f"{done.folder}: {done.files} files, {done.loaded} loaded now, all checked")
            say(screen, LICENCE)
