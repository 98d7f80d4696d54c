"""The command that runs the bench: parses, calls, prints."""

from __future__ import annotations

import json as plain_json
from pathlib import Path
from typing import Annotated

import typer
from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from infantmon.cli_screen import AsJson, Quiet, console, progress, say, say_json
from infantmon.errors import InfantmonError
from infantmon.formats.files import write_whole
from infantmon.report.cautions import CAUTIONS
from infantmon.selftest.bench import RECORDINGS_VARIABLE, Bench, run_bench
from infantmon.selftest.export import as_html, as_json, notes
from infantmon.selftest.row import FALLS_SHORT, NOT_RUN, PASS, Row
from infantmon.selftest.subject import OwnChain, load_detector

EXAMPLES = """\b
Examples:
  infantmon selftest
  infantmon selftest --html table.html --json > table.json
  infantmon selftest --detector mymodule:find_beats
"""
STYLES = {PASS: "green", FALLS_SHORT: "bold red", NOT_RUN: "dim"}


def add_selftest(app: typer.Typer) -> None:
    """Add the command to a command line.

    Parameters
    ----------
    app : typer.Typer
        The command line.
    """

    @app.command(short_help="Put a detector through published tests.", epilog=EXAMPLES)
    def selftest(
        detector: Annotated[
            str | None,
            typer.Option(
                help="Another detector, as module:function. The function takes samples in mV and "
                "their rate in Hz and gives beat times in seconds."
            ),
        ] = None,
        html: Annotated[Path | None, typer.Option(help="Write the table as a page.")] = None,
        recordings: Annotated[
            Path | None,
            typer.Option(
                help="Folder that holds the folder of waveforms aami-ec13; by default what "
                f"{RECORDINGS_VARIABLE} says."
            ),
        ] = None,
        json: AsJson = False,
        quiet: Quiet = False,
    ) -> None:
        """Put this chain, or another detector, through published tests; 1 if it falls short."""
        subject = OwnChain() if detector is None else load_detector(detector)
        with progress() as tell:
            bench = run_bench(subject, recordings=recordings, progress=tell)
        if html is not None:
            _write(html, as_html(bench))
        if json:
            say_json(plain_json.loads(as_json(bench)))
        elif not quiet:
            screen = console()
            _print(screen, bench)
            if html is not None:
                say(screen, f"wrote {html}")
        if bench.falls_short:
            raise typer.Exit(1)


def _write(path: Path, text: str) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, text)
    except OSError as fault:
        raise InfantmonError(
            f"cannot write {path} ({fault.strerror or fault}); pass another file."
        ) from fault


def _print(screen: Console, bench: Bench) -> None:
    screen.print(Text(f"Self-test of {bench.subject}"))
    group = ""
    for row in bench.rows:
        if row.group != group:
            group = row.group
            screen.print()
            screen.print(Text(group, style="bold"))
            screen.print(_table([r for r in bench.rows if r.group == group]))
    screen.print()
    screen.print(bench.sentence)
    for row in bench.short:
        screen.print(Text(f"  {row.verdict}: {row.group}, {row.name}"), soft_wrap=True)
    screen.print()
    for line in (*notes(bench), *CAUTIONS):
        screen.print(Text(line), soft_wrap=True)


def _table(rows: list[Row]) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, expand=True)
    for name, ratio in (("trial and source", 5), ("limit", 4), ("measured", 4)):
        table.add_column(name, ratio=ratio)
    table.add_column("verdict", width=11)
    for row in rows:
        trial = Text.assemble(row.name, "\n", (row.source, "dim"))
        measured = Text(row.measured)
        if row.reason:
            measured.append(f"\n{row.reason}", style="dim")
        table.add_row(trial, Text(row.limit), measured, Text(row.verdict, STYLES[row.verdict]))
    return table
