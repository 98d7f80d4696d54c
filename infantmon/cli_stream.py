"""The commands that stream: frames in, changes out; a recording out as frames."""

from __future__ import annotations

import contextlib
import itertools
import json as json_text
import os
import shlex
import signal
import sys
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from threading import current_thread, main_thread
from typing import Annotated, Any, BinaryIO

import typer

from infantmon.cli_screen import Ecg2Name, EcgName, ImpedanceName, not_watched_lines
from infantmon.disk_recorder import DiskRecorder
from infantmon.errors import ArgumentError, InfantmonError
from infantmon.formats.reading import read
from infantmon.framed import FrameReader, frames_of
from infantmon.model.counting import counted
from infantmon.model.event import Change
from infantmon.model.prescription import Prescription
from infantmon.model.recording import Recording
from infantmon.monitor import Monitor
from infantmon.report.cautions import NOTICE
from infantmon.report.export import finite

FIRST_LINE = "Replay and bench use only, not on an infant."
MOST_TOLD = 20
"""Lines skipped or left out in part that are told one by one; all are counted."""

EXAMPLES = """\b
Example:
  infantmon replay night.edf --pace 60 | infantmon stream --prescription limits.toml \\
      --ecg-hz 250 --impedance-hz 50
"""
Rate = Annotated[float | None, typer.Option(help="Samples a second of that channel.")]
Unit = Annotated[str | None, typer.Option(help="Unit of its samples, where it is known.")]
AsJsonLines = Annotated[bool, typer.Option("--json", help="Print one JSON object a line.")]


def add_stream(app: typer.Typer) -> None:
    """Add the commands to a command line.

    Parameters
    ----------
    app : typer.Typer
        The command line.
    """

    @app.command(short_help="Frames from standard input through the monitor.", epilog=EXAMPLES)
    def stream(
        prescription: Annotated[Path, typer.Option(help="The limits, in TOML.")],
        ecg_hz: Rate = None,
        impedance_hz: Rate = None,
        ecg2_hz: Rate = None,
        ecg_unit: Unit = None,
        impedance_unit: Unit = None,
        record: Annotated[
            Path | None,
            typer.Option(help="File for samples and events; one that was broken off goes on."),
        ] = None,
        json: AsJsonLines = False,
    ) -> None:
        """Read frames (one JSON object a line) and print what changes. Bench use only.

        A frame: {"time_s": 12.0, "ecg": [0.01, 0.02], "impedance": [512.3, null]}

        Lines that are none are told, counted and skipped; where every line is, exit code 2.
        """
        if ecg_hz is None and impedance_hz is None and ecg2_hz is None:
            raise ArgumentError(
                "no channel is announced; give --ecg-hz, --impedance-hz or both, in samples a "
                "second."
            )
        monitor = Monitor(
            Prescription.from_toml(prescription),
            ecg_hz=ecg_hz, impedance_hz=impedance_hz, ecg2_hz=ecg2_hz,
            ecg_unit=ecg_unit, impedance_unit=impedance_unit,
        )  # fmt: skip
        with _closed_pipes():
            _run(monitor, record, as_json=json)

    @app.command(short_help="A recording as frames, at real pace or faster.", epilog=EXAMPLES)
    def replay(
        record: Annotated[
            list[str],
            typer.Argument(
                help="WFDB record, .edf, .bdf, .csv or .parquet; several are joined in time, or "
                "side by side if of other channels."
            ),
        ],
        ecg: EcgName = None,
        ecg2: Ecg2Name = None,
        impedance: ImpedanceName = None,
        pace: Annotated[
            float, typer.Option(help="Times real pace; 0 does not wait.", min=0.0)
        ] = 1.0,
        step_s: Annotated[float, typer.Option(help="Seconds a frame.")] = 1.0,
    ) -> None:
        """Print a recording as frames for the stream command. Bench use only.

        Its rates and units are told on standard error, as the stream command takes them.
        """
        with _closed_pipes():
            recording = read(*record, ecg=ecg, ecg2=ecg2, impedance=impedance)
            typer.echo(f"infantmon stream {_announced(recording)}", err=True)
            for line in frames_of(recording, step_s=step_s, pace=pace or None):
                sys.stdout.buffer.write(line)
                sys.stdout.buffer.flush()


def _announced(recording: Recording) -> str:
    """Return the options of the stream command that tell it of the channels of a recording."""
    told = []
    for role, channel in recording.channels.items():
        told.append(f"--{role}-hz {channel.rate_hz:.12g}")
        if channel.unit and role != "ecg2":  # a second lead has the unit of the first
            told.append(f"--{role}-unit {shlex.quote(channel.unit)}")
    return " ".join(told)


def _run(monitor: Monitor, record: Path | None, *, as_json: bool) -> None:
    keeper = None if record is None else _keeper(record, monitor)
    _say_first(monitor, as_json=as_json)
    reader = FrameReader(keeper or monitor, monitor.rates_hz, _fault_teller())
    with _ended_by_interrupt(sys.stdin.buffer) as lines:
        for change in reader.changes(lines):
            _say_change(change, as_json=as_json)
    if keeper is None:
        left = monitor.finish()
    else:
        before = keeper.changes_count
        keeper.finish()
        left = keeper.changes[len(keeper.changes) - (keeper.changes_count - before) :]
        keeper.close()
    for change in left:
        _say_change(change, as_json=as_json)
    _say_last(reader, monitor.rates_hz, as_json=as_json)
    if reader.skipped and not reader.frames:
        raise InfantmonError(
            f"not one of {counted(reader.lines, 'line')} was a frame; each is a JSON object with "
            "time_s and a list of samples under ecg, impedance or ecg2."
        )


