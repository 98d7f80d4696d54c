"""Slow, obvious twins of the event rules: they walk the time tick by tick and look at everything.

All times are whole ticks (an eighth of a second), so that sums and comparisons are exact.
"""

from __future__ import annotations

import math
import statistics
from itertools import pairwise

import numpy as np
from made_findings import TICK_S

from infantmon.model.spans import Reason


class SlowCondition:
    """The state machine as the words of `infantmon.events.condition` put it, one call a step."""

    def __init__(self, hold_off, lag, *, longer=False):
        self.hold_off, self.lag, self.longer = hold_off, lag, longer
        self.state, self.indicator_since, self.onset, self.changed = "absent", None, None, -math.inf
        self.steps = []

    def go(self, state, now, end=None, *, assessable=True):
        self.state, self.changed = state, now
        self.steps.append((now, state, self.onset, end, assessable))

    @property
    def on(self):
        return self.state in ("pending", "active")

    def lasts_until(self, time):
        held = self.onset + self.hold_off
        return time > held if self.longer else time >= held

    def begin(self, onset, now, *, assessable=True):
        self.onset = onset
        at_once = self.hold_off == 0 or onset + self.hold_off + self.lag <= now
        self.go("active" if at_once else "pending", now, assessable=assessable)

    def tick(self, now):
        if self.state == "pending" and now >= self.onset + self.hold_off + self.lag:
            self.go("active", now)

    def end(self, end, now, *, assessable=True):
        if not self.on:
            return
        end = max(end, self.onset)
        if self.state == "pending" and self.lasts_until(end):
            self.go("active", now, assessable=assessable)
        if self.state == "active":
            self.indicator_since = now
        self.go(
            "absent" if self.indicator_since is None else "latched", now, end, assessable=assessable
        )

    def reset(self, at):
        if self.state == "latched" and self.changed <= at:
            self.indicator_since = None
            self.onset = None
            self.go("absent", at)
        elif self.state == "pending" and (self.indicator_since or 0.0) <= at:
            self.indicator_since = None


class SlowRule:
    """Walks stream time tick by tick, and behind it the time of the findings, tick by tick."""

    assessed = True

    def __init__(self, findings, stretches, reached, lag, noise=()):
        self.findings, self.stretches, self.reached, self.lag = findings, stretches, reached, lag
        self.noise = noise
        self.at = -TICK_S  # every instant up to this one has been dealt with
        self.running = True
        self.clock = self.last = 0.0
        self.seen = False
        self.pending_starts = list(stretches)
        self.inside = None
        self.condition = self.new_condition()

    def run(self):
        for tick in range(round(self.reached / TICK_S) + 1):
            self.now = tick * TICK_S
            self.final = self.now >= self.reached
            for time, known in self.findings:
                if known == self.now and not any(s.told_at(self.now, time) for s in self.stretches):
                    self.walk(time, (time,))
            self.late_edges()
            self.walk(self.now if self.final else self.now - self.lag)
            self.timers()
        return list(self.condition.steps)

    def walk(self, through, found=()):
        self.late_edges()
        while self.at + TICK_S <= through:
            self.at += TICK_S
            self.instant(self.at, self.at in found)
            pending = self.condition.state == "pending"
            if self.final and pending and self.condition.lasts_until(self.at):
                self.condition.go("active", self.now)

    def late_edges(self):
        self.edges(self.at)

    def edges(self, until):
        """Apply what is told by now of stretches that start or end up to an instant."""
        while True:
            if self.inside is not None:
                stretch = self.inside
                if stretch.end_told > self.now or stretch.end > until:
                    return
                self.before_edge(stretch.end)
                self.inside = None
                self.running = True
                self.opened_again(stretch)
            elif self.pending_starts:
                stretch = self.pending_starts[0]
                if stretch.told > self.now or stretch.since > until:
                    return
                self.pending_starts.pop(0)
                self.before_edge(stretch.since)
                self.inside = stretch
                self.running = False
                self.lost(stretch)
            else:
                return

    def before_edge(self, time):
        if (
            self.condition.state == "pending"
            and self.condition.onset + self.condition.hold_off <= time
        ):
            self.condition.go("active", self.now)

    def lost(self, stretch):
        known_hole = stretch.missing and not stretch.hole_told_late
        if known_hole or self.condition.state == "pending":
            self.condition.end(stretch.since, self.now, assessable=self.assessed)

    def opened_again(self, stretch):
        if stretch.missing:
            self.condition.end(stretch.since, self.now, assessable=self.assessed)
        self.clock = max(self.clock, stretch.end)
        if stretch.missing or (not self.seen and stretch.since <= self.last):
            self.last = max(self.last, stretch.end)

    def take(self, time):
        self.seen = True
        self.clock = max(self.clock, time)
        self.last = max(self.last, time)

    def timers(self):
        self.condition.tick(self.now)


