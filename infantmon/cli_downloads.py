"""The command that sums up many downloads of one infant: parses, calls, prints."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from infantmon.cli_screen import (
    SOME_FAILED,
    AsJson,
    OutFolder,
    Quiet,
    as_paths,
    console,
    say,
    say_cautions,
    say_json,
    say_written,
    writing_to,
)
from infantmon.downloads.download import Download, read_download, review_file
from infantmon.downloads.page import write_downloads
from infantmon.downloads.summary import Prescribed, summarise_downloads
from infantmon.downloads.telling import downloads_plain, downloads_text
from infantmon.errors import InfantmonError, RecordingError

EXAMPLES = """\b
Examples:
  infantmon downloads reviews --out summary
  infantmon downloads reviews --out summary --first 2026-03-02 --last 2026-03-15 --hours-a-day 16
  infantmon downloads reviews --out summary --identity

\b
Each download is a folder that `infantmon review` wrote, with its events.json (or a review.json that
Review.to_json wrote); decisions.json of readers and recorded.json (for known-input test periods) in
the same folder are read too.
Use by day needs the clock time of each start: review with --identity, or it is left out.
Exit code 3: done, but some downloads could not be read; each is named with its reason.
"""


def add_downloads(app: typer.Typer) -> None:
    """Add the command to a command line.

    Parameters
    ----------
    app : typer.Typer
        The command line.
    """

    @app.command(short_help="Sum up many downloads of one infant.", epilog=EXAMPLES)
    def downloads(
        folder: Annotated[
            Path, typer.Argument(help="Folder with one folder of a stored review a download.")
        ],
        out: OutFolder,
        first: Annotated[
            datetime | None,
            typer.Option(formats=["%Y-%m-%d"], help="First prescribed day. Needs --last."),
        ] = None,
        last: Annotated[
            datetime | None, typer.Option(formats=["%Y-%m-%d"], help="Last prescribed day.")
        ] = None,
        hours_a_day: Annotated[float | None, typer.Option(help="Hours prescribed a day.")] = None,
        identity: Annotated[
            bool, typer.Option("--identity", help="Show dates and the downloads' names.")
        ] = False,
        json: AsJson = False,
        quiet: Quiet = False,
    ) -> None:
        """Sum up many downloads of one infant: use, events, alarms, limits; no advice."""
        prescribed = _prescribed(first, last, hours_a_day)
        found, unread = _read(folder)
        summary = summarise_downloads(found, prescribed=prescribed, unread=unread)
        with writing_to(out):
            paths = write_downloads(summary, out, identity=identity)
        if json:
            say_json(downloads_plain(summary, identity=identity) | {"files": as_paths(paths)})
        elif not quiet:
            screen = console()
            say(screen, downloads_text(summary, screen.width, identity=identity))
            say_written(screen, paths)
            say_cautions(screen)
        if unread:
            raise typer.Exit(SOME_FAILED)


def _prescribed(
    first: datetime | None, last: datetime | None, hours_a_day: float | None
) -> Prescribed | None:
    if first is None and last is None and hours_a_day is None:
        return None
    if first is None or last is None:
        raise InfantmonError(
            "prescribed days need --first and --last; hours a day count only with both."
        )
    return Prescribed(first.date(), last.date(), hours_a_day)


def _read(folder: Path) -> tuple[list[Download], dict[str, str]]:
    if not folder.is_dir():
        raise InfantmonError(f"{folder} is no folder; pass one that holds stored reviews.")
    found: list[Download] = []
    unread: dict[str, str] = {}
    places = [folder, *sorted(path for path in folder.rglob("*") if path.is_dir())]
    for path in filter(Path.is_file, map(review_file, places)):
        try:
            found.append(read_download(path))
        except RecordingError as fault:
            unread[path.parent.name] = str(fault)
    if not found and not unread:
        raise InfantmonError(
            f"{folder} holds no events.json or review.json; write some with "
            f"`infantmon review RECORD --prescription FILE --out {folder / 'NAME'}`."
        )
    return found, unread
