"""What is passed by mistake is refused at once, in words; numbers of any type count alike.

Each call below is right; then one argument after the other is replaced by what cannot be meant.
"""

from datetime import date, datetime
from decimal import Decimal
from fractions import Fraction
from inspect import signature
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

import infantmon as im
from infantmon import formats, scoring, simulate
from infantmon.downloads import Prescribed, summarise_downloads
from infantmon.errors import InfantmonError
from infantmon.events.rule_sets.bradycardia import PooledSlowBeats, RelativeFall, SustainedSlowing
from infantmon.formats.edf_annotations import TimedNote, write_edf_notes
from infantmon.formats.wfdb_annotations import Annotation, write_annotations
from infantmon.framed import FrameReader, frames_of
from infantmon.recorder import Recorder
from infantmon.scoring.impedance_quality import impedance_quality
from infantmon.stages.bandpass import EcgBandPassSettings, ImpedanceBandPassSettings
from infantmon.stages.breathing_rate import BreathingRate, BreathingRateSettings
from infantmon.stages.breaths import BreathSettings
from infantmon.stages.cardiac_artifact import CardiacArtifactSettings
from infantmon.stages.contact import ContactSettings
from infantmon.stages.heart_rate import HeartRate, HeartRateSettings
from infantmon.stages.lead_fusion import LeadFusionSettings
from infantmon.stages.r_peaks import RPeakSettings
from infantmon.stored_findings import variations
from infantmon.what_if import neighbours, what_if_table

ECG_HZ, IMPEDANCE_HZ = 125.0, 62.5


class Odd:
    """Nothing that any argument could be."""


NO_NUMBERS = {
    "text": "abc",
    "quoted number": "20",
    "a list": [1.0, 2.0],
    "two dimensions": np.zeros((3, 4)),
    "a column of text": np.array(["a", "b"]),
    "complex": 1j,
    "true": True,
    "a time": np.datetime64("2020-01-01"),
    "an object": Odd(),
    "not a number": float("nan"),
    "no decimal number": Decimal("sNaN"),
}
NO_TEXTS = {"a number": 5.0, "bytes": b"x", "a list": ["a"], "an object": Odd(), "true": True}
NO_PATHS = {"nothing": None, "a number": 5.0, "bytes": b"x", "NUL": "a\0b", "too long": "x" * 300}
NO_OBJECTS = {"nothing": None, "text": "abc", "a number": 5.0, "an object": Odd()}
NO_ROWS = {"nothing": None, "text": "abc", "a number": 5.0, "objects": [Odd()]}
NO_MARKS = {
    "text": "abc",
    "uneven rows": [[1.0], [2.0, 3.0]],
    "three dimensions": np.zeros((1, 2, 3)),
    "texts": ["a", "b"],
    "an object": Odd(),
}
WRONG = {
    "number": NO_NUMBERS,
    "text": NO_TEXTS,
    "path": NO_PATHS,
    "object": NO_OBJECTS,
    "row": NO_ROWS,
    "marks": NO_MARKS,
}


@pytest.fixture(scope="module")
def at_hand(tmp_path_factory):
    """Return what the right calls are made of."""
    scenario = simulate.Scenario(30.0, ECG_HZ, IMPEDANCE_HZ, events=(simulate.Pause(8.0, 12.0),))
    recording = simulate.simulate_night(scenario, seed=3).recording
    plan = im.Prescription(apnea={"limit_s": 10}, contact_loss={"delay_s": 5})
    review = im.review(recording, plan)
    folder = tmp_path_factory.mktemp("arguments")
    formats.write_csv(recording, folder / "a.csv")
    review.to_json(folder / "review.json")
    return SimpleNamespace(
        scenario=scenario, recording=recording, plan=plan, review=review, folder=folder,
        ecg=recording.ecg.segments[0].values, impedance=recording.impedance.segments[0].values,
    )  # fmt: skip


