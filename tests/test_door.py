"""The names that scripts outside the project use, and what they mean: held as they are written in
the documentation. A change here is a change of the interface.
"""

import inspect
import json
import re
from importlib.metadata import version

import numpy as np
import pytest

import infantmon as im
from infantmon import simulate as sim
from infantmon.cli import main
from infantmon.events.log import fold

PLAN_TOML = """
[apnea]
limit_s = 20

[low_heart_rate]
limit_bpm = 80
hold_off_s = 5
average_beats = 8

[high_heart_rate]
limit_bpm = 230
hold_off_s = 10
average_s = 6

[no_heart_beat]
limit_s = 4

[contact_loss]
delay_s = 5

[periodic_breathing]
pause_s = 3
count = 3
gap_s = 20

[infant]
label = "invented infant"

[prescriber]
name = "invented prescriber"
"""
KINDS = {
    "apnea",
    "low heart rate",
    "high heart rate",
    "no heart beat",
    "periodic breathing",
    "contact loss",
    "signal unusable",
}
BRADYCARDIA = sim.Pause(60.0, 30.0, sim.SlowingInPause())
PLAIN = sim.Pause(120.0, 24.0)
LOOSE = sim.LooseElectrode(180.0, 9.0)


@pytest.fixture(scope="module")
def night():
    scenario = sim.Scenario(260.0, 250.0, 50.0, events=(BRADYCARDIA, PLAIN, LOOSE))
    return sim.simulate_night(scenario, seed=5)


@pytest.fixture(scope="module")
def ecg(night):
    return night.recording.channels["ecg"].between(0.0, 260.0)[1]


@pytest.fixture(scope="module")
def impedance(night):
    return night.recording.channels["impedance"].between(0.0, 260.0)[1]


@pytest.fixture(scope="module")
def plan(tmp_path_factory):
    path = tmp_path_factory.mktemp("plan") / "limits.toml"
    path.write_text(PLAN_TOML, encoding="utf-8")
    return im.Prescription.from_toml(str(path))


@pytest.fixture(scope="module")
def reviewed(ecg, impedance, plan):
    recording = im.Recording(
        {
            "ecg": im.Channel(ecg, rate_hz=250, unit="mV"),
            "impedance": im.Channel(impedance, rate_hz=50, unit="ohm"),
        }
    )
    return im.review(recording, plan)


# One function on an array -------------------------------------------------------------------------


def test_r_peaks_of_an_array(ecg, night):
    peaks = im.detect_r_peaks(ecg, rate_hz=250.0, unit="mV")
    columns = (peaks.time_s, peaks.known_s, peaks.sample, peaks.reliable)
    assert all(isinstance(c, np.ndarray) for c in columns)
    assert {len(c) for c in columns} == {len(peaks)}
    assert len(peaks) > 300
    assert [c.dtype.kind for c in columns] == ["f", "f", "i", "b"]
    # times lie between samples; each sample is the nearest one, known after it
    assert np.max(np.abs(peaks.sample / 250.0 - peaks.time_s)) <= 0.5 / 250.0 + 1e-9
    assert np.all(peaks.known_s >= peaks.time_s)
    near = np.abs(peaks.time_s[:, None] - night.truth.beat_s).min(axis=1)
    assert np.median(near) < 0.01


def test_a_unit_may_be_left_out_but_a_rate_may_not(ecg):
    assert len(im.detect_r_peaks(ecg[:5000], rate_hz=250.0)) > 30
    for function in (im.detect_r_peaks, im.detect_breaths):
        parameters = inspect.signature(function).parameters
        assert parameters["rate_hz"].default is inspect.Parameter.empty


def test_breaths_of_an_array_with_and_without_r_peaks(ecg, impedance):
    peaks = im.detect_r_peaks(ecg, rate_hz=250.0, unit="mV")
    for breaths in (
        im.detect_breaths(impedance, rate_hz=50.0, r_peaks=peaks),
        im.detect_breaths(impedance, rate_hz=50.0),
    ):
        columns = (breaths.time_s, breaths.known_s, breaths.size)
        assert {len(c) for c in columns} == {len(breaths)}
        assert len(breaths) > 80
        assert np.all(breaths.known_s >= breaths.time_s)
        assert np.all(breaths.size > 0.0)


@pytest.mark.parametrize("function", [im.detect_r_peaks, im.detect_breaths])
def test_an_empty_array_gives_an_empty_result(function):
    assert len(function([], rate_hz=100.0)) == 0


# Recordings, prescriptions ------------------------------------------------------------------------


