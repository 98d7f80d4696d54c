"""Rate of breathing from breaths: the mean of the latest intervals from peak to peak."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from infantmon.model.carried import record
from infantmon.model.interval_average import IntervalAverage
from infantmon.model.marks import BreathingRates, Breaths
from infantmon.model.spans import BLOCKING, ContactMarks
from infantmon.model.usability import Usability
from infantmon.stages.contract import Stage, settled_before


@record
@dataclass(frozen=True, slots=True)
class BreathingRateSettings:
    """Settings of `BreathingRate`.

    Parameters
    ----------
    average_breaths : int or None
        How many intervals from breath to breath are averaged.
    average_s : float or None
        Over how many seconds they are averaged; exactly one of the two is given.
    breath_lag_s : float
        Latency of the breath detector, in seconds.
    """

    average_breaths: int | None = None
    average_s: float | None = None
    breath_lag_s: float = 0.0


class BreathingRate(Stage):
    """Breaths to rate of breathing, at each breath.

    Notes
    -----
    Latency: that of the breaths, nothing added. An average over N intervals shows a step of the
    rate in full after N breaths; a pause counts as one long interval in it. No rate is given for
    the first breath after a start or after an unusable stretch longer than the bridged second.
    Memory: the breaths that one average reaches over.
    """

    settings_type = BreathingRateSettings
    carried: ClassVar[tuple[str, ...]] = ("_average", "_usability", "_settled_s")

    def __init__(self, settings: BreathingRateSettings) -> None:
        super().__init__(settings)
        self._average = IntervalAverage(settings.average_breaths, settings.average_s)
        self._usability = Usability()
        self._settled_s = -settings.breath_lag_s

    @property
    def latency_s(self) -> float:
        """The latency of the breaths, in seconds."""
        return float(self.settings.breath_lag_s)

    @property
    def settled_until_s(self) -> float:
        """All rates at breaths before this time have been given."""
        return settled_before(self._settled_s, 0.0, ended=self._ended)

    def push(
        self, breaths: Breaths, contact: ContactMarks | None = None, *, last: bool = False
    ) -> BreathingRates:
        """Return the rate of breathing at each new breath.

        Parameters
        ----------
        breaths : Breaths
            New breaths, with the frontier of their stage.
        contact : ContactMarks or None
            New contact marks of the impedance, known up to the same stream time.
        last : bool
            Whether the stream has ended.
        """
        self.begin_push(last=last)
        self._settled_s = max(self._settled_s, breaths.settled_until_s)
        parts: list[BreathingRates] = []
        first = 0
        marks = contact if contact is not None else ContactMarks.empty()
        for row in np.flatnonzero(((marks.reason & int(BLOCKING)) != 0) & ~marks.bridged):
            after = int(np.searchsorted(breaths.known_s, marks.known_s[row], side="left"))
            parts.append(self._rates(breaths.rows(first, after)))
            first = after
            if marks.usable[row]:
                self._usability.closes(float(marks.time_s[row]), int(marks.reason[row]))
            else:
                self._usability.opens(float(marks.since_s[row]), int(marks.reason[row]))
        parts.append(self._rates(breaths.rows(first, len(breaths))))
        found = BreathingRates.joined(parts)
        return BreathingRates(
            found.time_s,
            found.known_s,
            found.breathing_rate_per_min,
            found.interval_s,
            settled_until_s=self.settled_until_s,
        )

    def _rates(self, breaths: Breaths) -> BreathingRates:
        counting = breaths.where(self._usability.counts(breaths.time_s))
        mean = self._average.push(counting.time_s, self._usability.anew_s)
        known = ~np.isnan(mean)
        mean = mean[known]
        return BreathingRates(counting.time_s[known], counting.known_s[known], 60.0 / mean, mean)