def monitor(a):
    return im.Monitor(a.plan, ecg_hz=ECG_HZ, impedance_hz=IMPEDANCE_HZ)


def calls(a):
    """Return, by name, what is called, and per argument its right value and its kind."""
    return {
        "detect_r_peaks": (
            im.detect_r_peaks,
            {"ecg": (a.ecg, "marks"), "rate_hz": (ECG_HZ, "number"), "unit": ("mV", "text")},
        ),
        "detect_breaths": (
            im.detect_breaths,
            {"impedance": (a.impedance, "marks"), "rate_hz": (IMPEDANCE_HZ, "number")},
        ),
        "fuse_r_peaks": (
            im.fuse_r_peaks,
            {
                "first": (a.review.r_peaks, "object"),
                "second": (a.review.r_peaks, "object"),
                "rate_hz": (ECG_HZ, "number"),
                "end_s": (30.0, "number"),
            },
        ),
        "read": (
            lambda name, **more: im.read(name, **more),  # noqa: PLW0108 - it takes no name= itself
            {
                "name": (a.folder / "a.csv", "path"),
                "ecg": ("ECG", "text"),
                "impedance": ("IMPEDANCE", "text"),
            },
        ),
        "read_csv": (
            formats.read_csv,
            {
                "path": (a.folder / "a.csv", "path"),
                "separator": (",", "text"),
                "decimal": (".", "text"),
            },
        ),
        "Channel": (
            im.Channel,
            {
                "values": (a.ecg, "marks"),
                "rate_hz": (ECG_HZ, "number"),
                "unit": ("mV", "text"),
                "start_s": (0.0, "number"),
                "name": ("ECG", "text"),
            },
        ),
        "Recording": (
            im.Recording,
            {
                "channels": (a.recording.channels, "object"),
                "name": ("night", "text"),
                "started_at": (datetime(2020, 1, 1), "number"),  # noqa: DTZ001 - a recorder's own clock
                "notes": (("one",), "row"),
            },
        ),
        "review": (
            im.review,
            {
                "recording": (a.recording, "object"),
                "plan": (a.plan, "object"),
                "margin_s": (2.0, "number"),
            },
        ),
        "sweep": (
            im.sweep,
            {"findings": (a.review.findings, "object"), "plans": ([a.plan], "row")},
        ),
        "variations": (
            variations,
            {
                "plan": (a.plan, "object"),
                "limit": ("apnea.limit_s", "text"),
                "values": ([15.0, 20.0], "row"),
            },
        ),
        "neighbours": (neighbours, {"plan": (a.plan, "object"), "share": (0.1, "number")}),
        "what_if_table": (
            what_if_table,
            {
                "findings": (a.review.findings, "object"),
                "swept": (im.sweep(a.review.findings, [a.plan]), "row"),
            },
        ),
        "Review.to_html": (a.review.to_html, {"path": (a.folder / "a.html", "path")}),
        "Review.to_json": (a.review.to_json, {"path": (a.folder / "a.json", "path")}),
        "Prescription.from_toml": (
            im.Prescription.from_toml,
            {"path": (Path(__file__).parents[1] / "examples" / "limits.toml", "path")},
        ),
        "Monitor": (
            im.Monitor,
            {
                "plan": (a.plan, "object"),
                "ecg_hz": (ECG_HZ, "number"),
                "impedance_hz": (IMPEDANCE_HZ, "number"),
                "ecg_unit": ("mV", "text"),
                "impedance_unit": ("ohm", "text"),
                "ahead_s": (600.0, "number"),
            },
        ),
        "Monitor.push": (
            lambda ecg, impedance: monitor(a).push(ecg=ecg, impedance=impedance),
            {"ecg": (a.ecg[:9], "marks"), "impedance": (a.impedance[:9], "marks")},
        ),
        "Monitor.gap": (
            lambda channel, until_s: monitor(a).gap(channel, until_s=until_s),
            {"channel": ("ecg", "text"), "until_s": (3.0, "number")},
        ),
        "Monitor.resume": (im.Monitor.resume, {"blob": (monitor(a).save(), "object")}),
        "Channel.joined": (
            im.Channel.joined,
            {"pieces": ([(0.0, a.ecg)], "row"), "rate_hz": (ECG_HZ, "number")},
        ),
        "Channel.to_frame": (
            a.recording.ecg.to_frame,
            {"start_s": (0.0, "number"), "end_s": (1.0, "number")},
        ),
        "Decisions": (im.Decisions, {"made": ((), "row")}),
        "Decisions.add": (
            im.Decisions().add,
            {
                "event": (a.review.events[0], "object"),
                "decision": ("real", "text"),
                "by": ("a reader", "text"),
                "note": ("seen", "text"),
            },
        ),
        "HeartRate.push": (
            lambda beats: HeartRate(HeartRateSettings(8)).push(beats),
            {"beats": (a.review.r_peaks, "object")},
        ),
        "EventLog": (im.EventLog, {"events": (a.review.events, "row")}),
        "RecordedEvents": (im.RecordedEvents, {"events": ((), "row")}),
        "Recorder": (
            Recorder,
            {
                "rates_hz": ({"ecg": ECG_HZ}, "object"),
                "before_s": (60.0, "number"),
                "most_events": (10, "number"),
            },
        ),
        "FrameReader": (
            FrameReader,
            {"monitor": (monitor(a), "object"), "rates_hz": (monitor(a).rates_hz, "object")},
        ),
        "frames_of": (
            lambda **given: list(frames_of(**given)),
            {
                "recording": (a.recording, "object"),
                "step_s": (10.0, "number"),
                "pace": (1e5, "number"),
            },
        ),
        "write_csv": (
            formats.write_csv,
            {"recording": (a.recording, "object"), "path": (a.folder / "b.csv", "path")},
        ),
        "write_edf": (
            formats.write_edf,
            {"recording": (a.recording, "object"), "path": (a.folder / "b.edf", "path")},
        ),
        "write_wfdb": (
            formats.write_wfdb,
            {
                "recording": (a.recording, "object"),
                "folder": (a.folder, "path"),
                "name": ("b", "text"),
                "bits": (16, "number"),
            },
        ),
        "write_annotations": (
            write_annotations,
            {
                "annotations": ([Annotation(5, 1)], "row"),
                "path": (a.folder / "b.atr", "path"),
                "rate_hz": (ECG_HZ, "number"),
            },
        ),
        "write_edf_notes": (
            write_edf_notes,
            {"notes": ([TimedNote(1.0, 2.0, "x")], "row"), "path": (a.folder / "n.edf", "path")},
        ),
        "score_marks": (
            scoring.score_marks,
            {
                "reference_s": ([1.0, 2.0], "marks"),
                "test_s": ([1.0], "marks"),
                "window_s": (0.15, "number"),
                "start_s": (0.0, "number"),
                "end_s": (9.0, "number"),
            },
        ),
        "match_episodes": (
            scoring.match_episodes,
            {
                "reference_s": ([[1.0, 2.0]], "marks"),
                "test_s": ([[1.0, 2.0]], "marks"),
                "end_s": (9.0, "number"),
            },
        ),
        "score_alarms": (
            scoring.score_alarms,
            {
                "reference_s": ([[1.0, 2.0]], "marks"),
                "alarm_s": ([1.5], "marks"),
                "recorded_s": (9.0, "number"),
            },
        ),
        "wilson_interval": (
            scoring.wilson_interval,
            {"count": (5, "number"), "of": (9, "number"), "level": (0.95, "number")},
        ),
        "gross": (scoring.gross, {"tallies": ([scoring.Tally(1, 1, 1)], "row")}),
        "average": (scoring.average, {"figures": ([0.5, None], "row")}),
        "cohen_kappa": (
            scoring.cohen_kappa,
            {"first": (["a"], "row"), "second": (["a"], "row"), "level": (0.95, "number")},
        ),
        "record_interval": (
            scoring.record_interval,
            {
                "tallies": ([scoring.Tally(1, 1, 1)], "row"),
                "figure": (scoring.sensitivities, "object"),
                "seed": (1, "number"),
                "repeats": (9, "number"),
            },
        ),
        "impedance_quality": (
            impedance_quality,
            {
                "impedance": (a.impedance, "marks"),
                "rate_hz": (IMPEDANCE_HZ, "number"),
                "breath_s": (a.review.breaths.time_s, "marks"),
                "window_s": (10.0, "number"),
                "lengths_s": ((0.5, 4.0), "object"),
            },
        ),
        "Scenario": (
            simulate.Scenario,
            {
                "duration_s": (30.0, "number"),
                "ecg_hz": (ECG_HZ, "number"),
                "impedance_hz": (IMPEDANCE_HZ, "number"),
                "heart": (simulate.Heart(), "object"),
                "breathing": (simulate.Breathing(), "object"),
                "events": ((simulate.Pause(8.0, 9.0),), "row"),
            },
        ),
        "simulate_night": (
            simulate.simulate_night,
            {"scenario": (a.scenario, "object"), "seed": (1, "number")},
        ),
        "periodic_breathing": (
            simulate.periodic_breathing,
            {
                "start_s": (1.0, "number"),
                "pause_s": (5.0, "number"),
                "breathing_s": (9.0, "number"),
                "count": (3, "number"),
            },
        ),
        "heart_rate_steps": (
            simulate.heart_rate_steps,
            {"rates_bpm": ([100.0], "row"), "hold_s": (9.0, "number"), "start_s": (0.0, "number")},
        ),
        "summarise_downloads": (
            summarise_downloads,
            {"downloads": ((), "row"), "prescribed": (None, "number")},
        ),
        "Prescribed": (
            Prescribed,
            {
                "first": (date(2020, 1, 1), "object"),
                "last": (date(2020, 1, 2), "object"),
                "hours_a_day": (9.0, "number"),
            },
        ),
    }


