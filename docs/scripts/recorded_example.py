"""The worked example of recorded events: judgement against truth, over two invented weeks.

Made when the documentation is built; or to look at::

    python -m docs.scripts.recorded_example
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

import infantmon as im
from benchmarks.recorded import PLAN, Row, rows_of
from infantmon.recorded.event import recorded_events
from infantmon.recorded.judging import JUDGEMENTS
from infantmon.simulate.downloads import ARTEFACT, MISDETECTED, REAL, two_weeks
from infantmon.simulate.night import simulate_night

SEED = 1
PICTURE = "recorded-event.svg"


def make_example(folder: Path) -> None:
    """Write the table as Markdown and the picture of one real event into a folder."""
    (folder / "recorded-example.md").write_text(table_of(rows_of(SEED)), encoding="utf-8")
    (folder / "pictures").mkdir(exist_ok=True)
    (folder / "pictures" / PICTURE).write_text(picture(), encoding="utf-8")


def table_of(rows: list[Row]) -> str:
    """Return how often each judgement fell to what is true, by cause, as Markdown."""
    counts = Counter((row.truth, row.cause, row.judgement) for row in rows)
    lines = ["| truth | what happens in it | events | " + " | ".join(JUDGEMENTS) + " |"]
    lines += ["|" + " --- |" * (3 + len(JUDGEMENTS))]
    for truth in (REAL, MISDETECTED, ARTEFACT):
        causes = sorted({cause for true, cause, _ in counts if true == truth})
        for cause in causes:
            lines.append(_line(truth, cause, [counts[truth, cause, j] for j in JUDGEMENTS]))
        whole = [sum(counts[truth, cause, j] for cause in causes) for j in JUDGEMENTS]
        lines.append(_line(f"**{truth}**", "**all**", whole))
    whole = [sum(row.judgement == judgement for row in rows) for judgement in JUDGEMENTS]
    return "\n".join([*lines, _line("**all**", "", whole)]) + "\n"


def _line(truth: str, cause: str, counts: list[int]) -> str:
    cells = " | ".join(str(count) for count in counts)
    return f"| {truth} | {cause} | {sum(counts)} | {cells} |"


def picture() -> str:
    """Return the strip of the first real apnea of the two weeks, as SVG."""
    excerpts = enumerate(two_weeks(SEED))
    number, one = next((n, e) for n, e in excerpts if (e.truth, e.kind) == (REAL, "apnea"))
    recording = simulate_night(one.scenario, SEED * 1000 + number).recording
    listed = recorded_events([(one.onset_s, one.end_s, one.kind, "", False)])
    return im.review(recording, PLAN, recorded=listed).plot(listed[0]).svg


if __name__ == "__main__":
    sys.stdout.write(table_of(rows_of(SEED)))
