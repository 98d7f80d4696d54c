"""Many recordings over an executor: what is done is skipped, what fails costs only itself."""

from __future__ import annotations

import dataclasses
import math
import multiprocessing
import os
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass, field
from multiprocessing.connection import wait as wait_for

from infantmon.corpus.dataset import DONE, FAILED, Dataset
from infantmon.corpus.listing import Listing
from infantmon.corpus.pieces import whole_blocks_s
from infantmon.corpus.task import UNCHANGED, UNFINISHED, Outcome, ScoreSettings, Settings, Task
from infantmon.corpus.working import put_failed, work
from infantmon.errors import ArgumentError, InfantmonError
from infantmon.version import library_version

Progress = Callable[[float], None]
MakeExecutor = Callable[[], Executor]
MEMORY_MIB = 2048
"""Most memory a worker of the local pool may ask for, unless told otherwise (project's choice)."""
_DIED = "its worker died twice while reviewing it (killed, crashed, or out of memory)"
_AT_ONCE = 2  # tasks handed out a worker: one in work, one waiting, so that no worker ever waits


@dataclass
class Report:
    """What came of a run.

    Attributes
    ----------
    done, unchanged, skipped : list of Listing
        Reviewed now; looked at and found unchanged; finished by an earlier run.
    failed : list of (Listing, Outcome)
        Each with its reason.
    outcomes : list of Outcome
        Of what was reviewed now: processor time, memory.
    """

    done: list[Listing] = field(default_factory=list)
    unchanged: list[Listing] = field(default_factory=list)
    skipped: list[Listing] = field(default_factory=list)
    failed: list[tuple[Listing, Outcome]] = field(default_factory=list)
    outcomes: list[Outcome] = field(default_factory=list)


def run_corpus(
    recordings: Sequence[Listing],
    settings: Settings | ScoreSettings,
    out: str | os.PathLike[str],
    *,
    executor: MakeExecutor | None = None,
    workers: int = 2,
    piece_s: float | None = None,
    progress: Progress | None = None,
) -> Report:
    """Review the recordings of a corpus into a dataset, or score a detector on them.

    Parameters
    ----------
    recordings : sequence of Listing
        From `list_recordings`; they are handed out in this order.
    settings : Settings or ScoreSettings
        How each is reviewed or scored; for scores, list the recordings with their labels.
    out : str or path
        Folder of the dataset; every worker has to see it under the same path.
    executor : callable or None
        Returns any ``concurrent.futures.Executor``; called again when that one breaks. By default a
        pool of processes on this machine (`local_pool`).
    workers : int
        How many work at a time.
    piece_s : float or None
        Longer recordings are reviewed in pieces of this many seconds (a multiple of 300), one after
        the other; the results are equal. A run that is broken off loses one piece at most.
    progress : callable or None
        Told the share that is done, 0 to 1, by size.

    Returns
    -------
    Report
        What was done, what was skipped, and what failed for which reason.

    Raises
    ------
    ArgumentError
        If a number is out of range.
    RecordingError
        If the dataset cannot be written.

    Notes
    -----
    A worker that dies takes down what its pool had in hand. All of that is tried again, one at a
    time: only a recording whose worker dies again while it is alone is given up.
    """
    if workers < 1:
        raise ArgumentError(f"workers is {workers}; at least 1 is needed.")
    if piece_s is not None:
        whole_blocks_s(piece_s)
        if isinstance(settings, ScoreSettings):
            raise ArgumentError("a recording is scored whole; leave piece_s out.")
    dataset = Dataset(out)
    dataset.prepare()
    report = Report()
    run = _Run(report, progress, max(sum(r.size_bytes for r in recordings), 1))
    tasks = _to_do(run, recordings, settings, dataset, piece_s)
    make = executor or (lambda: local_pool(workers))
    again = run.through(make, tasks, workers * _AT_ONCE)
    for listing, task in run.through(make, again, 1):
        run.take(listing, put_failed(dataset, task, None, f"{listing.name}: {_DIED}"))
    dataset.sweep()
    if not report.failed:
        dataset.clear_states()
    return report


class _Run:
    """The tasks of a run on their way through executors."""

    def __init__(self, report: Report, progress: Progress | None, whole_bytes: int) -> None:
        self.report, self.progress, self.whole_bytes = report, progress, whole_bytes
        self.bytes = 0

    def skip(self, listing: Listing) -> None:
        """Count a recording that an earlier run finished."""
        self.report.skipped.append(listing)
        self._tell(listing)

    def take(self, listing: Listing, outcome: Outcome) -> None:
        """Count what came of a recording."""
        if outcome.status == FAILED:
            self.report.failed.append((listing, outcome))
        elif outcome.status == UNCHANGED:
            self.report.unchanged.append(listing)
        else:
            self.report.done.append(listing)
            self.report.outcomes.append(outcome)
        self._tell(listing)

    def through(
        self, make: MakeExecutor, tasks: Sequence[tuple[Listing, Task]], at_once: int
    ) -> list[tuple[Listing, Task]]:
        """Send tasks through executors; return those during which a worker died."""
        waiting: list[tuple[Listing, Task]] = list(reversed(tasks))
        suspects: list[tuple[Listing, Task]] = []
        while waiting:
            executor, before = make(), len(waiting)
            try:
                lost = self._with_one(executor, waiting, at_once)
            finally:
                executor.shutdown(wait=True)
            if len(waiting) == before and not lost:
                raise InfantmonError(
                    "the executor takes no work; it is broken or shut down. "
                    "Pass a function that returns a new one each time."
                )
            suspects += lost
        return suspects

    def _with_one(
        self, executor: Executor, waiting: list[tuple[Listing, Task]], at_once: int
    ) -> list[tuple[Listing, Task]]:
        """Send tasks through one executor until none waits or it breaks; return what it lost."""
        out: dict[Future[Outcome], tuple[Listing, Task]] = {}
        lost: list[tuple[Listing, Task]] = []
        broken = False
        try:
            while waiting or out:
                while waiting and len(out) < at_once and not (lost or broken):
                    try:
                        future = executor.submit(work, waiting[-1][1])
                    except RuntimeError:  # it broke since the last look
                        broken = True
                    else:
                        out[future] = waiting.pop()
                if not out:
                    break
                for future in wait(out, return_when=FIRST_COMPLETED).done:
                    self._settle(future, out.pop(future), waiting, lost)
        finally:
            for future in out:  # only where the run is broken off
                future.cancel()
        return lost

    def _settle(
        self,
        future: Future[Outcome],
        pair: tuple[Listing, Task],
        waiting: list[tuple[Listing, Task]],
        lost: list[tuple[Listing, Task]],
    ) -> None:
        try:
            outcome = future.result()
        except Exception:  # noqa: BLE001 - each executor has its own for a worker that died
            lost.append(pair)
            return
        if outcome.status == UNFINISHED:
            waiting.append((pair[0], dataclasses.replace(pair[1], piece=pair[1].piece + 1)))
        else:
            self.take(pair[0], outcome)

    def _tell(self, listing: Listing) -> None:
        self.bytes += listing.size_bytes
        if self.progress is not None:
            self.progress(min(self.bytes / self.whole_bytes, 1.0))


