"""All findings of a recording, kept so that other limits can be tried without the signal."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from infantmon.chain import SignalChain, replay, settings_of
from infantmon.errors import ArgumentError, require_each, require_kind, require_row, require_text
from infantmon.events.batch import Batch, with_views
from infantmon.events.log import EventLog, fold
from infantmon.events.shared import Shared
from infantmon.events.watch import Watch
from infantmon.model.event import Change
from infantmon.model.prescription import Prescription
from infantmon.model.recording import Recording
from infantmon.model.signal import Signal
from infantmon.model.spooled import SpooledSignal

PEOPLE = ("infant", "prescriber")
"""Tables of a prescription that hold no limit."""


@dataclass(frozen=True, eq=False)
class StoredFindings:
    """All findings of a recording, so that other limits can be tried without the signal.

    Attributes
    ----------
    batches : tuple of Batch
        As the signal chain gave them, without the effort; their tables are views of `whole`.
    chain : SignalChain
        The chain that gave them (for its latencies and channels).
    whole : Batch
        All batches as one.
    """

    batches: tuple[Batch, ...]
    chain: SignalChain
    whole: Batch

    @property
    def roles(self) -> tuple[str, ...]:
        """Channels that were there."""
        return tuple(self.chain.channels)

    def __repr__(self) -> str:
        kept = f"{len(self.whole.r_peaks)} R peaks, {len(self.whole.breaths)} breaths"
        return f"StoredFindings({kept}; {', '.join(self.roles)})"


def find(
    recording: Recording, *, progress: Callable[[float], None] | None = None
) -> tuple[StoredFindings, Signal | None]:
    """Run the signal chain over a recording; return its findings and the cleaned impedance.

    The cleaned impedance of a long recording is kept in a temporary file, without a name.

    Parameters
    ----------
    recording : Recording
        Channels of one infant.
    progress : callable or None
        Called with the share done, 0 to 1, after each block.
    """
    chain = SignalChain(settings_of(recording))
    batches: list[Batch] = []
    cleaned = SpooledSignal()
    for batch in replay(recording, chain):
        if batch.effort is not None:
            cleaned.add(batch.effort)
        batches.append(dataclasses.replace(batch, effort=None))
        if progress is not None:
            progress(min(batch.reached_s / recording.end_s, 1.0))
    whole, views = with_views(batches)
    return StoredFindings(tuple(views), chain, whole), cleaned.joined()


def judge(findings: StoredFindings, plan: Prescription) -> tuple[tuple[Change, ...], Watch]:
    """Run the rules of a prescription over stored findings; return the changes and the watch.

    Parameters
    ----------
    findings : StoredFindings
        From `find`, or `Review.findings`.
    plan : Prescription
        The limits in force.
    """
    watch = Watch(plan, findings.chain.latencies, findings.roles)
    changes = [change for batch in findings.batches for change in watch.push(batch)]
    return tuple(changes), watch


def sweep(
    findings: StoredFindings, plans: Iterable[Prescription]
) -> list[tuple[Prescription, EventLog]]:
    """Judge stored findings under other prescriptions, without touching the signal.

    Parameters
    ----------
    findings : StoredFindings
        From `Review.findings`.
    plans : iterable of Prescription
        The limits to try.

    Returns
    -------
    list of (Prescription, EventLog)
        In the order given; each log equals ``review(recording, plan).events``.

    Raises
    ------
    ArgumentError
        If these are no stored findings, or not prescriptions in a row.

    Examples
    --------
    >>> from infantmon.reviewing import review
    >>> from infantmon.simulate import Pause, Scenario, simulate_night
    >>> scenario = Scenario(60.0, ecg_hz=125.0, impedance_hz=50.0, events=(Pause(20.0, 17.0),))
    >>> plan = Prescription(apnea={"limit_s": 20})
    >>> reviewed = review(simulate_night(scenario, seed=1).recording, plan)
    >>> others = variations(plan, "apnea.limit_s", [15, 20])
    >>> [(other.apnea.limit_s, len(events)) for other, events in sweep(reviewed.findings, others)]
    [(15.0, 1), (20.0, 0)]
    """
    require_kind(findings, StoredFindings, name="findings", called="Review.findings")
    called = "infantmon.Prescription objects"
    plans = require_each(plans, Prescription, name="plans", called=called)
    return sweep_whole(findings.whole, findings.chain, plans)


def sweep_whole(
    whole: Batch, chain: SignalChain, plans: Iterable[Prescription]
) -> list[tuple[Prescription, EventLog]]:
    """Return what `sweep` returns, for all findings of a recording as one batch.

    Parameters
    ----------
    whole : Batch
        All findings; it ends the stream.
    chain : SignalChain
        The chain that gave them (for its latencies and channels).
    plans : iterable of Prescription
        The limits to try.
    """
    shared = Shared(whole)
    latencies, roles = chain.latencies, tuple(chain.channels)
    swept = []
    for plan in plans:
        watch = Watch(plan, latencies, roles, shared=shared)
        swept.append((plan, fold(watch.push(shared.whole))[0]))
    return swept


def variations(plan: Prescription, limit: str, values: Iterable[float]) -> list[Prescription]:
    """Return a prescription several times over, each time with another value of one limit.

    Parameters
    ----------
    plan : Prescription
        The limits to vary. Everything else in it stays.
    limit : str
        Table and name as in the TOML file, "apnea.limit_s" for one.
    values : iterable of float
        The values to try, in the unit that the name ends in.

    Raises
    ------
    ArgumentError
        If the prescription has no such limit, or an argument is of another kind.
    PrescriptionError
        If a value is out of range.

    Examples
    --------
    >>> plan = Prescription(apnea={"limit_s": 20})
    >>> [other.apnea.limit_s for other in variations(plan, "apnea.limit_s", [15, 25])]
    [15.0, 25.0]
    """
    require_kind(plan, Prescription, name="plan", called="an infantmon.Prescription")
    tables = plan.model_dump(exclude_none=True)
    table, _, name = require_text(limit, name="limit").partition(".")
    known = [f"{t}.{n}" for t, some in tables.items() if t not in PEOPLE for n in some]
    if limit not in known:
        raise ArgumentError(
            f"the limit to vary is {limit!r}; this prescription has {', '.join(known) or 'none'}."
        )
    tried = require_row(values, name="values", called="numbers")
    return [Prescription(**tables | {table: tables[table] | {name: value}}) for value in tried]
