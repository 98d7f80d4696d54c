"""An event as the evidence sees it, and what is asked of it in more than one place.

In come an event, a stream time and the findings known by then. The evidence asks its questions of
this object alone, so no answer can rest on what became known later.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from infantmon.events.history import LONGEST_KEPT_S, History
from infantmon.model.event import Event, Evidence, Side
from infantmon.model.marks import RPeaks
from infantmon.model.spans import BLOCKING, Spans

BEFORE_S = 30.0
"""How far back the breathing and the heart before an event are looked at, in seconds."""
AROUND_S = 10.0
"""So long before an event the beats belong to what is around it, in seconds."""
HAIR_S = 1e-6
"""By so much a stretch of time is widened or narrowed, to have what is at its ends in it or not."""
ONSET_S = 1.0
"""So long before an event its onset reaches, in seconds: what is disturbed there counts too."""
NOT_KEPT = "it lasted so long that what came before is no longer known"
DISTURBED_SHARE = 0.2
"""From this share of an event under movement it is doubtful."""


@dataclass(frozen=True)
class Case:
    """An event as the evidence sees it: what has been found by a stream time, and no more.

    Attributes
    ----------
    event : Event
        The event as it stands.
    assessable : bool
        False if it reached its limit only by counting what could not be judged.
    until_s : float
        The end of the event, or the time reached where it is still open, in seconds.
    known_s : float
        Stream time up to which findings may be known, in seconds: no later one is looked at.
    history : History
        The findings.
    """

    event: Event
    assessable: bool
    until_s: float
    known_s: float
    history: History

    @property
    def before_is_kept(self) -> bool:
        """False where it has lasted so long that what came before is no longer in the history."""
        return self.event.onset_s - BEFORE_S >= self.known_s - LONGEST_KEPT_S

    @property
    def length_s(self) -> float:
        """Length of the event so far, at least a second, for shares."""
        return max(self.until_s - self.event.onset_s, 1.0)

    @property
    def longest_within_limit_s(self) -> float:
        """The longest interval between beats that is not beyond the limit, in seconds."""
        limits = self.event.limits
        if "limit_s" in limits:
            return float(np.nextafter(float(limits["limit_s"]), 0.0))
        return 60.0 / float(limits.get("limit_bpm", np.inf))

    @cached_property
    def longest_without_beat_s(self) -> tuple[float, float]:
        """Start and end of the longest time without a beat in the event or shortly before, in s.

        While the ECG could not be used, before the event, nobody knows whether there were beats.
        """
        onset_s = self.event.onset_s
        beats_s = self.history.beats(onset_s - BEFORE_S, self.until_s, self.known_s).time_s
        if not len(beats_s):
            return onset_s, onset_s
        lost = self.history.spans("ecg", self.known_s, BLOCKING).unbridged
        over_s = lost.end_s[(lost.end_s > beats_s[0]) & (lost.end_s <= onset_s)]
        edges_s = np.sort(np.concatenate((beats_s, over_s, [self.until_s])))
        starts_s, ends_s = edges_s[:-1], edges_s[1:]
        shortly_before = (ends_s >= onset_s - AROUND_S) & ~lost.touch(starts_s, ends_s)
        counts = (ends_s >= onset_s) | shortly_before
        row = int(np.argmax(np.where(counts, ends_s - starts_s, 0.0)))
        return float(starts_s[row]), float(ends_s[row])


def disturbed(case: Case, spans: Spans, what: str) -> list[Evidence]:
    """Tell the share of the event, its onset included, that lies in disturbed stretches."""
    start_s = case.event.onset_s - ONSET_S
    share = spans.overlap_s(start_s, case.until_s) / (case.length_s + ONSET_S)
    if share <= 0.0:
        return [Evidence("no movement seen in it", "for")]
    side: Side = "against" if share >= DISTURBED_SHARE else "beside"
    return [Evidence(f"{what} for {100 * share:.0f} % of it", side)]


def usual_size(beats: RPeaks) -> float:
    """Return the usual height of beats, of whatever polarity."""
    return float(np.median(np.abs(beats.amplitude)))
