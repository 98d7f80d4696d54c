"""Scenario files, and simulated nights written to disk while they are made."""

import dataclasses
import re
import tracemalloc
from pathlib import Path

import numpy as np
import pytest

import infantmon as im
from benchmarks import simulate_day
from infantmon import simulate as sim
from infantmon import simulated_files
from infantmon.cli import main
from infantmon.cli_simulate import Format
from infantmon.errors import ArgumentError
from infantmon.formats.streamed import StreamedChannel
from infantmon.formats.streamed_csv import stream_csv
from infantmon.formats.streamed_edf import stream_edf
from infantmon.formats.streamed_wfdb import stream_wfdb
from infantmon.formats.wfdb_annotations import NORMAL, Annotation, write_annotations
from infantmon.simulate.event_list import true_events
from infantmon.simulate.scenario_file import (
    read_scenario,
    scenario_from_toml,
    scenario_to_toml,
)
from infantmon.simulate.words import EVENTS, PLAUSIBLE, PULSATIONS, SHOWN
from infantmon.simulated_files import WRITERS, write_simulated

EVERYTHING = (
    sim.Pause(20.0, 15.0, sim.SlowingInPause(), sim.Rebound()),
    sim.ObstructiveApnea(60.0, 18.0),
    sim.MixedApnea(90.0, 12.0, 10.0, bradycardia=sim.SlowingInPause()),
    sim.ShallowBreathing(120.0, 5.0),
    sim.BreathingRate(130.0, 30.0, 70.0),
    sim.Sigh(165.0),
    sim.RateChange(170.0, 150.0),
    sim.Bradycardia(190.0, 90.0),
    sim.Tachycardia(215.0, 200.0),
    sim.Standstill(240.0, 5.0),
    sim.EctopicBeats(250.0, 4.0, every=2),
    sim.AxisChange(260.0, 8.0),
    sim.Movement(270.0, 4.0),
    sim.MuscleNoise(275.0, 4.0),
    sim.Mains(280.0, 4.0),
    sim.LevelStep(285.0, 2.0, mv=0.5),
    sim.LooseElectrode(288.0, 3.0, ecg=None, ecg2=sim.Held()),
    sim.Clipping(292.0, 2.0),
    sim.MissingSamples(295.3, 2.1),
)


def everything(**changes):
    scenario = sim.Scenario(
        300.5, 250.0, 62.5, events=EVERYTHING, lead2=sim.EcgLead(r_mv=0.5, inverted=True)
    )
    return dataclasses.replace(scenario, **changes)


# scenario files


def test_the_scene_above_has_every_kind_of_event():
    assert {type(event) for event in EVERYTHING} == set(EVENTS.values())


@pytest.mark.parametrize("model", PULSATIONS.values())
def test_a_scenario_comes_back_from_its_file(model, tmp_path):
    shown = [sim.LooseElectrode(299.0, 0.1, impedance=kind(**known)) for kind, known in SHOWN_WITH]
    scenario = everything(pulsation=model(0.2, 0.5), events=(*EVERYTHING, *shown))
    path = tmp_path / "scene.toml"
    path.write_text(scenario_to_toml(scenario, seed=5), encoding="utf-8")
    assert read_scenario(path) == (scenario, 5)


SHOWN_WITH = [
    (sim.AtRail, {"upper": False}),
    (sim.Flat, {"level": 3.0}),
    (sim.Held, {}),
    (sim.Noisy, {"deviation": 0.2}),
    (sim.OutOfRange, {"level": 1700.0}),
]


def test_every_way_of_showing_is_tried():
    assert {kind for kind, _ in SHOWN_WITH} == set(SHOWN.values())


def test_a_short_file_is_enough_and_the_rest_is_as_usual():
    scenario, seed = scenario_from_toml("duration_s = 60\necg_hz = 250\nimpedance_hz = 50\n")
    assert scenario == sim.Scenario(60.0, 250.0, 50.0)
    assert seed is None


