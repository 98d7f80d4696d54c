"""Which recordings a folder or a list holds, and what is told of one that is none."""

from __future__ import annotations

import pytest

from infantmon import corpus
from infantmon.errors import ArgumentError
from infantmon.simulate import InventedInfant, Scenario
from infantmon.simulated_files import WRITERS, write_simulated


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("recording,weeks\na.edf,3\n", "known are recording"),
        ("recording,postmenstrual_age_weeks\na.edf,12\n", "22 to 200 weeks"),
        ("a.edf\na.edf\n", "more than once"),
        ("", "holds no recording"),
    ],
)
def test_a_faulty_list_is_told(tmp_path, text, told) -> None:
    (tmp_path / "list").write_text(text)
    with pytest.raises(ArgumentError, match=told):
        corpus.list_recordings(tmp_path / "list")


@pytest.mark.parametrize("form", ["edf", "csv", "wfdb"])
def test_what_simulate_wrote_is_one_recording(tmp_path, form) -> None:
    infant = InventedInfant(Scenario(30.0, 250.0, 62.5), 1)
    (tmp_path / "in" / "a").mkdir(parents=True)
    write_simulated(infant, tmp_path / "in" / "a", WRITERS[form])
    (tmp_path / "in" / "beats.csv").write_text("a recording of that name elsewhere is looked at\n")
    names = sorted(one.name for one in corpus.list_recordings(tmp_path / "in"))
    assert names == [f"a/night.{'hea' if form == 'wfdb' else form}", "beats.csv"]


@pytest.mark.parametrize("name", ["night.EDF", "night.hea"])
def test_one_recording_in_place_of_a_list_is_told(tmp_path, name) -> None:
    (tmp_path / name).write_text("night 2 250\n")
    with pytest.raises(ArgumentError, match=f"{name} is one recording; pass a folder or a list"):
        corpus.list_recordings(tmp_path / name)
