"""Cases of made findings for the tests of what is said of a heart."""

import numpy as np

from infantmon.events.batch import Batch
from infantmon.events.evidence import Case
from infantmon.events.history import History
from infantmon.model.marks import Breaths, Pulsations, RPeaks

REACHED_S = 200.0


def case_of(event, *, beats=None, second=None, breaths=None, pulsation=None, contact=None):
    history = History()
    history.add(
        Batch(
            r_peaks=beats if beats is not None else RPeaks.empty(),
            breaths=breaths if breaths is not None else Breaths.empty(),
            pulsation=pulsation if pulsation is not None else Pulsations.empty(),
            second_beats=second if second is not None else RPeaks.empty(),
            contact=contact or {},
            reached_s=REACHED_S,
        )
    )
    return Case(event, assessable=True, until_s=event.end_s, known_s=REACHED_S, history=history)


def beats_at(time_s, strange=()):
    count = len(time_s)
    reliable = ~np.isin(np.arange(count), strange)
    return RPeaks(time_s, time_s, np.arange(count), np.ones(count), reliable)
