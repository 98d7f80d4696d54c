"""Cards as one self-contained page: tables, worst records with their strips, errors in time."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from infantmon.dsp.runs import true_runs
from infantmon.model.arrays import Floats
from infantmon.report.cautions import CAUTIONS
from infantmon.report.rendering import templates_of
from infantmon.scorecard.card import Card
from infantmon.scorecard.comparison import Moved
from infantmon.scorecard.gates import Verdict
from infantmon.scorecard.record_score import HISTOGRAM_BINS, ErrorStrip
from infantmon.scorecard.snr_picture import snr_picture
from infantmon.scorecard.tables import (
    NOTES,
    RECORDS,
    TOTALS,
    about,
    beside,
    record_rows,
    run_facts,
    total_rows,
)

_WORST = 6  # records drawn
_WIDTH, _HEIGHT, _TOP, _BOTTOM = 900.0, 150.0, 26.0, 124.0
_BAR_WIDTH, _BAR_HEIGHT = 620.0, 120.0


def as_html(
    cards: Sequence[Card], verdicts: Sequence[Verdict] = (), moved: Sequence[Moved] = ()
) -> str:
    """Return the page; everything in it is escaped, nothing is asked of elsewhere."""
    environment = templates_of("infantmon.scorecard")
    environment.filters["px"] = lambda value: f"{value:.1f}"
    return environment.get_template("score.html").render(
        cards=[_shown(card) for card in cards],
        verdicts=verdicts,
        moved=moved,
        cautions=CAUTIONS,
        notes=NOTES,
        run=run_facts(),
        snr=snr_picture(cards),
    )


def _shown(card: Card) -> dict[str, object]:
    return {
        "title": card.title[0].upper() + card.title[1:],
        "about": about(card),
        "totals_head": TOTALS,
        "totals": total_rows(card),
        "beside": beside(card),
        "records_head": RECORDS,
        "records": record_rows(card),
        "histogram": _histogram(card),
        "strips": [
            {
                "record": score.record,
                "missed": score.tally.false_negatives,
                "extra": score.tally.false_positives,
                "drawn": _drawn(score.strip),
            }
            for score in card.worst[:_WORST]
            if score.strip is not None
        ],
    }


def _histogram(card: Card) -> dict[str, object] | None:
    """Return bars of the errors in time: test minus reference, in ms."""
    counts, window = card.errors(), card.windows_s[0]
    if not counts or window is None or not max(counts):
        return None
    wide = _BAR_WIDTH / HISTOGRAM_BINS
    high = (_BAR_HEIGHT - 20.0) / max(counts)
    bars = [
        {"x": wide * k, "y": _BAR_HEIGHT - 20.0 - high * count, "high": high * count, "n": count}
        for k, count in enumerate(counts)
    ]
    return {
        "bars": bars,
        "wide": wide - 1.0,
        "width": _BAR_WIDTH,
        "height": _BAR_HEIGHT,
        "reach_ms": f"{1000.0 * window:g}",
        "step_ms": f"{2000.0 * window / HISTOGRAM_BINS:.2g}",
    }


def _drawn(strip: ErrorStrip) -> dict[str, object]:
    """Return a strip in pixels: its trace, and marks above and below it."""
    seconds = len(strip.values) / strip.rate_hz

    def across(times_s: Floats) -> list[float]:
        return [_WIDTH * float(t - strip.start_s) / seconds for t in times_s]

    return {
        "width": _WIDTH,
        "height": _HEIGHT,
        "pieces": _trace(strip.values),
        "reference": across(strip.reference_s),
        "test": across(strip.test_s),
        "missed": across(strip.missed_s),
        "extra": across(strip.extra_s),
        "start": f"{strip.start_s:.1f}",
        "end": f"{strip.start_s + seconds:.1f}",
    }


def _trace(values: Floats) -> list[str]:
    """Return the signal as pieces of a line, broken where samples are missing."""
    finite = np.isfinite(values)
    if not finite.any():
        return []
    low, high = np.quantile(values[finite], (0.001, 0.999))
    span = float(high - low) or 1.0
    x = np.arange(len(values)) * (_WIDTH / max(len(values), 1))
    y = _BOTTOM - (np.clip(values, low, high) - low) / span * (_BOTTOM - _TOP)
    return [
        " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x[first:after], y[first:after], strict=True))
        for first, after in zip(*true_runs(finite), strict=True)
    ]
