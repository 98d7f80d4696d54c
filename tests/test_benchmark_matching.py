"""The benchmark of pairing at size: what it draws, measures and stores, on few marks."""

import json

import numpy as np
import pytest

from benchmarks import matching


@pytest.mark.parametrize("case", matching.CASES)
def test_as_many_marks_as_asked_sorted_and_different(case):
    reference, test = matching.drawn(case, 5000)
    assert len(reference) == len(test) == 5000
    assert np.all(np.diff(reference) > 0.0)
    assert np.all(np.diff(test) > 0.0)


def test_a_row_adds_up():
    case = next(iter(matching.CASES))
    row = matching.measured(case, 2000)
    assert 1900 < row["pairs"] <= row["reference"] == row["test"] == 2000
    assert row["peak_mb"] >= row["peak_before_mb"] > 0


def test_too_slow_ends_with_1(tmp_path, monkeypatch):
    monkeypatch.setattr(matching, "REPEATS", 1)
    monkeypatch.setattr(matching, "MOST_S", 0.0)
    out = tmp_path / "matching.json"
    assert matching.main(["--out", str(out), "--count", "100"]) == 1
    assert [row["met"] for row in json.loads(out.read_text())["rows"]] == [False, False]
    assert "| NO |" in out.with_suffix(".md").read_text()