class SlowPause(SlowRule):
    """Apnea, carried over unusable stretches, and no heart beat, carried over flat ones only."""

    def __init__(self, *args, limit, of_breaths):
        self.limit, self.of_breaths, self.assessed = limit, of_breaths, True
        self.by_doubts = False
        self.heard, self.anew, self.listed = [], 0.0, -1.0
        self.usual = {}  # the median interval at breaths after which a silence was asked for
        super().__init__(*args)

    @property
    def sure(self):
        """The last breath beyond doubt, or where everything began anew."""
        return max([self.anew, *(time for time, sure in self.heard if sure)])

    def new_condition(self):
        return SlowCondition(0, self.lag)

    def doubtful(self, s):
        """Whether, by what is known now, a breath may come from a lost or disturbed stretch."""
        if not self.of_breaths:
            return False
        over = [(n[2], n[0]) for n in self.noise if n[3] == Reason.MOVEMENT and n[1] <= self.now]
        for stretch in self.stretches:
            if stretch.end_told <= self.now:
                over.append((stretch.since, stretch.end))
            elif stretch.told <= self.now:
                over.append((stretch.since, math.inf))
        return any(since - 0.5 <= s <= end + 2.0 for since, end in over)

    def instant(self, s, found):
        self.between(s)
        self.plain(s)
        self.edges(s)
        self.carried(s)
        if found:
            self.breath(s, self.doubtful(s))

    def breath(self, s, doubtful):
        on = self.condition.on
        doubtful = doubtful and not (on and self.assessed)
        self.heard.append([s, not doubtful])
        if not doubtful:
            if on:
                self.listed = s
            self.condition.end(s, self.now, assessable=self.assessed)
        else:
            self.doubt_row(s)
        self.take(s)

    def is_silence(self, one, other):
        """Whether two breaths are far longer apart than is usual by then."""
        if other - one < 3.5:
            return False
        if one not in self.usual:  # what was heard up to a breath stays as it was
            times = [0.0, *(time for time, _ in self.heard if time <= one)]
            self.usual[one] = statistics.median(np.diff(times)[-12:]) if len(times) > 1 else 0.0
        return other - one >= 1.6 * self.usual[one]

    def latest_row(self):
        """Times of the breaths since the latest silence, and the last sure one before them."""
        times = [0.0, *(time for time, _ in self.heard)]
        row = times[-1:]
        for before, time in reversed(list(pairwise(times))):
            if self.is_silence(before, time):
                sure = [t for t, sure in self.heard if sure and t < row[0]]
                return row, max([self.anew, *sure])
            row.insert(0, before)
        return [], 0.0

    def row_before(self, start):
        """How long the row of breaths before a silence went on; the first began with the record."""
        times = [0.0, *(time for time, _ in self.heard if time < start)]
        for before, time in reversed(list(pairwise(times))):
            if self.is_silence(before, time):
                return times[-1] - time
        return times[-1]

    def doubt_row(self, s):
        """Doubt the breaths before a doubtful one too, if they all came in a short row."""
        row = [self.heard[-1]]
        for breath in self.heard[-2::-1]:
            if self.is_silence(breath[0], row[-1][0]):
                break
            row.append(breath)
        start = row[-1][0]
        if s - start <= 4.0 and start > max(self.anew, self.listed):
            for breath in row:
                breath[1] = False

    def plain(self, s):
        if not self.running or s - self.clock < self.limit:
            return
        if not self.condition.on:
            self.assessed = True
            self.condition.begin(self.clock, self.now)
        elif not self.assessed:
            self.assessed = True
            if self.by_doubts:  # every breath counts again: the pause is from the last one on
                self.condition.onset = self.clock
            self.condition.go("active", self.now)

    def between(self, s):
        """Where doubtful breaths come to 0.6 of the pause may be an instant between two ticks."""
        due = self.carried_due()
        if s - TICK_S < due < s:
            now, self.now = self.now, min(self.now, due + self.lag)
            self.carried(due)
            self.now = now

    def doubted(self):
        """The doubtful breaths since the last one beyond doubt."""
        return [time for time, sure in self.heard if not sure and time > self.sure]

    def carried_due(self):
        """When unusable time and doubtful breaths make a pause: they are at most 0.6 of it."""
        row = self.doubted()
        if not row:
            return self.sure + self.limit
        return max(self.sure + max(self.limit, (row[-1] - row[0]) / 0.6), row[-1] + 3.0)

    def carried(self, s):
        last_sure = self.sure
        something_between = self.clock > last_sure
        waits = self.running and something_between and not self.condition.on
        if waits and s >= self.carried_due():
            self.assessed, self.by_doubts = False, bool(self.doubted())
            self.condition.begin(last_sure, self.now, assessable=False)
        self.past_short_row(s)

    def past_short_row(self, s):
        """List a pause that is long enough if the short row of breaths in it does not count."""
        if not self.of_breaths or not self.running or self.condition.on:
            return
        row, before = self.latest_row()
        short = bool(row) and row[-1] - row[0] <= 5.0 and s - row[-1] >= 5.0
        short = short and self.row_before(row[0]) >= 10.0
        if short and row[0] > max(self.anew, self.listed) and s - before >= self.limit:
            self.assessed, self.by_doubts = False, True
            self.condition.begin(before, self.now, assessable=False)

    def opened_again(self, stretch):
        before = self.last
        super().opened_again(stretch)
        lost = stretch.missing or not (self.of_breaths or stretch.off)
        if lost or (not self.seen and stretch.since <= before):
            self.anew = max(self.anew, stretch.end)


