"""What the commands share: where they print, how they show progress, what machines get."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.progress import Progress

from infantmon.errors import InfantmonError
from infantmon.report.cautions import CAUTIONS, NOTICE
from infantmon.report.export import finite

SOME_FAILED = 3
"""Exit code where all else was done, but some recordings or downloads failed, or a detector."""
WIDTH_OF_A_PIPE = 110
"""Characters a line where the output is no terminal."""

AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON document, for machines.")]
OutFolder = Annotated[
    Path, typer.Option("--out", help="Folder to write to; made if it is not there.")
]
EcgName = Annotated[str | None, typer.Option("--ecg", help="Name of the ECG channel.")]
Ecg2Name = Annotated[str | None, typer.Option("--ecg2", help="Name of a second ECG lead.")]
ImpedanceName = Annotated[
    str | None, typer.Option("--impedance", help="Name of the impedance channel.")
]
Population = Annotated[str | None, typer.Option(help="Whom the recordings show.")]
LabelOrigin = Annotated[str | None, typer.Option(help="Who or what made the labels.")]
TunedOn = Annotated[
    str | None, typer.Option(help="Whether the detector was tuned on these recordings.")
]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="Print nothing but errors.")]


def console() -> Console:
    """Return where to print: as wide as the terminal, without colours in a pipe."""
    screen = Console(highlight=False)
    return screen if screen.is_terminal else Console(highlight=False, width=WIDTH_OF_A_PIPE)


def say(screen: Console, text: str = "") -> None:
    """Print a line that a terminal may wrap; nothing in it is taken for markup or a pictograph."""
    screen.print(text, soft_wrap=True, markup=False, emoji=False, highlight=False)


def say_cautions(screen: Console) -> None:
    """Print the cautions, one a line."""
    say(screen)
    for caution in CAUTIONS:
        say(screen, caution)


def not_watched_lines(why: Mapping[str, str]) -> list[str]:
    """Return one line a reason for the kinds that are not watched.

    Parameters
    ----------
    why : mapping of str to str
        The reason by kind, as a monitor or a review has it in `not_watched`.

    Examples
    --------
    >>> not_watched_lines({"apnea": "no limit set", "low heart rate": "no channel for it"})
    ['not watched (no limit set): apnea', 'not watched (no channel for it): low heart rate']
    """
    return [
        f"not watched ({reason}): {', '.join(kind for kind in why if why[kind] == reason)}"
        for reason in dict.fromkeys(why.values())
    ]


def say_written(screen: Console, paths: Sequence[Path]) -> None:
    """Print which files were written, one a line."""
    for path in paths:
        say(screen, f"wrote {path}")


@contextmanager
def writing_to(folder: Path) -> Iterator[None]:
    """Tell in words where nothing can be written to a folder.

    Raises
    ------
    InfantmonError
        In place of an OSError.
    """
    try:
        yield
    except OSError as fault:
        raise InfantmonError(
            f"cannot write to {folder} ({fault.strerror or fault}); pass another folder with --out."
        ) from fault


def say_json(content: Mapping[str, Any]) -> None:
    """Print one JSON document with the cautions in `notice`, and nothing else."""
    whole = finite({"notice": NOTICE, **content})
    typer.echo(json.dumps(whole, allow_nan=False, ensure_ascii=False, indent=1))


def as_paths(paths: Sequence[Path]) -> list[str]:
    """Return paths for a JSON document."""
    return [str(path) for path in paths]


@contextmanager
def progress() -> Iterator[Callable[[str, float], None]]:
    """Show progress on standard error, and nothing there when it is not a terminal."""
    errors = Console(stderr=True)
    with Progress(console=errors, transient=True, disable=not errors.is_terminal) as bar:
        tasks: dict[str, object] = {}

        def tell(what: str, share: float) -> None:
            if what not in tasks:
                tasks[what] = bar.add_task(what, total=1.0)
            bar.update(tasks[what], completed=share)  # type: ignore[arg-type]

        yield tell