def test_an_age_brings_the_published_rates_unless_a_rate_is_given():
    text = "duration_s = 60\necg_hz = 250\nimpedance_hz = 50\n[infant]\nage_months = 7\n"
    scenario, _ = scenario_from_toml(text)
    assert (scenario.heart.rate_bpm, scenario.breathing.rate_per_min) == (134.0, 39.0)
    scenario, _ = scenario_from_toml(text + "heart_centile = 99\n[breathing]\nrate_per_min = 50\n")
    assert (scenario.heart.rate_bpm, scenario.breathing.rate_per_min) == (168.0, 50.0)


def test_all_faults_are_told_at_once():
    text = """
        duration_s = -1
        ecg_hz = "fast"
        frog = 2
        seed = 1.5
        name = 7
        [infant]
        age_months = 40
        [heart]
        rate_bpm = 3000
        jitter = 5
        [lead]
        foo = 1
        [pulsation]
        model = "by moon"
        [[event]]
        kind = "pause"
        onset_s = true
        length_s = -1
        [[event]]
        kind = "pauze"
        [[event]]
        kind = "loose electrode"
        start_s = 1
        ecg = { shows = "bogus" }
    """
    with pytest.raises(ArgumentError) as told:
        scenario_from_toml(text)
    words = str(told.value)
    for fault in (
        "frog is not known",
        "age_months is 40",
        "rate_bpm is 3000",
        "jitter is 5",
        "foo is not known",
        "model is 'by moon'",
        "event 1 (pause), onset_s: is True; a float is expected",
        "event 1 (pause): length_s is -1",
        "event 2: kind is 'pauze'",
        "event 3 (loose electrode), ecg: shows is 'bogus'",
        "event 3 (loose electrode): length_s is missing",
        "seed is 1.5",
        "name is 7",
        "duration_s is -1",
        "ecg_hz is 'fast'",
        "impedance_hz is missing",
    ):
        assert fault in words, fault
    assert f"{len(words.splitlines()) - 1} faults" in words


def test_events_that_do_not_go_together_are_told_each():
    pause = '[[event]]\nkind = "pause"\nonset_s = {}\nlength_s = 20\n'
    text = "duration_s = 600\necg_hz = 250\nimpedance_hz = 50\n"
    text += pause.format(50) + pause.format(60) + pause.format(100) + pause.format(110)
    with pytest.raises(ArgumentError, match=r"2 faults:\n  event 2 \(pause\).*\n  event 4 \(pau"):
        scenario_from_toml(text)


@pytest.mark.parametrize("text", ["duration_s = = 2", "event = 3\n", "heart = 2\n"])
def test_what_is_no_scenario_is_refused_clearly(text):
    with pytest.raises(ArgumentError):
        scenario_from_toml(text)


def test_every_required_field_has_a_plausible_value():
    kinds = [*EVENTS.values(), *SHOWN.values(), *PULSATIONS.values()]
    for kind in kinds:
        required = [f.name for f in dataclasses.fields(kind) if f.default is dataclasses.MISSING]
        kind(**{name: PLAUSIBLE[name] for name in required})


# nights on disk


@pytest.fixture(scope="module")
def infant():
    return sim.InventedInfant(everything(), 11)


@pytest.fixture(scope="module")
def night(infant):
    return infant.night()


def expected(night, role):
    return night.recording.channels[role].segments[0].values


