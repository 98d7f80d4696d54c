"""`infantmon score`: what it writes, what it gates, and how it ends."""

import csv
import json
import re
import sys
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from infantmon.cli import main
from infantmon.errors import ArgumentError
from infantmon.formats import read, write_wfdb
from infantmon.formats.wfdb_annotations import Annotation, read_annotations, write_annotations
from infantmon.model.channel import Channel
from infantmon.model.recording import Recording
from infantmon.report.cautions import NOTICE
from infantmon.scorecard.gates import Gate, judge, parse_gates
from infantmon.scorecard.noise_stress import NoiseStress
from infantmon.scorecard.running import Source, Task, run_task
from tests.scored_folder import NORMAL, make_folder


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return make_folder(tmp_path_factory.mktemp("scored") / "records", extra_marks=6)


def score(folder, *words):
    return main(["score", str(folder), "--workers", "1", *words])


def test_figures_add_up_in_every_file(folder, tmp_path, capsys):
    assert score(folder, "--out", str(tmp_path)) == 0
    told = json.loads((tmp_path / "score.json").read_text())
    (card,) = told["cards"]
    total = card["windows"][0]["gross"]
    for key in ("true_positives", "false_negatives", "false_positives"):
        assert total[key] == sum(row["windows"][0][key] for row in card["records"])
    assert total["false_negatives"] == 6
    assert total["false_positives"] == 0
    shares = total["true_positives"] / (total["true_positives"] + 6)
    assert total["sensitivity"] == pytest.approx(shares)
    rows = list(csv.DictReader((tmp_path / "score.csv").read_text().splitlines()))
    assert len(rows) == 3 * 2  # three records, two windows
    assert sum(int(row["false_negatives"]) for row in rows if row["window_s"] == "0.15") == 6
    assert {row["notice"] for row in rows} == {NOTICE} == {told["notice"]}
    printed = capsys.readouterr().out
    low, high = card["windows"][0]["sensitivity_interval"]
    assert f"{100 * low:.2f} to {100 * high:.2f}" in printed
    for text in (printed, (tmp_path / "score.md").read_text()):
        assert f"{100 * shares:.2f}" in text
        assert "Population: not told" in text
        assert "Tuned on: not known" in text
        assert "not a medical device" in text


def test_what_is_told_of_a_folder_stands_in_every_file(folder, tmp_path, capsys):
    told = {"population": "term infants", "label_origin": "two readers", "tuned_on": "no"}
    words = [word for k, v in told.items() for word in (f"--{k.replace('_', '-')}", v)]
    assert score(folder, *words, "--out", str(tmp_path)) == 0
    (card,) = json.loads((tmp_path / "score.json").read_text())["cards"]
    assert {key: card[key] for key in told} == told
    (row, *_) = csv.DictReader((tmp_path / "score.csv").read_text().splitlines())
    assert {key: row[key] for key in told} == told
    page = (tmp_path / "score.html").read_text()
    for text in (capsys.readouterr().out, (tmp_path / "score.md").read_text(), page):
        assert "term infants" in text
        assert "two readers" in text


def test_what_is_known_of_a_database_is_not_told_otherwise(folder, capsys):
    assert main(["score", "mitdb", "--population", "infants"]) == 2
    assert "of mitdb this is known: population" in capsys.readouterr().err
    assert score(folder, "--label-origin", " ") == 2
    assert "label_origin is blank" in capsys.readouterr().err


def test_the_page_is_whole_and_shows_where_it_went_wrong(folder, tmp_path):
    score(folder, "--out", str(tmp_path))
    page = (tmp_path / "score.html").read_text()
    assert "invented2: 6 missed, 0 extra" in page
    assert "<polyline" in page
    assert "http" not in page.replace("http://www.w3.org", "")
    assert "not for live use on an infant" in page


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["--gate", "se>=95,ppv>=99.9"], 0),
        (["--gate", "se>=99"], 1),
        (["--gate", "ppv>=99.9", "--gate-each"], 0),
        (["--gate", "se>=97", "--gate-each"], 1),
        (["--gate", "ppv>=99.9", "--gate-lower"], 1),
        (["--gate", "f1>=95"], 0),
    ],
)
def test_gates_end_with_1(folder, words, code):
    assert score(folder, *words) == code


