"""An invented review with a list of recorded events, for the tests of the page."""

from __future__ import annotations

import dataclasses

from invented_review import InventedReview, invented_review

from infantmon.recorded.decisions import Decisions
from infantmon.recorded.event import RecordedEvents, recorded_events
from infantmon.recorded.judging import judge_recorded

ROWS = [
    (300.0, 324.5, "apnea", "", False),  # found, supported
    (899.0, 930.0, "apnea", "", False),  # found, doubtful
    (600.0, 612.0, "low heart rate", "", False),  # not found
    (1210.25, 1235.0, "apnea", "", False),  # the electrode is off: not assessable
    (1400.0, 1460.0, "test", "", False),
    (1500.0, float("nan"), "apnea", "", False),  # no end
    (9000.0, 9020.0, "apnea", "", False),  # outside
    (100.0, 120.0, "<script>window.faults.push('kind')</script>", "", False),
]
"""Onset, end, kind, excerpt, whether it is a test period."""


class Judgeable:
    """An invented review with the door that judging needs."""

    def __init__(self, review: InventedReview) -> None:
        self._review = review

    def __getattr__(self, name: str) -> object:
        return getattr(self._review, name)

    def spans(self, role: str) -> object:
        return self._review.contact.get(role)


def listed_in(review: InventedReview, rows: RecordedEvents) -> InventedReview:
    """Return the review with a list judged beside it."""
    judged = judge_recorded(Judgeable(review), rows)
    return dataclasses.replace(review, recorded=judged)


def recorded_review(**changes: object) -> InventedReview:
    """Return the invented review with the list above and three decisions, two of which differ."""
    review = listed_in(invented_review(**changes), recorded_events(ROWS))
    decisions = Decisions()
    first = review.recorded.judged[0].recorded
    decisions.add(first, "real", by="reader A", note="steady before and after")
    decisions.add(first, "cannot tell", by="reader B")
    decisions.add(review.events[3], "artefact", by="reader A")
    return dataclasses.replace(review, decisions=decisions)
