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


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("a.edf + \n", "a file is missing beside a '\\+'"),
        ("a.edf + a.edf\n", "names a.edf more than once"),
        ("a.edf + b.edf\nb.edf\n", "names b.edf more than once"),
        ("a.edf + s3://bucket/b.edf\n", "all beside the list or all at addresses"),
        ("recording;infant\na.edf;1\n", "not parted by commas"),
    ],
)
def test_a_faulty_line_of_several_files_is_told(tmp_path, text, told) -> None:
    (tmp_path / "list").write_text(text)
    with pytest.raises(ArgumentError, match=told):
        corpus.list_recordings(tmp_path / "list")


def test_a_line_may_name_several_files_of_one_recording(tmp_path) -> None:
    for name in ("a.edf", "b.hea", "c+d.edf"):
        (tmp_path / name).write_text("b 0 250\n")
    (tmp_path / "list.csv").write_text("recording,infant\na.edf + b,one\nc+d.edf,one\n")
    listed = {one.name: one for one in corpus.list_recordings(tmp_path / "list.csv")}
    assert listed.keys() == {"a.edf + b", "c+d.edf"}
    assert listed["a.edf + b"].addresses == (str(tmp_path / "a.edf"), str(tmp_path / "b.hea"))
    assert listed["a.edf + b"].size_bytes == 16


def test_each_folder_may_be_one_recording(tmp_path) -> None:
    for name in ("x/1/a.edf", "x/1/b.edf", "x/2/a.edf"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text("0")
    listed = {one.name: one.addresses for one in corpus.list_recordings(tmp_path, by_folder=True)}
    assert listed == {
        "x/1": (str(tmp_path / "x/1/a.edf"), str(tmp_path / "x/1/b.edf")),
        "x/2": (str(tmp_path / "x/2/a.edf"),),
    }
    with pytest.raises(ArgumentError, match="x/1 has several files, and labels belong to one"):
        corpus.list_recordings(tmp_path, "atr", by_folder=True)


def test_loose_files_beside_folders_of_recordings_are_told(tmp_path) -> None:
    (tmp_path / "a.edf").write_text("0")
    with pytest.raises(ArgumentError, match=r"a.edf in .* lie in no folder of their own"):
        corpus.list_recordings(tmp_path, by_folder=True)
    (tmp_path / "list").write_text("a.edf\n")
    with pytest.raises(ArgumentError, match="is a list, which has no folders"):
        corpus.list_recordings(tmp_path / "list", by_folder=True)
