"""The command line: parses, calls, prints. Everything it does can be done from Python too."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer
from rich import box
from rich.console import Console
from rich.progress import Progress
from rich.table import Table
from rich.text import Text

from infantmon.cli_deidentify import add_deidentify
from infantmon.cli_selftest import add_selftest
from infantmon.cli_simulate import add_simulate
from infantmon.demo import ComparedRow, run_demo
from infantmon.errors import InfantmonError
from infantmon.formats.marking import write_marks
from infantmon.formats.reading import read
from infantmon.model.event import Event
from infantmon.model.prescription import Prescription
from infantmon.report.cautions import CAUTIONS
from infantmon.report.files import write_files
from infantmon.report.table import event_table_text
from infantmon.reviewing import Review, library_version
from infantmon.reviewing import review as review_recording

app = typer.Typer(
    name="infantmon",
    no_args_is_help=True,
    add_completion=True,
    rich_markup_mode=None,
    help=(
        "From chest impedance and ECG of an infant to judged cardiorespiratory events.\n\n"
        "Research software for offline study, not a medical device, not for live use on an infant."
    ),
)

Out = Annotated[Path, typer.Option("--out", help="Folder to write to; made if it is not there.")]


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code: 0 done, 2 bad input, 130 interrupted.

    Parameters
    ----------
    argv : sequence of str or None
        Arguments without the program's name; by default those of the process.
    """
    try:
        app(args=None if argv is None else list(argv))
    except InfantmonError as fault:
        print(f"infantmon: {fault}", file=sys.stderr)  # noqa: T201 - the program's own voice
        return 2
    except SystemExit as leave:  # how typer ends: done, wrong usage (told already), interrupted
        return leave.code if isinstance(leave.code, int) else int(leave.code is not None)
    return 0


def run() -> None:
    """Run the command line and leave the process with its exit code."""
    sys.exit(main())


@app.command()
def demo(
    out: Out = Path("infantmon-demo"),
    seed: Annotated[int | None, typer.Option(help="Seed of another invented half hour.")] = None,
) -> None:
    """Simulate an invented infant, review it, and show what was found beside the known truth."""
    with _progress() as tell:
        shown = run_demo(progress=tell) if seed is None else run_demo(seed=seed, progress=tell)
    console = _console()
    console.print("Half an hour of an invented infant: what is known beside what was found.\n")
    console.print(_comparison(shown.rows))
    console.print()
    for path in write_files(shown.review, out):
        console.print(f"wrote {path}", soft_wrap=True)
    _print_cautions(console)


@app.command()
def review(
    record: Annotated[
        list[str],
        typer.Argument(
            help="WFDB record, .edf, .bdf, .csv or .parquet; several are joined in time."
        ),
    ],
    prescription: Annotated[
        Path, typer.Option(help="Limits in force, as TOML. No limit has a default.")
    ],
    out: Out = Path("infantmon-review"),
    ecg: Annotated[str | None, typer.Option(help="Name of the ECG channel.")] = None,
    ecg2: Annotated[str | None, typer.Option(help="Name of a second ECG lead.")] = None,
    impedance: Annotated[str | None, typer.Option(help="Name of the impedance channel.")] = None,
    marks: Annotated[
        bool, typer.Option("--marks", help="Write WFDB and EDF+ annotations as well.")
    ] = False,
) -> None:
    """Review a recording: list its events with reasons, and write the review page."""
    plan = Prescription.from_toml(prescription)
    recording = read(*record, ecg=ecg, ecg2=ecg2, impedance=impedance)
    with _progress() as tell:
        reviewed = review_recording(
            recording, plan, progress=lambda share: tell("reviewing", share)
        )
    console = _console()
    _print_review(console, reviewed)
    for path in [*write_files(reviewed, out), *(write_marks(reviewed, out) if marks else [])]:
        console.print(f"wrote {path}", soft_wrap=True)
    _print_cautions(console)


@app.command()
def version() -> None:
    """Print the version of the library."""
    _console().print(library_version())


def _print_review(console: Console, reviewed: Review) -> None:
    console.print(f"{reviewed.recording.name}: {reviewed.recorded_s / 60:.1f} min recorded")
    for role, usable_s in reviewed.usable_s.items():
        console.print(f"  {role}: usable for {usable_s / 60:.1f} min")
    for role in reviewed.missing_roles:
        console.print(f"  {role}: not recorded")
    for note in reviewed.recording.notes:
        console.print(f"  note: {note}", soft_wrap=True, markup=False)
    not_watched = reviewed.plan.not_watched
    if not_watched:
        console.print(f"  not watched (no limit set): {', '.join(not_watched)}", soft_wrap=True)
    console.print()
    table = event_table_text(reviewed.events, width=console.width)
    console.print(table, markup=False, highlight=False, soft_wrap=True)
    console.print()


def _comparison(rows: Sequence[ComparedRow]) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for name in ("known truth", "onset", "length", "found", "onset", "length", "judgement"):
        table.add_column(name, justify="right" if name in ("onset", "length") else "left")
    for row in rows:
        known = ("-", "", "")
        if row.known is not None:
            length_s = row.known.end_s - row.known.onset_s
            known = (row.known.what, f"{row.known.onset_s:.1f} s", f"{length_s:.1f} s")
        table.add_row(*(Text(cell) for cell in (*known, *_found_cells(row.found))))
    return table


def _found_cells(event: Event | None) -> tuple[str, str, str, str]:
    if event is None:
        return ("-", "", "", "")
    length = "open" if event.length_s is None else f"{event.length_s:.1f} s"
    kind = event.kind
    if event.linked:
        kind += f" (with event {', '.join(map(str, event.linked))})"
    return (f"{event.number}: {kind}", f"{event.onset_s:.1f} s", length, event.judgement)


def _print_cautions(console: Console) -> None:
    console.print()
    for caution in CAUTIONS:
        console.print(caution, soft_wrap=True)


def _console() -> Console:
    console = Console(highlight=False)
    if not console.is_terminal:
        console = Console(highlight=False, width=110)
    return console


@contextmanager
def _progress() -> Iterator[Callable[[str, float], None]]:
    """Show progress on standard error, and nothing there when it is not a terminal."""
    console = Console(stderr=True)
    with Progress(console=console, transient=True, disable=not console.is_terminal) as bar:
        tasks: dict[str, object] = {}

        def tell(what: str, share: float) -> None:
            if what not in tasks:
                tasks[what] = bar.add_task(what, total=1.0)
            bar.update(tasks[what], completed=share)  # type: ignore[arg-type]

        yield tell


add_simulate(app, _console, _progress)
add_selftest(app, _console, _progress)
add_deidentify(app, _console)