# classes of numbers alone, with their right values
NUMBERS = {
    RPeakSettings: {"rate_hz": ECG_HZ, "start_s": 0.0},
    EcgBandPassSettings: {"rate_hz": ECG_HZ, "start_s": 0.0, "low_hz": 8.0, "high_hz": 25.0},
    ImpedanceBandPassSettings: {"rate_hz": IMPEDANCE_HZ, "start_s": 0.0, "cutoff_hz": 2.5},
    CardiacArtifactSettings: {"rate_hz": 31.25, "input_lag_s": 0.5, "beat_lag_s": 1.0},
    BreathSettings: {"rate_hz": 31.25, "raw_rate_hz": IMPEDANCE_HZ, "ahead_s": 1.5},
    HeartRateSettings: {"average_s": 8.0, "beat_lag_s": 1.0},
    BreathingRateSettings: {"average_s": 8.0, "breath_lag_s": 1.0},
    LeadFusionSettings: {"rate_hz": ECG_HZ, "first_lag_s": 1.0, "second_lag_s": 1.0},
    PooledSlowBeats: {"interval_s": 0.6, "least_beats": 2, "pooled_s": 180.0},
    RelativeFall: {"share": 0.5, "least_s": 4.0, "baseline_s": 60.0},
    SustainedSlowing: {"limit_bpm": 100.0, "least_s": 4.0, "joined_s": 4.0},
    simulate.Pause: {"onset_s": 8.0, "length_s": 12.0},
    simulate.SlowingInPause: {"rate_bpm": 65.0, "delay_s": 9.0, "fall_s": 4.0, "return_s": 5.0},
    simulate.Movement: {"start_s": 8.0, "length_s": 12.0, "breaths": 3.0},
    simulate.Noisy: {"deviation": 0.5, "mains": 0.25, "frequency_hz": 50.0},
    simulate.OutOfRange: {"level": 8.0, "deviation": 0.5},
    simulate.EcgChannel: {"noise_mv": 0.5, "low_mv": -5.0, "high_mv": 5.0},
}


