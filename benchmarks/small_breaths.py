"""Real breathing that becomes small and stays so, and real impedance without breathing for as long.

    python -m benchmarks.small_breaths --out benchmarks/results/small_breaths.json

Small swings may be breathing that has become shallow, or what a pause leaves of noise and of the
heart. Whoever believes them late takes shallow breathing for a pause; whoever believes them early
fills a pause. Here the impedance becomes a share of its size within 2 s, for the rest of the
recording, with the heart's pulsation; noise of 1 % of a breath's size stays. Breaths are compared
from 40 s after the change on, within 1 s; breathing is back once three breaths lie within 20 s. The
apneas that a review lists from then on, at a limit of 20 s, are counted where no annotator saw 20 s
without a breath: none is real. For the pauses breathing is taken out for 70 to 150 s as in
`made_pauses`, wholly and 60 s apart; one is filled if more than two breaths are found in it, 2 s
off its ends.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

import numpy as np

import infantmon as im
from benchmarks.judged_pauses import SAID, apnea_plan, heard, said_in_review
from benchmarks.made import MadePauses, heart_hz_of, with_pauses
from benchmarks.made_pauses import is_clipped
from benchmarks.results import make_result, share_of
from infantmon.effort import detect_breaths
from infantmon.labelled.database import Database, Labelled
from infantmon.labelled.known import databases
from infantmon.model.arrays import Floats
from infantmon.model.channel import Channel
from infantmon.model.recording import Recording
from infantmon.scorecard.detectors import one_piece
from infantmon.scoring.marks import score_marks
from infantmon.scoring.tallies import Tally
from infantmon.stages.r_peaks import detect_r_peaks

DATABASES = ("picsdb", "bidmc")
SHARES = (0.35, 0.25, 0.18, 0.13)
PLACES = (0.25, 0.4, 0.55)  # of the recording's length: the change lies there
CHANGE_S = 2.0
NOISE, NOISE_SEED = 0.01, 5
SCORED_FROM_S = 40.0
WITHIN_S = 1.0
BACK_COUNT, BACK_S = 3, 20.0
LIMIT_S = 20.0
LENGTHS_S, APART_S = (70.0, 150.0), 60.0
FILLED = 2
OFF_ENDS_S = 2.0
SEEDS = (64000, 64100, 64200, 64300)  # of the pauses, one a record; 100 to 800 were looked at
TUNED_ON = "yes: looked at while the rule for small swings was chosen (pauses: with other seeds)"
HEAD = (
    "| database | becomes | R peaks | found % | PPV % | back after, median s | 90 % s | "
    "supported | doubtful | not assessable | population | labels |"
)
PAUSES_HEAD = (
    "| database | R peaks | pauses | filled | breaths in them | supported | doubtful | "
    "not assessable | not listed | population | labels |"
)


@dataclass
class Small:
    """What was found of breathing that became small."""

    tally: Tally = Tally()
    back_s: list[float] = field(default_factory=list)
    apneas: Counter[str] = field(default_factory=Counter)

    def add(self, other: Small) -> None:
        """Take up another recording."""
        self.tally += other.tally
        self.back_s += other.back_s
        self.apneas += other.apneas


def become_small(labelled: Labelled, share: float, place: float) -> tuple[Recording, float]:
    """Return a recording whose impedance becomes small, and when."""
    impedance = one_piece(labelled.recording, "impedance")
    values = impedance.segments[0].values
    time_s = np.arange(len(values)) / impedance.rate_hz
    at_s = place * impedance.end_s
    after = np.clip((time_s - at_s) / CHANGE_S + 0.5, 0.0, 1.0)
    middle, size = np.median(values), np.subtract(*np.percentile(values, (90.0, 10.0)))
    noise = 0.5 * NOISE * size * np.random.default_rng(NOISE_SEED).standard_normal(len(values))
    small = middle + (values - middle) * (1.0 - after * (1.0 - share)) + noise
    channels = dict(labelled.recording.channels)
    channels["impedance"] = Channel(small, impedance.rate_hz, impedance.unit)
    return Recording(channels, name=f"{labelled.recording.name}-small"), at_s


def breaths_in(recording: Recording, *, led: bool) -> Floats:
    """Return the breaths that are found, led by the ECG or without it."""
    ecg, impedance = one_piece(recording, "ecg"), one_piece(recording, "impedance")
    beats = detect_r_peaks(ecg.segments[0].values, ecg.rate_hz, unit=ecg.unit) if led else None
    return detect_breaths(impedance.segments[0].values, impedance.rate_hz, beats).time_s


def measure(labelled: Labelled, share: float, place: float, *, led: bool) -> Small:
    """Return what was found after the change in one recording."""
    recording, at_s = become_small(labelled, share, place)
    found = breaths_in(recording, led=led)
    from_s = at_s + SCORED_FROM_S
    scores = [
        score_marks(marks[marks > from_s], found[found > from_s], WITHIN_S)
        for marks in labelled.breaths_s
    ]
    return Small(
        sum((score.tally for score in scores), Tally()),
        [_back_after(found[found > at_s] - at_s, one_piece(recording, "impedance").end_s - at_s)],
        _false_apneas(recording, labelled, from_s, led=led),
    )


def _back_after(found_s: Floats, longest_s: float) -> float:
    """Return how long after a change breathing is back."""
    rows = found_s[BACK_COUNT - 1 :] - found_s[: 1 - BACK_COUNT] < BACK_S
    return float(found_s[np.argmax(rows)]) if rows.any() else longest_s


def _false_apneas(
    recording: Recording, labelled: Labelled, from_s: float, *, led: bool
) -> Counter[str]:
    """Count the judgements of apneas in which somebody saw no 20 s without a breath."""
    events = im.review(heard(recording, ecg=led), apnea_plan(LIMIT_S)).events
    return Counter(
        event.judgement
        for event in events.of_kind("apnea")
        if (event.end_s is None or event.end_s > from_s + LIMIT_S)
        and not any(_breathless(marks, event.onset_s, event.end_s) for marks in labelled.breaths_s)
    )


def _breathless(marks: Floats, start_s: float, end_s: float | None) -> bool:
    """Tell whether 20 s without a mark lie in a time, give or take a mark's own error."""
    end_s = np.inf if end_s is None else end_s
    near = marks[(marks > start_s - LIMIT_S) & (marks < end_s + LIMIT_S)]
    return len(near) < 2 or float(np.diff(near).max()) > LIMIT_S - 2.0 * WITHIN_S


