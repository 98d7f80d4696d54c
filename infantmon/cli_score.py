"""The command that scores detectors over annotated recordings: parses, calls, prints."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from infantmon.cli_screen import (
    SOME_FAILED,
    AsJson,
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
    writing_to,
)
from infantmon.errors import ArgumentError
from infantmon.formats.files import write_whole
from infantmon.model.counting import counted
from infantmon.report.plain_table import plain_table
from infantmon.scorecard.card import Card
from infantmon.scorecard.comparison import Moved, compare, read_stored
from infantmon.scorecard.gates import Gate, Verdict, judge, parse_gates
from infantmon.scorecard.junit import as_junit
from infantmon.scorecard.noise_stress import NoiseStress
from infantmon.scorecard.page import as_html
from infantmon.scorecard.running import Source, Task, run_task
from infantmon.scorecard.tables import (
    about,
    as_csv,
    as_data,
    as_json,
    as_markdown,
    beside,
    interval_text,
)
from infantmon.scoring.tallies import percent

EXAMPLES = """\b
Examples:
  infantmon score mitdb --gate "se>=99.5,ppv>=99.5" --out scores
  infantmon score bidmc --detector ours --detector neurokit2
  infantmon score mitdb --noise em --snr-db 12 --snr-db 6
  infantmon score my-records --detector mymodule:find_beats --population "term infants" \\
      --label-origin "two readers" --tuned-on no