def _say_first(monitor: Monitor, *, as_json: bool) -> None:
    """Say that this is no live use, and what is not watched."""
    if as_json:
        _say({"notice": f"{FIRST_LINE} {NOTICE}", "not_watched": list(monitor.not_watched)})
        return
    for line in (FIRST_LINE, *not_watched_lines(monitor.not_watched)):
        _say(line)


def _say_last(reader: FrameReader, rates_hz: Mapping[str, float], *, as_json: bool) -> None:
    """Say how many lines were taken, what was missing between them, and what came twice."""
    missing, repeated = _rounded(reader.missing_s), _rounded(reader.repeated_s)
    if as_json:
        told = {"frames": reader.frames, "lines": reader.lines, "skipped": reader.skipped}
        _say({"end": {**told, "missing_s": missing, "repeated_s": repeated}})
        return
    for words, seconds in (
        ("missing between frames", missing),
        ("had come already and were left out", repeated),
    ):
        for role, length_s in seconds.items():
            _say(f"{role}: {length_s:g} s {words}, if its rate is {rates_hz[role]:g} Hz")
    lines, frames = counted(reader.lines, "line"), counted(reader.frames, "frame")
    _say(f"{frames} in {lines}; {reader.skipped} skipped")


def _rounded(seconds: Mapping[str, float]) -> dict[str, float]:
    return {role: round(length_s, 3) for role, length_s in seconds.items() if length_s > 0.0}


def _keeper(path: Path, monitor: Monitor) -> DiskRecorder:
    if not path.exists():
        return DiskRecorder.begin(path, monitor)
    keeper = DiskRecorder.reopen(path)
    begun = keeper.monitor
    if (begun.plan, begun.rates_hz, begun.units) != (monitor.plan, monitor.rates_hz, monitor.units):
        raise InfantmonError(
            f"{path} was begun with other limits, rates or units; name another file, or give the "
            "same."
        )
    if keeper.finished:
        raise InfantmonError(f"{path} holds a stream that came to its end; name another file.")
    return keeper


def _say_change(change: Change, *, as_json: bool) -> None:
    onset_s, event = change.onset_s, change.event
    if as_json:
        number = None if event is None else event.number
        _say(
            {
                "known_s": change.known_s, "kind": change.kind, "state": change.state,
                "cause": change.cause, "onset_s": onset_s, "event": number,
            }
        )  # fmt: skip
        return
    begun = ""
    if onset_s is not None:
        begun = f", onset {onset_s:.2f} s, {change.known_s - onset_s:.2f} s ago"
    named = "" if event is None else f" (event {event.number}, {event.judgement})"
    _say(f"{change.known_s:10.2f} s  {change.kind}: {change.state}, {change.cause}{begun}{named}")


def _say(what: str | dict[str, Any]) -> None:
    text = what if isinstance(what, str) else json_text.dumps(finite(what), allow_nan=False)
    print(text, flush=True)  # noqa: T201 - a line a change, as it comes


def _fault_teller() -> Callable[[int, str], None]:
    """Return what tells the first faulty lines one by one, and that the rest are counted."""
    told = itertools.count(1)

    def tell(number: int, why: str) -> None:
        place = next(told)
        if place <= MOST_TOLD:
            print(f"line {number} {why}", file=sys.stderr, flush=True)  # noqa: T201
        elif place == MOST_TOLD + 1:
            print("further such lines are counted only", file=sys.stderr)  # noqa: T201

    return tell


class _Lines:
    """A stream of lines that an interrupt brings to its end: between two lines, never in a push."""

    def __init__(self, stream: BinaryIO) -> None:
        self._stream = stream
        self._reading = False
        self._ended = False

    def readline(self, most: int, /) -> bytes:
        """Return the next line, or nothing once an interrupt has come."""
        try:
            self._reading = True
            return b"" if self._ended else self._stream.readline(most)
        except KeyboardInterrupt:
            self._ended = True
            return b""
        finally:
            self._reading = False

    def interrupt(self, *_: object) -> None:
        """End the wait for a line at once, or else a push first; a second one breaks off."""
        if self._reading or self._ended:
            raise KeyboardInterrupt
        self._ended = True


@contextlib.contextmanager
def _ended_by_interrupt(stream: BinaryIO) -> Iterator[_Lines]:
    """Yield the lines of a stream, which an interrupt ends: what is left is said as at the end."""
    lines, before = _Lines(stream), signal.getsignal(signal.SIGINT)
    ours = before is signal.default_int_handler and current_thread() is main_thread()
    if ours:  # else somebody else looks after interrupts, or they are ignored
        signal.signal(signal.SIGINT, lines.interrupt)
    try:
        yield lines
    finally:
        if ours:
            signal.signal(signal.SIGINT, before)


@contextlib.contextmanager
def _closed_pipes() -> Iterator[None]:
    """End quietly where the reader of our output has gone."""
    try:
        yield
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