def test_a_gate_names_the_records_furthest_below(folder, tmp_path, capsys):
    assert score(folder, "--gate", "se>=99", "--out", str(tmp_path)) == 1
    assert "NOT reached; furthest below: invented2" in capsys.readouterr().out
    suites = ET.parse(tmp_path / "junit.xml").getroot()  # noqa: S314 - our own file
    gates, records = suites.findall("testsuite")
    assert gates.get("failures") == "1"
    assert "invented2" in gates.find("testcase/failure").get("message")
    assert gates.find("properties/property").get("value") == NOTICE
    assert len(records.findall("testcase")) == 3


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--gate", "se>99"], "'se>99' is no gate"),
        (["--gate", "recall>=99"], "is no gate; write se>=99.5"),
        (["--gate", "se>=101"], "outside 0 to 100 %"),
        (["--gate", "se>=."], "outside 0 to 100 %"),
        (["--gate", "f1>=90", "--gate-lower"], "F1 is no share"),
        (["--gate-each"], "need a --gate"),
        (["--snr-db", "6"], "add --noise"),
        (["--noise", "em"], "needs --snr-db"),
        (["--noise", "hum", "--snr-db", "6"], "there is no noise 'hum'"),
        (["--detector", "best"], "there is no detector 'best' of beats; give ours"),
        (["--detector", "nowhere:f"], "cannot be loaded"),
        (["--what", "breaths"], "cannot be scored for breaths"),
        (["--window-s", "0"], "must be above 0 s"),
        (["--from-s", "-1"], "0 s or more"),
        (["--annotator", "qrs"], "none with annotations .qrs"),
        (["--against", "nowhere.json"], "cannot be read"),
    ],
)
def test_what_cannot_be_done_is_told(folder, words, said, capsys):
    assert score(folder, *words) == 2
    told = capsys.readouterr()
    assert said in told.err
    assert told.err.count("\n") == 1


@pytest.mark.parametrize(
    "words",
    [["--detector", "ours", "--detector", "nobody"], ["--gate", "f1>=90", "--gate-lower"]],
)
def test_what_cannot_be_done_is_told_before_anything_runs(folder, words, monkeypatch):
    monkeypatch.setattr("infantmon.cli_score.run_task", lambda *_a, **_k: pytest.fail("it ran"))
    assert score(folder, *words) == 2


@pytest.mark.parametrize(
    ("what", "how", "said"),
    [
        ("alarms", {"windows_s": (0.1,)}, "leave out match windows"),
        ("alarms", {"from_s": 10.0}, "leave out match windows"),
        ("alarms", {"noise": NoiseStress("em", 6.0)}, "not for alarms; leave it out"),
        ("breaths", {"noise": NoiseStress("em", 6.0)}, "not for breaths; leave it out"),
    ],
)
def test_no_card_claims_what_was_not_done(what, how, said):
    """Alarms have no windows and no start; noise goes to the ECG of beats alone."""
    source = Source({"alarms": "challenge2015", "breaths": "bidmc"}[what])
    with pytest.raises(ArgumentError, match=said):
        Task(source, what, **how).detector_name()


def test_a_place_that_is_not_there(tmp_path, capsys):
    assert score(tmp_path / "nothing") == 2
    assert "there is no database or folder" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["picsdb", "bidmc", "challenge2015", "mitdb"])
def test_a_known_database_without_files_that_are_read(tmp_path, monkeypatch, name, capsys):
    (tmp_path / name).mkdir()
    (tmp_path / name / "RECORDS").write_text("nothing that is read\n")
    monkeypatch.setenv("INFANTMON_RECORDINGS", str(tmp_path))
    assert score(name) == 2
    told = capsys.readouterr().err
    assert name in told
    assert told.count("\n") == 1


