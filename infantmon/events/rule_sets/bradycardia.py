"""Slow hearts as research has defined them: sustained, pooled single beats, and relative falls.

In come the stored findings of a recording; out come the episodes that each published definition
makes of its RR intervals. No averaging is involved: every single interval is compared.
"""

from __future__ import annotations

import bisect
import math
from collections import deque
from dataclasses import dataclass

import numpy as np

from infantmon.errors import as_floats, require_between, require_whole
from infantmon.events.rule_sets.episodes import Episode, Episodes, Stored, joined
from infantmon.events.rule_sets.intervals import (
    ROUNDING_S,
    Intervals,
    beat_intervals,
    reaches,
    runs,
)
from infantmon.events.rule_sets.slowing import slow_stretches
from infantmon.model.arrays import Bools, Floats

LEAST_INTERVALS = 5
"""RR intervals that a baseline needs."""


@dataclass(frozen=True)
class SustainedSlowing:
    """A rate below 100 a minute for 4 s or more; episodes 4 s or less apart are one.

    Parameters
    ----------
    limit_bpm : float
        Strictly below this rate, in beats a minute.
    least_s : float
        The least length, in seconds.
    joined_s : float
        Episodes so far apart or less are one, in seconds.

    Notes
    -----
    The rate of every single RR interval is compared, strictly below the limit; a stretch of exactly
    4 s and a gap of exactly 4 s count.

    References
    ----------
    Nagraj VP et al., Pediatr Res 2019;86:622-627; the joining rule from the open code of the same
    group.
    """

    limit_bpm: float = 100.0
    least_s: float = 4.0
    joined_s: float = 4.0

    source = "Nagraj VP et al., Pediatr Res 2019;86:622-627; joining from the group's open code"

    def __post_init__(self) -> None:
        as_floats(self)
        require_between(self.limit_bpm, 20.0, 350.0, name="limit_bpm", unit="a minute")
        require_between(self.least_s, 0.0, 600.0, name="least_s", unit="s")
        require_between(self.joined_s, 0.0, 3600.0, name="joined_s", unit="s")

    def episodes(self, findings: Stored) -> Episodes:
        """Return what the rule makes of stored findings."""
        beats = beat_intervals(findings.whole)
        clause = f"below {self.limit_bpm:g} a minute for {self.least_s:g} s or more"
        found = joined(slow_stretches(beats, self.limit_bpm, self.least_s, clause), self.joined_s)
        rule = f"{clause}; {self.joined_s:g} s or less apart are one"
        return Episodes(rule, self.source, tuple(found), {"ecg": beats.judged_s})


@dataclass(frozen=True)
class PooledSlowBeats:
    """Two or more RR intervals in a row longer than 0.6 s; what lies within 3 min is one episode.

    So together they last longer than 1.2 s. The time between two is from the end of one to the
    start of the next (project's choice: the source does not say); exactly 3 min still pools.

    Parameters
    ----------
    interval_s : float
        An interval longer than this is slow, in seconds.
    least_beats : int
        So many slow intervals in a row.
    pooled_s : float
        Episodes so far apart or less are one, in seconds.

    Notes
    -----
    A check against the data of the source is not possible with what is shared of it: of its infant
    1 only onset marks of 77 such episodes are at hand, without the signal.

    References
    ----------
    Gee AH et al., IEEE Trans Biomed Eng 2017;64:2300-2308, and the page of its database (PICS) at
    PhysioNet.
    """

    interval_s: float = 0.6
    least_beats: int = 2
    pooled_s: float = 180.0

    source = "Gee AH et al., IEEE Trans Biomed Eng 2017;64:2300-2308 (PICS database page)"

    def __post_init__(self) -> None:
        as_floats(self)
        require_between(self.interval_s, 0.1, 10.0, name="interval_s", unit="s")
        require_whole(self.least_beats, 1, 1000, name="least_beats", unit="intervals")
        require_between(self.pooled_s, 0.0, 3600.0, name="pooled_s", unit="s")

    def episodes(self, findings: Stored) -> Episodes:
        """Return what the rule makes of stored findings."""
        beats = beat_intervals(findings.whole)
        clause = f"{self.least_beats} or more RR intervals in a row above {self.interval_s:g} s"
        limit_bpm = 60.0 / self.interval_s
        single = slow_stretches(beats, limit_bpm, 0.0, clause, least_beats=self.least_beats)
        rule = f"{clause}; within {self.pooled_s:g} s they are one"
        found = joined(single, self.pooled_s)
        return Episodes(rule, self.source, tuple(found), {"ecg": beats.judged_s})


