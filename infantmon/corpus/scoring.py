"""A detector scored over a corpus: one recording into rows, and the rows of many into a card."""

from __future__ import annotations

import json
import math
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from infantmon.corpus.dataset import DONE, Dataset
from infantmon.corpus.places import labels_beside
from infantmon.corpus.rows import Columns, with_key
from infantmon.corpus.summary import age_band
from infantmon.corpus.task import ScoreSettings, Task
from infantmon.errors import ArgumentError
from infantmon.labelled.beside import with_labels_beside
from infantmon.model.recording import Recording
from infantmon.report.cautions import SHORT_NOTICE
from infantmon.scorecard.card import Card
from infantmon.scorecard.record_score import RecordScore, Shutdown, Trusted, WindowScore
from infantmon.scorecard.running import score_labelled
from infantmon.scoring.tallies import Tally

_COUNTS = ("true_positives", "false_negatives", "false_positives")
_TRUSTED = ("right_trusted", "right_doubted", "wrong_trusted", "wrong_doubted")


def scores_of(task: Task, settings: ScoreSettings, path: Path, recording: Recording) -> Columns:
    """Return the rows of `scores` of one recording, one a match window.

    Parameters
    ----------
    task : Task
        What was asked.
    settings : ScoreSettings
        Its own.
    path : pathlib.Path
        Of the recording; its labels lie beside it.
    recording : Recording
        What is scored.
    """
    labels = Path(labels_beside(str(path), settings.labels))
    score = score_labelled(
        task.key,
        with_labels_beside(recording, labels, settings.what),
        settings.what,
        settings.detector,
        windows_s=settings.windows_s,
        from_s=settings.from_s,
    )
    rows = [{**_told(score, settings), **_counted(window)} for window in score.windows]
    return with_key(task, len(rows), {name: [row[name] for row in rows] for name in rows[0]})


def _told(score: RecordScore, settings: ScoreSettings) -> dict[str, Any]:
    """Return what all windows of a recording share."""
    shut, trusted = score.shutdown, score.trusted
    return {
        "what": settings.what,
        "detector": settings.detector,
        "scored_s": score.scored_s,
        "shutdown_s": math.nan if shut is None else shut.seconds,
        "shutdown_reference": None if shut is None else shut.reference,
        "shutdown_test": None if shut is None else shut.test,
        **{f"outside_{n}": None if shut is None else getattr(shut.outside, n) for n in _COUNTS},
        **{name: None if trusted is None else getattr(trusted, name) for name in _TRUSTED},
        "detector_failed": score.failed,
        "notes": json.dumps(score.notes, ensure_ascii=False),
        "notice": SHORT_NOTICE,
    }


def _counted(window: WindowScore) -> dict[str, Any]:
    return {
        "window_s": window.window_s,
        **{name: getattr(window.tally, name) for name in _COUNTS},
        "bias_s": math.nan if window.bias_s is None else window.bias_s,
        "spread_s": math.nan if window.spread_s is None else window.spread_s,
        "errors": json.dumps(window.errors),
    }


def card_of(
    out: str | os.PathLike[str],
    settings: ScoreSettings,
    keys: Sequence[str],
    *,
    name: str,
    population: str,
    label_origin: str,
    tuned_on: str,
) -> Card:
    """Return the scores of a dataset as a card, grouped by age where ages are known.

    Parameters
    ----------
    out : str or path
        Folder of the dataset.
    settings : ScoreSettings
        Only recordings that were scored so count.
    keys : sequence of str
        Only these recordings count.
    name : str
        What the corpus is called in tables.
    population, label_origin, tuned_on : str
        Whom it shows, who or what made the labels, whether the detector was tuned on it.

    Raises
    ------
    ArgumentError
        If none of the recordings has been scored.
    """
    dataset, wanted = Dataset(out), set(keys)
    runs = {
        row["recording"]: row
        for row in dataset.read("runs").to_pylist()
        if row["settings_sha256"] == settings.sha256 and row["recording"] in wanted
    }
    done = {key for key, row in runs.items() if row["status"] == DONE}
    rows: dict[str, list[dict[str, Any]]] = {}
    for row in dataset.read("scores").to_pylist():
        if row["recording"] in done:
            rows.setdefault(row["recording"], []).append(row)
    if not rows:
        raise ArgumentError(f"no recording of {name} could be scored; see why each of them failed.")
    aged = any(not math.isnan(runs[key]["age_weeks"]) for key in rows)
    lost = len(wanted) - len(rows)
    without = f"; {lost} of {len(wanted)} recordings failed and are in no figure" if lost else ""
    return Card(
        name,
        population + without,
        label_origin,
        tuned_on,
        settings.what,
        settings.detector,
        from_s=settings.from_s,
        records=tuple(
            _score(some, runs[key], age_band(runs[key]["age_weeks"]) if aged else "")
            for key, some in sorted(rows.items())
        ),
    )


def _score(rows: Sequence[Mapping[str, Any]], run: Mapping[str, Any], group: str) -> RecordScore:
    """Return the score of one recording from its rows, the headline first."""
    first = rows[0]
    return RecordScore(
        run["recording"],
        recorded_s=run["recorded_s"],
        scored_s=first["scored_s"],
        windows=tuple(
            WindowScore(
                row["window_s"],
                Tally(*(row[name] for name in _COUNTS)),
                None if math.isnan(row["bias_s"]) else row["bias_s"],
                None if math.isnan(row["spread_s"]) else row["spread_s"],
                tuple(json.loads(row["errors"])),
            )
            for row in rows
        ),
        group=group,
        shutdown=_shutdown(first),
        trusted=None
        if first["right_trusted"] is None
        else Trusted(*(first[name] for name in _TRUSTED)),
        notes=tuple(json.loads(first["notes"])),
        failed=first["detector_failed"],
    )


def _shutdown(row: Mapping[str, Any]) -> Shutdown | None:
    if row["shutdown_reference"] is None:
        return None
    outside = Tally(*(row[f"outside_{name}"] for name in _COUNTS))
    return Shutdown(row["shutdown_s"], row["shutdown_reference"], row["shutdown_test"], outside)
