"""True and false alarms: how they are counted, and the bars on the shared excerpts."""

import pytest

from benchmarks import alarms
from benchmarks.alarms import ENDS_S, Judged, as_markdown, holds, table_of
from infantmon.labelled.known import database
from infantmon.model.event import DOUBTFUL, NOT_ASSESSABLE, SUPPORTED, Event
from infantmon.scorecard.alarm_excerpts import at_the_alarm, verdict_of

KIND = "no heart beat"


def event(onset, end, judgement=SUPPORTED, kind=KIND):
    return Event(1, kind, onset, onset + 4.0, end, judgement=judgement)


def test_events_of_the_last_16_s_are_looked_at():
    found = [
        event(70.0, 74.0),  # over when they begin
        event(70.0, 74.1),
        event(89.0, None),
        event(80.0, 85.0, kind="low heart rate"),
    ]
    assert at_the_alarm(found, KIND, ENDS_S) == (found[1], found[2])


def test_the_best_judgement_counts():
    assert verdict_of([event(80, 85, DOUBTFUL), event(86, 89)]) == SUPPORTED
    assert verdict_of([event(80, 85, DOUBTFUL), event(86, 89, NOT_ASSESSABLE)]) == NOT_ASSESSABLE
    assert verdict_of([event(80, 85, DOUBTFUL)]) == DOUBTFUL
    assert verdict_of([]) == alarms.NO_EVENT


def judged(counts):
    """So many true and false asystoles with each verdict."""
    return [
        Judged("x", "Asystole", true, verdict)
        for (true, verdict), count in counts.items()
        for _ in range(count)
    ]


def test_not_assessable_is_kept_and_tabled_as_silent_beside():
    counts = {
        (True, SUPPORTED): 6,
        (True, NOT_ASSESSABLE): 3,
        (True, alarms.NO_EVENT): 1,
        (False, DOUBTFUL): 40,
        (False, NOT_ASSESSABLE): 13,
    }
    row = table_of(judged(counts))["Asystole"]
    assert (row["true_kept"]["count"], row["true_kept"]["of"]) == (9, 10)
    assert row["false_rejected"]["count"] == 40
    assert row["true_kept_if_not_assessable_were_silent"]["count"] == 6
    assert row["false_rejected_if_not_assessable_were_silent"]["count"] == 53
    assert row["true_without_event"] == 1
    assert row["true_kept"]["interval_95"] == pytest.approx([0.596, 0.982], abs=1e-3)


@pytest.mark.parametrize(
    ("counts", "reached"),
    [
        ({(True, SUPPORTED): 9, (True, DOUBTFUL): 1, (False, DOUBTFUL): 38}, True),
        ({(True, SUPPORTED): 8, (True, DOUBTFUL): 2, (False, DOUBTFUL): 38}, False),
        ({(True, SUPPORTED): 9, (True, DOUBTFUL): 1, (False, DOUBTFUL): 37}, False),
        ({(True, SUPPORTED): 9, (True, alarms.NO_EVENT): 2, (False, DOUBTFUL): 38}, False),
    ],
)
def test_a_bar_asks_for_all_three(counts, reached):
    assert holds(table_of(judged(counts)))["Asystole"] == reached


@pytest.mark.recordings
@pytest.mark.slow
def test_the_bars_hold_on_the_shared_excerpts(recordings):
    """Asystole 9 kept and 38 rejected, low rate 18 and 18, high rate 61 kept; 1, 1, 2 unlisted."""
    shelf = database("challenge2015", recordings)
    result = alarms.result_of(alarms.judge_all(shelf), shelf)
    assert result["holds"] == dict.fromkeys(alarms.KIND_OF, True), as_markdown(result)
