"""Whether beats may have gone unseen before a beat: what was passed over was large, and enough.

In come candidates with the verdicts on them and what was known then; out comes which beats end a
long interval in which large candidates were passed over. In noise, after a change of gain, or
beside artefacts a beat may be just too small or too odd to be counted. A heart that slows or stops
leaves the time between its beats empty: nothing there comes near a beat in height.
"""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from infantmon.dsp.qrs_candidates import Candidates
from infantmon.dsp.qrs_rules import (
    BEAT,
    NOISE,
    DecisionRules,
    Standing,
    size_of_beats,
    t_wave_over,
)
from infantmon.model.arrays import Bools, Ints
from infantmon.model.carried import Carried

# All values were chosen on every second of the shared records of mitdb, altered in ten ways.
_LONG = 1.8  # usual intervals: a shorter one hides no beat
_LARGE = 0.35  # of the height of beats: from here a candidate may have been one
_ENOUGH = 0.5  # of the beats that would be missing


class UnseenBeats(Carried):
    """Tells which beats end an interval in which others may have gone unseen.

    That is an interval of more than 1.8 usual ones in which at least half as many candidates were
    passed over as beats would be missing: each of 0.35 of the height of beats or more, after the T
    wave, and no foot of a larger one.

    Parameters
    ----------
    rate_hz : float
        Ticks of the candidates' places a second.
    rules : DecisionRules
        What a beat must show.
    """

    carried: ClassVar[tuple[str, ...]] = ("_hidden",)

    def __init__(self, rate_hz: float, rules: DecisionRules) -> None:
        self._rate_hz = rate_hz
        self._rules = rules
        self._hidden = 0.0  # ticks: a usual interval for each such candidate since the last beat

    def push(self, some: Candidates, verdict: Ints, at: Standing) -> Bools:
        """Return, of each beat among the next candidates, whether others may be missing before it.

        What is summed are halves of ticks, so the sums are exact however the candidates are cut.
        """
        beats = np.flatnonzero(verdict >= BEAT)
        filled = np.where(self._may_hide(some, verdict, at), at.interval, 0.0)
        summed = np.cumsum(np.concatenate(([self._hidden], filled)))
        until = np.concatenate(([0.0], summed[beats]))
        self._hidden = float(summed[-1] - until[-1])
        hidden, since, usual = until[1:] - until[:-1], at.since[beats], at.interval[beats]
        enough = (hidden > 0.0) & (hidden >= _ENOUGH * (since - usual))
        return np.asarray(enough & (since > _LONG * usual))

    def _may_hide(self, some: Candidates, verdict: Ints, at: Standing) -> Bools:
        """Tell which candidates that are no beats may have been some."""
        rules = self._rules
        large = (verdict == NOISE) & (some.height > _LARGE * size_of_beats(at, rules))
        large &= (at.beats >= rules.learned) & t_wave_over(at, rules, self._rate_hz)
        near = some.next_place - some.place < rules.refractory_high_s * self._rate_hz
        return np.asarray(large & ~(near & (some.next_height > some.height)))