@pytest.mark.parametrize(("form", "name"), [("wfdb", "night"), ("edf", "night.edf")])
def test_what_was_written_reads_back(infant, night, tmp_path, form, name):
    paths = write_simulated(infant, tmp_path, WRITERS[form])
    assert all(path.is_file() for path in paths)
    back = im.read(str(tmp_path / name), ecg="ECG", ecg2="ECG2")
    half = {"wfdb": {"ohm": 1e-6, "mV": 1e-4}, "edf": {"ohm": 0.016, "mV": 1e-4}}[form]
    for role in ("ecg", "ecg2", "impedance"):
        channel = back.channels[role]
        values, wanted = channel.segments[0].values, expected(night, role)
        assert channel.rate_hz == night.recording.channels[role].rate_hz
        assert np.array_equal(np.isnan(values[: len(wanted)]), np.isnan(wanted))
        assert np.nanmax(np.abs(values[: len(wanted)] - wanted)) <= half[channel.unit]
        assert np.all(np.isnan(values[len(wanted) :]))
        assert len(values) - len(wanted) < 2.5 * channel.rate_hz


def test_a_table_reads_back(infant, night, tmp_path):
    write_simulated(infant, tmp_path, WRITERS["csv"])
    back = im.read(str(tmp_path / "night.csv"), ecg="ECG", ecg2="ECG2")
    for role in ("ecg", "ecg2", "impedance"):
        values, wanted = back.channels[role].segments[0].values, expected(night, role)
        keep = np.isfinite(wanted)
        assert np.max(np.abs(values[: len(wanted)][keep] - wanted[keep])) <= 0.51e-6
        assert np.all(np.isnan(values[: len(wanted)][~keep]))


def test_arrays_are_the_samples(infant, night, tmp_path):
    write_simulated(infant, tmp_path, WRITERS["npy"])
    for role in ("ecg", "ecg2", "impedance"):
        stored = np.load(tmp_path / f"{role}.npy")
        assert np.array_equal(stored, expected(night, role), equal_nan=True)


@pytest.mark.filterwarnings("ignore:The inplace keyword")  # wfdb 4.3.1 under pandas 3
def test_annotations_are_the_truth(infant, tmp_path):
    import wfdb

    write_simulated(infant, tmp_path, WRITERS["wfdb"])
    truth = infant.truth
    beats = wfdb.rdann(str(tmp_path / "night"), "atr")
    assert beats.fs == 250
    assert np.array_equal(beats.sample, np.rint(truth.beat_s * 250.0))
    assert np.array_equal(np.array(beats.symbol) == "V", truth.beat_ectopic)
    breaths = wfdb.rdann(str(tmp_path / "night"), "breaths")
    assert breaths.fs == 62.5
    assert np.array_equal(breaths.sample, np.rint(truth.breath_s * 62.5))
    told = np.array([note.strip("\x00") for note in breaths.aux_note]) == "obstructed"
    assert np.array_equal(told, truth.breath_obstructed)
    events = wfdb.rdann(str(tmp_path / "night"), "events")
    assert len(events.sample) == 2 * len(true_events(truth))
    starts = [note for note in events.aux_note if not note.startswith("end of")]
    assert sum(note.startswith("mixed apnea: no flow") for note in starts) == 1


def test_truth_tables_are_the_truth(infant, tmp_path):
    write_simulated(infant, tmp_path, WRITERS["npy"])
    beats = np.genfromtxt(tmp_path / "beats.csv", delimiter=",", names=True)
    assert np.allclose(beats["time_s"], infant.truth.beat_s, atol=1e-6)
    breaths = np.genfromtxt(tmp_path / "breaths.csv", delimiter=",", names=True)
    assert np.allclose(breaths["size_ohm"], infant.truth.breath_size_ohm, atol=1e-6)
    again, seed = read_scenario(tmp_path / "scenario.toml")
    assert (again, seed) == (infant.scenario, infant.seed)


