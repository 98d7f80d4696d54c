"""The corpus in figures: events an hour by age, alarm load, lost time, what-if, with intervals."""

from __future__ import annotations

import math
import os
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from infantmon.corpus.dataset import DONE, Dataset, half_written
from infantmon.errors import RecordingError
from infantmon.formats.files import write_whole
from infantmon.formats.parquet_table import arrow_package
from infantmon.model.arrays import Floats
from infantmon.model.prescription import Prescription
from infantmon.model.recording import ROLE_WORDS
from infantmon.report.cautions import BLIND_SPOT, CAUTIONS, NOTICE, SHORT_NOTICE
from infantmon.report.rendering import templates_of
from infantmon.report.summary import limit_rows
from infantmon.version import library_version

AGES = (
    ("below 32 weeks", 22.0, 32.0),
    ("32 to 36 weeks", 32.0, 37.0),
    ("37 to 44 weeks", 37.0, 45.0),
    ("45 weeks and more", 45.0, math.inf),
)
"""Bands of postmenstrual age (the project's own choice)."""
ALL_AGES, NO_AGE, ALL_KINDS = "all ages", "age not given", "all alarms"
REPEATS, SEED = 2000, 1
_JUDGED = ("supported", "doubtful", "not_assessable")
_NONE_SEEN = -math.log(0.025)
"""Upper end of the exact Poisson interval (95 %, two-sided) of a count of 0."""
_HOUR_S = 3600.0
EVENTS, WHAT_IF, LOST = "events an hour", "what if", "lost time"


@dataclass(frozen=True)
class Summary:
    """Figures over a corpus.

    Attributes
    ----------
    rows : tuple of dict
        `what` ("events an hour", "what if", "lost time"), `group` (age), `limits`, `kind` (or
        channel), `count` and of these `supported`, `doubtful`, `not_assessable` (NaN for lost
        time), how many `recordings` and `infants`, recorded `hours`, `figure`, `low`, `high`.
    recordings, infants : int
        How many there are; a recording without a named infant counts as one.
    hours : float
        Recorded.
    """

    rows: tuple[dict[str, Any], ...]
    recordings: int
    infants: int
    hours: float

    def of(self, what: str) -> list[dict[str, Any]]:
        """Return the rows of one kind of figure; `what` is as in `rows`."""
        return [row for row in self.rows if row["what"] == what]


def summarise(out: str | os.PathLike[str], settings_sha256: str, keys: Sequence[str]) -> Summary:
    """Return the figures of a dataset.

    Parameters
    ----------
    out : str or path
        Folder of the dataset.
    settings_sha256 : str
        Only recordings that were reviewed under these settings count.
    keys : sequence of str
        Only these recordings count.

    Notes
    -----
    The intervals (95 %) are bootstrap percentiles over infants: whole infants are drawn with
    replacement, 2000 times, seed 1; with one infant there are none. They say how the figure would
    move with other infants of the same kind, nothing else. With few infants they are too narrow.
    Where there was no event at all, drawing again says nothing: the upper end is then that of the
    exact Poisson interval, -ln(0.025) over the hours, as if events came independently.

    References
    ----------
    Garwood F, Fiducial limits for the Poisson distribution, Biometrika 28:437-442, 1936 (from
    memory).
    Efron B, Tibshirani RJ, An introduction to the bootstrap, Chapman and Hall, 1993 (from memory).
    """
    dataset, wanted = Dataset(out), set(keys)
    runs = [
        row
        for row in dataset.read("runs").to_pylist()
        if row["status"] == DONE
        and row["settings_sha256"] == settings_sha256
        and row["recording"] in wanted
    ]
    place = {row["recording"]: k for k, row in enumerate(runs)}
    infants = {name: k for k, name in enumerate(dict.fromkeys(map(_infant, runs)))}
    owner = np.array([infants[_infant(row)] for row in runs], dtype=np.int64)
    hours = np.array([row["recorded_s"] for row in runs]) / _HOUR_S
    groups = _groups(runs)
    counts = _counts(dataset, place)
    rows = []
    for group, inside in groups.items():
        shown = [key for key in counts if key[0] == 0 or group == ALL_AGES]
        for plan, limits, kind in shown:
            what = EVENTS if plan == 0 else WHAT_IF
            row: dict[str, Any] = {"what": what, "group": group, "limits": limits, "kind": kind}
            found = counts[plan, limits, kind]
            row |= _figure(found[:, 0], hours, owner, inside)
            if row["count"] == 0 and row["hours"] > 0:
                row |= {"low": 0.0, "high": _NONE_SEEN / row["hours"]}
            judged = found[inside, 1:].sum(axis=0).tolist()
            rows.append(row | dict(zip(_JUDGED, judged, strict=True)))
        rows += [_lost(runs, role, group, hours, owner, inside) for role in ("ecg", "impedance")]
    return Summary(tuple(rows), len(runs), len(infants), float(hours.sum()))


def _infant(row: dict[str, Any]) -> str:
    return str(row["infant"] or row["recording"])


def age_band(weeks: float) -> str:
    """Return the name of the band of a postmenstrual age in weeks, NaN for not given.

    Parameters
    ----------
    weeks : float
        The age.
    """
    return next((name for name, low, high in AGES if low <= weeks < high), NO_AGE)


def _groups(runs: Sequence[dict[str, Any]]) -> dict[str, Any]:
    ages = np.array([row["age_weeks"] for row in runs], dtype=np.float64)
    groups = {ALL_AGES: np.ones(len(runs), dtype=np.bool_)}
    groups |= {name: (ages >= low) & (ages < high) for name, low, high in AGES}
    groups[NO_AGE] = np.isnan(ages)
    return {name: inside for name, inside in groups.items() if inside.any()}