def test_a_record_without_its_annotations_signal_or_place(tmp_path, capsys):
    made = make_folder(tmp_path / "records", (100.0,))
    (made / "alone.atr").write_bytes((made / "invented0.atr").read_bytes())
    assert score(made) == 2
    assert "annotations .atr without a record: alone" in capsys.readouterr().err
    (made / "alone.atr").unlink()
    (made / "invented0.dat").unlink()
    assert score(made) == 2
    assert "invented0 with its annotations .atr cannot be read" in capsys.readouterr().err


def with_impedance_first(folder, names, units=("ohm", "mV")):
    """Write a record whose first signal is no ECG, under names and units of one's choice."""
    made = make_folder(folder, (100.0,))
    ecg = read(made / "invented0").ecg
    breathing = 5.0 + np.sin(np.arange(len(ecg)) / 60.0)
    channels = {"ecg": Channel(breathing, ecg.rate_hz, "mV", name="first"), "ecg2": ecg}
    write_wfdb(Recording(channels, name="invented0"), made, "invented0")
    header = made / "invented0.hea"
    lines = header.read_text().splitlines()
    for place, (name, unit) in enumerate(zip(names, units, strict=True), start=1):
        numbers = " ".join(lines[place].split()[:8]).replace("/mV", f"/{unit}")
        lines[place] = f"{numbers} {name}"
    header.write_text("\n".join(lines) + "\n")
    return made


@pytest.mark.parametrize(
    ("names", "units", "told"),
    [
        (("IMP", "MLII"), ("ohm", "mV"), []),
        (("RESP", "MLII"), ("mV", "mV"), []),
        (("x1", "x2"), ("ohm", "mV"), ["no signal is called an ECG; x2 (mV, 250 Hz) was taken"]),
    ],
)
def test_the_ecg_of_a_folder_is_told_by_name_not_by_place(tmp_path, names, units, told):
    made = with_impedance_first(tmp_path / "records", names, units)
    assert score(made, "--gate", "se>=99,ppv>=99", "--out", str(tmp_path)) == 0
    (record,) = json.loads((tmp_path / "score.json").read_text())["cards"][0]["records"]
    assert [note.removesuffix(" for one") for note in record["notes"]] == told


def test_the_ecg_of_a_folder_keeps_its_rate(tmp_path):
    """A frame of this record holds five samples of the ECG and one of the impedance."""
    made = make_folder(tmp_path / "records", (100.0,))
    impedance = Channel(500.0 + np.sin(np.arange(40 * 50)), 50.0, "ohm", name="IMP")
    ecg = read(made / "invented0").ecg
    both = Recording({"ecg": ecg, "impedance": impedance}, name="invented0")
    write_wfdb(both, made, "invented0")
    assert (made / "invented0.hea").read_text().startswith("invented0 2 50 ")
    assert score(made, "--gate", "se>=99,ppv>=99") == 0


def test_a_record_of_segments_with_holes_is_scored_in_its_own_time(tmp_path):
    made = make_folder(tmp_path / "records", (100.0, 140.0))
    beats_s = []
    for start_s, name in ((10.0, "invented0"), (60.0, "invented1")):
        beats_s += (read_annotations(made / f"{name}.atr").time_s + start_s).tolist()
        (made / f"{name}.atr").unlink()
    segments = "~ 2500\ninvented0 10000\n~ 2500\ninvented1 10000\n"
    (made / "both.hea").write_text(f"both/4 1 250 25000\n{segments}")
    marks = [Annotation(round(250 * time_s), NORMAL) for time_s in beats_s]
    write_annotations(marks, made / "both.atr", rate_hz=250.0)
    assert score(made, "--gate", "se>=99,ppv>=99", "--out", str(tmp_path)) == 0
    (card,) = json.loads((tmp_path / "score.json").read_text())["cards"]
    assert card["shutdown"]["seconds"] == pytest.approx(20.0)