def told_of(call, arguments):
    """Return the words of the library's own error, or what came in its place."""
    try:
        made = call(**arguments)
    except InfantmonError as fault:
        return str(fault)
    except Exception as fault:  # noqa: BLE001 - whatever else it is: it is what is looked for
        return fault
    return made


def test_what_cannot_be_meant_is_refused_in_words(at_hand):
    count = 0
    for name, (call, arguments) in calls(at_hand).items():
        right = {argument: value for argument, (value, _) in arguments.items()}
        call(**right)
        for argument, (_, kind) in arguments.items():
            for what, wrong in WRONG[kind].items():
                told = told_of(call, right | {argument: wrong})
                assert isinstance(told, str), f"{name}({argument}: {what}) gives {told!r}"
                assert len(told) > 20, f"{name}({argument}: {what}) says {told!r}"
                count += 1
    assert count > 600


STAGES = {HeartRateSettings: HeartRate, BreathingRateSettings: BreathingRate}
"""Settings of an average are looked at by the stage."""


@pytest.mark.parametrize("kind", NUMBERS, ids=lambda kind: kind.__name__)
def test_settings_take_numbers_of_any_type_and_nothing_else(kind):
    right = NUMBERS[kind]
    wanted = _built(kind, right)
    for argument, value in right.items():
        for wrong in NO_NUMBERS.values():
            with pytest.raises(InfantmonError):
                _built(kind, right | {argument: wrong})
        for same in (Fraction(value), Decimal(value), np.float32(value), np.array(value)):
            if float(same) == value:
                made = _built(kind, right | {argument: same})
                assert made == wanted
                if signature(kind).parameters[argument].annotation.startswith("float"):
                    assert type(getattr(made, argument)) is float


