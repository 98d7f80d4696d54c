"""Cards as plain data, as Markdown for people and as CSV for spreadsheets."""

from __future__ import annotations

import csv
import io
import json
import platform
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from importlib.metadata import version
from typing import Any

from infantmon.report.cautions import NOTICE
from infantmon.scorecard.card import Card
from infantmon.scorecard.detectors import ALARM_MARKS
from infantmon.scorecard.gates import Verdict
from infantmon.scorecard.record_score import RecordScore, WindowScore
from infantmon.scoring.tallies import Tally, percent, ratio, wilson_interval
from infantmon.version import library_version

FORMAT = 1
"""Number of the JSON's layout."""
NOTES = (
    "Figures hold for these recordings and say nothing of others.",
    "Labels are no more right than their origin.",
    "Se and PPV count everything in the scored period, unusable time included; '-' is undefined.",
    "Gross figures weigh every mark alike, averages every record (EC57).",
    "95 %: Wilson's interval, every mark independent; over records: bootstrap of whole records.",
    "No recording with labelled infant apneas could be had; most open recordings show adults.",
)


def run_facts() -> dict[str, Any]:
    """Return when, on what and with which versions a run was made."""
    return {
        "made_at": datetime.now(UTC).isoformat(timespec="seconds"),
        "python": platform.python_version(),
        "system": f"{platform.system()} {platform.machine()}",
        "versions": {
            "infantmon": library_version(),
            **{name: version(name) for name in ("numpy", "scipy", "wfdb")},
        },
    }


def as_data(cards: Sequence[Card], verdicts: Sequence[Verdict] = ()) -> dict[str, Any]:
    """Return cards and what came of gates as plain data."""
    return {
        "format": FORMAT,
        "notice": NOTICE,
        "notes": NOTES,
        "run": run_facts(),
        "cards": [_card_data(card) for card in cards],
        "gates": [
            {
                "card": v.card,
                "gate": v.gate,
                "scope": v.scope,
                "found": v.found,
                "holds": v.holds,
                "furthest": [list(row) for row in v.furthest],
            }
            for v in verdicts
        ],
    }


def as_json(data: dict[str, Any]) -> str:
    """Return plain data as JSON."""
    return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _card_data(card: Card) -> dict[str, Any]:
    return {
        "title": card.title,
        "database": card.database,
        "population": card.population,
        "label_origin": card.label_origin,
        "tuned_on": card.tuned_on,
        "what": card.what,
        "detector": card.detector,
        "noise": card.noise,
        "scored_from_s": card.from_s,
        "windows": [_window_totals(card, k) for k in range(len(card.windows_s))],
        "groups": {g: _tally_data(card.gross(group=g)) for g in card.groups if g},
        "shutdown": _shutdown_data(card),
        "trust": None if card.trusted is None else vars(card.trusted),
        "without_known_wrong": None if card.known_wrong is None else _tally_data(card.known_wrong),
        "errors_in_time": card.errors(),
        "records": [_record_data(score) for score in card.records],
    }


def _window_totals(card: Card, window: int) -> dict[str, Any]:
    total = card.gross(window)
    mean = card.average(window)
    over_records = card.record_intervals(window)
    bias, spread = card.timing_s(window)
    return {
        "window_s": card.windows_s[window],
        "gross": _tally_data(total),
        "sensitivity_interval": total.sensitivity_interval(),
        "positive_predictivity_interval": total.positive_predictivity_interval(),
        "sensitivity_over_records": over_records[0],
        "positive_predictivity_over_records": over_records[1],
        "average_sensitivity": mean[0],
        "average_positive_predictivity": mean[1],
        "bias_s": bias,
        "spread_s": spread,
    }


def _tally_data(tally: Tally) -> dict[str, Any]:
    return {
        "true_positives": tally.true_positives,
        "false_negatives": tally.false_negatives,
        "false_positives": tally.false_positives,
        "sensitivity": tally.sensitivity,
        "positive_predictivity": tally.positive_predictivity,
        "f1": tally.f1,
    }