@pytest.mark.filterwarnings("ignore:The inplace keyword")  # wfdb 4.3.1 under pandas 3
def test_marks_stand_on_the_channels_own_clock(tmp_path):
    import wfdb

    fast = sim.EcgChannel(noise_mv=0.0, wander_mv=0.0, clock_error=0.0014)
    scenario = sim.Scenario(600.0, 250.0, 62.5, ecg=fast)
    made = sim.InventedInfant(scenario, 2)
    write_simulated(made, tmp_path, WRITERS["wfdb"])
    marks = wfdb.rdann(str(tmp_path / "night"), "atr").sample[1:-1]
    ecg = im.read(str(tmp_path / "night")).channels["ecg"].segments[0].values
    around = np.array([np.argmax(ecg[mark - 20 : mark + 21]) - 20 for mark in marks])
    assert np.all(np.abs(around) <= 1)
    assert marks[-1] / 250.0 - made.truth.beat_s[-2] > 0.8  # 0.14 % of 600 s


def test_a_stepped_channel_comes_back_exactly(tmp_path):
    channel = StreamedChannel("ecg", "ECG", "mV", 250.0, -5.0, 5.0, step=0.01)
    values = np.round(np.random.default_rng(1).uniform(-5.0, 5.0, 1000), 2)
    stream_wfdb([{"ecg": values}], [channel], tmp_path, "stepped")
    back = im.read(str(tmp_path / "stepped")).channels["ecg"].segments[0].values
    assert np.allclose(back, values, rtol=0.0, atol=1e-12)