@dataclass(frozen=True)
class RelativeFall:
    """A rate a third or more below its baseline for 4 s or more.

    Parameters
    ----------
    share : float
        Fall as a share of the baseline; exactly this counts.
    least_s : float
        How long it must last, in seconds; exactly this counts.
    baseline_s : float
        The baseline is that of the median RR interval of so many seconds before the fall; the
        source does not state how its baseline was found, so this is the project's choice. It needs
        at least five intervals.

    References
    ----------
    Poets CF et al., Pediatr Res 1993;34:144 (a fall of 33 % for 4 s).
    """

    share: float = 0.33
    least_s: float = 4.0
    baseline_s: float = 60.0

    source = "Poets CF et al., Pediatr Res 1993;34:144; how the baseline is found: project's choice"

    def __post_init__(self) -> None:
        as_floats(self)
        require_between(self.share, 0.01, 0.99, name="share", unit="of the baseline")
        require_between(self.least_s, 0.0, 600.0, name="least_s", unit="s")
        require_between(self.baseline_s, 5.0, 3600.0, name="baseline_s", unit="s")

    def episodes(self, findings: Stored) -> Episodes:
        """Return what the rule makes of stored findings."""
        beats = beat_intervals(findings.whole)
        fallen, baseline_bpm = self._fallen(beats)
        clause = f"{100 * self.share:g} % or more below the baseline for {self.least_s:g} s or more"
        found = []
        for first, last in runs(fallen, beats):
            start_s, end_s = float(beats.start_s[first]), float(beats.end_s[last])
            if reaches(end_s - start_s, self.least_s):
                measures = {
                    "lowest_bpm": 60.0 / float(beats.length_s[first : last + 1].max()),
                    "baseline_bpm": float(baseline_bpm[first]),
                }
                found.append(Episode("bradycardia", clause, start_s, end_s, measures))
        return Episodes(clause, self.source, tuple(found), {"ecg": beats.judged_s})

    def _fallen(self, beats: Intervals) -> tuple[Bools, Floats]:
        """Tell which intervals have fallen, and the baseline of each; a fall keeps its baseline."""
        lengths, starts = beats.length_s.tolist(), beats.start_s.tolist()
        ends = beats.end_s.tolist()
        fallen = np.zeros(len(lengths), dtype=np.bool_)
        baseline = np.full(len(lengths), math.nan)
        window: deque[tuple[float, float]] = deque()  # end and length of those before the fall
        ordered: list[float] = []
        usual_s = math.nan
        for row, length_s in enumerate(lengths):
            if not (row and fallen[row - 1]):  # a fall keeps the baseline that it fell from
                while window and window[0][0] < starts[row] - self.baseline_s:
                    del ordered[bisect.bisect_left(ordered, window.popleft()[1])]
                usual_s = (
                    ordered[len(ordered) // 2] if len(ordered) >= LEAST_INTERVALS else math.nan
                )
            baseline[row] = 60.0 / usual_s
            fallen[row] = usual_s <= (1.0 - self.share) * length_s + ROUNDING_S
            if not fallen[row]:
                window.append((ends[row], length_s))
                bisect.insort(ordered, length_s)
        return fallen, baseline