def test_a_folder_without_an_ecg(tmp_path, capsys):
    made = with_impedance_first(tmp_path / "records", ("IMP", "RESP"), ("ohm", "ohm"))
    assert score(made) == 2
    assert "no signal can be an ECG; there is IMP (ohm, 250 Hz), RESP" in capsys.readouterr().err


def test_a_name_with_colons_is_printed_as_it_is(folder, tmp_path, monkeypatch, capsys):
    """ ":boom:" is no pictograph here."""
    (tmp_path / "mine_to_print.py").write_text("def boom(samples, rate_hz):\n    return []\n")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "path", [*sys.path])
    score(folder, "--detector", "mine_to_print:boom", "--gate", "se>=2")
    assert "mine_to_print:boom: Se >= 2 %" in capsys.readouterr().out


def test_an_argument_that_does_not_fit_a_record_names_the_record(tmp_path, capsys):
    made = make_folder(tmp_path / "records", (100.0,))
    header = made / "invented0.hea"
    header.write_text(header.read_text().replace(" 250 10000", " 50 10000"))
    assert score(made) == 2
    assert "invented0: rate_hz is 50 Hz" in capsys.readouterr().err


def test_annotations_beyond_the_signal(tmp_path, capsys):
    made = make_folder(tmp_path / "records", (100.0,))
    header = (made / "invented0.hea").read_text()
    (made / "invented0.hea").write_text(header.replace(" 250 10000", " 250 5000"))
    assert score(made) == 2
    assert "belong to another rate or record" in capsys.readouterr().err


def test_a_detector_of_ones_own_and_one_that_fails(folder, tmp_path, monkeypatch, capsys):
    (tmp_path / "mine_to_score.py").write_text(
        "import numpy as np\n"
        "def steady(samples, rate_hz):\n    return np.arange(0.2, len(samples) / rate_hz, 0.5)\n"
        "def broken(samples, rate_hz):\n    raise ValueError('no idea')\n"
        "def beyond(samples, rate_hz):\n    return [1e9]\n"
        "def mask(samples, rate_hz):\n    return samples > 0.5\n"
        "def refusing(samples, rate_hz):\n"
        "    import infantmon\n    return infantmon.detect_r_peaks(samples, 1.0)\n"
    )
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "path", [*sys.path])
    assert score(folder, "--detector", "mine_to_score:steady") == 0
    shown = capsys.readouterr().out
    assert "Tuned on: not known of mine_to_score:steady." in shown
    assert "Shutdown" not in shown
    for name, why in (
        ("broken", "ValueError: no idea"),
        ("beyond", "something else than times"),
        ("mask", "something else than times"),  # True is no beat at 1 s
        ("refusing", "rate_hz is 1 Hz"),
    ):
        words = ["--detector", f"mine_to_score:{name}", "--gate", "se>=2", "--out", "out"]
        assert score(folder, *words) == 1
        shown = capsys.readouterr().out
        assert "failed on 3 of 3 records; " in shown
        assert why in shown
        assert why in (tmp_path / "out" / "score.md").read_text()
        assert score(folder, "--detector", f"mine_to_score:{name}") == 3


def test_a_gate_that_looks_like_a_share_is_refused(folder, capsys):
    """0.99 % would hold for nearly every detector."""
    assert score(folder, "--gate", "se>=0.99") == 2
    told = capsys.readouterr().err
    assert "'se>=0.99' asks for 0.99 %" in told
    assert "a share of 0.99 is 99." in told


def test_a_detector_whose_package_is_missing_is_told_before_anything_runs(
    folder, monkeypatch, capsys
):
    monkeypatch.setattr("importlib.util.find_spec", lambda _: None)
    assert score(folder, "--detector", "sleepecg") == 2
    told = capsys.readouterr().err
    assert told.startswith("infantmon: sleepecg is not installed")
    assert "pip install sleepecg" in told


