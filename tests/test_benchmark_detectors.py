"""The scoring run over databases, on an invented one."""

import json

import numpy as np
import pytest

from benchmarks import detectors
from benchmarks.detectors import Run, as_markdown, score
from benchmarks.results import run_facts, write_result
from infantmon.labelled.database import Database, Labelled, SetApart
from infantmon.model.channel import Channel
from infantmon.model.recording import Recording

BEATS = np.arange(1.0, 600.0)  # one a second
APART = SetApart(400.0, 410.0, "invented")


def load(name):
    channel = Channel(np.zeros(600), 1.0, "mV")
    apart = (APART,) if name == "two" else ()
    return Labelled(Recording({"ecg": channel}, name=name), beats_s=BEATS, set_apart=apart)


SHELF = Database("invented", "nobody", "invented", ("one", "two"), load)


def detect(labelled):
    """Miss one beat in the learning period and one at 405 s; add one extra mark at 500.5 s."""
    marks = np.setdiff1d(BEATS, [10.0, 405.0])
    return np.sort(np.append(marks, 500.5)) + 0.01, (labelled.beats_s,)


@pytest.fixture
def tables():
    run = Run("beats", "invented", (0.15, 0.005), detect, learning=True)
    return {(t["window_s"], t["scored_from_s"]): t for t in score(run, SHELF)}


def counts(row):
    return row["true_positives"], row["false_negatives"], row["false_positives"]


def test_every_window_and_the_learning_period_have_a_table(tables):
    assert set(tables) == {(0.15, 0.0), (0.005, 0.0), (0.15, 300.0)}
    assert [counts(row) for row in tables[0.15, 0.0]["records"]] == [(597, 2, 1)] * 2
    assert counts(tables[0.15, 0.0]["gross"]) == (1194, 4, 2)
    assert counts(tables[0.15, 300.0]["gross"]) == (598, 2, 2)
    assert counts(tables[0.005, 0.0]["gross"])[0] == 0
    assert tables[0.15, 0.0]["records"][0]["bias_ms"] == pytest.approx(10.0)


def test_stretches_set_apart_are_counted_and_stand_beside(tables):
    one, two = tables[0.15, 0.0]["records"]
    assert "without_set_apart" not in one
    assert counts(two["without_set_apart"]) == (588, 1, 1)
    assert counts(tables[0.15, 0.0]["gross_without_set_apart"]) == (597 + 588, 3, 2)


def test_annotators_are_pooled():
    run = Run("beats", "invented", (0.15,), lambda _: (BEATS, (BEATS, BEATS[::2])))
    (table,) = score(run, SHELF)
    assert counts(table["records"][0]) == (599 + 300, 0, 299)


def test_the_result_is_written_whole_with_its_origin(tables, tmp_path):
    result = {"run": run_facts(), "tables": list(tables.values())}
    out = tmp_path / "new" / "result.json"
    write_result(out, result, as_markdown(result))
    again = json.loads(out.read_text(encoding="utf-8"))
    assert again["run"]["versions"]["numpy"] == np.__version__
    assert again["tables"][0]["population"] == "nobody"
    text = out.with_suffix(".md").read_text(encoding="utf-8")
    assert "Population: nobody. Labels: invented. Tuned on: yes" in text
    assert "| two | 597 | 2 | 1 | 99.67 | 99.83 | 10.0 | 0.0 |" in text
    assert sorted(path.name for path in out.parent.iterdir()) == ["result.json", "result.md"]


def test_without_recordings_the_command_says_so(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("INFANTMON_RECORDINGS", str(tmp_path / "nowhere"))
    assert detectors.main(["--out", str(tmp_path / "out.json")]) == 2
    assert "set INFANTMON_RECORDINGS" in capsys.readouterr().err
    assert not (tmp_path / "out.json").exists()