@pytest.mark.parametrize("cuts", [[1], [0, 7, 250, 251, 999], list(range(1, 400, 13))])
def test_files_do_not_depend_on_the_cutting(cuts, tmp_path):
    slow = StreamedChannel("impedance", "Impedance", "ohm", 50.0, 0.0, 2000.0, bits=32)
    fast = StreamedChannel("ecg", "ECG", "mV", 250.0, -5.0, 5.0)
    random = np.random.default_rng(3)
    ecg, chest = random.normal(size=1003), random.uniform(400.0, 600.0, 201)
    ecg[400:430] = np.nan

    def chunks(edges):
        pieces = zip(np.split(ecg, edges), np.split(chest, [e // 5 for e in edges]), strict=True)
        return [{"ecg": a, "impedance": b} for a, b in pieces]

    for number, edges in enumerate(([], cuts)):
        folder = tmp_path / str(number)
        folder.mkdir()
        stream_wfdb(chunks(edges), [fast, slow], folder, "one")
        stream_edf(chunks(edges), [fast, slow], folder / "one.edf")
        stream_csv(chunks(edges), [fast, slow], folder / "one.csv")
    for path in (tmp_path / "0").iterdir():
        assert path.read_bytes() == (tmp_path / "1" / path.name).read_bytes(), path.name
    back = im.read(str(tmp_path / "0" / "one.edf"))
    assert (len(back.ecg), len(back.impedance)) == (1003, 201)


def test_many_invalid_stretches_in_one_record_are_named_as_one(tmp_path):
    channel = StreamedChannel("ecg", "ECG", "mV", 250.0, -5.0, 5.0)
    values = np.zeros(500)
    values[100:200:2] = np.nan
    stream_edf([{"ecg": values}], [channel], tmp_path / "one.edf")
    back = im.read(str(tmp_path / "one.edf")).channels["ecg"].segments[0].values
    assert np.array_equal(np.flatnonzero(np.isnan(back)), np.arange(100, 199))
    stream_edf([{"ecg": values[:450]}], [channel], tmp_path / "one.edf")
    assert im.read(str(tmp_path / "one.edf")).channels["ecg"].sample_count == 450


def test_without_room_to_name_both_what_fills_up_is_invalid(tmp_path):
    names = ("a long name of 16", "b long name of 16", "c long name of 16")
    channels = [StreamedChannel(n, n, "mV", 250.0, -5.0, 5.0) for n in names]
    values = np.zeros(450)
    values[340:400] = np.nan
    path = stream_edf([dict.fromkeys(names, values)], channels, tmp_path / "one.edf")
    back = im.read(path, ecg=names[0][:16]).ecg
    assert len(back) == 500
    assert np.array_equal(np.flatnonzero(np.isnan(on(back))), np.arange(340, 500))


def on(channel):
    return channel.between(0.0, channel.end_s)[1]


def test_rates_without_a_common_frame_are_refused(tmp_path):
    odd = [
        StreamedChannel("ecg", "ECG", "mV", 250.001, -5.0, 5.0),
        StreamedChannel("impedance", "Impedance", "ohm", 61.7, 0.0, 2000.0),
    ]
    for refuse in (
        lambda: stream_wfdb([], odd, tmp_path, "x"),
        lambda: stream_edf([], odd, tmp_path / "x.edf"),
        lambda: stream_csv([], odd, tmp_path / "x.csv"),
    ):
        with pytest.raises(ArgumentError, match=r"250|61\.7"):
            refuse()
    assert not list(tmp_path.iterdir())


def test_marks_out_of_order_are_refused(tmp_path):
    with pytest.raises(ArgumentError, match="follows one at 9"):
        write_annotations(
            [Annotation(9, NORMAL), Annotation(3, NORMAL)], tmp_path / "x.atr", rate_hz=250.0
        )
    assert not list(tmp_path.iterdir())


# the command


def test_the_command_knows_every_format():
    assert {form.value for form in Format} == set(WRITERS)


SHORT = "duration_s = 20\necg_hz = 250\nimpedance_hz = 50\n"


def test_the_command_writes_a_night(tmp_path, capsys):
    (tmp_path / "s.toml").write_text(SHORT + "seed = 3\n")
    out = tmp_path / "made" / "here"
    assert main(["simulate", str(tmp_path / "s.toml"), "--out", str(out), "--format", "edf"]) == 0
    assert len(im.read(str(out / "night.edf")).channels) == 2
    assert "seed 3" in capsys.readouterr().out
    assert main(["simulate", str(tmp_path / "s.toml"), "--out", str(out), "--seed", "4"]) == 0
    assert "seed 4" in capsys.readouterr().out


@pytest.mark.parametrize("text", [SHORT, "duration_s = 5"])
def test_the_command_refuses_in_one_message(text, tmp_path, capsys):
    (tmp_path / "s.toml").write_text(text)
    out = tmp_path / "out"
    assert main(["simulate", str(tmp_path / "s.toml"), "--out", str(out)]) == 2
    assert "Traceback" not in capsys.readouterr().err
    assert not out.exists()


def test_hours_are_written_in_bounded_memory(tmp_path):
    """The bar is 24 h under 60 s and 300 MiB (benchmarks.simulate_day); here 6 h, memory only."""
    used = simulate_day.timed("wfdb", 6.0, tmp_path)
    assert used["mib"] < 300.0
    assert used["written_mb"] > 15.0


def test_the_scenario_of_the_guide_can_be_made():
    page = (Path(__file__).parents[1] / "docs" / "simulation.md").read_text(encoding="utf-8")
    (text,) = re.findall(r"```toml\n(.*?)```", page, re.DOTALL)
    scenario, seed = scenario_from_toml(text)
    assert seed == 1
    assert sim.InventedInfant(scenario, 1).truth.obstructions.mixed.tolist() == [True]


def test_marks_are_written_without_holding_them_all(tmp_path):
    """Arrays alone: more beats cost a few numbers each, and no objects (they took 180 bytes)."""

    def peak_and_beats(hours: float) -> tuple[int, int]:
        infant = sim.InventedInfant(sim.Scenario(3600.0 * hours, 250.0, 62.5), 1)
        beats = len(infant.truth.beat_s) + len(infant.truth.breath_s)
        tracemalloc.start()
        try:
            write_simulated(infant, tmp_path, simulated_files._annotated)
            return tracemalloc.get_traced_memory()[1], beats
        finally:
            tracemalloc.stop()

    (less, few), (more, many) = peak_and_beats(1.0), peak_and_beats(4.0)
    assert (more - less) / (many - few) < 60.0
