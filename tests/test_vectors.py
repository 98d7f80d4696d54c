"""The reference vectors are what the chain gives, and a drift would be seen."""

import pytest

from benchmarks import vectors

SAMPLE_TABLE, MARK_TABLE = "impedance_bandpass.csv", "r_peaks.csv"


@pytest.fixture(scope="module")
def kept():
    return vectors.stored()


def test_the_chain_gives_the_stored_vectors(kept):
    """`python -m benchmarks.vectors` writes them anew after a change that was meant."""
    now = vectors.outputs(*vectors.stored_input())
    inputs = {name: kept[name] for name in ("scenario.toml", *vectors.INPUTS)}
    assert vectors.differences(kept, inputs | now) == []


def test_the_simulator_gives_the_stored_input(kept):
    made = vectors.made()
    inputs = ("scenario.toml", *vectors.INPUTS)
    told = vectors.differences({n: kept[n] for n in inputs}, {n: made[n] for n in inputs})
    assert told == []


def test_the_set_is_small_and_every_table_has_rows_to_compare(kept):
    assert sum(len(text) for text in kept.values()) < 300_000
    for name in ("r_peaks.csv", "breaths.csv", "heart_rate.csv", "pulsation.csv"):
        assert len(kept[name].splitlines()) > 20, name
    assert len(kept["impedance_contact.csv"].splitlines()) > 1
    assert kept["changes.json"].count('"apnea"') >= 2


def changed(text, row, column, new):
    lines = text.splitlines()
    cells = lines[row].split(",")
    cells[column] = new(cells[column])
    lines[row] = ",".join(cells)
    return "\n".join(lines) + "\n"


def seen(kept, name, text):
    return vectors.differences(kept, {**kept, name: text})


def test_a_drift_of_samples_is_seen_beyond_a_share_of_1e9(kept):
    for share, told in ((1e-7, 1), (1e-11, 0)):
        text = changed(
            kept[SAMPLE_TABLE], 500, 0, lambda cell, s=share: f"{float(cell) * (1 + s):.15g}"
        )
        assert len(seen(kept, SAMPLE_TABLE, text)) == told


def test_a_tick_that_is_one_off_is_seen(kept):
    sample = kept[MARK_TABLE].splitlines()[0].split(",").index("sample")
    text = changed(kept[MARK_TABLE], 20, sample, lambda cell: str(int(cell) + 1))
    assert "sample" in seen(kept, MARK_TABLE, text)[0]


def test_a_row_more_or_less_is_seen(kept):
    text = kept[MARK_TABLE]
    assert seen(kept, MARK_TABLE, text + text.splitlines()[-1] + "\n")
    assert seen(kept, MARK_TABLE, "\n".join(text.splitlines()[:-1]) + "\n")


def test_a_change_of_an_event_or_a_missing_file_is_seen(kept):
    assert seen(kept, "changes.json", kept["changes.json"].replace("active", "pending", 1))
    rest = {name: text for name, text in kept.items() if name != MARK_TABLE}
    assert vectors.differences(kept, rest) == [f"{MARK_TABLE} is not made any more"]
    assert vectors.differences(rest, kept) == [f"{MARK_TABLE} is missing"]


def test_the_command_tells_a_drift(monkeypatch, capsys, kept):
    assert vectors.main(["--check"]) in (0, 1)
    monkeypatch.setattr(vectors, "made", lambda: dict(kept))
    assert vectors.main(["--check"]) == 0
    assert "no drift" in capsys.readouterr().out
    monkeypatch.setattr(vectors, "made", lambda: {**kept, "changes.json": "[]"})
    assert vectors.main(["--check"]) == 1
    assert "changes.json: differs" in capsys.readouterr().out
