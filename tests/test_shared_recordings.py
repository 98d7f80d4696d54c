"""The helper that reads the shared recordings, against what their README says of them."""

import numpy as np
import pytest

from infantmon.errors import ArgumentError, RecordingError
from infantmon.labelled.known import databases
from infantmon.labelled.places import recordings_folder
from infantmon.scoring.marks import match_marks
from infantmon.scoring.tallies import gross, percent


def test_a_missing_folder_is_told(tmp_path, monkeypatch):
    monkeypatch.setenv("INFANTMON_RECORDINGS", str(tmp_path / "nowhere"))
    with pytest.raises(RecordingError, match="set INFANTMON_RECORDINGS to their folder"):
        recordings_folder()


def test_an_unknown_database_is_told(monkeypatch):
    import infantmon.labelled.known as shared

    monkeypatch.setattr(shared, "databases", lambda _folder=None: {"mitdb": None})
    with pytest.raises(ArgumentError, match="there is no database 'mitbd'; there are mitdb"):
        shared.database("mitbd")


@pytest.fixture(scope="module")
def shelves(recordings):
    return databases(recordings)


pytestmark = pytest.mark.filterwarnings("error")


@pytest.mark.recordings
def test_how_many_of_each(shelves):
    counts = {name: len(shelf.names) for name, shelf in shelves.items()}
    assert counts == {
        "picsdb": 10, "mitdb": 26, "nstdb": 6, "adfecgdb": 3, "bidmc": 27, "challenge2015": 175,
    }  # fmt: skip


@pytest.mark.recordings
def test_preterm_segments(shelves):
    """Median heart rate 147-155 and 113-121 a minute; breathing 43-77 a minute."""
    for name in shelves["picsdb"].names:
        labelled = shelves["picsdb"].load(name)
        heart = 60.0 / np.median(np.diff(labelled.beats_s))
        low, high = (147, 155) if name.startswith("infant1") else (113, 121)
        assert low - 0.5 <= heart <= high + 0.5
        breaths = 60.0 / np.median(np.diff(labelled.breaths_s[0]))
        assert 43 - 0.5 <= breaths <= 77 + 0.5
        assert labelled.recording.ecg.unit == "mV"
        assert labelled.recording.impedance.unit is None
    assert [s.start_s for s in shelves["picsdb"].load("infant2_segment0").set_apart] == [84.0]


@pytest.mark.recordings
def test_only_beats_are_beats(shelves):
    """The noise stress record has the beats of mitdb 118; flutter is set apart in 207 alone."""
    clean = shelves["mitdb"].load("118")
    noisy = shelves["nstdb"].load("118e06")
    np.testing.assert_array_equal(clean.beats_s, noisy.beats_s)
    apart = {name: len(shelves["mitdb"].load(name).set_apart) for name in ("118", "207", "230")}
    assert apart == {"118": 0, "207": 6, "230": 0}


@pytest.mark.recordings
def test_fetal_beats(shelves):
    shelf = shelves["adfecgdb"]
    assert [len(shelf.load(name).beats_s) for name in shelf.names] == [644, 632, 627]


@pytest.mark.recordings
def test_two_annotators_of_breaths(shelves):
    """Counts of three records; the two agree as mir_eval's matching says, record by record."""
    mir_eval = pytest.importorskip("mir_eval")
    loaded = {name: shelves["bidmc"].load(name) for name in shelves["bidmc"].names}
    counts = {n: tuple(len(b) for b in loaded[f"bidmc_{n}"].breaths_s) for n in (15, 19, 27)}
    assert counts == {15: (110, 124), 19: (118, 128), 27: (82, 89)}
    for entry in loaded.values():
        pairs = mir_eval.util.match_events(*entry.breaths_s, 1.0)
        assert len(match_marks(*entry.breaths_s, 1.0)) == len(pairs)
    total = gross(match_marks(*entry.breaths_s, 1.0).tally for entry in loaded.values())
    assert percent(total.sensitivity, 1) == "99.4"


@pytest.mark.recordings
def test_alarm_excerpts(shelves):
    loaded = [shelves["challenge2015"].load(name) for name in shelves["challenge2015"].names]
    assert all(entry.recording.ecg is not None for entry in loaded)
    assert {entry.alarm[0] for entry in loaded} == {"Asystole", "Bradycardia", "Tachycardia"}
    assert all(entry.recording.ecg.end_s == 90.0 for entry in loaded)