def small_rows(shelf: Database) -> list[dict[str, Any]]:
    """Return one row a share and way, over all recordings of a database."""
    loaded = [shelf.load(name) for name in shelf.names]
    return [_small_row(shelf, loaded, share, led=led) for share in SHARES for led in (True, False)]


def _small_row(
    shelf: Database, loaded: list[Labelled], share: float, *, led: bool
) -> dict[str, Any]:
    total = Small()
    for labelled in loaded:
        for place in PLACES:
            total.add(measure(labelled, share, place, led=led))
    return {
        "kind": "small",
        "database": shelf.name,
        "share": share,
        "led": led,
        "sensitivity": share_of(total.tally.true_positives, total.tally.reference_count),
        "predictivity": share_of(total.tally.true_positives, total.tally.test_count),
        "back_s": [round(float(np.percentile(total.back_s, part)), 1) for part in (50, 90, 100)],
        "false_apneas": {said: total.apneas[said] for said in SAID[:3]},
        "population": shelf.population,
        "labels": shelf.label_origin,
        "tuned_on": TUNED_ON,
    }


def pause_row(shelf: Database, *, led: bool) -> dict[str, Any]:
    """Return what was found in long pauses, over all recordings of a database."""
    inside: list[int] = []
    said: Counter[str] = Counter()
    for place, name in enumerate(shelf.names):
        labelled = shelf.load(name)
        if is_clipped(labelled):
            continue
        heart_hz = heart_hz_of(labelled)
        for seed in SEEDS:
            made = _with_long_pauses(labelled, heart_hz, seed + place)
            if len(made.windows_s):
                inside += _breaths_inside(made, led=led)
                recording = heard(made.labelled.recording, ecg=led)
                said += said_in_review(recording, made.pauses_s, LIMIT_S)
    return {
        "kind": "pauses",
        "database": shelf.name,
        "led": led,
        "filled": share_of(sum(count > FILLED for count in inside), len(inside)),
        "breaths_in_them": sum(inside),
        "said": {each: said[each] for each in SAID},
        "seeds": list(SEEDS),
        "population": shelf.population,
        "labels": f"breaths: {shelf.label_origin}; pauses are made",
        "tuned_on": TUNED_ON,
    }


def _with_long_pauses(labelled: Labelled, heart_hz: float, seed: int) -> MadePauses:
    return with_pauses(
        labelled, heart_hz, seed=seed, wholly=True, lengths_s=LENGTHS_S, apart_s=APART_S
    )


def _breaths_inside(made: MadePauses, *, led: bool) -> list[int]:
    """Count the breaths that are found in each pause, off its ends."""
    found = breaths_in(made.labelled.recording, led=led)
    return [
        int(np.count_nonzero((found > start + OFF_ENDS_S) & (found < end - OFF_ENDS_S)))
        for start, end in made.windows_s
    ]


def rows() -> list[dict[str, Any]]:
    """Return all rows: small breathing, then pauses."""
    shelves = [databases()[name] for name in DATABASES]
    small = [row for shelf in shelves for row in small_rows(shelf)]
    return small + [pause_row(shelf, led=led) for shelf in shelves for led in (True, False)]


def as_markdown(run: dict[str, Any], rows: list[dict[str, Any]]) -> str:
    """Return the tables for people."""
    lines = ["# Breathing that becomes small", "", __doc__.split("\n\n")[2], ""]
    lines += [HEAD, "|" + " --- |" * (HEAD.count("|") - 1)]
    for row in (row for row in rows if row["kind"] == "small"):
        found, right = row["sensitivity"], row["predictivity"]
        cells = (
            row["database"],
            f"{row['share']:g}",
            "lead" if row["led"] else "none",
            f"{100 * found['count'] / found['of']:.2f}",
            f"{100 * right['count'] / right['of']:.2f}",
            f"{row['back_s'][0]:.0f}",
            f"{row['back_s'][1]:.0f}",
            *row["false_apneas"].values(),
            row["population"],
            row["labels"],
        )
        lines.append("| " + " | ".join(map(str, cells)) + " |")
    lines += ["", "Pauses of 70 to 150 s:", ""]
    lines += [PAUSES_HEAD, "|" + " --- |" * (PAUSES_HEAD.count("|") - 1)]
    for row in (row for row in rows if row["kind"] == "pauses"):
        cells = (
            row["database"],
            "lead" if row["led"] else "none",
            row["filled"]["of"],
            row["filled"]["count"],
            row["breaths_in_them"],
            *row["said"].values(),
            row["population"],
            row["labels"],
        )
        lines.append("| " + " | ".join(map(str, cells)) + " |")
    lines += ["", f"Tuned on: {TUNED_ON}. Seeds of the pauses: {', '.join(map(str, SEEDS))}."]
    return "\n".join([*lines, run["caution"], ""])


def main(words: list[str] | None = None) -> int:
    """Measure, print and store."""
    return make_result("small_breaths", __doc__, words, rows, as_markdown)


if __name__ == "__main__":
    sys.exit(main())
