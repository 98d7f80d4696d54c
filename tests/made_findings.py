"""Findings by hand, and random ones: beats, breaths, contact marks, and batches of them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from infantmon.events.batch import Batch
from infantmon.model.marks import Breaths, Pulsations, RPeaks
from infantmon.model.spans import ContactMarks, Reason

TICK_S = 0.125


@dataclass
class Stretch:
    """An unusable stretch and when its two marks are known, in seconds; no end: still open."""

    since: float
    told: float
    end: float = math.inf
    end_told: float = math.inf
    missing: bool = False
    hole_told_late: bool = False  # the opening mark does not know of the hole yet
    off: bool = False  # the electrode is off, or it looks so: a flat line without a jump

    @property
    def key(self):
        return self.since, id(self)

    @property
    def reasons(self):
        """What the opening mark tells, and what the closing one."""
        if self.off:
            return (int(Reason.FLAT | Reason.NO_JUMP),) * 2
        hole = Reason.MISSING | Reason.INTERRUPTED
        last = hole if self.missing else Reason.NOT_FINITE
        return int(Reason.NOT_FINITE if self.hole_told_late else last), int(last)

    def told_at(self, now, time):
        """Whether a finding at `time` is known by `now` to lie inside."""
        if self.told > now:
            return False
        return time >= self.since and (self.end_told > now or time < self.end)


def beats_at(times, known=None):
    times = np.asarray(times, dtype=float)
    known = times if known is None else np.asarray(known, dtype=float)
    whole = np.round(times * 250).astype(np.int64)
    return RPeaks(times, known, whole, np.ones(len(times)), np.ones(len(times), dtype=bool))


def breaths_at(times, known=None):
    times = np.asarray(times, dtype=float)
    known = times if known is None else np.asarray(known, dtype=float)
    whole = np.round(times * 50).astype(np.int64)
    ones = np.ones(len(times))
    return Breaths(
        times, known, whole, ones, times - 0.25, times + 0.25, np.zeros(len(times), bool)
    )


def sized(times, sizes, *, lag_s=0.0):
    """Breaths of sizes, each known so long after its time."""
    plain = breaths_at(times, np.asarray(times) + lag_s)
    columns = {name: getattr(plain, name) for name in plain.columns()}
    return Breaths(**{**columns, "size": np.asarray(sizes, dtype=float)})


def contact_of(stretches, noise=()):
    """Contact marks of stretches; `noise` adds marks that must change nothing."""
    rows = []
    for s in stretches:
        rows.append((s.told, s.told, s.since, s.reasons[0], False, False))
        if s.end < math.inf:
            rows.append((s.end, s.end_told, s.since, s.reasons[1], True, False))
    rows += list(noise)
    rows.sort(key=lambda row: row[1])
    columns = list(zip(*rows, strict=True)) if rows else [()] * 6
    kinds = (float, float, float, np.int64, bool, bool)
    return ContactMarks(*(np.array(c, dtype=k) for c, k in zip(columns, kinds, strict=True)))


def batches_of(cuts, *, beats=None, breaths=None, contact=None, second=None, pulsation=None):
    """Cut findings into batches that reach the given times; the last one ends the stream."""
    beats = beats_at([]) if beats is None else beats
    breaths = breaths_at([]) if breaths is None else breaths
    second = beats_at([]) if second is None else second
    contact = contact or {}
    pulsation = Pulsations.empty() if pulsation is None else pulsation
    batches, before = [], -math.inf
    for n, reached in enumerate(cuts):

        def now(found, before=before, reached=reached):
            return found.where((found.known_s > before) & (found.known_s <= reached))

        batches.append(
            Batch(
                r_peaks=now(beats),
                breaths=now(breaths),
                pulsation=now(pulsation),
                second_beats=now(second),
                contact={role: now(marks) for role, marks in contact.items()},
                reached_s=float(reached),
                last=n == len(cuts) - 1,
            )
        )
        before = reached
    return batches


def random_stretches(chance, reached, count, *, share_off=0.0):
    """Unusable stretches of more than 1 s, some of them holes, some told late, none overlapping."""
    found, free_s = [], 0.0
    for _ in range(count):
        since = free_s + TICK_S * int(chance.integers(0, max(2, int(reached / TICK_S / count))))
        length = TICK_S * int(chance.choice([9, 10, 12, 16, 24, 48, 120, 300]))
        told = since + TICK_S * int(chance.integers(8, max(9, min(40, length / TICK_S))))
        told = max(told, found[-1].end_told + TICK_S if found else 0.0)
        end = max(since + length, told)
        end_told = end + TICK_S * int(chance.integers(0, 5))
        missing = bool(chance.random() < 0.3)
        late = missing and bool(chance.random() < 0.3)
        off = share_off > 0.0 and not missing and bool(chance.random() < share_off)
        if told > reached:
            break
        if end > reached:
            found.append(Stretch(since, told, missing=missing, hole_told_late=late, off=off))
            break
        found.append(Stretch(since, told, end, min(end_told, reached), missing, late, off))
        free_s = end + TICK_S * int(chance.integers(4, 9))
    return found


def random_times(chance, reached, steps, share_long, long_steps, lag):
    """Times of findings with some long gaps, each known at most the latency later."""
    times, time = [], 0.0
    while True:
        pool = long_steps if chance.random() < share_long else steps
        time += TICK_S * int(chance.choice(pool))
        if time > reached:
            break
        times.append(time)
    times = np.array(times)
    if chance.random() < 0.3 and len(times):  # a finding at the very start
        times = np.append(0.0, times)
    if chance.random() < 0.3:  # a pause without any finding at the start
        times = times[times > 30.0]
    most = round(lag / TICK_S)
    least = most if chance.random() < 0.2 else 0
    known = times + TICK_S * chance.integers(least, most + 1, len(times))
    return times, np.minimum(np.maximum.accumulate(known), reached) if len(times) else known


def random_noise(chance, reached, most=4):
    """Marks that change no timer: bridged stretches, and stretches to be used with care."""
    rows = []
    for time in np.sort(chance.uniform(2.0, reached - 2.0, int(chance.integers(0, most)))):
        time = TICK_S * round(time / TICK_S)
        rows.append((time, time, time - 0.5, int(Reason.NOT_FINITE), True, True))
        end = time + float(chance.choice([1.0, 6.0]))
        rows.append((end, end + 0.5, time, int(Reason.MOVEMENT), True, False))
    return rows


def random_cuts(chance, reached):
    """Where batches end: a few places, or every tick, always the end."""
    ticks = round(reached / TICK_S)
    count = int(chance.choice([0, 1, 3, 10, 60]))
    inner = np.unique(chance.integers(0, ticks + 1, count)) * TICK_S
    return [*inner[inner < reached].tolist(), reached]


def told_in_pieces(make, columns, seed):
    """What `make()` tells of rows of some columns, cut at random, saved and resumed at each cut."""
    count = len(columns[0])
    cuts = np.sort(np.random.default_rng(seed).integers(0, count, 12))
    resumed, told = make(), []
    for rows in np.split(np.arange(count), cuts):
        anew = make()
        anew.restore(resumed.snapshot())
        resumed = anew
        told += resumed.tell(*(column[rows] for column in columns)).tolist()
    return told
