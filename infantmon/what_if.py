"""What-if: what other limits would have listed on the same findings, as a table and a picture.

The table says what each set of limits gives. It recommends none.
"""

from __future__ import annotations

import contextlib
import math
import warnings
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from infantmon.errors import (
    ArgumentError,
    PrescriptionError,
    require_each,
    require_kind,
    require_mapping,
    require_number,
)
from infantmon.events.rule_sets.episodes import Stored
from infantmon.events.rule_sets.intervals import breath_intervals
from infantmon.model.arrays import Floats
from infantmon.model.event import DOUBTFUL, NOT_ASSESSABLE, SUPPORTED, Event
from infantmon.model.prescription import KINDS, Prescription, UnusualLimitWarning
from infantmon.report.drawing import Drawing
from infantmon.report.what_if import changes_text
from infantmon.report.what_if_drawing import Row, draw_rows
from infantmon.scoring.episodes import EpisodeTally, match_episodes

if TYPE_CHECKING:
    import pandas as pd

ALL = "all alarms"
"""Kind of the row that adds up all kinds of one plan."""
_JUDGEMENTS = (SUPPORTED, DOUBTFUL, NOT_ASSESSABLE)
_SCORES = (
    *("true", "found", "sensitivity", "sensitivity_low", "sensitivity_high"),
    *("right", "positive_predictivity", "positive_predictivity_low", "positive_predictivity_high"),
)
Swept = Sequence[tuple[Prescription, Sequence[Event]]]
"""Prescriptions and the events that each gives, as `sweep` returns them."""


NEIGHBOUR_SHARE = 0.1
"""How far below and above the limits in force `neighbours` goes (the project's own choice)."""
_MAIN_LIMITS = (
    ("apnea", "limit_s"),
    ("low_heart_rate", "limit_bpm"),
    ("high_heart_rate", "limit_bpm"),
    ("no_heart_beat", "limit_s"),
)


def neighbours(plan: Prescription, share: float = NEIGHBOUR_SHARE) -> list[Prescription]:
    """Return the prescription with one limit at a time somewhat lower, then somewhat higher.

    It shows how much a list of events hangs on the exact value of a limit. The rows are the same
    for every recording; none is a proposal.

    Parameters
    ----------
    plan : Prescription
        The limits in force.
    share : float
        How far to go, as a share of the limit: above 0 and below 1.

    Returns
    -------
    list of Prescription
        Two for each limit on breathing and heart; one that no prescription can have is left out.

    Raises
    ------
    ArgumentError
        If `share` is not above 0 and below 1.

    Examples
    --------
    >>> [other.apnea.limit_s for other in neighbours(Prescription(apnea={"limit_s": 20}))]
    [18.0, 22.0]
    """
    require_kind(plan, Prescription, name="plan", called="an infantmon.Prescription")
    share = require_number(share, name="share", unit="of the limit")
    if not 0.0 < share < 1.0:
        raise ArgumentError(f"share is {share!r}; a share of the limit above 0 and below 1.")
    tables = plan.model_dump(exclude_none=True)
    others = []
    for table, name in _MAIN_LIMITS:
        for factor in (1.0 - share, 1.0 + share) if table in tables else ():
            value = round(tables[table][name] * factor, 1)
            with warnings.catch_warnings(), contextlib.suppress(PrescriptionError):
                warnings.simplefilter("ignore", UnusualLimitWarning)  # nobody set this one
                others.append(Prescription(**tables | {table: tables[table] | {name: value}}))
    return others


def what_if_table(
    findings: Stored, swept: Swept, truth: Mapping[str, npt.ArrayLike] | None = None
) -> pd.DataFrame:
    """Return what each prescription gives, one row a plan and kind, and one for all of its alarms.

    Parameters
    ----------
    findings : StoredFindings
        From `Review.findings`.
    swept : sequence of (Prescription, EventLog)
        From `sweep` over the same findings.
    truth : mapping of str to array_like, shape (n, 2), or None
        By kind: start and end of what is true, in seconds, where that is known.

    Returns
    -------
    pandas.DataFrame
        `plan` (place in `swept`), `limits` (what differs from the first plan, in words), `kind`,
        `events` and how many of each judgement; the same an hour (every event is one alarm);
        `median_delay_s` and `longest_delay_s` from onset to going active, the limit included;
        `longest_unalarmed_s`, for apneas: the longest pause, mark to mark, that was no event. With
        truth: how many are true and found, sensitivity and positive predictivity with their 95 %
        Wilson intervals; any overlap is a match (`match_episodes`).

    Raises
    ------
    ArgumentError
        If nothing was swept, a kind of the truth is unknown, or its episodes are not in order.
    """
    import pandas as pd  # noqa: PLC0415 - heavy; loaded only for who asks for a table

    if not hasattr(findings, "whole"):
        raise ArgumentError(f"findings is a {type(findings).__name__}; pass Review.findings.")
    swept = require_each(swept, tuple, name="swept", called="what sweep() returned")
    told = {} if truth is None else require_mapping(truth, name="truth", called="spans by kind")
    if not swept:
        raise ArgumentError("swept is empty; pass what sweep() returned for one plan or more.")
    known = {kind: np.asarray(spans) for kind, spans in told.items()}
    unknown = sorted(set(known) - set(KINDS))
    if unknown:
        raise ArgumentError(f"truth names {unknown}; kinds are {', '.join(KINDS)}.")
    hours = findings.whole.reached_s / 3600.0
    rows: list[dict[str, Any]] = []
    for place, (plan, events) in enumerate(swept):
        limits = changes_text(swept[0][0], plan) if place else "the first plan"
        words = {"plan": place, "limits": limits}
        watched = [kind for kind in KINDS if kind not in plan.not_watched]
        for kind in (*watched, ALL):
            mine = [event for event in events if kind in (event.kind, ALL)]
            row = words | {"kind": kind} | _counts(mine, hours) | _delays(mine)
            row["longest_unalarmed_s"] = (
                longest_unalarmed_s(findings, mine) if kind == "apnea" else math.nan
            )
            if kind in known:
                row |= _scores(known[kind], mine, findings.whole.reached_s)
            rows.append(row)
    return pd.DataFrame(rows)


