"""The work of one recording, done by whichever worker takes it: a plain function of plain data."""

from __future__ import annotations

import re
import resource
import sys
import time
from collections.abc import Sequence
from contextlib import ExitStack, suppress
from dataclasses import dataclass, field
from pathlib import Path

from infantmon.corpus.dataset import DONE, FAILED, Dataset, write_table
from infantmon.corpus.pieces import Found, find_piece
from infantmon.corpus.places import content_sha256, labels_beside, place_of
from infantmon.corpus.rows import done_run, failed_run, tables_of, timing_row
from infantmon.corpus.task import UNCHANGED, UNFINISHED, Outcome, ScoreSettings, Settings, Task
from infantmon.errors import InfantmonError, RecordingError
from infantmon.formats.files import READING_FAULTS
from infantmon.formats.reading import read
from infantmon.model.recording import Recording
from infantmon.version import library_version

_MIB_A_UNIT = 1024.0 if sys.platform != "darwin" else 1024.0 * 1024.0


def work(task: Task) -> Outcome:
    """Review one recording, the next piece of it, or score it, and write what it gave.

    Parameters
    ----------
    task : Task
        The recording, and how to review it.

    Returns
    -------
    Outcome
        What came of it. A recording that cannot be reviewed is an outcome too, never an exception.

    Notes
    -----
    Memory: a channel of up to 8 million samples is held as float64 (64 MB), a longer one stays in
    its file; beside it the findings, and the blocks of 300 s in work. See ``docs/corpus.md``.
    """
    attempt = _Attempt(task)
    try:
        return attempt.made()
    except (InfantmonError, *READING_FAULTS) as fault:
        told = str(fault).strip() or type(fault).__name__
        if not isinstance(fault, InfantmonError):
            told = f"{type(fault).__name__}: {told}"
        return put_failed(attempt.dataset, task, attempt.sha256, told)


@dataclass
class _Attempt:
    """One try at one task."""

    task: Task
    sha256: str | None = None
    began: float = field(default_factory=time.perf_counter)
    processor: float = field(default_factory=time.process_time)

    @property
    def dataset(self) -> Dataset:
        return Dataset(self.task.out)

    def made(self) -> Outcome:
        """Read, look at, and write one recording."""
        task = self.task
        with ExitStack() as stack:
            labels = task.settings.labels
            paths: list[Path] = []
            for address in task.addresses:
                path = stack.enter_context(place_of(address).at_hand(address, labels))
                if not path.exists():
                    raise RecordingError(f"{address} does not exist; check the list.")
                _require_labels(path, address, labels)
                paths.append(path)
            self.sha256 = content_sha256(paths, labels)
            if self.sha256 == task.known_sha256:
                _restamp(task, self.dataset)
                return Outcome(task.key, UNCHANGED)
            recording = _opened(paths, task)
            if isinstance(task.settings, ScoreSettings):
                return self._scored(task.settings, paths[0], recording, self.sha256)
            return self._reviewed(task.settings, recording, self.sha256)

    def _scored(
        self, settings: ScoreSettings, path: Path, recording: Recording, sha256: str
    ) -> Outcome:
        from infantmon.corpus.scoring import scores_of  # noqa: PLC0415 - who reviews goes without

        task = self.task
        scores = scores_of(task, settings, path, recording)
        cost = time.process_time() - self.processor, time.perf_counter() - self.began, peak_mib()
        runs = done_run(task, recording, sha256)
        tables = {"scores": scores, "timing": timing_row(task, *cost), "runs": runs}
        self.dataset.put(task.key, tables)
        return self._done(recording, cost[2])

    def _reviewed(self, settings: Settings, recording: Recording, sha256: str) -> Outcome:
        task, state = self.task, self.dataset.state_path(self.task.key)
        stands_for = f"{sha256} {settings.sha256} {library_version()}"
        found = Found.resumed(state, stands_for) if task.piece_s else None
        found = found or Found.begun(recording, stands_for)
        find_piece(recording, found, task.piece_s)
        found.processor_s += time.process_time() - self.processor
        found.wall_s += time.perf_counter() - self.began
        found.peak_mib = max(found.peak_mib, peak_mib())
        if not found.ended:
            found.keep(state)
            return Outcome(task.key, UNFINISHED, peak_mib=found.peak_mib)
        self.dataset.put(task.key, tables_of(task, settings, recording, found, sha256))
        state.unlink(missing_ok=True)
        return self._done(recording, found.peak_mib)

    def _done(self, recording: Recording, most_mib: float) -> Outcome:
        return Outcome(
            key=self.task.key,
            status=DONE,
            recorded_s=recording.end_s,
            processor_s=time.process_time() - self.processor,
            peak_mib=most_mib,
        )


def _require_labels(path: Path, address: str, labels: str | None) -> None:
    if labels is not None and not Path(labels_beside(str(path), labels)).is_file():
        raise RecordingError(
            f"{address} has no labels beside it ({path.stem}.{labels} is expected); add them, "
            "or leave the recording out by way of a list."
        )


def _opened(paths: list[Path], task: Task) -> Recording:
    records = [path.with_suffix("") if path.suffix == ".hea" else path for path in paths]
    asked = task.settings
    return read(*records, ecg=asked.ecg, ecg2=asked.ecg2, impedance=asked.impedance)


def put_failed(dataset: Dataset, task: Task, sha256: str | None, reason: str) -> Outcome:
    """Take a recording out of a dataset but for a row that says why it failed.

    Parameters
    ----------
    dataset : Dataset
        Where the row goes.
    task : Task
        What was asked.
    sha256 : str or None
        Hash of its files; None where they could not be read.
    reason : str
        Why, with names; they are left out of the row.

    Returns
    -------
    Outcome
        Tells the reason with names and without.
    """
    bare = without_names(reason, task.addresses)
    with suppress(OSError):  # a full disk, say: then the outcome alone tells it
        dataset.drop(task.key)
        dataset.state_path(task.key).unlink(missing_ok=True)
        dataset.put(task.key, {"runs": failed_run(task, sha256, bare)})
    return Outcome(task.key, FAILED, reason, bare)


def _restamp(task: Task, dataset: Dataset) -> None:
    """Note that files whose stamp has changed hold what they held; the rest stays as it was."""
    import pyarrow.parquet as parquet  # noqa: PLC0415 - an extra

    path = dataset.path("runs", task.key)
    columns = parquet.read_table(path, partitioning=None).to_pydict()
    write_table(path, "runs", columns | {"input_stamp": [task.stamp]})


def peak_mib() -> float:
    """Return the most memory that this process has held, in MiB."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / _MIB_A_UNIT


def without_names(text: str, addresses: Sequence[str]) -> str:
    """Return a message without the recording's addresses, folder and names.

    Parameters
    ----------
    text : str
        The message.
    addresses : sequence of str
        Of the recording's files.
    """
    text = re.sub(r"\S*[/\\]\S*", "the recording", text)  # whatever has the look of a path
    names = [name for one in addresses for name in (Path(one).name, Path(one).stem)]
    for name in sorted(names, key=len, reverse=True):  # a name may begin another
        text = re.sub(rf"(?<!\w){re.escape(name)}(\.\w+)?", "the recording", text)
    return text
