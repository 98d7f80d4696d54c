"""Stretches in which every RR interval is longer than a limit allows: an unaveraged slow heart.

In come RR intervals; out come the stretches that last long enough, as episodes.
"""

from __future__ import annotations

from infantmon.events.rule_sets.episodes import Episode
from infantmon.events.rule_sets.intervals import Intervals, reaches, runs


def slow_stretches(
    beats: Intervals, limit_bpm: float, least_s: float, clause: str, *, least_beats: int = 1
) -> list[Episode]:
    """Return the stretches in which every interval is below a rate (strictly), for long enough.

    Parameters
    ----------
    beats : Intervals
        RR intervals.
    limit_bpm : float
        The rate, in beats a minute; an interval of exactly 60 / this is not below it.
    least_s : float
        How long a stretch must last, in seconds, from the beat that opens its first interval to the
        beat that closes its last; exactly this is long enough.
    clause : str
        What to call it.
    least_beats : int
        How many intervals it must have.
    """
    length_s = beats.length_s
    found: list[Episode] = []
    for first, last in runs(reaches(length_s, 60.0 / limit_bpm, strict=True), beats):
        start_s, end_s = float(beats.start_s[first]), float(beats.end_s[last])
        if reaches(end_s - start_s, least_s) and last - first + 1 >= least_beats:
            lowest = 60.0 / float(length_s[first : last + 1].max())
            measures = {"lowest_bpm": lowest}
            found.append(Episode("bradycardia", clause, start_s, end_s, measures))
    return found
