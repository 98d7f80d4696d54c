"""Two ECG leads, one train of heart beats: the better lead leads, the other fills its gaps.

In come the R peaks of two leads; out comes one train of beats, each with the leads that show it.
The idea: marks of both leads at one instant are a beat for sure. Where the leads differ, the one
that has differed less from the rhythm of such beats is believed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from infantmon.dsp.lead_pairing import FARTHEST_S, FusedBeat, LeadPairing
from infantmon.errors import as_floats, require_between, require_bound, require_number, require_rate
from infantmon.model.carried import record
from infantmon.model.marks import FusedRPeaks, RPeaks, require_r_peaks
from infantmon.stages.contract import Stage

LOOK_S = 0.5  # how far past a beat the marks of both leads are looked at


@record
@dataclass(frozen=True)
class LeadFusionSettings:
    """Settings of `LeadFusion`.

    Attributes
    ----------
    rate_hz : float
        Sampling rate of the first lead, in Hz: `sample` counts on its clock.
    first_lag_s, second_lag_s : float
        Latency of each lead's R peaks, in seconds (`RPeakDetector.latency_s`).
    start_s : float
        Time of the first lead's first sample, in seconds from the recording's start.
    """

    rate_hz: float
    first_lag_s: float
    second_lag_s: float
    start_s: float = 0.0

    def __post_init__(self) -> None:
        as_floats(self)
        require_rate(self.rate_hz)
        require_between(self.first_lag_s, 0.0, 60.0, name="first_lag_s", unit="s")
        require_between(self.second_lag_s, 0.0, 60.0, name="second_lag_s", unit="s")
        require_number(self.start_s, name="start_s", unit="s")


class LeadFusion(Stage):
    """Fuses the R peaks of two ECG leads by their quality.

    Parameters
    ----------
    settings : LeadFusionSettings
        Clock of the first lead, and how late the marks of each are known.

    Notes
    -----
    **Method.** The leads mark different instants of one beat. Their distance d, the median of the
    last 15 distances between marks that matched, is taken off the second lead's marks. Then two
    marks within 0.1 s, each the other's nearest, are one beat.

    A lead errs where it shows more or fewer marks alone, between two beats in both, than the usual
    interval (median of the last eight) asks for there. Errors are averaged (weight 0.12 for each
    interval, at most 2 counted). The first lead leads, unless the second errs less by more than
    0.15; a lead whose last mark is older than three usual intervals (and 1.5 s) does not lead while
    the other one shows marks.

    * A beat in both leads counts, at the leading lead's mark; it is reliable if either mark is.
    * A mark of the leading lead alone counts, unless that lead errs (0.1 or more), the other tells
      (its last mark is reliable and recent), and the mark is unreliable or lies within a usual
      interval of a wholly reliable other lead: then it is an artefact.
    * A mark of the other lead alone counts if it is reliable and fills a gap: no beat within 0.8
      of the usual interval before it, and the leading lead's next mark, if it is within 0.4 s, as
      far after it and 1.6 usual intervals after the last beat.

    So a burst or a loose electrode in one lead costs nothing while the other is good, and where
    neither can tell, the beats of one of them are given as unreliable: nothing is silent, and
    artefacts of two leads are not added up.

    The values were chosen on the even-numbered records of mitdb and simulated leads (seeds 9800 to
    9803); the tolerance of 0.1 s is common practice.

    **Latency** is at most 0.7 s more than that of the slower lead's R peaks. **Start-up:** none.
    **Memory:** the marks of about two seconds, and fifteen distances.

    Both leads must be pushed with their frontiers; a lead that falls silent must still be told how
    far it has come (its empty findings carry that), or the beats wait for it.
    """

    settings_type = LeadFusionSettings
    carried: ClassVar[tuple[str, ...]] = ("_pairing", "_reached_first_s", "_reached_second_s")

    def __init__(self, settings: LeadFusionSettings) -> None:
        super().__init__(settings)
        self._pairing = LeadPairing(LOOK_S - FARTHEST_S)
        self._reached_first_s = -math.inf  # stream time that each lead's samples have reached
        self._reached_second_s = -math.inf

    @property
    def latency_s(self) -> float:
        """The longest that a beat can be known after its time, in seconds."""
        lag_s = max(self.settings.first_lag_s, self.settings.second_lag_s)
        # The distance that is taken off the second lead's marks may change meanwhile.
        return float(LOOK_S + 2.0 * FARTHEST_S + lag_s)

    @property
    def settled_until_s(self) -> float:
        """All beats before this time have been given; infinity once the stream has ended."""
        if self._ended:
            return math.inf
        return min(self._reached_first_s, self._reached_second_s) - self.latency_s

    def push(
        self, first: RPeaks, second: RPeaks, *, last: bool = False, end_s: float = math.inf
    ) -> FusedRPeaks:
        """Take up new beats of both leads and return those of the one train that are settled now.

        Parameters
        ----------
        first, second : RPeaks
            New beats of each lead with their frontier; empty ones tell how far a lead has come.
        last : bool
            Whether both leads end here.
        end_s : float
            With the last push: time of the last sample, in seconds, beyond which nothing is known.

        Returns
        -------
        FusedRPeaks
            In order of time.

        Raises
        ------
        StateError
            If the stream has ended already.
        ArgumentError
            If the beats are bare times.
        """
        for name, lead in (("first", first), ("second", second)):
            require_r_peaks(lead, name=name)
        self.begin_push(last=last)
        self._pairing.take(first, second)
        lags_s = self.settings.first_lag_s, self.settings.second_lag_s
        self._reached_first_s = max(self._reached_first_s, first.settled_until_s + lags_s[0])
        self._reached_second_s = max(self._reached_second_s, second.settled_until_s + lags_s[1])
        reached_s = math.inf if last else min(self._reached_first_s, self._reached_second_s)
        return self._table(self._pairing.settle(reached_s, LOOK_S + max(lags_s)), end_s)

    def _table(self, beats: list[FusedBeat], end_s: float) -> FusedRPeaks:
        if not beats:
            return FusedRPeaks.empty(self.settled_until_s)
        time_s, known_s, amplitude, reliable, seen_in = map(np.array, zip(*beats, strict=True))
        time_s = np.minimum(time_s, end_s)
        sample = np.rint((time_s - self.settings.start_s) * self.settings.rate_hz)
        return FusedRPeaks(
            time_s,
            np.minimum(known_s, end_s),
            sample.astype(np.int64),
            amplitude,
            reliable.astype(np.bool_),
            seen_in.astype(np.int64),
            settled_until_s=self.settled_until_s,
        )


def fuse_r_peaks(
    first: RPeaks, second: RPeaks, rate_hz: float, *, end_s: float = math.inf
) -> FusedRPeaks:
    """Fuse the heart beats of two ECG leads of one recording into one train.

    Parameters
    ----------
    first, second : RPeaks
        All beats of each lead, as `detect_r_peaks` returns them, on one time axis.
    rate_hz : float
        Sampling rate of the first lead, in Hz.
    end_s : float
        Time of the last sample, in seconds: nothing is known later.

    Returns
    -------
    FusedRPeaks
        Beats of both leads, each with the lead that shows it.

    Raises
    ------
    ArgumentError
        If rate or end cannot be used, or the beats are bare times.

    See Also
    --------
    LeadFusion : The stage that is replayed here: method, latency, memory.

    Examples
    --------
    >>> from infantmon import detect_r_peaks
    >>> import numpy as np
    >>> flat = detect_r_peaks(np.zeros(1000), rate_hz=250.0)
    >>> len(fuse_r_peaks(flat, flat, rate_hz=250.0))
    0
    """
    for name, lead in (("first", first), ("second", second)):
        require_r_peaks(lead, name=name)
    end_s = require_bound(end_s, name="end_s", unit="s")
    lags_s = [
        float(np.max(lead.known_s - lead.time_s)) if len(lead) else 0.0 for lead in (first, second)
    ]
    stage = LeadFusion(LeadFusionSettings(rate_hz, *lags_s))
    return stage.push(first, second, last=True, end_s=end_s)
