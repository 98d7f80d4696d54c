"""How high a complex was before the median of three took off its top.

In come the heights of complexes after the median, and the samples before it; out come the heights
that they had. An infant's R wave is few samples wide, and the median takes the more off its top,
the fewer samples it has.
"""

from __future__ import annotations

import numpy as np

from infantmon.dsp.columns import total
from infantmon.dsp.median3 import middle_of_three
from infantmon.model.arrays import Floats

# All values are the project's choice, on made ECGs.
_OWN = 2  # samples on either side of a mark that are the complex's own
_NOISE = 3.0  # times what the median takes off a sample beside it, which is noise
_MOST = 3.0  # times its height: what is higher is a spike on something small


def heights_before_median(around: Floats, amplitude: Floats) -> Floats:
    """Return the heights of complexes with what the median of three took off, but no noise.

    Parameters
    ----------
    around : numpy.ndarray, shape (2 * half + 1, n)
        Samples before the median, one column a complex; its mark is in the middle, half > 4.
    amplitude : numpy.ndarray, shape (n,)
        Heights after the median, negative where the complex points down.

    Returns
    -------
    numpy.ndarray, shape (n,)
        At least the size of the amplitude, at the most three times that.
    """
    turned = np.where(amplitude < 0.0, -around, around)
    medians = middle_of_three(turned)
    half = len(medians) // 2
    off = np.abs(turned[1:-1] - medians)
    beside = np.concatenate((off[: half - _OWN], off[half + _OWN + 1 :]))
    noise = total(beside) / len(beside)
    top = turned[half : half + 3].max(axis=0)  # a lone top is beside its mark as often as there
    taken = np.maximum(top - medians[half] - _NOISE * noise, 0.0)
    height = np.abs(amplitude)
    return np.asarray(np.minimum(height + taken, _MOST * height))
