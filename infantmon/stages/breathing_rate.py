"""Rate of breathing from breaths: the mean of the latest intervals from peak to peak.

In come breaths and the contact marks of the impedance; out comes a rate at each breath. No interval
that reaches across time in which the signal could not be used is averaged.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from infantmon.errors import as_floats, require_between
from infantmon.model.carried import record
from infantmon.model.counted_average import CountedAverage
from infantmon.model.marks import BreathingRates, Breaths
from infantmon.model.spans import ContactMarks
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

    def __post_init__(self) -> None:
        as_floats(self)
        require_between(self.breath_lag_s, 0.0, 60.0, name="breath_lag_s", unit="s")


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
    carried: ClassVar[tuple[str, ...]] = ("_average", "_settled_s")

    def __init__(self, settings: BreathingRateSettings) -> None:
        super().__init__(settings)
        self._average = CountedAverage(settings.average_breaths, settings.average_s)
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
        counting, mean_s = self._average.push(breaths, contact)
        return BreathingRates(
            counting.time_s,
            counting.known_s,
            60.0 / mean_s,
            mean_s,
            settled_until_s=self.settled_until_s,
        )
