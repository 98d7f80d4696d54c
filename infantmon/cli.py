"""The command line: parses, calls, prints. Everything it does can be done from Python too."""

from __future__ import annotations

import sys
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from infantmon.cli_batch import add_batch
from infantmon.cli_deidentify import add_deidentify
from infantmon.cli_downloads import add_downloads
from infantmon.cli_fetch import add_fetch
from infantmon.cli_review import add_review
from infantmon.cli_score import add_score
from infantmon.cli_screen import (
    AsJson,
    OutFolder,
    Quiet,
    as_paths,
    console,
    progress,
    say,
    say_cautions,
    say_json,
    say_written,
)
from infantmon.cli_selftest import add_selftest
from infantmon.cli_simulate import add_simulate
from infantmon.cli_stream import add_stream
from infantmon.demo import ComparedRow, Demo, run_demo
from infantmon.errors import InfantmonError
from infantmon.model.event import Event
from infantmon.report.files import write_files
from infantmon.report.plain_table import plain_table
from infantmon.reviewing import sweep
from infantmon.version import library_version
from infantmon.what_if import neighbours

EXAMPLES = """\b
Examples:
  infantmon demo --out demo
  infantmon review night.edf --prescription limits.toml
  infantmon COMMAND --help

\b
Exit codes:
  0    done
  1    a test or a gate fell short
  2    wrong usage or bad input
  3    done, but some recordings failed (batch, downloads), or a detector on some (score)
  130  interrupted
"""

app = typer.Typer(
    name="infantmon",
    no_args_is_help=True,
    add_completion=True,
    rich_markup_mode=None,
    epilog=EXAMPLES,
    help=(
        "From chest impedance and ECG of an infant to judged cardiorespiratory events.\n\n"
        "Research software for offline study, not a medical device, not for live use on an infant."
    ),
)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code.

    0 done, 1 a test or a gate fell short, 2 wrong usage or bad input, 3 done, but some recordings
    failed, 130 interrupted.

    Parameters
    ----------
    argv : sequence of str or None
        Arguments without the program's name; by default those of the process.
    """
    try:
        app(args=None if argv is None else list(argv), prog_name="infantmon")
    except InfantmonError as fault:
        print(f"infantmon: {fault}", file=sys.stderr)  # noqa: T201 - the program's own voice
        return 2
    except SystemExit as leave:  # how typer ends: done, wrong usage (told already), interrupted
        return leave.code if isinstance(leave.code, int) else int(leave.code is not None)
    return 0


def _warn(message: Warning | str, *_where: object, **_more: object) -> None:
    """Tell a warning (an unusual limit) without the line of code that it came from."""
    print(f"infantmon: {message}", file=sys.stderr)  # noqa: T201 - the program's own voice


def run() -> None:
    """Run the command line and leave the process with its exit code."""
    warnings.showwarning = _warn
    sys.exit(main())


@app.command(
    short_help="See it work on an invented infant.",
    epilog="\b\nExample:\n  infantmon demo --out demo",
)
def demo(
    out: OutFolder = Path("infantmon-demo"),
    seed: Annotated[int | None, typer.Option(help="Seed of another invented half hour.")] = None,
    json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Simulate an invented infant, review it, and show what was found beside the known truth."""
    with progress() as tell:
        shown = run_demo(progress=tell) if seed is None else run_demo(seed=seed, progress=tell)
    tried = sweep(shown.review.findings, neighbours(shown.review.plan))
    paths = write_files(shown.review, out, what_if=tried)
    if json:
        say_json({"rows": compared_rows(shown), "files": as_paths(paths)})
    elif not quiet:
        screen = console()
        say(screen, "Half an hour of an invented infant: what is known beside what was found.\n")
        say(screen, plain_table(HEADS, [_cells(row) for row in shown.rows], screen.width))
        say(screen)
        say_written(screen, paths)
        say_cautions(screen)


HEADS = ("known truth", "onset", "length", "found", "onset", "length", "judgement")


def compared_rows(shown: Demo) -> list[dict[str, object]]:
    """Return the comparison as plain data, times in seconds."""
    return [
        {
            "known": None
            if row.known is None
            else {
                "what": row.known.what,
                "kind": row.known.kind,
                "onset_s": row.known.onset_s,
                "end_s": row.known.end_s,
            },
            "found": None
            if row.found is None
            else {
                "number": row.found.number,
                "kind": row.found.kind,
                "onset_s": row.found.onset_s,
                "end_s": row.found.end_s,
                "judgement": row.found.judgement,
            },
        }
        for row in shown.rows
    ]


def _cells(row: ComparedRow) -> tuple[str, ...]:
    known = ("-", "", "")
    if row.known is not None:
        length_s = row.known.end_s - row.known.onset_s
        known = (row.known.what, f"{row.known.onset_s:.1f} s", f"{length_s:.1f} s")
    return (*known, *_found_cells(row.found))


def _found_cells(event: Event | None) -> tuple[str, str, str, str]:
    if event is None:
        return ("-", "", "", "")
    length = "open" if event.length_s is None else f"{event.length_s:.1f} s"
    kind = event.kind
    if event.linked:
        kind += f" (with event {', '.join(map(str, event.linked))})"
    return (f"{event.number}: {kind}", f"{event.onset_s:.1f} s", length, event.judgement)


add_review(app)
add_batch(app)
add_simulate(app)
add_selftest(app)
add_score(app)
add_fetch(app)
add_deidentify(app)
add_downloads(app)
add_stream(app)


@app.command()
def version(json: AsJson = False) -> None:
    """Print the version of the library."""
    if json:
        say_json({"version": library_version()})
    else:
        say(console(), library_version())
