"""The command that reviews many recordings, or scores a detector on them: parses, calls, prints."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from infantmon.cli_review import other_plans
from infantmon.cli_score import print_cards, write_cards
from infantmon.cli_screen import (
    SOME_FAILED,
    AsJson,
    Ecg2Name,
    EcgName,
    ImpedanceName,
    LabelOrigin,
    Population,
    Quiet,
    TunedOn,
    as_paths,
    console,
    progress,
    say,
    say_cautions,
    say_json,
    say_written,
)
from infantmon.errors import ArgumentError
from infantmon.model.counting import counted
from infantmon.model.prescription import Prescription
from infantmon.scorecard.card import Card
from infantmon.scorecard.tables import as_data

if TYPE_CHECKING:
    from infantmon.corpus import Settings

NOT_TOLD = "not told"
EXAMPLES = """\b
Examples:
  infantmon batch nights --out corpus --prescription limits.toml
  infantmon batch nights.csv --out corpus --prescription limits.toml --workers 8
  infantmon batch infants --by-folder --out corpus --prescription limits.toml
  infantmon batch s3://bucket/nights --out corpus --prescription limits.toml
  infantmon batch nights --out scores --score breaths --labels breaths
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

    @app.command(
        short_help="Review or score many recordings into a Parquet dataset.", epilog=EXAMPLES
    )
    def batch(
        source: Annotated[
            str,
            typer.Argument(
                metavar="FOLDER|LIST",
                help="Folder, address for fsspec, or a list: a recording a line, or CSV with the "
                "columns recording, postmenstrual_age_weeks, infant. Several files of one "
                "recording: 'a.edf + b.edf' in one line.",
            ),
        ],
        out: Annotated[Path, typer.Option("--out", help="Folder of the dataset.")],
        prescription: Annotated[
            Path | None, typer.Option(help="Limits in force, as TOML. No limit has a default.")
        ] = None,
        by_folder: Annotated[
            bool,
            typer.Option("--by-folder", help="Each folder is one recording: its files are joined."),
        ] = False,
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
        ecg: EcgName = None,
        ecg2: Ecg2Name = None,
        impedance: ImpedanceName = None,
        what_if: Annotated[
            list[str] | None,
            typer.Option(help="Other values of one limit, as apnea.limit_s=15,25; repeatable."),
        ] = None,
        score: Annotated[
            str | None,
            typer.Option(help="beats or breaths: score a detector against labels, no limits."),
        ] = None,
        detector: Annotated[
            str, typer.Option(help="What is scored: a name as for score, or module:function.")
        ] = "ours",
        labels: Annotated[
            str,
            typer.Option(help="Ending of the labels (WFDB annotations) beside each recording."),
        ] = "atr",
        window_s: Annotated[
            list[float] | None, typer.Option(help="Match window in seconds; repeatable.")
        ] = None,
        from_s: Annotated[
            float, typer.Option(min=0.0, help="Score from this second of each recording on.")
        ] = 0.0,
        population: Population = None,
        label_origin: LabelOrigin = None,
        tuned_on: TunedOn = None,
        json: AsJson = False,
        quiet: Quiet = False,
    ) -> None:
        """Review many recordings: events, quality and provenance as Parquet, and a summary.

        With --score, a detector is scored on labels beside each recording instead.
        """
        from infantmon import corpus  # noqa: PLC0415 - only this command needs it

        channels = {"ecg": ecg, "ecg2": ecg2, "impedance": impedance}
        settings: corpus.Settings | corpus.ScoreSettings
        if score is None:
            settings = _review_settings(prescription, what_if, beats, breaths, channels)
        else:
            _refuse({"--prescription": prescription, "--what-if": what_if, "--piece-h": piece_h})
            _refuse({"--beats": beats, "--breaths": breaths})
            windows = tuple(window_s or ())
            settings = corpus.ScoreSettings(score, detector, labels, windows, from_s, **channels)
        listed = corpus.list_recordings(source, settings.labels, by_folder=by_folder)
        make: Callable[[], Executor]
        if cluster is None:
            make, at_once = partial(corpus.local_pool, workers, memory_mib), workers
        else:
            make, at_once = corpus.dask_executor(cluster)
        with progress() as tell:
            report = corpus.run_corpus(
                listed,
                settings,
                out,
                executor=make,
                workers=at_once,
                piece_s=None if piece_h is None else piece_h * 3600.0,
                progress=partial(tell, "scoring" if score else "reviewing"),
            )
        told = {**_told(report), "keys": {one.name: one.key for one in listed}}
        cards: list[Card] = []
        if isinstance(settings, corpus.ScoreSettings):
            told_of = (population, label_origin, tuned_on)
            names = ("population", "label_origin", "tuned_on")
            whom = {name: of or NOT_TOLD for name, of in zip(names, told_of, strict=True)}
            cards = _cards(out, settings, listed, source, whom)
            paths = write_cards(out, cards) if cards else []
            told |= as_data(cards)
        else:
            summary = corpus.summarise(out, settings.sha256, [one.key for one in listed])
            reasons = [outcome.bare_reason for _, outcome in report.failed]
            paths = corpus.write_summary(summary, out, reasons, settings.plan)
            told["summary"] = list(summary.rows)
        if json:
            say_json({**told, "files": as_paths(paths)})
        else:
            _print(told, paths, cards, quiet=quiet)
        if report.failed:
            raise typer.Exit(SOME_FAILED)


def _review_settings(
    prescription: Path | None,
    what_if: list[str] | None,
    beats: bool,
    breaths: bool,
    channels: Mapping[str, str | None],
) -> Settings:
    """Return how recordings are reviewed, or say that limits are needed."""
    from infantmon.corpus import Settings  # noqa: PLC0415 - only this command needs it

    if prescription is None:
        raise ArgumentError("give limits with --prescription, or --score beats or breaths.")
    plan = Prescription.from_toml(prescription)
    return Settings(plan, tuple(other_plans(plan, what_if)), beats, breaths, **channels)


def _refuse(given: Mapping[str, Any]) -> None:
    named = [name for name, value in given.items() if value]
    if named:
        raise ArgumentError(f"{' and '.join(named)} cannot go with --score; leave one of them out.")


def _cards(
    out: Path, settings: Any, listed: Sequence[Any], source: str, whom: Mapping[str, str]
) -> list[Card]:
    """Return the card of a corpus; none where not one recording could be scored."""
    from infantmon.corpus.scoring import card_of  # noqa: PLC0415 - only for scores

    name = source.rstrip("/").rpartition("/")[2]
    try:
        return [card_of(out, settings, [one.key for one in listed], name=name, **whom)]
    except ArgumentError:  # each recording is named with its reason
        return []


def _told(report: Any) -> dict[str, Any]:
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
    }


def _print(told: dict[str, Any], paths: list[Path], cards: Sequence[Card], *, quiet: bool) -> None:
    screen = console()
    if not quiet:
        print_cards(screen, cards)
        how = "scored" if cards else "reviewed"
        say(
            screen,
            f"{counted(told['done'], 'recording')} {how}, {told['recorded_h']:.1f} h recorded",
        )
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
        say_written(screen, paths)
        say_cautions(screen)