def test_a_wfdb_record_an_edf_file_and_a_table_are_read_by_one_function(night, tmp_path):
    from infantmon.formats import write_csv, write_edf, write_wfdb

    write_wfdb(night.recording, tmp_path, "infant1")
    write_edf(night.recording, tmp_path / "infant1.edf")
    write_csv(night.recording, tmp_path / "infant1.csv")
    for name in ("infant1", "infant1.edf", "infant1.csv"):
        recording = im.read(str(tmp_path / name))
        assert recording.ecg.rate_hz == pytest.approx(250.0)
        assert recording.ecg.unit == "mV"
        assert recording.impedance.rate_hz == pytest.approx(50.0)
        assert recording.impedance.unit == "ohm"


def test_several_records_of_one_infant_are_joined(tmp_path):
    for name, hour in (("a", 0), ("b", 1)):
        rows = [f"2026-03-01T{hour:02}:00:{k / 50:06.3f},{k % 7}" for k in range(500)]
        (tmp_path / f"{name}.csv").write_text("\n".join(["time,impedance [ohm]", *rows]))
    joined = im.read(tmp_path / "a.csv", tmp_path / "b.csv")
    assert joined.end_s == pytest.approx(3610.0)
    assert joined.impedance.sample_count == 1000


def test_a_recording_in_code_takes_a_second_lead():
    channel = im.Channel(np.zeros(500), rate_hz=250, unit="mV")
    recording = im.Recording({"ecg": channel, "ecg2": channel})
    assert recording.ecg2 is channel
    assert recording.impedance is None


def test_a_prescription_from_a_file_and_in_code(plan):
    assert plan.apnea.limit_s == 20
    assert plan.low_heart_rate.limit_bpm == 80
    assert plan.low_heart_rate.hold_off_s == 5
    assert plan.low_heart_rate.average_beats == 8
    assert plan.high_heart_rate.average_s == 6
    assert plan.no_heart_beat.limit_s == 4
    assert plan.contact_loss.delay_s == 5
    periodic = plan.periodic_breathing
    assert (periodic.pause_s, periodic.count, periodic.gap_s) == (3, 3, 20)
    assert plan.infant.label == "invented infant"
    assert plan.prescriber.name == "invented prescriber"
    assert plan.not_watched == ()
    assert im.Prescription(apnea={"limit_s": 20}).apnea == plan.apnea


def test_no_limit_has_a_default_and_an_absent_table_is_not_watched():
    empty = im.Prescription()
    assert set(empty.not_watched) == KINDS
    for table in ("apnea", "low_heart_rate", "no_heart_beat", "contact_loss", "periodic_breathing"):
        with pytest.raises(im.PrescriptionError, match="no limit has a default"):
            im.Prescription(**{table: {}})


def test_the_signature_of_monitor_and_channel_never_defaults_a_rate():
    assert inspect.signature(im.Channel).parameters["rate_hz"].default is inspect.Parameter.empty
    with pytest.raises(im.ArgumentError, match="give a rate"):
        im.Monitor(im.Prescription())


# A review and its events --------------------------------------------------------------------------


def test_what_a_review_has(reviewed):
    assert len(reviewed.events) >= 4
    assert len(reviewed.r_peaks) > 300
    assert len(reviewed.breaths) > 80
    assert len(reviewed.heart_rate) > 300
    assert set(reviewed.contact) == {"ecg", "impedance"}
    assert isinstance(reviewed.excursions, tuple)


def test_what_an_event_has(reviewed):
    assert len(reviewed.events)
    for e in reviewed.events:
        assert e.kind in KINDS
        assert e.onset_s <= e.known_s <= e.settled_s
        assert e.end_s is None or e.end_s > e.onset_s
        assert e.judgement in {"supported", "doubtful", "not assessable"}
        assert e.assessable == (e.judgement != "not assessable")
        assert e.reasons
        assert all(isinstance(str(reason), str) for reason in e.reasons)
        assert "latency_s" in e.limits
        assert isinstance(e.linked, tuple)


def test_apnea_with_bradycardia_names_the_heart_rate_event(reviewed):
    with_it, plain = reviewed.events.of_kind("apnea")
    by_number = {e.number: e for e in reviewed.events}
    assert [by_number[n].kind for n in with_it.linked] == ["low heart rate"]
    assert plain.linked == ()


def test_a_loose_electrode_is_one_contact_loss(reviewed):
    (lost,) = reviewed.events.of_kind("contact loss")
    assert lost.onset_s == pytest.approx(LOOSE.start_s, abs=1.0)
    assert lost.end_s == pytest.approx(LOOSE.end_s, abs=3.0)
    assert lost.known_s == pytest.approx(LOOSE.start_s + 5.0, abs=2.0)


def test_an_event_that_never_ended_is_open(ecg, plan):
    recording = im.Recording({"ecg": im.Channel(np.full(5000, 0.1), rate_hz=250, unit="mV")})
    (lost,) = im.review(recording, plan).events
    assert lost.kind == "contact loss"
    assert lost.end_s is None
    assert len(ecg) > 5000


