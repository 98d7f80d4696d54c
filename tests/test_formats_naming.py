"""Channels found by name and unit, never by position (names: common practice)."""

from pathlib import Path

import pytest

from infantmon.errors import ArgumentError, RecordingError
from infantmon.formats.naming import choose, role_label
from infantmon.formats.source import Listed, with_numbered_doubles
from infantmon.model.units import plain_unit

NOBODY = {"ecg": None, "ecg2": None, "impedance": None}
HERE = Path("here.edf")


def listed(*channels):
    """Channels from (name, unit) or (name, unit, rate)."""
    return with_numbered_doubles(
        [Listed(i, c[0], c[1], c[2] if len(c) > 2 else 250.0) for i, c in enumerate(channels)]
    )


def chosen(*channels, **asked):
    found, notes = choose(listed(*channels), NOBODY | asked, HERE)
    return {role: channel.name for role, channel in found.items()}, notes


ECG_NAMES = [
    "ECG",
    "ecg",
    "EKG",
    "ECG I",
    "ECG_II",
    "ECG1",
    "EKG 2",
    "ecg lead II",
    "I",
    "II",
    "III",
]
ECG_NAMES += ["MLII", "MLIII", "MCL1", "MCL", "V", "V1", "V5", "aVR", "AVF", "Lead II", "lead-ii"]
IMPEDANCE_NAMES = ["RESP", "Resp", "resp", "Respiration", "IMP", "Imp resp", "Thoracic impedance"]
IMPEDANCE_NAMES += ["chest_impedance", "impedance", "TTI", "Impedance pneumogram", "RESP imp", "Z"]
OTHERS = [
    "PLETH",
    "ABP",
    "ART",
    "CVP",
    "SpO2",
    "CO2",
    "Flow",
    "EEG Fp1",
    "EMG",
    "EOG",
    "Nasal resp",
]
OTHERS += ["HR", "RR", "Resp rate", "ECG HR", "ECG quality", "Resp effort", "abdomen", "Direct_1"]
OTHERS += ["Electrode impedance off", "", "IV", "VI", "sample"]


@pytest.mark.parametrize("name", ECG_NAMES)
@pytest.mark.parametrize("unit", ["mV", "uV", "V", None, "adu"])
def test_names_of_an_ecg(name, unit):
    found, _ = chosen(("PLETH", None), (name, unit), ("ABP", "mmHg"))
    assert found == {"ecg": name}


@pytest.mark.parametrize("name", IMPEDANCE_NAMES)
@pytest.mark.parametrize("unit", ["ohm", "kohm", "mV", None, "adu"])
def test_names_of_a_chest_impedance(name, unit):
    found, _ = chosen(("PLETH", None), (name, unit), ("ABP", "mmHg"))
    assert found == {"impedance": name}


@pytest.mark.parametrize("name", OTHERS)
@pytest.mark.parametrize("unit", ["mV", None])
def test_names_of_neither(name, unit):
    with pytest.raises(RecordingError):
        chosen((name, unit))


@pytest.mark.parametrize(
    ("name", "unit"),
    [("RESP", "bpm"), ("RESP", "L/s"), ("RESP", "cmH2O"), ("II", "mmHg"), ("V", "ohm")],
)
def test_a_unit_that_does_not_fit_rules_a_name_out(name, unit):
    if unit == "ohm":
        assert chosen((name, unit), ("ECG", "mV"))[0] == {"ecg": "ECG", "impedance": "V"}
    else:
        with pytest.raises(RecordingError):
            chosen((name, unit))


def test_an_ohm_alone_makes_an_impedance_and_a_name_goes_before_it():
    assert chosen(("Chest 1", "ohm"))[0] == {"impedance": "Chest 1"}
    assert chosen(("Chest 1", "ohm"), ("RESP", None))[0] == {"impedance": "RESP"}


@pytest.mark.parametrize("turned", [False, True])
def test_of_several_the_preferred_is_taken_in_any_order_and_the_others_are_told(turned):
    channels = [("V1", "mV"), ("II", "mV"), ("RESP", None), ("Impedance", "ohm")]
    found, notes = chosen(*(channels[::-1] if turned else channels))
    assert found == {"ecg": "II", "impedance": "Impedance"}
    assert any("ecg is II" in n and "also there: V1 (mV, 250 Hz)" in n for n in notes)
    assert any("impedance is Impedance" in n and "RESP" in n for n in notes)


def test_of_the_chest_leads_that_with_the_largest_r_waves_goes_first():
    assert chosen(("V2", "mV"), ("V5", "mV"))[0] == {"ecg": "V5"}
    assert chosen(("V1", "mV"), ("V2", "mV"), ("MLII", "mV"))[0] == {"ecg": "MLII"}


