"""A slow, obvious twin of the contact detector: one sample after the other, no arrays."""

from __future__ import annotations

import math
import statistics

from infantmon.model.spans import BLOCKING, Reason
from infantmon.stages.contact import ContactSettings

Row = tuple[int, int, int, int, bool, bool]  # known, tick, since, reason, over, bridged


def up(seconds: float, rate_hz: float) -> int:
    return math.ceil(seconds * rate_hz - 1e-9)


class SlowStretch:
    """One group: at each tick the reasons that are known to hold, with their beginnings."""

    def __init__(self, rate_hz: float) -> None:
        self.bridged = math.floor(1.0 * rate_hz + 1e-9)
        self.joined = up(0.5, rate_hz)
        self.rows: list[Row] = []
        self.holds: set[int] = set()
        self.present: dict[str, int] | None = None
        self.end = 0

    def tick(self, now: int, begins: list[tuple[int, int]], ends: list[tuple[int, int]]) -> None:
        for reason, since in sorted(begins):
            if self.present is None:
                self.present = {"since": since, "reason": 0, "opened": 0}
            self.present["since"] = min(self.present["since"], since)
            self.present["reason"] |= reason
            self.holds.add(reason)
            self.open_if_long(now)
        for reason, end in ends:
            self.holds.discard(reason)
            self.end = max(self.end, end)
        if self.holds:
            self.open_if_long(now)
        elif self.present is not None and now >= self.end + self.joined - 1:
            self.close(now)

    def open_if_long(self, now: int) -> None:
        stretch = self.present
        assert stretch is not None
        if not stretch["opened"] and now - stretch["since"] >= self.bridged:
            stretch["opened"] = 1
            self.rows.append((now, now, stretch["since"], stretch["reason"], False, False))

    def close(self, now: int) -> None:
        stretch = self.present
        assert stretch is not None
        row = (now, self.end, stretch["since"], stretch["reason"], True, not stretch["opened"])
        self.rows.append(row)
        self.present, self.end = None, 0

    def finish(self, now: int) -> None:
        if self.present is not None and self.holds and not self.present["opened"]:
            self.end = now + 1
            self.close(now + 1)
        elif self.present is not None and not self.holds and self.end <= now:
            self.close(now)


class SlowFlatAndRail:
    """Equal samples, told sample by sample."""

    def __init__(self, settings: ContactSettings) -> None:
        rate = settings.clock.rate_hz
        self.gap = math.floor(rate + 1e-9)
        self.flat_ticks = up(settings.flat_s, rate)
        self.run_ticks = max(4, up(settings.rail_run_s, rate))
        self.held_ticks = up(settings.rail_held_s, rate)
        self.within = up(settings.rail_within_s, rate)
        self.settle = up(settings.rail_settle_s, rate)
        self.share = settings.rail_share
        self.tells_jumps, self.flat_reason = settings.tells_jumps, int(Reason.FLAT)
        self.value = self.start = self.last = None
        self.high, self.low, self.finest = -math.inf, math.inf, math.inf
        self.sharp = self.flat = self.saturated = self.returning = self.counted = False
        self.visits: list[tuple[int, int]] = []
        self.left: int | None = None

    def tick(self, now: int, x: float, begins: list, ends: list) -> None:
        if math.isfinite(x):
            self.sample(now, x, begins, ends)
        if self.returning and self.left is not None and now == self.left + self.settle:
            self.saturated = self.returning = False
            ends.append((int(Reason.SATURATED), now))

    def sample(self, now: int, x: float, begins: list, ends: list) -> None:
        same = self.value is not None and x == self.value and now - self.last - 1 <= self.gap
        if not same:
            self.leave(now, begins, ends)
            step = abs(x - self.value) if self.value is not None else math.nan
            if step > 0:
                self.finest = min(self.finest, step)
            self.sharp = step >= 4.0 * self.finest
            self.start = now
        self.value, self.last = x, now
        self.high, self.low = max(self.high, x), min(self.low, x)
        if not self.flat and now - self.start >= self.flat_ticks:
            self.flat = True
            calm = self.tells_jumps and not self.sharp
            self.flat_reason = int(Reason.FLAT | Reason.NO_JUMP if calm else Reason.FLAT)
            begins.append((self.flat_reason, self.start))
        if self.sharp and x in (self.high, self.low) and self.high > self.low:
            self.at_rail(now, begins)

    def at_rail(self, now: int, begins: list) -> None:
        if not self.counted and now - self.start >= self.run_ticks - 1:
            if self.returning and self.left is not None and now > self.left + self.settle:
                raise AssertionError("should have ended before")
            self.counted = True
            self.left = None
        if self.counted and now - self.start >= self.held_ticks:
            self.begin(self.start, begins)

    def begin(self, since: int, begins: list) -> None:
        if not self.saturated:
            self.saturated = True
            begins.append((int(Reason.SATURATED), since))

    def leave(self, now: int, begins: list, ends: list) -> None:
        if self.flat:
            ends.append((self.flat_reason, now))
        if self.counted:
            self.left = now
            self.visits = [*self.visits[-2:], (self.start, now)]
            whole = now - self.visits[0][0]
            inside = sum(end - start for start, end in self.visits)
            close = len(self.visits) == 3 and whole <= self.within
            self.returning = close and inside >= self.share * whole
            if self.returning:
                self.begin(self.visits[0][0], begins)
            elif self.saturated:
                self.saturated = False
                ends.append((int(Reason.SATURATED), now))
        self.flat = self.counted = False