def test_a_stored_result_that_is_not_there_is_told(folder, capsys):
    assert score(folder, "--against", "nowhere.json") == 2
    assert "nowhere.json cannot be read (No such file or directory)" in capsys.readouterr().err


def test_a_stored_result_is_compared(folder, tmp_path, capsys):
    assert score(folder, "--out", str(tmp_path)) == 0
    stored = json.loads((tmp_path / "score.json").read_text())
    row = stored["cards"][0]["records"][0]["windows"][0]
    row["true_positives"] -= 2
    row["false_negatives"] += 2
    (tmp_path / "before.json").write_text(json.dumps(stored))
    assert score(folder, "--against", str(tmp_path / "before.json")) == 0
    told = capsys.readouterr().out
    assert "invented0: 2 missed and 0 extra before, 0 missed and 0 extra now" in told
    assert score(folder, "--from-s", "10", "--against", str(tmp_path / "before.json")) == 2
    assert "such runs are not compared" in capsys.readouterr().err


def test_several_processes_give_the_same(folder):
    one = run_task(Task(Source(str(folder)), "beats"), workers=1)
    two = run_task(Task(Source(str(folder)), "beats"), workers=2)
    assert [s.windows for s in one.records] == [s.windows for s in two.records]
    assert [s.record for s in one.records] == [s.record for s in two.records]


def test_an_undefined_figure_reaches_no_gate(folder):
    card = run_task(Task(Source(str(folder)), "beats", from_s=39.99), workers=1)
    (verdict,) = judge(card, [Gate("ppv", 0.0)])
    assert card.gross().positive_predictivity is None
    assert not verdict.holds
    assert "-" in verdict.words


def test_a_start_beyond_every_record_is_told(folder, capsys):
    assert score(folder, "--from-s", "99") == 2
    told = capsys.readouterr().err
    assert "nothing is scored: the scored period begins at 99 s" in told
    assert re.search(r"the longest of \d records has 40.0 s", told)


def test_gates_are_read():
    assert parse_gates("se>=99.5, PPV >= 98 %") == (Gate("se", 99.5), Gate("ppv", 98.0))
    with pytest.raises(ArgumentError, match="is no gate"):
        parse_gates("")


@pytest.mark.recordings
def test_flutter_is_not_scored_and_is_told(recordings):
    """EC57 compares no beats in ventricular flutter; record 207 of mitdb has some."""
    from infantmon.scorecard.running import score_one

    task = Task(Source("mitdb", folder=recordings), "beats")
    row = score_one(task, "207")
    assert any("ventricular flutter: no beats are marked; not scored" in n for n in row.notes)
    assert row.scored_s < row.recorded_s - 300.0
    assert row.tally.false_positives < 10


@pytest.mark.recordings
@pytest.mark.filterwarnings("ignore:The inplace keyword")  # wfdb 4.3.1 under pandas 3
def test_figures_agree_with_another_scorer(recordings):
    """wfdb's compare_annotations on 20 records of mitdb, whole records, 150 ms.

    It pairs each reference beat with the nearest test beat, once. The two may differ where two
    marks compete for one partner; then ours finds at least as many pairs.
    """
    import wfdb.processing

    from infantmon.labelled.known import database
    from infantmon.scoring.marks import match_marks
    from infantmon.stages.r_peaks import detect_r_peaks

    shelf = database("mitdb", recordings)
    for name in shelf.names[:20]:
        labelled = shelf.load(name)
        ecg = labelled.recording.ecg
        found = detect_r_peaks(ecg.segments[0].values, ecg.rate_hz, unit="mV")
        reference = np.rint(labelled.beats_s * ecg.rate_hz).astype(np.int64)
        theirs = wfdb.processing.compare_annotations(reference, found.sample, 54)
        ours = match_marks(labelled.beats_s, found.sample / ecg.rate_hz, 54 / ecg.rate_hz).tally
        assert theirs.tp <= ours.true_positives <= theirs.tp + 2, name
        assert theirs.fn - ours.false_negatives == ours.true_positives - theirs.tp
