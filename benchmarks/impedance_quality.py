"""The published quality index of the impedance beside ours, and what the breaths are worth inside.

    python -m benchmarks.impedance_quality

Writes benchmarks/results/impedance_quality.json and impedance_quality.md. Recordings: bidmc (27
records, adults in intensive care; breaths marked by two annotators); the breath detector was tuned
on them, the index was not. Lengths of 1 to 15 s count, as published. Ours: windows without a
stretch that cannot be used, or only with care.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Any

import numpy as np

import infantmon as im
from benchmarks.results import CAUTION, make_result
from infantmon.labelled.known import databases
from infantmon.labelled.places import recordings_folder
from infantmon.scoring.impedance_quality import WINDOW_S, impedance_quality

ADULT_S = (1.0, 15.0)


def windows() -> list[dict[str, Any]]:
    """Return for each window what both say, and how far the count is off."""
    shelf = databases(recordings_folder())["bidmc"]
    found = []
    for name in shelf.names:
        labelled = shelf.load(name)
        recording = labelled.recording
        impedance, ecg = recording.impedance, recording.ecg
        if impedance is None or ecg is None or not labelled.breaths_s:
            continue
        reviewed = im.review(recording, im.Prescription())
        marks = reviewed.breaths.time_s
        samples = impedance.segments[0].values
        spans = reviewed.contact["impedance"]
        for window in impedance_quality(samples, impedance.rate_hz, marks, lengths_s=ADULT_S):
            start_s, end_s = window.start_s, window.end_s
            counts = [np.sum((b >= start_s) & (b < end_s)) for b in (marks, *labelled.breaths_s)]
            per_min = np.array(counts) * 60.0 / WINDOW_S
            found.append(
                {
                    "record": name,
                    "index": window.good,
                    "ours": spans.overlap_s(start_s, end_s) <= 0.0,
                    "off": float(np.mean(np.abs(per_min[0] - per_min[1:]))),
                    "annotators": float(abs(per_min[1] - per_min[2])) if len(counts) > 2 else None,
                }
            )
    return found


def summary(found: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return count and error for each group of windows."""
    groups: dict[str, Callable[[dict[str, Any]], bool]] = {
        "all": lambda _w: True,
        "good by the index": lambda w: w["index"],
        "not good by the index": lambda w: not w["index"],
        "undisturbed by ours": lambda w: w["ours"],
        "disturbed by ours": lambda w: not w["ours"],
    }
    rows = []
    for words, chosen in groups.items():
        some = [w for w in found if chosen(w)]
        between = [w["annotators"] for w in some if w["annotators"] is not None]
        rows.append(
            {
                "windows": words,
                "count": len(some),
                "mean_off": round(float(np.mean([w["off"] for w in some])), 3) if some else None,
                "annotators_off": round(float(np.mean(between)), 3) if between else None,
            }
        )
    return rows


def _markdown(run: dict[str, Any], rows: list[dict[str, Any]]) -> str:
    about = (
        "Population: bidmc, adults in intensive care, 27 records. Labels: breaths by two "
        "annotators. Breath detector tuned on them: yes; index: no. Windows of 32 s."
    )
    lines = [
        "# Quality of the impedance, window by window",
        "",
        f"Made by `python -m benchmarks.impedance_quality`, commit {run['commit']}. {CAUTION}",
        "",
        about,
        "",
        "| windows | count | mean error, breaths a minute | annotators from each other |",
        "| --- | --- | --- | --- |",
    ]
    lines += [
        f"| {row['windows']} | {row['count']} | {row['mean_off']} | {row['annotators_off']} |"
        for row in rows
    ]
    return "\n".join(lines) + "\n"


def main(arguments: list[str] | None = None) -> int:
    """Measure, print and store."""
    return make_result(
        "impedance_quality", __doc__, arguments, lambda: summary(windows()), _markdown
    )


if __name__ == "__main__":
    sys.exit(main())