class SlowRate(SlowRule):
    """Low (sign -1) and high (sign 1) heart rate."""

    def __init__(self, *args, limit, sign, hold_off, beats=None, seconds=None):
        self.limit, self.sign, self.hold_off = limit, sign, hold_off
        self.beats, self.seconds = beats, seconds
        self.heard, self.cut = [], None
        super().__init__(*args)

    def new_condition(self):
        return SlowCondition(self.hold_off, self.lag)

    def lost(self, stretch):
        if stretch.missing and not stretch.hole_told_late:
            self.cut = None
        elif self.condition.state == "pending" and self.cut is None:
            self.cut = self.condition.onset
        super().lost(stretch)

    def opened_again(self, stretch):
        if stretch.missing:
            self.cut = None
        super().opened_again(stretch)

    def over(self, s):
        """The rate is back: two parts beside a stretch, each too short, have been one."""
        cut, self.cut = self.cut, None
        condition = self.condition
        if cut is None or condition.state != "pending" or condition.lasts_until(s):
            condition.end(s, self.now)
        else:
            condition.onset = cut
            condition.end(s, self.now, assessable=False)

    def rate(self):
        """60 / mean of the intervals averaged at the latest beat; None where there is none."""
        now = self.heard[-1]
        ends = [s.end for s in self.stretches if s.end_told <= self.now and s.end <= now]
        beats = [b for b in self.heard if b >= max(ends, default=0.0)]
        pairs = list(pairwise(beats))
        if not pairs:
            return None
        if self.beats:
            chosen = pairs[-self.beats :]
        else:
            chosen = [p for p in pairs if p[1] > now - self.seconds] or pairs[-1:]
        return 60.0 / (sum(b - a for a, b in chosen) / len(chosen))

    def instant(self, s, found):
        self.edges(s)
        if found:
            self.take(s)
            self.heard.append(s)
            rate = self.rate()
            if rate is not None:
                beyond = rate < self.limit if self.sign < 0 else rate > self.limit
                if beyond and not self.condition.on:
                    self.condition.begin(s, self.now)
                if not beyond:
                    self.over(s)
        elif self.running:
            self.open_interval(s, s - self.clock)

    def open_interval(self, s, waited):
        if self.sign < 0 and waited >= 60.0 / self.limit and not self.condition.on:
            self.condition.begin(s, self.now)
        if self.sign > 0:
            if self.beats:
                longest = self.beats * (60.0 / self.limit)
            else:
                longest = max(self.seconds, 60.0 / self.limit)
            if waited >= longest:
                self.over(s)