def local_pool(workers: int, memory_mib: int | None = MEMORY_MIB) -> Executor:
    """Return a pool of processes on this machine.

    Parameters
    ----------
    workers : int
        How many; no more than there are cores is of use.
    memory_mib : int or None
        Most memory (MiB) each may ask for. A recording that needs more fails for that reason, and
        only it. None sets no bound.

    Notes
    -----
    Processes are started afresh, not forked, so a script that calls it needs the usual
    ``if __name__ == "__main__"``.
    """
    return ProcessPoolExecutor(
        workers,
        mp_context=multiprocessing.get_context("spawn"),
        initializer=begin_worker,
        initargs=(memory_mib,),
    )


def begin_worker(memory_mib: int | None) -> None:
    """Bound the memory (MiB) that this process may ask for, and have it end with its parent."""
    parent = multiprocessing.parent_process()
    if parent is not None:

        def leave() -> None:
            wait_for([parent.sentinel])
            os._exit(1)  # nobody is left to take a result; what is half written is swept up later

        threading.Thread(target=leave, daemon=True).start()
    if memory_mib is None:
        return
    import resource  # noqa: PLC0415 - not on every system

    wanted = int(memory_mib) * 1024 * 1024
    _, most = resource.getrlimit(resource.RLIMIT_DATA)
    bound = wanted if most == resource.RLIM_INFINITY else min(wanted, most)
    resource.setrlimit(resource.RLIMIT_DATA, (bound, most))


def _to_do(
    run: _Run,
    recordings: Sequence[Listing],
    settings: Settings | ScoreSettings,
    dataset: Dataset,
    piece_s: float | None,
) -> list[tuple[Listing, Task]]:
    """Return the recordings that an earlier run has not finished, each with its task."""
    finished = _finished(dataset)
    tasks = []
    for listing in recordings:
        before = finished.get(listing.key)
        if before is not None and not before.is_still_of(listing, settings):
            before = None
        if before is not None and before.stamp == listing.stamp:
            run.skip(listing)
            continue
        # Files whose stamp alone has changed may hold what they held: their content tells.
        known = None if before is None else before.input_sha256
        tasks.append((listing, _task(listing, settings, dataset, known, piece_s)))
    return tasks


@dataclass(frozen=True)
class _Before:
    """What the dataset says of a recording that an earlier run finished.

    Attributes
    ----------
    input_sha256, stamp : str
        Of its files: their content, and their sizes and times of change.
    infant, age_weeks : str or None, float or None
        Whose it was said to be.
    settings_sha256, version : str
        Which settings, and which version of the library, it was finished by.
    """

    input_sha256: str
    stamp: str
    infant: str | None
    age_weeks: float | None
    settings_sha256: str
    version: str

    def is_still_of(self, listing: Listing, settings: Settings | ScoreSettings) -> bool:
        """Tell whether it would be finished the same now, if its files have not changed."""
        whose = (self.infant, self.age_weeks) == (listing.infant, listing.age_weeks)
        made_by = (self.settings_sha256, self.version) == (settings.sha256, library_version())
        return whose and made_by


def _task(
    listing: Listing,
    settings: Settings | ScoreSettings,
    dataset: Dataset,
    known_sha256: str | None,
    piece_s: float | None,
) -> Task:
    return Task(
        key=listing.key,
        addresses=tuple(one if "://" in one else os.path.abspath(one) for one in listing.addresses),  # noqa: PTH100 - links are kept
        stamp=listing.stamp,
        settings=settings,
        out=str(dataset.folder.absolute()),
        age_weeks=listing.age_weeks,
        infant=listing.infant,
        known_sha256=known_sha256,
        piece_s=piece_s,
    )


def _finished(dataset: Dataset) -> dict[str, _Before]:
    """Return by key what the dataset says of finished recordings."""
    columns = ("recording", "input_sha256", "input_stamp", "infant", "age_weeks")
    table = dataset.read("runs", (*columns, "settings_sha256", "version", "status")).to_pylist()
    found = {}
    for row in (row for row in table if row["status"] == DONE):
        age = row["age_weeks"]
        found[row["recording"]] = _Before(
            row["input_sha256"],
            row["input_stamp"],
            row["infant"],
            None if age is None or math.isnan(age) else age,
            row["settings_sha256"],
            row["version"],
        )
    return found