def longest_unalarmed_s(findings: Stored, apneas: Iterable[Event]) -> float:
    """Return the longest pause, mark to mark, of which no apnea covers half, in seconds.

    What lies in unusable stretches is no pause.

    Parameters
    ----------
    findings : StoredFindings
        From `Review.findings`.
    apneas : iterable of Event
        What was alarmed.
    """
    pauses = breath_intervals(findings.whole)
    if not len(pauses):
        return math.nan
    covered_s = np.zeros(len(pauses))
    for apnea in apneas:
        end_s = math.inf if apnea.end_s is None else apnea.end_s
        shared = np.minimum(pauses.end_s, end_s) - np.maximum(pauses.start_s, apnea.onset_s)
        covered_s += np.maximum(shared, 0.0)
    free = covered_s < 0.5 * pauses.length_s
    return float(pauses.length_s[free].max()) if free.any() else 0.0


def draw_what_if(table: pd.DataFrame, kind: str = ALL) -> Drawing:
    """Draw one kind of a what-if table: events an hour by judgement, and how they score.

    Parameters
    ----------
    table : pandas.DataFrame
        From `what_if_table`.
    kind : str
        One of its kinds.

    Returns
    -------
    Drawing
        A row a plan; sensitivity and positive predictivity with their intervals where truth was
        given.

    Raises
    ------
    ArgumentError
        If the table has no row of that kind, or too many to draw.
    """
    mine = table[table["kind"] == kind]
    if not len(mine):
        kinds = ", ".join(dict.fromkeys(table["kind"]))
        raise ArgumentError(f"the table has no row of kind {kind!r}; it has {kinds}.")
    return draw_rows([_drawn(told) for told in mine.to_dict("records")], kind)


def _drawn(told: Mapping[Any, Any]) -> Row:
    hourly = tuple(float(told[f"{word.replace(' ', '_')}_an_hour"]) for word in _JUDGEMENTS)
    shares = []
    for name in ("sensitivity", "positive_predictivity"):
        ends = [told.get(f"{name}{end}", math.nan) for end in ("", "_low", "_high")]
        given = all(end is not None and math.isfinite(end) for end in ends)
        shares.append((float(ends[0]), float(ends[1]), float(ends[2])) if given else None)
    return Row(str(told["limits"]), (hourly[0], hourly[1], hourly[2]), shares[0], shares[1])


def _counts(events: Sequence[Event], hours: float) -> dict[str, float]:
    counts = {"events": len(events)}
    for word in _JUDGEMENTS:
        counts[word.replace(" ", "_")] = sum(event.judgement == word for event in events)
    hourly = {f"{n}_an_hour": c / hours if hours > 0 else math.nan for n, c in counts.items()}
    return {**counts, **hourly}


def _delays(events: Sequence[Event]) -> dict[str, float]:
    delays = [event.known_s - event.onset_s for event in events]
    return {
        "median_delay_s": float(np.median(delays)) if delays else math.nan,
        "longest_delay_s": max(delays) if delays else math.nan,
    }


def _scores(true_s: Floats, events: Sequence[Event], reached_s: float) -> dict[str, Any]:
    tally: EpisodeTally = match_episodes(true_s, _merged(events), end_s=reached_s).tally
    found = tally.sensitivity_interval() or (None, None)
    right = tally.positive_predictivity_interval() or (None, None)
    values = (
        *(tally.found + tally.missed, tally.found, tally.sensitivity, *found),
        *(tally.right, tally.positive_predictivity, *right),
    )
    return dict(zip(_SCORES, values, strict=True))


def _merged(events: Sequence[Event]) -> list[tuple[float, float]]:
    """Return the events as episodes in order; those that overlap are one."""
    merged: list[tuple[float, float]] = []
    spans = [(e.onset_s, math.inf if e.end_s is None else e.end_s) for e in events]
    for start_s, end_s in sorted(span for span in spans if span[1] > span[0]):
        if merged and start_s < merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], end_s))
        else:
            merged.append((start_s, end_s))
    return merged