class SlowRow(SlowRule):
    """Periodic breathing."""

    def __init__(self, *args, pause, count, gap):
        self.pause, self.count, self.gap = pause, count, gap
        self.starts, self.pause_end, self.gap_from, self.in_pause = [], None, None, False
        super().__init__(*args)

    def new_condition(self):
        return SlowCondition(0, self.lag)

    @property
    def over(self):
        """When it is plain that no further pause begins in time."""
        if not self.starts or self.in_pause or not self.running:
            return math.inf
        return self.gap_from + self.gap + self.pause

    def instant(self, s, found):
        if self.running and not self.in_pause and s - self.clock >= self.pause:
            if self.starts and self.clock - self.gap_from > self.gap:
                self.end_row()
            self.in_pause = True
            self.starts = [*self.starts, self.clock][: self.count]
            if len(self.starts) == self.count and not self.condition.on:
                self.condition.begin(self.starts[0], self.now)
        self.edges(s)
        if self.final and s >= self.over:
            self.end_row()
        if found:
            self.finish_pause(s)
            self.take(s)

    def finish_pause(self, s):
        if self.in_pause:
            self.in_pause, self.pause_end, self.gap_from = False, s, s

    def before_edge(self, time):
        if self.over <= time:
            self.end_row()

    def lost(self, stretch):
        self.finish_pause(stretch.since)
        if (stretch.missing and not stretch.hole_told_late) or not self.condition.on:
            self.starts = []
        super().lost(stretch)

    def opened_again(self, stretch):
        self.gap_from = stretch.end
        if stretch.missing:
            self.starts = []
        super().opened_again(stretch)

    def end_row(self):
        self.starts = []
        self.condition.end(self.pause_end, self.now)

    def timers(self):
        if self.now - self.lag >= self.over:
            self.end_row()


class SlowTechnical:
    """Contact loss or signal unusable: walks stream time tick by tick over all channels."""

    def __init__(self, stretches_by_role, reached, delay, lag, off):
        self.stretches = {
            role: [s for s in stretches if s.off == off]
            for role, stretches in stretches_by_role.items()
        }
        self.reached, self.condition = reached, SlowCondition(delay, lag, longer=True)

    def run(self):
        condition = self.condition
        for tick in range(round(self.reached / TICK_S) + 1):
            now = tick * TICK_S
            for role in sorted(self.stretches):
                for stretch in self.stretches[role]:
                    if stretch.told == now:
                        self.opens(stretch, now)
                    if stretch.end_told == now:
                        self.closes(stretch, now)
            condition.tick(now)
        if condition.state == "pending" and condition.lasts_until(self.reached):
            condition.go("active", self.reached)
        return list(condition.steps)

    open: frozenset = frozenset()

    def opens(self, stretch, now):
        self.open = self.open | {stretch.key}
        if self.condition.state == "active":
            return
        if self.condition.state != "pending" or stretch.since < self.condition.onset:
            self.condition.begin(stretch.since, now)

    def closes(self, stretch, now):
        self.open = self.open - {stretch.key}
        if not self.open:
            self.condition.end(stretch.end, now)
            return
        if self.condition.state == "pending":
            earliest = min(since for since, _ in self.open)
            if self.condition.lasts_until(stretch.end):
                self.condition.go("active", now)
            elif earliest > self.condition.onset:
                self.condition.end(stretch.end, now)
                self.condition.begin(earliest, now)