def test_an_excursion_that_did_not_last_is_no_event(night, plan):
    short = im.Prescription(low_heart_rate={**dict(plan.low_heart_rate), "hold_off_s": 60})
    found = im.review(night.recording, short)
    assert len(found.events) == 0
    assert {e.kind for e in found.excursions} == {"low heart rate"}


def test_a_review_is_written_as_page_table_and_json(reviewed, tmp_path):
    reviewed.to_html(tmp_path / "review.html")
    reviewed.to_json(tmp_path / "review.json")
    frame = reviewed.events.to_frame()
    assert len(frame) == len(reviewed.events)
    assert {"kind", "onset_s", "known_s", "end_s", "judgement"} <= set(frame.columns)
    page = (tmp_path / "review.html").read_text(encoding="utf-8")
    assert "apnea" in page
    assert not re.search(r"""(src|href)=["']?(https?:)?//""", page)  # it needs nothing else
    assert len(json.loads((tmp_path / "review.json").read_text())["events"]) == len(reviewed.events)


@pytest.mark.parametrize("role", ["ecg", "impedance"])
def test_a_recording_with_one_channel_is_reviewed_for_what_it_has(night, plan, role, tmp_path):
    found = im.review(im.Recording({role: night.recording.channels[role]}), plan)
    (missing,) = found.missing_roles
    assert missing != role
    assert set(found.contact) == {role}
    assert (len(found.breaths) > 0) == (role == "impedance")
    assert (len(found.r_peaks) > 0) == (role == "ecg")
    found.to_html(tmp_path / "review.html")
    assert "not recorded" in (tmp_path / "review.html").read_text(encoding="utf-8")


def test_every_output_says_what_is_not_watched(night, tmp_path, capsys):
    from infantmon.formats import write_csv

    (tmp_path / "limits.toml").write_text("[apnea]\nlimit_s = 20\n")
    write_csv(night.recording, tmp_path / "night.csv")
    out = tmp_path / "out"
    asked = ["--prescription", str(tmp_path / "limits.toml"), "--out", str(out)]
    assert main(["review", str(tmp_path / "night.csv"), *asked]) == 0
    printed = capsys.readouterr().out
    assert "not watched" in printed
    assert "no heart beat" in printed
    page = (out / "review.html").read_text(encoding="utf-8").lower()
    assert "not watched" in page
    stored = json.loads((out / "events.json").read_text())
    assert "no heart beat" in json.dumps(stored)


@pytest.mark.parametrize(
    ("command", "words"),
    [
        ("demo", ("--out", "--seed")),
        ("review", ("record", "--prescription", "--out", "--ecg", "--ecg2", "--impedance")),
        ("simulate", ("--out",)),
        ("selftest", ()),
    ],
)
def test_the_commands_and_their_options(command, words, capsys):
    assert main([command, "--help"]) == 0
    told = capsys.readouterr().out
    assert [word for word in words if word not in told] == []


def test_the_program_tells_its_version(capsys):
    assert main(["version"]) == 0
    assert re.fullmatch(r"\d+\.\d+\.\d+\n", capsys.readouterr().out)


# A monitor ----------------------------------------------------------------------------------------


def fed(monitor, ecg, impedance, *, from_s=0.0, until_s=260.0, step_s=7.3):
    changes = []
    for start_s in np.arange(from_s, until_s, step_s):
        end_s = min(start_s + step_s, until_s)
        e, i = (slice(round(start_s * r), round(end_s * r)) for r in (250, 50))
        changes += monitor.push(ecg=ecg[e], impedance=impedance[i])
    return changes


def test_the_changes_of_a_monitor_fold_into_the_events_of_a_review(reviewed, ecg, impedance, plan):
    monitor = im.Monitor(plan, ecg_hz=250.0, impedance_hz=50.0, ecg_unit="mV", impedance_unit="ohm")
    changes = fed(monitor, ecg, impedance) + monitor.finish()
    for change in changes:
        assert change.kind in KINDS
        assert change.state in {"absent", "pending", "active", "latched"}
        assert change.cause
    keys = [(c.known_s, c.kind) for c in changes]
    assert keys == sorted(keys)
    assert fold(changes)[0] == reviewed.events
    assert tuple(changes) == reviewed.changes


def test_a_monitor_is_saved_and_resumed(reviewed, ecg, impedance, plan):
    monitor = im.Monitor(plan, ecg_hz=250.0, impedance_hz=50.0, ecg_unit="mV", impedance_unit="ohm")
    changes = fed(monitor, ecg, impedance, until_s=71.3)
    blob = monitor.save()
    assert isinstance(blob, bytes)
    monitor = im.Monitor.resume(blob)
    changes += fed(monitor, ecg, impedance, from_s=71.3)
    changes += monitor.finish()
    assert tuple(changes) == reviewed.changes