def _built(kind, numbers):
    made = kind(**numbers)
    if kind in STAGES:
        STAGES[kind](made)
    return made


def test_contact_settings_ask_for_a_clock():
    with pytest.raises(InfantmonError, match="clock is a float; pass a Clock"):
        ContactSettings(125.0, flat_s=5.0, rail_held_s=1.0)


@pytest.mark.parametrize(
    "shown",
    [
        list,
        tuple,
        lambda x: x.astype(">f8"),
        lambda x: np.repeat(x, 2)[::2],
        lambda x: x[::-1].copy()[::-1],
        np.ma.array,
    ],
    ids=["list", "tuple", "big-endian", "every other", "backwards", "masked"],
)
def test_samples_of_any_layout_give_equal_results(shown, at_hand):
    ecg, impedance = at_hand.ecg, at_hand.impedance
    beats = im.detect_r_peaks(shown(ecg), ECG_HZ)
    assert np.array_equal(beats.time_s, im.detect_r_peaks(ecg, ECG_HZ).time_s)
    breaths = im.detect_breaths(shown(impedance), IMPEDANCE_HZ)
    assert np.array_equal(breaths.time_s, im.detect_breaths(impedance, IMPEDANCE_HZ).time_s)
    changes = monitor(at_hand).push(ecg=shown(ecg), impedance=shown(impedance))
    assert changes == monitor(at_hand).push(ecg=ecg, impedance=impedance)


@pytest.mark.parametrize("rate", [np.float32(62.5), Fraction(125, 2), Decimal("62.5")])
def test_rates_of_any_type_give_equal_results(rate, at_hand):
    breaths = im.detect_breaths(at_hand.impedance, rate)
    assert np.array_equal(breaths.time_s, im.detect_breaths(at_hand.impedance, 62.5).time_s)
    beats = im.detect_r_peaks(at_hand.impedance, rate)
    assert np.array_equal(beats.time_s, im.detect_r_peaks(at_hand.impedance, 62.5).time_s)
