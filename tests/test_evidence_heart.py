"""What the heart says of an event: strange beats, and swings in step with it."""

import numpy as np
import pytest

from infantmon.events.batch import Batch
from infantmon.events.evidence import Case, judge, reasons_for
from infantmon.events.history import History
from infantmon.model.event import Event
from infantmon.model.marks import Breaths, Pulsations, RPeaks

REACHED_S = 200.0


def case_of(event, *, beats=None, breaths=None, pulsation=None):
    history = History()
    history.add(
        Batch(
            r_peaks=beats if beats is not None else RPeaks.empty(),
            breaths=breaths if breaths is not None else Breaths.empty(),
            pulsation=pulsation if pulsation is not None else Pulsations.empty(),
            second_beats=RPeaks.empty(),
            contact={},
            reached_s=REACHED_S,
        )
    )
    return Case(event, assessable=True, until_s=event.end_s, known_s=REACHED_S, history=history)


def beats_at(time_s, strange=()):
    count = len(time_s)
    reliable = ~np.isin(np.arange(count), strange)
    return RPeaks(time_s, time_s, np.arange(count), np.ones(count), reliable)


def slow(strange):
    """Twenty good beats, then one long interval at 108 to 109.1 s; some beats are strange."""
    time_s = np.concatenate([np.arange(98.0, 108.1, 0.5), [109.1, 109.6]])
    event = Event(1, "low heart rate", 108.75, 109.0, 109.6)
    return reasons_for(case_of(event, beats=beats_at(time_s, strange)))


def test_strange_beats_on_both_sides_of_a_long_interval_make_it_doubtful():
    assert judge(slow(strange=())) == "supported"
    reasons = slow(strange=(20, 21))  # 108.0 and 109.1 s: the artefact and the first after it
    assert judge(reasons) == "doubtful"
    assert "2 of the 3 beats it rests on do not look like their neighbours" in [
        reason.text for reason in reasons
    ]


def test_one_strange_beat_of_three_does_not():
    assert judge(slow(strange=(21,))) == "supported"


def pause_in_step(locked):
    """A pause at 100 to 130 s in which most of the swings kept step; `locked` tells the rest."""
    time_s = np.arange(60.0, 131.0)
    inside = time_s >= 105.0
    size = np.where(inside, 0.7, 0.4)
    pulsation = Pulsations(
        time_s, time_s, size, np.full(len(time_s), 1.0), np.full(len(time_s), True), inside | locked
    )
    breath_s = np.append(np.arange(60.0, 100.1, 1.0), 130.0)
    columns = [breath_s, breath_s, np.arange(len(breath_s)), np.ones(len(breath_s))]
    breaths = Breaths(*columns, breath_s - 0.4, breath_s + 0.4, np.full(len(breath_s), False))
    event = Event(1, "apnea", 100.0, 123.0, 130.0)
    return reasons_for(case_of(event, breaths=breaths, pulsation=pulsation))


@pytest.mark.parametrize(("locked", "judgement"), [(False, "doubtful"), (True, "not assessable")])
def test_swings_in_step_cannot_be_told_apart_only_if_they_were_in_step_before(locked, judgement):
    reasons = pause_in_step(locked)
    assert judge(reasons) == judgement
    assert any("step" in reason.text for reason in reasons)
