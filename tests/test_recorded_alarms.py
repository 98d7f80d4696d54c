"""Alarm excerpts as a folder of recorded events: the confusion table of the scoring suite."""

import json
from collections import Counter
from pathlib import Path

import pytest

from benchmarks import recorded_alarms
from benchmarks.alarms import Judged, judge_all, table_of
from benchmarks.recorded_alarms import as_markdown, judged_as_recorded
from infantmon.labelled.known import database

STORED = Path(recorded_alarms.__file__).parent / "results" / "recorded_alarms.json"


@pytest.fixture(scope="module")
def stored():
    return json.loads(STORED.read_text(encoding="utf-8"))


def test_the_stored_tables_are_equal_count_by_count(stored):
    tables = stored["tables"]
    assert tables["scoring_suite"] == tables["as_recorded"]
    assert stored["equal"] == dict.fromkeys(tables["scoring_suite"], True)
    suite = json.loads(STORED.with_name("alarms.json").read_text(encoding="utf-8"))
    assert suite["tables"]["fitted"] == tables["as_recorded"]  # run `benchmarks.alarms` again too


@pytest.mark.parametrize("way", ["scoring_suite", "as_recorded"])
def test_the_stored_table_is_that_of_the_stored_excerpts(stored, way):
    rows = [Judged(e["name"], e["alarm"], e["true"], e[way]) for e in stored["excerpts"]]
    assert len(rows) == len({row.name for row in rows}) == 175
    assert table_of(rows) == stored["tables"][way]
    counts = Counter((row.alarm, row.true) for row in rows)
    assert counts == {
        ("Asystole", True): 10,
        ("Asystole", False): 53,
        ("Bradycardia", True): 20,
        ("Bradycardia", False): 24,
        ("Tachycardia", True): 63,
        ("Tachycardia", False): 5,
    }


def test_the_page_beside_shows_the_stored_result(stored):
    assert STORED.with_suffix(".md").read_text(encoding="utf-8") == as_markdown(stored)


def test_every_excerpt_is_judged_the_same_both_ways(recordings):
    """All 175 of them, reviewed anew: about 6 s."""
    shelf = database("challenge2015", recordings)
    suite = judge_all(shelf, shelf.names)["fitted"]
    listed = judged_as_recorded(shelf, shelf.names)
    assert {row.name: row.verdict for row in listed} == {row.name: row.verdict for row in suite}
    assert table_of(listed) == table_of(suite)
    assert len(suite) == 175