def test_state_and_reset(ecg, impedance, plan):
    monitor = im.Monitor(plan, ecg_hz=250.0, impedance_hz=50.0)
    fed(monitor, ecg, impedance, until_s=150.0)
    assert monitor.state.conditions["apnea"] == "latched"
    assert monitor.state.reached_s == pytest.approx(150.0, abs=0.05)
    (change,) = [c for c in monitor.reset() if c.kind == "apnea"]
    assert (change.state, change.cause) == ("absent", "reset")
    assert monitor.state.conditions["apnea"] == "absent"
    assert monitor.reset(at_s=150.0) == []


def test_a_gap_is_told_and_the_other_channel_goes_on(ecg, impedance, plan):
    monitor = im.Monitor(plan, ecg_hz=250.0, impedance_hz=50.0)
    fed(monitor, ecg, impedance, until_s=20.0)
    monitor.gap("ecg", until_s=90.0)
    changes = monitor.push(impedance=impedance[1000:4500])
    assert [c.kind for c in changes if c.state == "active"] == ["signal unusable", "apnea"]
    assert monitor.state.reached_s == pytest.approx(90.0, abs=0.05)


def test_a_second_lead_is_pushed_by_its_name(ecg, plan):
    monitor = im.Monitor(plan, ecg_hz=250.0, ecg2_hz=250.0)
    monitor.push(ecg=ecg[:2500], ecg2=ecg[:2500])
    assert monitor.state.reached_s == pytest.approx(10.0, abs=0.01)
    with pytest.raises(im.ArgumentError, match="'impedance'"):
        monitor.push(impedance=[1.0])


def test_other_limits_are_tried_without_the_signal(reviewed, night):
    other = im.Prescription(apnea={"limit_s": 26}, no_heart_beat={"limit_s": 2})
    ((tried, events),) = im.sweep(reviewed.findings, [other])
    assert tried == other
    assert events == im.review(reviewed.recording, other).events
    assert [e.kind for e in events if e.onset_s < 170.0] == ["apnea"]
    assert night.truth.pauses.length_s.tolist() == [30.0, 24.0]


def test_what_is_passed_in_place_of_findings_plans_or_beats_is_told(reviewed, plan, impedance):
    with pytest.raises(im.ArgumentError, match=r"findings is a Review; pass Review\.findings\."):
        im.sweep(reviewed, [plan])
    with pytest.raises(im.ArgumentError, match=r"plans is one Prescription; pass a list of them\."):
        im.sweep(reviewed.findings, plan)
    with pytest.raises(im.ArgumentError, match=r"one of plans is a float; pass infantmon\."):
        im.sweep(reviewed.findings, [20.0])
    beats = reviewed.r_peaks
    told = r"is a ndarray; pass the RPeaks that detect_r_peaks returns, or"
    with pytest.raises(im.ArgumentError, match=f"r_peaks {told}"):
        im.detect_breaths(impedance, rate_hz=50.0, r_peaks=beats.time_s)
    with pytest.raises(im.ArgumentError, match=f"second {told}"):
        im.fuse_r_peaks(beats, beats.time_s, rate_hz=250.0)


@pytest.mark.parametrize(
    ("role", "lowest"), [("ecg", "62.5"), ("ecg2", "62.5"), ("impedance", "20")]
)
def test_a_rate_that_is_too_low_is_told_with_its_channel(plan, role, lowest):
    told = f"{role}: rate_hz is 15 Hz; the lowest rate that works here is {lowest} Hz"
    with pytest.raises(im.ArgumentError, match=told):
        im.Monitor(plan, **{f"{role}_hz": 15.0})


def test_a_channel_that_was_not_recorded_and_a_folder_that_is_not_there_are_told(
    ecg, plan, tmp_path
):
    recording = im.Recording({"ecg": im.Channel(ecg[:5000], rate_hz=250.0, unit="mV")})
    review = im.review(recording, plan)
    with pytest.raises(im.ArgumentError, match="'impedance' was not recorded; use one of ecg"):
        review.blocked("impedance")
    for write in (review.to_json, review.to_html):
        with pytest.raises(im.ArgumentError, match=r"the folder .*nowhere does not exist; make it"):
            write(tmp_path / "nowhere" / "review.out")


def test_a_misspelt_kind_is_not_none_found(reviewed):
    assert len(reviewed.events.of_kind("apnea")) > 0
    with pytest.raises(im.ArgumentError, match="there is no kind 'apnoea'; use one of apnea, low"):
        reviewed.events.of_kind("apnoea")


def test_the_version_is_told(capsys):
    assert main(["version"]) == 0
    assert capsys.readouterr().out.strip() == im.__version__ == version("infantmon")
