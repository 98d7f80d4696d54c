"""The command that writes an invented infant to disk: parses, calls, prints."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from infantmon.cli_screen import (
    AsJson,
    OutFolder,
    Quiet,
    as_paths,
    console,
    progress,
    say,
    say_json,
    say_written,
    writing_to,
)
from infantmon.errors import ArgumentError
from infantmon.simulate import InventedInfant
from infantmon.simulate.scenario import Scenario
from infantmon.simulate.scenario_file import read_scenario
from infantmon.simulated_files import WRITERS, write_simulated

EXAMPLES = """\b
Examples:
  infantmon simulate examples/scenario/night.toml --out night
  infantmon simulate scenario.toml --out night --format edf --seed 7
"""


class Format(StrEnum):
    """How the samples can be written."""

    WFDB = "wfdb"
    EDF = "edf"
    CSV = "csv"
    NPY = "npy"


def add_simulate(app: typer.Typer) -> None:
    """Add the command to a command line.

    Parameters
    ----------
    app : typer.Typer
        The command line.
    """

    @app.command(short_help="Write an invented infant to disk.", epilog=EXAMPLES)
    def simulate(
        scenario: Annotated[Path, typer.Argument(help="What happens, as TOML.")],
        out: OutFolder = Path("infantmon-simulated"),
        form: Annotated[Format, typer.Option("--format", help="Of the samples.")] = Format.WFDB,
        seed: Annotated[
            int | None, typer.Option(help="In place of the seed of the scenario.")
        ] = None,
        json: AsJson = False,
        quiet: Quiet = False,
    ) -> None:
        """Write an invented infant to disk, with the truth beside the samples."""
        told, own_seed = read_scenario(scenario)
        chosen = own_seed if seed is None else seed
        if chosen is None:
            raise ArgumentError(
                f"{scenario} has no seed; write one into it (seed = 1) or pass --seed, "
                "so that the same night can be made again."
            )
        with writing_to(out), progress() as tell:
            out.mkdir(parents=True, exist_ok=True)
            paths = write_simulated(
                InventedInfant(told, chosen),
                out,
                WRITERS[form.value],
                progress=lambda share: tell("simulating", share),
            )
        if json:
            facts = {"scenario": told.name, "duration_s": told.duration_s, "seed": chosen}
            say_json({**facts, "invented": True, "files": as_paths(paths)})
        elif not quiet:
            screen = console()
            say(screen, f"{told.name}: {told.duration_s:g} s, seed {chosen}. Invented.")
            for line in _never(told):
                say(screen, line)
            say_written(screen, paths)


def _never(scenario: Scenario) -> list[str]:
    """Say which events begin after the end."""
    return [
        f"event {number} begins at {event.start_s:g} s: it never happens"
        for number, event in enumerate(scenario.events, start=1)
        if event.start_s >= scenario.duration_s
    ]
