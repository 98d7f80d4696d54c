"""The command that reviews many recordings: parses, calls, prints."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from infantmon.cli_review import other_plans
from infantmon.cli_screen import (
    AsJson,
    Quiet,
    as_paths,
    console,
    progress,
    say,
    say_cautions,
    say_json,
)
from infantmon.model.prescription import Prescription

SOME_FAILED = 3
"""Exit code where all else was done, but recordings failed."""
EXAMPLES = """\b
Examples:
  infantmon batch nights --out corpus --prescription limits.toml
  infantmon batch nights.csv --out corpus --prescription limits.toml --workers 8
  infantmon batch s3://bucket/nights --out corpus --prescription limits.toml
  infantmon batch nights --out /shared/corpus --prescription limits.toml --cluster tcp://host:8786

\b
Run it again after it was broken off, or with more recordings: what is done is skipped.
Exit code 3: all others done, but some recordings failed; each is named with its reason.
Names of files stand on the screen only; the dataset calls each recording by a key.
"""


def add_batch(app: typer.Typer) -> None:
    """Add the command to a command line.

    Parameters
    ----------
    app : typer.Typer
        The command line.
    """

    @app.command(short_help="Review many recordings into a Parquet dataset.", epilog=EXAMPLES)
    def batch(
        source: Annotated[
            str,
            typer.Argument(
                metavar="FOLDER|LIST",
                help="Folder, address for fsspec, or a list: a recording a line, or CSV with the "
                "columns recording, postmenstrual_age_weeks, infant.",
            ),
        ],
        prescription: Annotated[
            Path, typer.Option(help="Limits in force, as TOML. No limit has a default.")
        ],
        out: Annotated[Path, typer.Option("--out", help="Folder of the dataset.")],
        workers: Annotated[int, typer.Option(min=1, help="Processes on this machine.")] = 2,
        memory_mib: Annotated[
            int, typer.Option(min=256, help="Most memory of each of them, MiB.")
        ] = 2048,
        cluster: Annotated[
            str | None,
            typer.Option(help="Address of a dask scheduler, in place of processes here."),
        ] = None,
        piece_h: Annotated[
            float | None,
            typer.Option(help="Review long recordings in pieces of so many hours; same results."),
        ] = None,
        beats: Annotated[bool, typer.Option("--beats", help="Keep every heart beat.")] = False,
        breaths: Annotated[bool, typer.Option("--breaths", help="Keep every breath.")] = False,
        ecg: Annotated[str | None, typer.Option(help="Name of the ECG channel.")] = None,
        ecg2: Annotated[str | None, typer.Option(help="Name of a second ECG lead.")] = None,
        impedance: Annotated[
            str | None, typer.Option(help="Name of the impedance channel.")
        ] = None,
        what_if: Annotated[
            list[str] | None,
            typer.Option(help="Other values of one limit, as apnea.limit_s=15,25; repeatable."),
        ] = None,
        json: AsJson = False,
        quiet: Quiet = False,
    ) -> None:
        """Review many recordings: events, quality and provenance as Parquet, and a summary."""
        from infantmon import corpus  # noqa: PLC0415 - only this command needs it

        plan = Prescription.from_toml(prescription)
        others = tuple(other_plans(plan, what_if))
        settings = corpus.Settings(plan, others, beats, breaths, ecg, ecg2, impedance)
        listed = corpus.list_recordings(source)
        make, at_once = (
            corpus.dask_executor(cluster)
            if cluster is not None
            else (lambda: corpus.local_pool(workers, memory_mib), workers)
        )
        with progress() as tell:
            report = corpus.run_corpus(
                listed,
                settings,
                out,
                executor=make,
                workers=at_once,
                piece_s=None if piece_h is None else piece_h * 3600.0,
                progress=lambda share: tell("reviewing", share),
            )
        summary = corpus.summarise(out, settings.sha256, [one.key for one in listed])
        reasons = [outcome.bare_reason for _, outcome in report.failed]
        paths = corpus.write_summary(summary, out, reasons)
        told = _told(report, summary)
        if json:
            named = {one.name: one.key for one in listed}
            say_json({**told, "keys": named, "files": as_paths(paths)})
        else:
            _print(told, paths, quiet=quiet)
        if report.failed:
            raise typer.Exit(SOME_FAILED)


def _told(report: Any, summary: Any) -> dict[str, Any]:
    processor_s = sum(outcome.processor_s for outcome in report.outcomes)
    recorded_s = sum(outcome.recorded_s for outcome in report.outcomes)
    return {
        "done": len(report.done),
        "skipped": len(report.skipped) + len(report.unchanged),
        "failed": [
            {"recording": listing.name, "reason": outcome.reason}
            for listing, outcome in report.failed
        ],
        "recorded_h": recorded_s / 3600.0,
        "processor_h": processor_s / 3600.0,
        "peak_mib": max((outcome.peak_mib for outcome in report.outcomes), default=0.0),
        "summary": list(summary.rows),
    }


def _print(told: dict[str, Any], paths: list[Path], *, quiet: bool) -> None:
    screen = console()
    if not quiet:
        say(screen, f"{told['done']} recordings reviewed, {told['recorded_h']:.1f} h recorded")
        if told["skipped"]:
            say(screen, f"{told['skipped']} were done before and have not changed")
        if told["processor_h"] > 0:
            speed = told["recorded_h"] / told["processor_h"]
            say(
                screen,
                f"{speed:,.0f} recorded hours a core-hour; "
                f"a worker held {told['peak_mib']:.0f} MiB at most",
            )
    if told["failed"]:
        typer.echo(f"{len(told['failed'])} failed:", err=True)
        for one in told["failed"]:
            typer.echo(f"  {one['recording']}: {one['reason']}", err=True)
    if not quiet:
        for path in paths:
            say(screen, f"wrote {path}")
        say_cautions(screen)