"""


def add_score(app: typer.Typer) -> None:
    """Add the command to a command line.

    Parameters
    ----------
    app : typer.Typer
        The command line.
    """

    @app.command(short_help="Score detectors on annotated recordings.", epilog=EXAMPLES)
    def score(
        database: Annotated[
            str,
            typer.Argument(
                help="mitdb, nstdb, adfecgdb, bidmc, picsdb, challenge2015, or a folder of WFDB "
                "records with annotations."
            ),
        ],
        out: Annotated[
            Path | None, typer.Option(help="Folder for score.md, .json, .csv, .html and junit.xml.")
        ] = None,
        detector: Annotated[
            list[str] | None,
            typer.Option(
                help="ours, ours-alone (breaths without ECG), neurokit2, wfdb-xqrs, wfdb-gqrs, "
                "sleepecg, biosppy, or module:function taking samples and their rate in Hz and "
                "giving seconds. May be repeated; gates apply to the first."
            ),
        ] = None,
        what: Annotated[
            str | None, typer.Option(help="beats, breaths or alarms; by default all labelled.")
        ] = None,
        window_s: Annotated[
            list[float] | None, typer.Option(help="Match window in seconds; the first is gated.")
        ] = None,
        from_s: Annotated[
            float | None, typer.Option(help="Score from this second of each record on.")
        ] = None,
        annotator: Annotated[
            str, typer.Option(help="Suffix of the annotation files in a folder.")
        ] = "atr",
        population: Population = None,
        label_origin: LabelOrigin = None,
        tuned_on: TunedOn = None,
        noise: Annotated[
            str | None, typer.Option(help="Add recorded noise first: bw, em or ma (nstdb).")
        ] = None,
        snr_db: Annotated[
            list[float] | None, typer.Option(help="Signal-to-noise ratio of --noise; repeatable.")
        ] = None,
        gate: Annotated[
            str | None, typer.Option(help='Figures to reach, such as "se>=99.5,ppv>=99.5".')
        ] = None,
        gate_each: Annotated[
            bool, typer.Option("--gate-each", help="Every record has to reach the gate.")
        ] = False,
        gate_lower: Annotated[
            bool, typer.Option("--gate-lower", help="The interval's lower end has to.")
        ] = False,
        against: Annotated[
            Path | None, typer.Option(help="A stored score.json to compare with.")
        ] = None,
        workers: Annotated[int, typer.Option(min=1, help="Processes.")] = 2,
        json: AsJson = False,
        quiet: Quiet = False,
    ) -> None:
        """Score detectors on annotated recordings.

        Exit code 1: a gate is not reached; 3: a detector failed on a record, and no gate is missed.
        """
        gates = () if gate is None else parse_gates(gate, lower=gate_lower)
        if (gate_each or gate_lower) and not gates:
            raise ArgumentError("--gate-each and --gate-lower need a --gate, such as se>=99.5.")
        stored = None if against is None else read_stored(against)
        source = Source(database, annotator, None, population, label_origin, tuned_on)
        tasks = _tasks(source, what, detector or ["ours"], window_s, from_s, _noises(noise, snr_db))
        with progress() as tell:
            cards = [run_task(task, workers=workers, progress=tell) for task in tasks]
        first = [card for card in cards if card.detector == cards[0].detector]
        verdicts = _verdicts(first, gates, each=gate_each, lower=gate_lower)
        moved = [] if stored is None else compare(cards, stored)
        written = [] if out is None else write_cards(out, cards, verdicts, moved)
        if json:
            say_json({**as_data(cards, verdicts), "files": as_paths(written)})
        elif not quiet:
            screen = console()
            print_cards(screen, cards, verdicts, moved)
            say_written(screen, written)
            say_cautions(screen)
        if not all(verdict.holds for verdict in verdicts):
            raise typer.Exit(1)
        if any(record.failed for card in cards for record in card.records):
            raise typer.Exit(SOME_FAILED)


def _tasks(
    source: Source,
    what: str | None,
    detectors: Sequence[str],
    window_s: Sequence[float] | None,
    from_s: float | None,
    noises: Sequence[NoiseStress | None],
) -> list[Task]:
    """Return what is scored: each detector on each kind of label that was asked for."""
    source.open()  # a database that is not there is told before anything runs
    kinds = source.scored_for() if what is None else (what,)
    for window in window_s or ():
        if not 0.0 < window < math.inf:
            raise ArgumentError(f"the match window is {window:g} s; it must be above 0 s.")
    if from_s is not None and not from_s >= 0.0:
        raise ArgumentError(f"--from-s is {from_s:g} s; 0 s or more is expected.")
    tasks = [
        Task(source, kind, name, tuple(window_s or ()), from_s, noise)
        for name in detectors
        for kind in kinds
        for noise in noises
    ]
    for task in tasks:
        task.detector_name()  # a detector that is not there too: the last may run hours later
    return tasks


def _noises(noise: str | None, snr_db: Sequence[float] | None) -> list[NoiseStress | None]:
    if noise is None:
        if snr_db:
            raise ArgumentError("--snr-db says how much, not which; add --noise bw, em or ma.")
        return [None]
    if not snr_db:
        raise ArgumentError("--noise needs --snr-db, such as --snr-db 12.")
    return [NoiseStress(noise, ratio) for ratio in snr_db]


def _verdicts(
    cards: Sequence[Card], gates: Sequence[Gate], *, each: bool, lower: bool
) -> list[Verdict]:
    return [verdict for card in cards for verdict in judge(card, gates, each=each, lower=lower)]


def write_cards(
    out: Path,
    cards: Sequence[Card],
    verdicts: Sequence[Verdict] = (),
    moved: Sequence[Moved] = (),
) -> list[Path]:
    """Write cards in every form and return the paths.

    Parameters
    ----------
    out : pathlib.Path
        Folder; made if it is not there.
    cards : sequence of Card
        What was scored.
    verdicts : sequence of Verdict
        What came of gates.
    moved : sequence of Moved
        How it differs from a stored result.

    Raises
    ------
    InfantmonError
        If nothing can be written there.
    """
    texts = {
        "score.md": as_markdown(cards, verdicts),
        "score.json": as_json(as_data(cards, verdicts)),
        "score.csv": as_csv(cards),
        "score.html": as_html(cards, verdicts, moved),
        "junit.xml": as_junit(cards, verdicts),
    }
    with writing_to(out):
        out.mkdir(parents=True, exist_ok=True)
        for name, text in texts.items():
            write_whole(out / name, text)
    return [out / name for name in texts]


def print_cards(
    screen: Console,
    cards: Sequence[Card],
    verdicts: Sequence[Verdict] = (),
    moved: Sequence[Moved] = (),
) -> None:
    """Print cards as tables.

    Parameters
    ----------
    screen : rich.console.Console
        Where to.
    cards : sequence of Card
        What was scored.
    verdicts : sequence of Verdict
        What came of gates.
    moved : sequence of Moved
        How it differs from a stored result.
    """
    for card in cards:
        count = len(card.records)
        say(screen, f"{card.title}: {counted(count, 'record')}")
        say(screen, about(card))
        say(screen)
        say(screen, _table(card, screen.width))
        say(screen)
        for line in beside(card):
            say(screen, line)
        say(screen)
    for line in (line for one in moved for line in ("Beside the stored result:", *one.lines)):
        say(screen, line)
    for verdict in verdicts:
        say(screen, verdict.words)


def _table(card: Card, width: int) -> str:
    rows = [
        ("all" if window is None else f"within {1000.0 * window:g} ms", card.gross(k))
        for k, window in enumerate(card.windows_s)
    ]
    rows += [(group, card.gross(group=group)) for group in card.groups if group]
    return plain_table(
        ("counted", "TP", "FN", "FP", "Se %", "95 %", "PPV %", "95 %", "F1 %"),
        [
            (
                name,
                *map(str, (tally.true_positives, tally.false_negatives, tally.false_positives)),
                percent(tally.sensitivity),
                interval_text(tally.sensitivity_interval()),
                percent(tally.positive_predictivity),
                interval_text(tally.positive_predictivity_interval()),
                percent(tally.f1),
            )
            for name, tally in rows
        ],
        width,
    )