def _shutdown_data(card: Card) -> dict[str, Any] | None:
    told = card.shutdown
    if told is None:
        return None
    seconds, reference, test, outside = told
    return {
        "seconds": seconds,
        "reference_marks": reference,
        "test_marks": test,
        "outside": _tally_data(outside),
    }


def _record_data(score: RecordScore) -> dict[str, Any]:
    return {
        "record": score.record,
        "group": score.group,
        "recorded_s": round(score.recorded_s, 3),
        "scored_s": round(score.scored_s, 3),
        "failed": score.failed,
        "windows": [_window_data(window) for window in score.windows],
        "notes": list(score.notes),
    }


def _window_data(window: WindowScore) -> dict[str, Any]:
    return {
        "window_s": window.window_s,
        **_tally_data(window.tally),
        "bias_s": window.bias_s,
        "spread_s": window.spread_s,
    }


def as_csv(cards: Sequence[Card]) -> str:
    """Return one row a record and match window; the notice stands in every row."""
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    head = ("database", "what", "detector", "noise", "record", "group", "window_s")
    counts = ("true_positives", "false_negatives", "false_positives")
    shares = ("sensitivity", "positive_predictivity", "f1", "bias_s", "spread_s")
    about = ("population", "label_origin", "tuned_on", "notice")
    rows.writerow((*head, *counts, *shares, "scored_s", "failed", *about))
    for card in cards:
        for score in card.records:
            for window in score.windows:
                data = _window_data(window)
                rows.writerow(
                    (
                        *(card.database, card.what, card.detector, card.noise),
                        *(score.record, score.group, _cell(window.window_s)),
                        *(data[key] for key in counts),
                        *(_cell(data[key]) for key in shares),
                        *(f"{score.scored_s:.3f}", score.failed),
                        *(card.population, card.label_origin, card.tuned_on, NOTICE),
                    )
                )
    return text.getvalue()


def _cell(value: float | None) -> str:
    return "" if value is None else f"{value:.6g}"


def as_markdown(cards: Sequence[Card], verdicts: Sequence[Verdict] = ()) -> str:
    """Return cards and gates for people: totals first, then each record."""
    lines = ["# Scores", "", NOTICE, "", *(f"- {note}" for note in NOTES), ""]
    if verdicts:
        lines += ["## Gates", "", *(f"- {verdict.words}" for verdict in verdicts), ""]
    for card in cards:
        lines += [f"## {card.title[0].upper()}{card.title[1:]}", "", about(card), ""]
        lines += markdown_rows(TOTALS, total_rows(card))
        lines += ["", *(f"- {line}" for line in beside(card)), ""]
        lines += [*markdown_rows(RECORDS, record_rows(card)), ""]
    return "\n".join(lines)


