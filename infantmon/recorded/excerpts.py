"""A folder of excerpts: each recorded event with the signals that were kept around it."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from infantmon.errors import RecordingError
from infantmon.model.event import NOT_ASSESSABLE, Evidence
from infantmon.model.recording import Recording
from infantmon.recorded.event import RecordedEvents
from infantmon.recorded.judging import JudgedList, JudgedRecorded


def judge_excerpts(
    load: Mapping[str, Callable[[], Recording]],
    recorded: RecordedEvents,
    judge: Callable[[Recording, RecordedEvents], JudgedList],
) -> tuple[JudgedList, dict[str, str]]:
    """Judge the rows of each excerpt in its own recording, one at a time.

    Parameters
    ----------
    load : mapping of str to callable
        Reads an excerpt, by the name that the list has for it.
    recorded : RecordedEvents
        The list; each row names its excerpt.
    judge : callable
        Judges the rows of one recording: a review with `recorded`.

    Returns
    -------
    JudgedList
        In the order listed. A row whose excerpt is missing or cannot be read is not assessable.
    dict of str to str
        Excerpts that could not be read, and why.
    """
    whole = JudgedList(())
    unread: dict[str, str] = {}
    for name in dict.fromkeys(event.recording for event in recorded):
        rows = recorded.of_recording(name)
        if name not in load:
            unread[name] = f"there is no excerpt named {name!r}"
        else:
            try:
                whole += judge(load[name](), rows)
            except RecordingError as fault:
                unread[name] = str(fault)
        if name in unread:
            whole += _unread(rows, unread[name])
    judged = tuple(sorted(whole.judged, key=lambda one: one.recorded.row))
    return JudgedList(judged, whole.beside, whole.tests, whole.faults), unread


def _unread(rows: RecordedEvents, fault: str) -> JudgedList:
    reasons = (Evidence(f"the excerpt could not be read: {fault}", NOT_ASSESSABLE),)
    return JudgedList(
        tuple(JudgedRecorded(r, NOT_ASSESSABLE, reasons, None, ()) for r in rows if not r.test),
        tests=tuple(row for row in rows if row.test),
        faults=(*rows.faults, *(f"row {row.row}: {fault}" for row in rows)),
    )
