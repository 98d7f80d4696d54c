"""The demonstration: an invented infant with known truth, simulated, reviewed and compared."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from infantmon.model.arrays import Floats
from infantmon.model.event import Event
from infantmon.model.prescription import Prescription
from infantmon.reviewing import Review, review
from infantmon.simulate import SimulatedNight, Truth, demo_scenario, simulate_night

DEMO_SEED = 20
"""Seed of the demonstration; any other gives another invented half hour."""


@dataclass(frozen=True, slots=True)
class KnownEvent:
    """Something that the simulator put into the recording."""

    kind: str
    onset_s: float
    end_s: float
    what: str


@dataclass(frozen=True, slots=True)
class ComparedRow:
    """One row of the comparison: what is known, what was found, either may be missing."""

    known: KnownEvent | None
    found: Event | None


@dataclass(frozen=True, eq=False)
class Demo:
    """The demonstration's result."""

    night: SimulatedNight
    review: Review
    rows: tuple[ComparedRow, ...]


def demo_plan() -> Prescription:
    """Return the limits of the demonstration: an example, not a recommendation."""
    return Prescription(
        apnea={"limit_s": 20},
        low_heart_rate={"limit_bpm": 80, "hold_off_s": 5, "average_beats": 8},
        high_heart_rate={"limit_bpm": 230, "hold_off_s": 10, "average_beats": 8},
        no_heart_beat={"limit_s": 4},
        contact_loss={"delay_s": 5},
        infant={"label": "invented infant"},
        prescriber={"note": "limits of a demonstration; an example, not a recommendation"},
    )


def run_demo(
    *, seed: int = DEMO_SEED, progress: Callable[[str, float], None] | None = None
) -> Demo:
    """Simulate the invented infant, review it, and set the events beside the truth.

    Parameters
    ----------
    seed : int
        Seed of the simulation.
    progress : callable or None
        Called with what is being done and the share done, 0 to 1.
    """
    tell = progress if progress is not None else _silent
    tell("simulating", 0.0)
    night = simulate_night(demo_scenario(), seed)
    tell("simulating", 1.0)
    plan = demo_plan()
    reviewed = review(night.recording, plan, progress=lambda share: tell("reviewing", share))
    rows = compare(known_events(night.truth, plan), reviewed.events)
    return Demo(night, reviewed, rows)


def known_events(truth: Truth, plan: Prescription) -> list[KnownEvent]:
    """Return what a perfect review under the plan would list, and the movements it should not."""
    known: list[KnownEvent] = []
    if plan.apnea is not None:
        pauses = truth.pauses.lasting(plan.apnea.limit_s)
        known += [
            KnownEvent("apnea", onset, end, "apnea with bradycardia" if slow else "apnea")
            for onset, end, slow in zip(
                pauses.onset_s.tolist(),
                pauses.end_s.tolist(),
                pauses.with_bradycardia.tolist(),
                strict=True,
            )
        ]
    if plan.low_heart_rate is not None:
        slow_hearts = truth.beats_slower_than(plan.low_heart_rate.limit_bpm, beats=8)
        known += [
            KnownEvent("low heart rate", onset, end, "slow heart")
            for onset, end in zip(
                slow_hearts.onset_s.tolist(), slow_hearts.end_s.tolist(), strict=True
            )
        ]
    known += _spans(truth.impedance_lost.start_s, truth.impedance_lost.end_s, "loose electrode")
    known += _spans(truth.movements.start_s, truth.movements.end_s, "movement")
    return sorted(known, key=lambda item: item.onset_s)


def compare(known: Sequence[KnownEvent], found: Sequence[Event]) -> tuple[ComparedRow, ...]:
    """Set found events beside known ones of the same kind that they overlap; the rest alone."""
    left = list(found)
    rows: list[ComparedRow] = []
    for item in known:
        match = next((event for event in left if _same(item, event)), None)
        if match is not None:
            left.remove(match)
        rows.append(ComparedRow(item, match))
    rows += [ComparedRow(None, event) for event in left]
    return tuple(sorted(rows, key=_onset_s))


def _spans(start_s: Floats, end_s: Floats, what: str) -> list[KnownEvent]:
    kind = "contact loss" if what == "loose electrode" else ""
    return [
        KnownEvent(kind, start, end, what)
        for start, end in zip(start_s.tolist(), end_s.tolist(), strict=True)
    ]


def _same(known: KnownEvent, event: Event) -> bool:
    end_s = event.end_s if event.end_s is not None else float("inf")
    return event.kind == known.kind and event.onset_s < known.end_s and end_s > known.onset_s


def _onset_s(row: ComparedRow) -> float:
    if row.known is not None:
        return row.known.onset_s
    return row.found.onset_s if row.found is not None else 0.0


def _silent(what: str, share: float) -> None:
    """Show no progress."""