def _counts(dataset: Dataset, place: dict[str, int]) -> dict[tuple[int, str, str], Floats]:
    """Return events of each recording, and as judged, by plan, its limits in words, and kind."""
    table = dataset.read("what_if", ("recording", "plan", "limits", "kind", "events", *_JUDGED))
    columns = [table.column(name).to_pylist() for name in table.column_names]
    counts: dict[tuple[int, str, str], Floats] = {}
    for recording, plan, limits, kind, *events in zip(*columns, strict=True):
        if recording in place:
            for named in (kind, ALL_KINDS):
                mine = counts.setdefault((plan, limits, named), np.zeros((len(place), 4)))
                mine[place[recording]] += events
    return dict(sorted(counts.items(), key=lambda item: (item[0][0], item[0][2] == ALL_KINDS)))


def _figure(count: Floats, of: Floats, owner: Any, inside: Any) -> dict[str, Any]:
    """Return count / of over a group, with its interval over infants."""
    _, mine = np.unique(owner[inside], return_inverse=True)
    over = np.bincount(mine, count[inside]), np.bincount(mine, of[inside])
    whole = float(over[1].sum())
    low = high = math.nan
    if len(over[0]) > 1 and whole > 0:
        draw = np.random.default_rng(SEED)
        ratios = np.empty(REPEATS)
        for turn in range(REPEATS):  # one draw at a time: memory is bounded by one corpus
            often = np.bincount(
                draw.integers(len(over[0]), size=len(over[0])), minlength=len(over[0])
            )
            ratios[turn] = (often @ over[0]) / (often @ over[1])
        low, high = (float(end) for end in np.quantile(ratios, (0.025, 0.975)))
    return {
        "count": float(over[0].sum()),
        "recordings": int(inside.sum()),
        "infants": len(over[0]),
        "hours": whole,
        "figure": float(over[0].sum()) / whole if whole > 0 else math.nan,
        "low": low,
        "high": high,
    }


def _lost(
    runs: Sequence[dict[str, Any]], role: str, group: str, hours: Floats, owner: Any, inside: Any
) -> dict[str, Any]:
    usable = np.array([row[f"{role}_usable_s"] for row in runs], dtype=np.float64) / _HOUR_S
    there = inside & ~np.isnan(usable)
    row = {"what": LOST, "group": group, "limits": "", "kind": role}
    if not there.any():
        empty = dict.fromkeys(("count", "figure", "low", "high", *_JUDGED), math.nan)
        return row | empty | {"recordings": 0, "infants": 0, "hours": 0.0}
    lost = np.where(there, hours - np.nan_to_num(usable), 0.0)
    return row | _figure(lost, hours, owner, there) | dict.fromkeys(_JUDGED, math.nan)


def write_summary(
    summary: Summary,
    folder: str | os.PathLike[str],
    failed: Sequence[str] = (),
    plan: Prescription | None = None,
) -> list[Path]:
    """Write the figures as a page and as Parquet; return the paths.

    Parameters
    ----------
    summary : Summary
        From `summarise`.
    folder : str or path
        Where to.
    failed : sequence of str
        Why recordings failed, without their names.
    plan : Prescription or None
        The limits in force, to be shown.

    Raises
    ------
    RecordingError
        If they cannot be written.
    """
    parquet = arrow_package()
    import pyarrow as pa  # noqa: PLC0415 - an extra

    page = _page(summary, failed, plan)
    paths = [Path(folder) / name for name in ("summary.html", "summary.parquet")]
    rows = [row | {"notice": SHORT_NOTICE} for row in summary.rows]
    try:
        write_whole(paths[0], page)
        table = pa.Table.from_pylist(rows).replace_schema_metadata({"notice": NOTICE})
        with half_written(paths[1]) as half:
            parquet.write_table(table, half)
    except OSError as fault:
        raise RecordingError(
            f"cannot write to {folder} ({fault.strerror or fault}); pass another folder."
        ) from fault
    return paths


def _page(summary: Summary, failed: Sequence[str], plan: Prescription | None) -> str:
    environment = templates_of("infantmon.corpus")
    environment.filters["figure"] = three_digits
    environment.filters["percent"] = lambda v: f"{100.0 * v:.2f} %"
    return environment.get_template("summary.html").render(
        summary=summary,
        cautions=CAUTIONS,
        blind_spot=BLIND_SPOT[0].upper() + BLIND_SPOT[1:],
        failed=Counter(failed).most_common(),
        limits=() if plan is None else limit_rows(plan, {}),
        events=_grouped(summary.of(EVENTS), "group"),
        what_if=_grouped(summary.of(WHAT_IF), "limits"),
        lost=summary.of(LOST),
        repeats=REPEATS,
        version=library_version(),
        role_words=ROLE_WORDS,
    )


def three_digits(value: float) -> str:
    """Return a number of 0 or more with three digits that count, and all before the point.

    Parameters
    ----------
    value : float
        The number.

    Examples
    --------
    >>> [three_digits(value) for value in (0.0, 0.0123, 5.996, 20.11, 1234.5)]
    ['0', '0.0123', '6.00', '20.1', '1234']
    """
    if not value > 0.0:
        return f"{value:g}"
    return f"{value:.{max(0, 2 - math.floor(math.log10(value)))}f}"


def _grouped(rows: Sequence[dict[str, Any]], by: str) -> list[tuple[str, list[dict[str, Any]]]]:
    groups: dict[str, list[dict[str, Any]]] = {}
    for row in rows:
        groups.setdefault(row[by], []).append(row)
    return list(groups.items())