def markdown_rows(head: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """Return a Markdown table."""
    body = [head, ["---"] * len(head), *rows]
    return [f"| {' | '.join(cell.replace('|', '/') for cell in row)} |" for row in body]


def about(card: Card) -> str:
    """Return whom a card shows, who made its labels, and whether detectors were tuned on it."""
    since = f" Scored from {card.from_s:g} s of each record." if card.from_s else ""
    return (
        f"Population: {card.population}. Labels: {card.label_origin}. "
        f"Tuned on: {card.tuned_on}.{since}"
    )


TOTALS = (
    "counted", "TP", "FN", "FP", "Se %", "95 %", "over records", "PPV %", "95 %", "over records",
    "average Se / PPV %", "bias, spread ms",
)  # fmt: skip
RECORDS = ("record", "TP", "FN", "FP", "Se %", "PPV %", "bias, spread ms", "notes")


def total_rows(card: Card) -> list[list[str]]:
    """Return the totals of a card, one row a match window, and one a group."""
    rows = []
    for k, window in enumerate(card.windows_s):
        name = "all" if window is None else f"within {1000.0 * window:g} ms"
        total, over = card.gross(k), card.record_intervals(k)
        mean, timing = card.average(k), card.timing_s(k)
        rows.append(
            [
                name,
                *_counts(total),
                *(
                    percent(total.sensitivity),
                    interval_text(total.sensitivity_interval()),
                    interval_text(over[0]),
                ),
                percent(total.positive_predictivity),
                *(interval_text(total.positive_predictivity_interval()), interval_text(over[1])),
                f"{percent(mean[0])} / {percent(mean[1])}",
                _timing(*timing),
            ]
        )
    for group in card.groups:
        if group:
            total = card.gross(group=group)
            shares = (total.sensitivity, total.positive_predictivity)
            ends = (total.sensitivity_interval(), total.positive_predictivity_interval())
            cells = [
                cell
                for s, e in zip(shares, ends, strict=True)
                for cell in (percent(s), interval_text(e), "")
            ]
            rows.append([group, *_counts(total), *cells, "", ""])
    return rows


def record_rows(card: Card) -> list[list[str]]:
    """Return one row a record, headline window."""
    return [
        [
            score.record,
            *_counts(score.tally),
            percent(score.tally.sensitivity),
            percent(score.tally.positive_predictivity),
            _timing(score.windows[0].bias_s, score.windows[0].spread_s),
            "; ".join(part for part in (score.group, *score.notes) if part),
        ]
        for score in card.records
    ]


def beside(card: Card) -> list[str]:
    """Return what stands beside the headline: shutdown, trust, what the reference has wrong."""
    lines = [_rejected(card)] if card.what == ALARM_MARKS else []
    if card.shutdown is not None:
        seconds, reference, test, outside = card.shutdown
        lines.append(
            f"Shutdown (stretches the detector calls unusable): {seconds:.1f} s with {reference} "
            f"reference and {test} test marks; outside Se {percent(outside.sensitivity)}, PPV "
            f"{percent(outside.positive_predictivity)} %."
        )
    trust = card.trusted
    if trust is not None:
        right = trust.right_trusted + trust.right_doubted
        wrong = trust.wrong_trusted + trust.wrong_doubted
        lines.append(
            f"The detector doubts {trust.right_doubted} of {right} right marks and "
            f"{trust.wrong_doubted} of {wrong} wrong ones."
        )
    if card.known_wrong is not None:
        lines.append(
            f"Without stretches whose reference is known to be wrong: Se "
            f"{percent(card.known_wrong.sensitivity)}, PPV "
            f"{percent(card.known_wrong.positive_predictivity)} %."
        )
    failed = [score for score in card.records if score.failed]
    if failed:
        first = failed[0]
        lines.append(
            f"The detector failed on {len(failed)} of {len(card.records)} records; "
            f"{first.record}: {first.notes[0]}."
        )
    return lines


def _counts(tally: Tally) -> tuple[str, str, str]:
    return str(tally.true_positives), str(tally.false_negatives), str(tally.false_positives)


def _rejected(card: Card) -> str:
    """Say how many false alarms were rejected: they are no hit, miss or extra of the counts."""
    rejected = sum(score.tally == Tally() for score in card.records)
    false = rejected + card.gross().false_positives
    share = f"{percent(ratio(rejected, false))} %"
    interval = interval_text(wilson_interval(rejected, false))
    return f"False alarms rejected: {rejected} of {false}, {share} (95 %: {interval})."


def interval_text(interval: tuple[float, float] | None) -> str:
    """Return an interval in percent, "-" where it is undefined."""
    return "-" if interval is None else f"{percent(interval[0])} to {percent(interval[1])}"


def _timing(bias_s: float | None, spread_s: float | None) -> str:
    if bias_s is None or spread_s is None:
        return "-"
    return f"{1000.0 * bias_s:.1f}, {1000.0 * spread_s:.1f}"