class SlowMovement:
    """Blocks of a quarter of a second, each looked at with everything before it."""

    def __init__(self, settings: ContactSettings) -> None:
        self.size = max(1, round(0.25 * settings.clock.rate_hz))
        self.ratio = settings.movement_ratio
        self.samples: list[float] = []
        self.blocks: list[tuple[float, float] | None] = []
        self.history: list[float] = []
        self.still: list[float] = []
        self.apart: dict[int, float] = {}
        self.began: int | None = None
        self.told = False
        self.before: tuple[float, float] | None = None
        self.window_burst = False

    def usual(self) -> float:
        if len(self.history) < 3:
            return math.inf
        return sorted(self.history)[int(0.8 * (len(self.history) - 1))]

    def tick(self, now: int, x: float, begins: list, ends: list) -> None:
        self.samples.append(x)
        if len(self.samples) < self.size:
            return
        seen = [s for s in self.samples if math.isfinite(s)]
        self.samples = []
        self.blocks.append((min(seen), max(seen)) if seen and 2 * len(seen) >= self.size else None)
        self.block(now, len(self.blocks) - 1, begins, ends)
        if len(self.blocks) % 8 == 0:
            self.window()

    def measured(self, upto: int, count: int) -> tuple[float, float] | None:
        part = self.blocks[max(0, upto - count + 1) : upto + 1]
        if len(part) < count or None in part:
            return None
        return min(p[0] for p in part), max(p[1] for p in part)

    def block(self, now: int, k: int, begins: list, ends: list) -> None:
        found = self.measured(k, 4)
        swing = found[1] - found[0] if found else math.nan
        if self.began is None:
            if swing > 2.0 * self.usual():
                self.began, self.told, self.window_burst = k, False, True
                self.before = self.measured(k - 1, 4)
        elif not swing >= 1.5 * self.usual():
            self.over(now, k, found, begins, ends)
        elif not self.told and k - self.began + 1 >= 8:
            low, high = zip(*(self.measured(b, 4) for b in range(self.began, k + 1)), strict=True)
            if max(high) - min(low) > self.ratio * self.usual():
                self.told = True
                begins.append((int(Reason.MOVEMENT), self.began * self.size))

    def over(self, now: int, k: int, found: tuple | None, begins: list, ends: list) -> None:
        if self.told:
            ends.append((int(Reason.MOVEMENT), now + 1))
        elif found and self.before and k - self.began + 1 <= 8:
            moved = abs(sum(found) / 2 - sum(self.before) / 2)
            if moved > 0.5 * self.ratio * self.usual():
                begins.append((int(Reason.STEP), self.began * self.size))
                ends.append((int(Reason.STEP), now + 1))
        self.began = None

    def window(self) -> None:
        k = len(self.blocks) // 8
        found = self.measured(len(self.blocks) - 1, 8)
        swing = found[1] - found[0] if found else 0.0
        if swing > 0 and not self.window_burst:
            pause = len(self.history) >= 3 and swing < 0.35 * self.usual()
            self.still = [*self.still, swing] if pause else []
            if not pause:
                self.history = [*self.history, swing][-32:]
            elif len(self.still) == 32:
                self.history, self.still = self.still, []
        elif swing > 0:
            self.still = []
            self.apart[k] = swing
            recent = {w: s for w, s in self.apart.items() if w > k - 32}
            four = [recent.get(w, 0.0) for w in range(k - 3, k + 1)]
            self.apart = recent
            if min(four) > 0 and max(four) <= 1.6 * min(four):
                self.history, self.apart = four, {}
            elif len(recent) == 12:
                self.history, self.apart = [*self.history, *recent.values()][-32:], {}
        self.window_burst = self.began is not None


