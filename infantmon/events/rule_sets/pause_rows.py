"""Periodic breathing: rows of pauses, in the variants that are in print.

In come the stored findings of a recording; out come the rows of pauses that follow each other soon
enough. The variants differ in how long a pause is, how many there must be, and how far apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from infantmon.errors import as_floats, require_between
from infantmon.events.rule_sets.episodes import Episode, Episodes, Stored
from infantmon.events.rule_sets.intervals import Intervals, breath_intervals, reaches, unusable
from infantmon.model.spans import Spans


@dataclass(frozen=True)
class PauseRows:
    """At least `count` pauses, each soon enough after the one before.

    Parameters
    ----------
    pause_s : float
        Length of a pause, mark to mark, in seconds.
    count : int
        How many there must be.
    gap_s : float
        Breathing from the end of one to the start of the next, in seconds.
    longer, sooner : bool
        Whether a pause must be longer than `pause_s` and a gap shorter than `gap_s`; otherwise
        exactly these count too.
    source : str
        Where it was published.

    Notes
    -----
    A row does not reach over an unusable stretch: breathing cannot be told there.
    """

    pause_s: float
    count: int
    gap_s: float
    longer: bool
    sooner: bool
    source: str

    def __post_init__(self) -> None:
        as_floats(self)
        require_between(self.pause_s, 1.0, 60.0, name="pause_s", unit="s")
        require_between(self.count, 2, 100, name="count", unit="pauses")
        require_between(self.gap_s, 1.0, 600.0, name="gap_s", unit="s")

    @property
    def rule(self) -> str:
        """The rule in words."""
        pause = (
            f"longer than {self.pause_s:g} s" if self.longer else f"of {self.pause_s:g} s or more"
        )
        gap = f"less than {self.gap_s:g} s" if self.sooner else f"{self.gap_s:g} s or less"
        return f"{self.count} or more pauses {pause}, {gap} apart"

    def episodes(self, findings: Stored) -> Episodes:
        """Return what the rule makes of stored findings."""
        breaths = breath_intervals(findings.whole)
        lost = unusable(findings.whole, "impedance")
        long = reaches(breaths.length_s, self.pause_s, strict=self.longer)
        found: list[Episode] = []
        row: list[int] = []
        for place in np.flatnonzero(long).tolist():
            if row and not self._follows(breaths, lost, row[-1], place):
                found += self._complete(breaths, row)
                row = []
            row.append(place)
        found += self._complete(breaths, row)
        return Episodes(self.rule, self.source, tuple(found), {"impedance": breaths.judged_s})

    def _follows(self, breaths: Intervals, lost: Spans, one: int, other: int) -> bool:
        end_s, start_s = float(breaths.end_s[one]), float(breaths.start_s[other])
        if bool(lost.touch(np.array([end_s - 1e-6]), np.array([start_s + 1e-6]))[0]):
            return False
        return not reaches(start_s - end_s, self.gap_s, strict=not self.sooner)

    def _complete(self, breaths: Intervals, row: list[int]) -> list[Episode]:
        if len(row) < self.count:
            return []
        lengths = breaths.length_s[row]
        measures = {
            "pauses": float(len(row)),
            "longest_pause_s": float(lengths.max()),
            "time_in_pauses_s": float(lengths.sum()),
        }
        start_s, end_s = float(breaths.start_s[row[0]]), float(breaths.end_s[row[-1]])
        complete = bool(breaths.whole[row[0]] and breaths.whole[row[-1]])
        return [Episode("periodic breathing", self.rule, start_s, end_s, measures, complete)]


PAUSE_ROWS: Mapping[str, PauseRows] = MappingProxyType(
    {
        "sleep scoring": PauseRows(
            3.0,
            3,
            20.0,
            longer=True,
            sooner=False,
            source="AASM rules for children (Berry RB et al., J Clin Sleep Med 2012;8:597-619, "
            "looked up through a teaching site; the inclusive gap from memory)",
        ),
        "consensus statement": PauseRows(
            3.0,
            3,
            20.0,
            longer=True,
            sooner=True,
            source="NIH Consensus Statement 1986;6(6):1-10 (from memory)",
        ),
        "clinical handbook": PauseRows(
            3.0, 3, 20.0, longer=False, sooner=True, source="5-Minute Pediatric Consult (Apnea)"
        ),
        "longer pauses": PauseRows(
            4.0,
            2,
            30.0,
            longer=False,
            sooner=False,
            source="an encyclopaedic entry, which gives no count; two is the least that can be "
            "apart (project's choice)",
        ),
    }
)
"""Periodic breathing as different sources have it; they differ in length, count, gap and sign."""
