"""challenge2015 excerpts as a folder of recorded events: the confusion table of the scoring suite.

    python -m benchmarks.recorded_alarms

Each excerpt is one recorded event: its last 16 s, listed under the kind of its alarm. The table is
made from the judged list and from `benchmarks.alarms`, and the two are compared, count by count.
A recorded event without an event of its kind is "no event" there, and "not found" or, where the
signal could not be used, "not assessable" in the list.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable

import infantmon as im
from benchmarks.alarms import ENDS_S, Judged, judge_all, table_of
from infantmon.labelled.database import Database
from infantmon.labelled.known import database
from infantmon.recorded.event import RecordedEvents, recorded_events
from infantmon.recorded.excerpts import judge_excerpts
from infantmon.recorded.judging import JudgedList
from infantmon.scorecard.alarm_excerpts import KIND_OF, LOOKED_AT_S, NO_EVENT, plan_for


def judged_as_recorded(shelf: Database, names: Iterable[str]) -> list[Judged]:
    """Return what the list of recorded events says of every excerpt, under the fitted limits."""
    loaded = {name: shelf.load(name) for name in names}
    alarms = {name: one.alarm for name, one in loaded.items() if one.alarm is not None}
    listed = recorded_events(
        (ENDS_S - LOOKED_AT_S, ENDS_S, KIND_OF[alarm], name, False)
        for name, (alarm, _) in alarms.items()
    )

    def judge(recording: im.Recording, rows: RecordedEvents) -> JudgedList:
        plan = plan_for(alarms[rows[0].recording][0], "fitted")
        return im.review(recording, plan, recorded=rows, margin_s=0.0).recorded or JudgedList(())

    load = {name: lambda name=name: loaded[name].recording for name in alarms}
    judged, _ = judge_excerpts(load, listed, judge)
    return [
        Judged(
            one.recorded.recording,
            *alarms[one.recorded.recording],
            one.judgement if one.events else NO_EVENT,
            one.events,
        )
        for one in judged.judged
    ]


def main() -> int:
    """Compare the two tables; return 0 if they are equal."""
    shelf = database("challenge2015")
    names = list(shelf.names)
    suite = table_of(judge_all(shelf, names)["fitted"])
    listed = table_of(judged_as_recorded(shelf, names))
    for alarm, row in suite.items():
        same = listed[alarm] == row
        print(f"{alarm}: true {row['true']}, false {row['false']}: {'equal' if same else 'OTHER'}")
        if not same:
            print(f"  as recorded: true {listed[alarm]['true']}, false {listed[alarm]['false']}")
    return int(suite != listed)


if __name__ == "__main__":
    sys.exit(main())