class SlowShift:
    """Blocks of 0.25 s, all kept; each is looked at by itself."""

    def __init__(self, settings: ContactSettings) -> None:
        self.size = max(1, round(0.25 * settings.clock.rate_hz))
        self.tells = settings.tells_shifts
        self.samples: list[float] = []
        self.low: list[float] = []
        self.high: list[float] = []
        self.level: list[float] = []
        self.free = 0
        self.began: int | None = None
        self.sign = self.base = self.span = 0.0

    def tick(self, x: float, begins: list, ends: list) -> None:
        self.samples.append(x)
        if len(self.samples) < self.size or not self.tells:
            return
        seen = [s for s in self.samples if math.isfinite(s)]
        known = bool(seen) and 2 * len(seen) >= self.size
        self.low.append(min(seen) if known else math.nan)
        self.high.append(max(seen) if known else math.nan)
        self.level.append(sum(seen) / len(seen) if known else math.nan)
        self.samples = []
        k = len(self.low) - 1
        if self.began is None:
            self.look(k - 2, begins)
        elif k >= self.began + 3 and not self.goes_on(k):
            ends.append((int(Reason.SHIFT), k * self.size))
            self.began, self.free = None, k

    def goes_on(self, k: int) -> bool:
        off = self.sign * (self.level[k] - self.base)
        moves = abs(self.level[k] - self.level[k - 4]) > 0.06 * self.span
        return off > 0.2 * self.span and moves and k < self.began + 40

    def look(self, start: int, begins: list) -> None:
        first, until = start - 51, start - 4
        if start < max(self.free, 51):
            return
        if any(math.isnan(x) for x in (*self.low[first:until], *self.low[start : start + 3])):
            return
        spans = [
            max(self.high[w : w + 8]) - min(self.low[w : w + 8]) for w in range(first, until - 7)
        ]
        span = statistics.median(spans)
        base, held = self.level[until - 40 : until], self.level[start : start + 3]
        rise, fall = min(held) - max(base), min(base) - max(held)
        if max(rise, fall) > 0.5 * span > 0.0:
            self.began, self.span = start, span
            self.sign = 1.0 if rise > fall else -1.0
            self.base = statistics.median(base)
            begins.append((int(Reason.SHIFT), start * self.size))


def slow_contact(values: list[float], settings: ContactSettings) -> list[Row]:
    """Return the rows of marks, ordered by tick of knowing, blocking first."""
    rate = settings.clock.rate_hz
    blocking, disturbing, shifted = SlowStretch(rate), SlowStretch(rate), SlowStretch(rate)
    equal, movement, shift = SlowFlatAndRail(settings), SlowMovement(settings), SlowShift(settings)
    was = {Reason.NOT_FINITE: False, Reason.OUT_OF_RANGE: False}
    based = False
    for now, x in enumerate(values):
        outside = False
        if settings.lowest is not None and math.isfinite(x):
            based = based or settings.lowest <= x <= settings.highest
            outside = x > settings.highest or (based and x < settings.lowest)
        begins: list[tuple[int, int]] = []
        ends: list[tuple[int, int]] = []
        for reason, holds in (
            (Reason.NOT_FINITE, not math.isfinite(x)),
            (Reason.OUT_OF_RANGE, outside),
        ):
            if holds and not was[reason]:
                begins.append((int(reason), now))
            if was[reason] and not holds:
                ends.append((int(reason), now))
            was[reason] = holds
        equal.tick(now, x, begins, ends)
        blocking.tick(now, begins, ends)
        begins, ends = [], []
        movement.tick(now, x, begins, ends)
        disturbing.tick(now, begins, ends)
        begins, ends = [], []
        shift.tick(x, begins, ends)
        shifted.tick(now, begins, ends)
    blocking.finish(len(values) - 1)
    disturbing.finish(len(values) - 1)
    shifted.finish(len(values) - 1)
    rows = blocking.rows + disturbing.rows + shifted.rows
    return sorted(rows, key=lambda row: (row[0], not row[3] & int(BLOCKING)))