def test_a_second_lead_is_taken_only_when_asked_for():
    channels = [("II", "mV"), ("V1", "mV"), ("RESP", None)]
    assert "ecg2" not in chosen(*channels)[0]
    assert chosen(*channels, ecg2="V1")[0] == {"ecg": "II", "ecg2": "V1", "impedance": "RESP"}
    assert chosen(*channels, ecg2="II")[0] == {"ecg": "V1", "ecg2": "II", "impedance": "RESP"}


def test_a_channel_asked_for_is_taken_whatever_its_name_and_unit():
    found, _ = chosen(("Direct_1", "uV"), ("belt", "bar"), ecg="direct_1", impedance="belt [bar]")
    assert found == {"ecg": "Direct_1", "impedance": "belt"}


def test_an_unknown_channel_lists_what_is_there():
    with pytest.raises(RecordingError) as caught:
        chosen(("II", "mV"), ("RESP", None, 62.5), ecg="III")
    told = str(caught.value)
    assert told == (
        "here.edf has no channel 'III' to take as ecg. "
        "It has II (mV, 250 Hz), RESP (unit not stated, 62.5 Hz)."
    )


def test_none_found_lists_every_channel_and_tells_how_to_choose():
    with pytest.raises(RecordingError) as caught:
        chosen(("PLETH", "NU", 125.0), ("ABP", "mmHg", 62.5))
    told = str(caught.value)
    for words in ("PLETH (NU, 125 Hz)", "ABP (mmHg, 62.5 Hz)", "--ecg NAME", "--impedance NAME"):
        assert words in told


def test_what_is_missing_is_told():
    _, notes = chosen(("II", "mV"))
    assert any(note.startswith("no chest impedance found") for note in notes)
    _, notes = chosen(("RESP", None))
    assert any(note.startswith("no ECG found") for note in notes)


def test_an_impedance_asked_for_as_an_ecg_is_told():
    found, notes = chosen(("II", "mV"), ("chest", "ohm"), ecg="chest", impedance="II")
    assert found == {"ecg": "chest", "impedance": "II"}
    (note,) = notes
    assert note.startswith("chest (ohm, ")
    assert note.endswith("was asked for as ecg, but ohm is no unit of an ECG; check the name")


def test_a_trend_of_numbers_is_no_waveform_unless_asked_for():
    channels = [("II", "mV"), ("RESP", None, 1.0)]
    found, notes = chosen(*channels)
    assert found == {"ecg": "II"}
    assert any("RESP (unit not stated, 1 Hz) is too slow" in note for note in notes)
    assert chosen(*channels, impedance="RESP")[0]["impedance"] == "RESP"
    with pytest.raises(RecordingError, match=r"ECG \(mV, 20 Hz\) is too slow for a waveform"):
        chosen(("ECG", "mV", 20.0))


def test_doubles_are_told_apart_by_number():
    channels = [("ECG", "mV"), ("ECG", "mV"), ("RESP", None)]
    found, notes = chosen(*channels)
    assert found["ecg"] == "ECG#1"
    assert any("also there: ECG#2" in note for note in notes)
    assert chosen(*channels, ecg="ECG#2")[0]["ecg"] == "ECG#2"


def test_one_channel_cannot_be_asked_for_twice():
    with pytest.raises(ArgumentError, match="one channel is asked for in two roles"):
        chosen(("II", "mV"), ecg="II", impedance="II")


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("mV", "mV"),
        ("MV", "mV"),
        ("µV", "uV"),
        ("\u03bcV", "uV"),
        ("[uV]", "uV"),
        ("Ohm", "ohm"),
        ("Ω", "ohm"),
        ("\u2126", "ohm"),
        ("kΩ", "kohm"),
        ("mOhm", "mohm"),
        ("", None),
        ("NU", None),
        ("a.u.", None),
        ("mmHg", "mmHg"),
        ("adu", "adu"),
    ],
)
def test_units_in_plain_spelling(text, unit):
    assert plain_unit(text) == unit


@pytest.mark.parametrize("role", ["ecg", "ecg2", "impedance"])
@pytest.mark.parametrize(
    "name", ["", "II", "RESP", "Direct_1", "whatever", "ECG", "Z", "belt", "HR"]
)
def test_a_channel_written_under_its_label_is_found_again(role, name):
    label = role_label(name, role)
    assert name in label or name in {"belt", "HR"}
    found, _ = chosen((label, None))
    assert list(found) == ["impedance" if role == "impedance" else "ecg"]
