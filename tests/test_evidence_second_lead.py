"""What a second lead says of a fast heart in which the first may count artefacts."""

import numpy as np
from heart_cases import beats_at, case_of

from infantmon.events.evidence import judge, reasons_for
from infantmon.model.event import Event
from infantmon.model.spans import ContactMarks, Reason

EVEN_S = np.arange(70.0, 121.0, 0.6)
QUICK_S = np.arange(70.0, 121.0, 0.45)


def fast_in_first(second_s, *, strange=(), lost_s=None):
    """A fast heart from 102 to 119 s, limit 115, in a lead of strange beats; and a second lead.

    The first lead counts an artefact after every fourth of its beats, which come 0.6 s apart. What
    is said of the second lead, and the judgement.
    """
    inside_s = EVEN_S[EVEN_S >= 100.0]
    time_s = np.sort(np.concatenate((EVEN_S, inside_s[::4] + 0.3)))
    contact = {}
    if lost_s is not None:
        contact["ecg2"] = ContactMarks(
            np.array([lost_s[0] + 1.0, lost_s[1]]),
            np.array([lost_s[0] + 1.0, lost_s[1]]),
            np.array([lost_s[0], lost_s[0]]),
            np.array([int(Reason.MISSING)] * 2),
            np.array([False, True]),
            np.array([False, False]),
        )
    event = Event(
        1, "high heart rate", 102.0, 107.0, 119.0, limits={"limit_bpm": 115.0, "hold_off_s": 5.0}
    )
    case = case_of(
        event,
        beats=beats_at(time_s, np.flatnonzero(time_s >= 99.0)),
        second=beats_at(second_s, strange),
        contact=contact,
    )
    reasons = reasons_for(case)
    return *((r.text, r.side) for r in reasons if "second lead" in r.text), judge(reasons)


def test_the_same_beats_in_a_second_lead_do_not_vouch_for_artefacts_beside_them():
    assert fast_in_first(EVEN_S) == (("the second lead shows the same beats", "for"), "doubtful")
    shown = "the second lead shows 133 beats a minute meanwhile"
    assert fast_in_first(QUICK_S) == ((shown, "for"), "supported")


def test_beats_in_pairs_are_not_as_fast_as_their_short_intervals():
    """Two of three intervals are those of 133 a minute, the third is longer: 103 together."""
    paired_s = 70.0 + np.cumsum(np.tile([0.45, 0.45, 0.85], 30))
    shown = "the second lead shows 109 beats a minute meanwhile"  # where most of eight are short
    assert fast_in_first(paired_s[paired_s < 121.0]) == ((shown, "against"), "doubtful")


def test_the_rate_in_a_second_lead_is_averaged_over_no_time_in_which_it_was_lost():
    kept_s = QUICK_S[(QUICK_S < 105.0) | (QUICK_S > 115.0)]
    shown = "the second lead shows 133 beats a minute meanwhile"
    assert fast_in_first(kept_s, lost_s=(105.0, 115.0)) == ((shown, "for"), "supported")


def test_strange_beats_of_a_second_lead_say_nothing_against_a_fast_heart():
    few_s = np.arange(70.0, 121.0, 1.45)
    shown = "the second lead shows 41 beats a minute meanwhile"
    assert fast_in_first(few_s)[0] == (shown, "against")
    assert fast_in_first(few_s, strange=range(len(few_s)))[0] == (shown, "beside")
