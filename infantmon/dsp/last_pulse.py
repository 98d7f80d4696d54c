"""The last pulse before the heart stands still, in a pause: it takes its own time and shape.

In come samples after a beat that no other follows in time; out come the same without what that last
pulse may have added. The shape learned from beat to beat does not fit it: no next beat cuts it off.
"""

from __future__ import annotations

import numpy as np

from infantmon.model.arrays import Floats

LATE = 1.6  # usual intervals since the last beat without another
OVER_S = 2.0  # after the last beat its pulse is over, however slowly it runs out
BACK_S = 2.0  # then the level comes back over this time
SWELLS = 2.5  # a pulse that runs out slowly passes the band-pass whole: larger by so much
_PHASES = 2.0 * np.pi * np.arange(24) / 24


def peak_to_peak(harmonics: tuple[float, ...]) -> float:
    """Return the size of a pulsation given by the cosine and sine parts of its harmonics."""
    wave = np.zeros(len(_PHASES))
    for number in range(len(harmonics) // 2):
        angle = (number + 1) * _PHASES
        wave += harmonics[2 * number] * np.cos(angle) + harmonics[2 * number + 1] * np.sin(angle)
    return float(np.ptp(wave))


def without_last_pulse(values: Floats, since_s: Floats, level: float, size: float) -> Floats:
    """Return samples in which swings about a level are left out, as far as a pulse may reach.

    Parameters
    ----------
    values : numpy.ndarray, shape (n,)
        Samples with the pulse.
    since_s : numpy.ndarray, shape (n,)
        Time since the last beat, in seconds.
    level : float
        What the samples were without pulsation as the next beat became overdue.
    size : float
        Peak to peak of the pulsation until then. A swing counts as far as it is larger than 2.5
        times this: a breath that is much larger than the pulsation stays.
    """
    reach = SWELLS * size
    share = np.clip((OVER_S + BACK_S - since_s) / BACK_S, 0.0, 1.0)
    return values - share * np.clip(values - level, -reach, reach)
