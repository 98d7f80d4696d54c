"""From the place of a QRS complex in the envelope to the sample of its dominant extreme.

In come samples, and the places of beats in ticks of the envelope; out come the sample of each mark
and its height over the baseline.
"""

from __future__ import annotations

import math
from typing import ClassVar

import numpy as np

from infantmon.dsp.extremes import DominantExtreme, baselines, off_baseline, refined, smoothed
from infantmon.dsp.kept import Kept
from infantmon.model.arrays import Floats, Ints
from infantmon.model.carried import Carried

SEARCH_S = 0.07  # the extreme lies within this time of the envelope's centre
_BASELINE_S = 0.18  # the baseline is the mean over this time
_FLATTER = 1.2  # the baseline's slope is taken that much smaller: a wide complex tilts it itself
_SMOOTH_S = 0.02  # extremes are compared as means over this time: a pacing spike is no R wave
_REFINE_S = 0.012  # from the extreme of the means to that of the samples


class QrsLocator(Carried):
    """Keeps the samples around complexes that are still undecided, and marks those that are beats.

    The baseline is the mean over 0.18 s, taken at either end and in the middle of the searched
    stretch and joined by straight lines, drawn a little flatter: it follows wander as fast as that
    of a scalp electrode, and a wide complex hardly tilts it.

    Parameters
    ----------
    rate_hz : float
        Rate of the samples.
    size : int
        Samples in one tick of the envelope.
    """

    carried: ClassVar[tuple[str, ...]] = ("_samples", "_means", "_extreme")

    def __init__(self, rate_hz: float, size: int) -> None:
        tick_hz = rate_hz / size
        self._size = size
        self._search = max(2, math.ceil(SEARCH_S * rate_hz))
        self._knot = round(_FLATTER * self._search)
        self._smooth = 2 * round(0.5 * (_SMOOTH_S * rate_hz - 1.0)) + 1
        self._refine = round(_REFINE_S * rate_hz)
        self.reach = self._search + self._refine  # no mark is farther from its centre, in samples
        self._wide = max(3, round(_BASELINE_S * tick_hz))
        self._apart = max(1, round(SEARCH_S * tick_hz))
        self._samples = Kept()
        self._means = Kept()
        self._extreme = DominantExtreme()

    @property
    def end(self) -> int:
        """Place after the last sample."""
        return self._samples.end

    def push(self, samples: Floats, means: Floats) -> None:
        """Take up samples, and their means over each tick."""
        self._samples.push(samples)
        self._means.push(means)

    def locate(self, centres: Floats) -> tuple[Ints, Floats]:
        """Return the sample of each dominant extreme and its signed height over the baseline.

        Parameters
        ----------
        centres : numpy.ndarray, shape (n,)
            Where the complexes are, in ticks (not necessarily whole ones).
        """
        half, margin = self.reach, self._refine - self._smooth // 2
        first = np.rint(centres).astype(np.int64) - self._apart - self._wide // 2
        around = self._means.columns(first, self._wide + 2 * self._apart)
        centre = np.rint(centres * self._size + 0.5 * (self._size - 1)).astype(np.int64)
        windows = self._samples.windows(centre - half, 2 * half + 1)
        baseline = baselines(around, self._wide, self._apart)
        complexes = off_baseline(windows, baseline, self._knot)
        means = smoothed(complexes, self._smooth)
        column, height = self._extreme.push(means[:, margin : means.shape[1] - margin])
        column += self._refine
        column, height = refined(complexes, column, height >= 0.0, self._refine)
        return np.minimum(np.maximum(centre - half + column, 0), self.end - 1), height

    def final(self) -> float:
        """Return the last sample."""
        return float(self._samples.windows(np.array([self.end - 1]), 1)[0, 0])

    def forget_before(self, tick: float) -> None:
        """Let go of what no complex from a tick on needs."""
        self._samples.forget_before(math.floor(tick * self._size) - self.reach - 1)
        self._means.forget_before(math.floor(tick) - self._apart - self._wide // 2 - 1)
