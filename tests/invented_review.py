"""An invented review for the tests of the report: made-up signals, no detector involved."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

from infantmon.model.channel import Channel
from infantmon.model.event import (
    DOUBTFUL,
    NOT_ASSESSABLE,
    SUPPORTED,
    Change,
    Event,
    Evidence,
    Excursion,
    UnusableStretch,
)
from infantmon.model.marks import Breaths, HeartRates, Pulsations, RPeaks
from infantmon.model.prescription import Prescription
from infantmon.model.recording import Recording
from infantmon.model.signal import Signal
from infantmon.model.spans import Reason, Spans
from infantmon.recorded.decisions import Decisions
from infantmon.recorded.judging import JudgedList

ECG_HZ, IMPEDANCE_HZ = 250.0, 50.0
APNEAS_S = ((300.0, 324.0), (900.0, 931.0))
SLOW_S = (918.0, 934.0)
LATENCIES_S = (  # kind, the channel it rests on, and the stated delay
    ("apnea", "impedance", 3.2),
    ("low heart rate", "ecg", 4.1),
    ("high heart rate", "ecg", 4.1),
    ("contact loss", "", 0.5),
    ("signal unusable", "", 0.5),
)
LOST_S, MOVED_S = (1200.0, 1290.0), (600.0, 612.0)

PLAN = Prescription(
    apnea={"limit_s": 20},
    low_heart_rate={"limit_bpm": 80, "hold_off_s": 2, "average_beats": 4},
    high_heart_rate={"limit_bpm": 220, "hold_off_s": 5, "average_beats": 8},
    contact_loss={"delay_s": 5},
    prescriber={"name": "Dr. Invented", "note": "made up for a test"},
)


@dataclass(frozen=True)
class InventedReview:
    """Has the attributes that the report reads, and nothing else."""

    recording: Recording
    plan: Prescription = PLAN
    events: Sequence[Event] = ()
    excursions: Sequence[Excursion] = ()
    changes: Sequence[Change] = ()
    r_peaks: RPeaks = field(default_factory=RPeaks.empty)
    breaths: Breaths = field(default_factory=Breaths.empty)
    heart_rate: HeartRates = field(default_factory=HeartRates.empty)
    pulsation: Pulsations = field(default_factory=Pulsations.empty)
    contact: Mapping[str, Spans] = field(default_factory=dict)
    usable_s: Mapping[str, float] = field(default_factory=dict)
    recorded_s: float = 0.0
    latencies_s: Mapping[str, float] = field(default_factory=dict)
    missing_roles: tuple[str, ...] = ()
    version: str = "0.0.test"
    cleaned: Signal | None = None
    recorded: JudgedList | None = None
    decisions: Decisions = field(default_factory=Decisions)


def invented_review(
    length_s: float = 1800.0,
    *,
    ecg_name: str = "lead one",
    roles: tuple[str, ...] = ("ecg", "impedance"),
    started_at: datetime | None = None,
    keep_cleaned: bool = True,
) -> InventedReview:
    """Return a review of half an hour with two apneas, a slow heart, a loose lead, movement."""
    chance = np.random.default_rng(3)
    beats_s, breaths_s = beats_until(length_s), breaths_until(length_s, chance)
    ecg, impedance, cleaned = signals(length_s, beats_s, breaths_s, chance)
    channels = {
        "ecg": Channel(ecg, ECG_HZ, "mV", name=ecg_name),
        "impedance": Channel(impedance, IMPEDANCE_HZ, "ohm", name="belly"),
    }
    contact = {
        "ecg": Spans(np.array([LOST_S[0]]), np.array([LOST_S[1]]), np.array([int(Reason.FLAT)])),
        "impedance": Spans(
            np.array([MOVED_S[0], LOST_S[0]]),
            np.array([MOVED_S[1], LOST_S[1]]),
            np.array([int(Reason.MOVEMENT), int(Reason.OUT_OF_RANGE | Reason.FLAT)]),
        ),
    }
    usable = {role: length_s - contact[role].total_s for role in roles}
    lost = (beats_s >= LOST_S[0]) & (beats_s < LOST_S[1])
    beats_s = beats_s[~lost]
    clock = channels["impedance"].clock
    return InventedReview(
        recording=Recording(
            {role: channels[role] for role in roles},
            name="invented infant",
            started_at=started_at,
            notes=("channel 3 was left out: its unit is not known",),
        ),
        events=events(),
        excursions=(Excursion("apnea", 450.0, 463.0, 463.0),),
        changes=(Change(320.8, "apnea", "active", "no breath for 20 s", events()[0]),),
        r_peaks=r_peaks(beats_s) if "ecg" in roles else RPeaks.empty(),
        breaths=breaths(breaths_s) if "impedance" in roles else Breaths.empty(),
        heart_rate=heart_rates(beats_s) if "ecg" in roles else HeartRates.empty(),
        contact={role: contact[role] for role in roles},
        usable_s=usable,
        recorded_s=length_s,
        latencies_s={k: late_s for k, role, late_s in LATENCIES_S if role in (*roles, "")},
        missing_roles=tuple(r for r in ("ecg", "ecg2", "impedance") if r not in roles),
        cleaned=Signal(cleaned, 0, clock, np.inf) if keep_cleaned else None,
    )


def beats_until(length_s: float) -> np.ndarray:
    times, now = [], 0.2
    while now < length_s:
        times.append(now)
        slow = SLOW_S[0] <= now < SLOW_S[1]
        now += 60.0 / ((62.0 if slow else 142.0) + 9.0 * np.sin(now / 17.0))
    return np.array(times)


def breaths_until(length_s: float, chance: np.random.Generator) -> np.ndarray:
    times, now = [], 0.9
    while now < length_s:
        times.append(now)
        now += 1.25 + 0.2 * chance.standard_normal()
        for start_s, end_s in APNEAS_S:
            if start_s < now < end_s:
                times.append(start_s)
                now = end_s
    return np.array(times)


def signals(
    length_s: float, beats_s: np.ndarray, breaths_s: np.ndarray, chance: np.random.Generator
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    t = np.arange(round(length_s * ECG_HZ)) / ECG_HZ
    near = t - beats_s[np.clip(np.searchsorted(beats_s, t) - 1, 0, None)]
    after = beats_s[np.clip(np.searchsorted(beats_s, t), None, len(beats_s) - 1)] - t
    ecg = np.exp(-((np.minimum(np.abs(near), np.abs(after)) / 0.012) ** 2))
    ecg += 0.18 * np.exp(-(((near - 0.16) / 0.03) ** 2)) + 0.02 * chance.standard_normal(len(t))
    u = np.arange(round(length_s * IMPEDANCE_HZ)) / IMPEDANCE_HZ
    place = np.clip(np.searchsorted(breaths_s, u), 1, len(breaths_s) - 1)
    away = np.minimum(np.abs(u - breaths_s[place - 1]), np.abs(u - breaths_s[place]))
    cleaned = 0.6 * np.exp(-((away / 0.33) ** 2))
    pulse = 0.08 * np.sin(2 * np.pi * np.interp(u, beats_s, np.arange(len(beats_s))))
    impedance = 480.0 + 0.3 * np.sin(u / 40.0) + cleaned + pulse
    moved = (u >= MOVED_S[0]) & (u < MOVED_S[1])
    impedance[moved] += 6.0 * chance.standard_normal(np.count_nonzero(moved))
    for signal, times in ((ecg, t), (impedance, u), (cleaned, u)):
        signal[(times >= LOST_S[0]) & (times < LOST_S[1])] = 0.0
    impedance[(u >= LOST_S[0] + 60) & (u < LOST_S[1])] = np.nan
    return ecg, impedance, cleaned


def r_peaks(beats_s: np.ndarray) -> RPeaks:
    ticks = np.rint(beats_s * ECG_HZ).astype(np.int64)
    odd = np.arange(len(beats_s)) % 97 == 0
    return RPeaks(beats_s, beats_s + 0.4, ticks, np.ones(len(beats_s)), ~odd)


def breaths(breaths_s: np.ndarray) -> Breaths:
    ticks = np.rint(breaths_s * IMPEDANCE_HZ).astype(np.int64)
    shallow = np.arange(len(breaths_s)) % 53 == 0
    size = np.full(len(breaths_s), 0.6)
    return Breaths(
        breaths_s, breaths_s + 0.5, ticks, size, breaths_s - 0.3, breaths_s + 0.4, shallow
    )


def heart_rates(beats_s: np.ndarray) -> HeartRates:
    interval = np.diff(beats_s)
    smooth = np.convolve(np.pad(interval, (3, 0), mode="edge"), np.full(4, 0.25), mode="valid")
    return HeartRates(beats_s[1:], beats_s[1:] + 0.4, 60.0 / smooth, smooth)


def events() -> tuple[Event, ...]:
    apnea = {"rule": "time without a breath, mark to mark", "limit_s": 20.0}
    slow = {"limit_bpm": 80.0, "hold_off_s": 2.0, "averaging": "mean of the last 4 RR intervals"}
    return (
        Event(
            number=1,
            kind="apnea",
            onset_s=APNEAS_S[0][0],
            known_s=APNEAS_S[0][0] + 20.9,
            end_s=APNEAS_S[0][1],
            settled_s=APNEAS_S[0][1] + 2.0,
            judgement=SUPPORTED,
            reasons=(
                Evidence("no breath for 24.0 s, limit 20 s", "for"),
                Evidence("effort before and after is steady", "for"),
                Evidence("what is left of the pulsation is 0.13 of a breath", "beside"),
            ),
            limits=apnea,
            effort_free_s=22.6,
        ),
        Event(
            number=2,
            kind="low heart rate",
            onset_s=SLOW_S[0] + 2.1,
            known_s=SLOW_S[0] + 4.8,
            end_s=SLOW_S[1] + 1.1,
            settled_s=SLOW_S[1] + 3.0,
            judgement=SUPPORTED,
            reasons=(Evidence("17 beats, all alike, lowest averaged rate 61 a minute", "for"),),
            limits=slow,
            linked=(3,),
            lowest_bpm=60.7,
            highest_bpm=79.0,
        ),
        Event(
            number=3,
            kind="apnea",
            onset_s=APNEAS_S[1][0],
            known_s=APNEAS_S[1][0] + 20.9,
            end_s=APNEAS_S[1][1],
            settled_s=APNEAS_S[1][1] + 2.0,
            judgement=DOUBTFUL,
            reasons=(
                Evidence("no breath for 31.0 s, limit 20 s", "for"),
                Evidence("2 small swings inside that are not locked to the heart", "against"),
            ),
            limits=apnea,
            linked=(2,),
            effort_free_s=29.1,
        ),
        Event(
            number=4,
            kind="contact loss",
            onset_s=LOST_S[0],
            known_s=LOST_S[0] + 5.0,
            end_s=LOST_S[1],
            settled_s=LOST_S[1],
            judgement=NOT_ASSESSABLE,
            reasons=(Evidence("impedance flat and out of range", NOT_ASSESSABLE),),
            limits={"delay_s": 5.0},
            unusable=(UnusableStretch(LOST_S[0], LOST_S[1], "flat signal"),),
        ),
        Event(
            number=5,
            kind="apnea",
            onset_s=1770.0,
            known_s=1790.9,
            judgement=DOUBTFUL,
            reasons=(Evidence("open at the end", "against"),),
            limits=apnea,
        ),
    )


def many_events(review: InventedReview, count: int) -> InventedReview:
    """Return the review with its events repeated at other places until there are `count`."""
    kinds = [event for event in review.events if event.end_s is not None]
    chance = np.random.default_rng(5)
    starts = np.sort(chance.uniform(30.0, review.recorded_s - 120.0, count))
    made = []
    for number, start_s in enumerate(starts.tolist(), start=1):
        event = kinds[number % len(kinds)]
        by = start_s - event.onset_s
        end_s = None if event.end_s is None else event.end_s + by
        made.append(
            dataclasses.replace(
                event,
                number=number,
                onset_s=start_s,
                known_s=event.known_s + by,
                end_s=end_s,
                settled_s=end_s,
                linked=(),
            )
        )
    return dataclasses.replace(review, events=tuple(made))
