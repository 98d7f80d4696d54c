"""Heart rate from heart beats: the mean of the latest RR intervals.

In come R peaks and the contact marks of the ECG; out comes a rate at each beat. No interval that
reaches across time in which the signal could not be used is averaged.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from infantmon.errors import as_floats, require_between
from infantmon.model.carried import record
from infantmon.model.counted_average import CountedAverage
from infantmon.model.marks import HeartRates, RPeaks, require_r_peaks
from infantmon.model.spans import ContactMarks
from infantmon.stages.contract import Stage, settled_before


@record
@dataclass(frozen=True, slots=True)
class HeartRateSettings:
    """Settings of `HeartRate`.

    Parameters
    ----------
    average_beats : int or None
        How many RR intervals are averaged.
    average_s : float or None
        Over how many seconds they are averaged; exactly one of the two is given.
    beat_lag_s : float
        Latency of the R-peak detector, in seconds.
    """

    average_beats: int | None = None
    average_s: float | None = None
    beat_lag_s: float = 0.0

    def __post_init__(self) -> None:
        as_floats(self)
        require_between(self.beat_lag_s, 0.0, 60.0, name="beat_lag_s", unit="s")


class HeartRate(Stage):
    """Beats to heart rate, at each beat.

    Notes
    -----
    Latency: that of the beats, nothing added. An average over N intervals shows a step of the rate
    in full after N beats. No rate is given for the first beat after a start or after an unusable
    stretch longer than the bridged second. Memory: the beats that one average reaches over.
    """

    settings_type = HeartRateSettings
    carried: ClassVar[tuple[str, ...]] = ("_average", "_settled_s")

    def __init__(self, settings: HeartRateSettings) -> None:
        super().__init__(settings)
        self._average = CountedAverage(settings.average_beats, settings.average_s)
        self._settled_s = -settings.beat_lag_s

    @property
    def latency_s(self) -> float:
        """The latency of the beats, in seconds."""
        return float(self.settings.beat_lag_s)

    @property
    def settled_until_s(self) -> float:
        """All rates at beats before this time have been given."""
        return settled_before(self._settled_s, 0.0, ended=self._ended)

    def push(
        self, beats: RPeaks, contact: ContactMarks | None = None, *, last: bool = False
    ) -> HeartRates:
        """Return the heart rate at each new beat.

        Parameters
        ----------
        beats : RPeaks
            New beats, with the frontier of their stage.
        contact : ContactMarks or None
            New contact marks of the ECG, known up to the same stream time.
        last : bool
            Whether the stream has ended.

        Raises
        ------
        ArgumentError
            If the beats are bare times.
        StateError
            If the stream has ended already.
        """
        require_r_peaks(beats, name="beats")
        self.begin_push(last=last)
        self._settled_s = max(self._settled_s, beats.settled_until_s)
        counting, mean_s = self._average.push(beats, contact)
        return HeartRates(
            counting.time_s,
            counting.known_s,
            60.0 / mean_s,
            mean_s,
            settled_until_s=self.settled_until_s,
        )
