"""A prescription checks itself: complete, plausible, all faults at once, nothing by default."""

from datetime import date

import pytest

from infantmon.errors import PrescriptionError
from infantmon.model.prescription import KINDS, Prescription, UnusualLimitWarning

GOOD = """
[apnea]
limit_s = 20
[low_heart_rate]
limit_bpm = 80
hold_off_s = 5
average_beats = 8
[high_heart_rate]
limit_bpm = 220
hold_off_s = 10
average_s = 5
[no_heart_beat]
limit_s = 4
[contact_loss]
delay_s = 10
[periodic_breathing]
pause_s = 3
count = 3
gap_s = 20
[infant]
label = "A"
born_on = 2026-03-01
postmenstrual_age_weeks = 34.5
[prescriber]
name = "Dr. Invented"
prescribed_on = 2026-04-01
note = "after the study night"
"""


def from_text(tmp_path, text):
    path = tmp_path / "limits.toml"
    path.write_text(text, encoding="utf-8")
    return Prescription.from_toml(path)


def faults_of(tmp_path, text):
    with pytest.raises(PrescriptionError) as caught:
        from_text(tmp_path, text)
    return str(caught.value)


def test_a_good_file_is_read_whole(tmp_path):
    plan = from_text(tmp_path, GOOD)
    assert plan.apnea.limit_s == 20.0
    assert (plan.low_heart_rate.limit_bpm, plan.low_heart_rate.hold_off_s) == (80.0, 5.0)
    assert plan.low_heart_rate.averaging == "mean of the last 8 RR intervals"
    assert plan.high_heart_rate.averaging == "mean of the RR intervals of the last 5 s"
    assert plan.no_heart_beat.limit_s == 4.0
    assert plan.contact_loss.delay_s == 10.0
    assert plan.periodic_breathing.count == 3
    assert plan.infant.born_on == date(2026, 3, 1)
    assert plan.prescriber.note == "after the study night"
    assert plan.not_watched == ()


def test_file_and_code_give_equal_prescriptions(tmp_path):
    assert from_text(tmp_path, "[apnea]\nlimit_s = 20\n") == Prescription(apnea={"limit_s": 20})


def test_a_kind_without_its_channel_is_not_watched_either(tmp_path):
    plan = from_text(tmp_path, "[apnea]\nlimit_s = 20\n[no_heart_beat]\nlimit_s = 4\n")
    unset = dict.fromkeys(plan.not_watched, "no limit set")
    assert plan.why_not_watched({"apnea"}) == unset | {"no heart beat": "no channel for it"}
    assert plan.why_not_watched({"apnea", "no heart beat"}) == unset


def test_an_absent_table_is_not_watched(tmp_path):
    assert from_text(tmp_path, "").not_watched == KINDS
    assert from_text(tmp_path, "[contact_loss]\ndelay_s = 5\n").not_watched == KINDS[:5]


NO_DEFAULTS = [
    ("apnea", ["limit_s"]),
    ("low_heart_rate", ["limit_bpm", "hold_off_s"]),
    ("high_heart_rate", ["limit_bpm", "hold_off_s"]),
    ("no_heart_beat", ["limit_s"]),
    ("contact_loss", ["delay_s"]),
    ("periodic_breathing", ["pause_s", "count", "gap_s"]),
]


@pytest.mark.parametrize(("table", "names"), NO_DEFAULTS)
def test_no_limit_has_a_default(tmp_path, table, names):
    told = faults_of(tmp_path, f"[{table}]\n")
    for name in names:
        assert f"{table}.{name}: is missing; no limit has a default" in told


@pytest.mark.parametrize("extra", ["", "average_beats = 4\naverage_s = 3\n"])
def test_the_averaging_is_one_of_two(tmp_path, extra):
    told = faults_of(tmp_path, "[low_heart_rate]\nlimit_bpm = 80\nhold_off_s = 5\n" + extra)
    assert "low_heart_rate: give either average_beats or average_s, one of the two" in told


LIMITS = [
    ("apnea", "limit_s", {}, 5, 60),
    ("low_heart_rate", "limit_bpm", {"hold_off_s": 5, "average_beats": 8}, 20, 350),
    ("high_heart_rate", "limit_bpm", {"hold_off_s": 5, "average_beats": 8}, 20, 350),
    ("low_heart_rate", "hold_off_s", {"limit_bpm": 80, "average_beats": 8}, 0, 120),
    ("low_heart_rate", "average_beats", {"limit_bpm": 80, "hold_off_s": 5}, 1, 60),
    ("low_heart_rate", "average_s", {"limit_bpm": 80, "hold_off_s": 5}, 1, 60),
    ("no_heart_beat", "limit_s", {}, 1, 30),
    ("contact_loss", "delay_s", {}, 0, 600),
    ("periodic_breathing", "pause_s", {"count": 3, "gap_s": 20}, 2, 20),
    ("periodic_breathing", "count", {"pause_s": 3, "gap_s": 20}, 2, 20),
    ("periodic_breathing", "gap_s", {"pause_s": 3, "count": 3}, 1, 120),
]


@pytest.mark.filterwarnings("ignore::infantmon.model.prescription.UnusualLimitWarning")
@pytest.mark.parametrize(("table", "name", "rest", "low", "high"), LIMITS)
def test_a_limit_is_plausible_from_so_much_to_so_much(table, name, rest, low, high):
    for value in (low, high):
        assert getattr(getattr(Prescription(**{table: rest | {name: value}}), table), name) == value
    step = 1 if name in ("count", "average_beats") else 0.01
    for value, limit in ((low - step, low), (high + step, high)):
        with pytest.raises(PrescriptionError) as caught:
            Prescription(**{table: rest | {name: value}})
        told = str(caught.value)
        assert f"{table}.{name}" in told
        assert str(limit) in told
        assert f"(got {value!r})" in told
        assert (f"{limit} s (got" in told) is name.endswith("_s")
        assert (f"{limit} beats a minute (got" in told) is name.endswith("_bpm")
        assert f"`{name}`, {low} to {high}" in " ".join(Prescription.__doc__.split())


@pytest.mark.parametrize("value", ["nan", "inf", "-inf", '"twenty"', "true", "[20]"])
def test_a_limit_is_a_finite_number(tmp_path, value):
    assert "apnea.limit_s" in faults_of(tmp_path, f"[apnea]\nlimit_s = {value}\n")


@pytest.mark.parametrize("low", [220, 221])
def test_the_low_rate_is_below_the_high_one(tmp_path, low):
    told = faults_of(tmp_path, GOOD.replace("limit_bpm = 80", f"limit_bpm = {low}"))
    assert f"the low limit is {low} and the high limit 220 beats a minute" in told
    assert "the low one must be below the high one" in told


def test_all_faults_are_told_at_once(tmp_path):
    told = faults_of(
        tmp_path,
        "[apnea]\nlimit_s = 90\n[low_heart_rate]\nlimit_bpm = 5\n[no_heart_beat]\nlimits = 4\n"
        "[fever]\nlimit_c = 39\n",
    )
    for fault in ("apnea.limit_s", "low_heart_rate.limit_bpm", "low_heart_rate.hold_off_s"):
        assert fault in told
    assert "no_heart_beat.limits: is not known here; take it out or mend its name" in told
    assert "no_heart_beat.limit_s: is missing" in told
    assert "fever: is not known here" in told
    assert "the prescription has 6 faults" in told
    assert "limits.toml" in told


@pytest.mark.parametrize("limit_s", [5, 9.9, 30.1, 60])
def test_an_unusual_limit_is_warned_about(limit_s):
    with pytest.warns(UnusualLimitWarning, match=f"limit_s = {limit_s:g} s is unusual"):
        Prescription(apnea={"limit_s": limit_s})


@pytest.mark.parametrize("limit_s", [10, 15, 20, 30])
def test_a_usual_limit_is_not(limit_s, recwarn):
    Prescription(apnea={"limit_s": limit_s})
    assert not recwarn.list


def test_a_missing_file_is_told_with_its_path(tmp_path):
    with pytest.raises(PrescriptionError, match=r"none\.toml cannot be read .*check the path"):
        Prescription.from_toml(tmp_path / "none.toml")


def test_a_folder_is_no_file(tmp_path):
    with pytest.raises(PrescriptionError, match="cannot be read"):
        Prescription.from_toml(tmp_path)


@pytest.mark.parametrize("raw", [b"[apnea\nlimit_s = 20", b"\xff\xfe[\x00"])
def test_what_is_not_toml_is_told_with_its_place(tmp_path, raw):
    path = tmp_path / "limits.toml"
    path.write_bytes(raw)
    with pytest.raises(PrescriptionError, match=r"is not valid TOML .* mend that line"):
        Prescription.from_toml(path)


def test_a_prescription_cannot_be_changed():
    plan = Prescription(apnea={"limit_s": 20})
    with pytest.raises(ValueError, match="frozen"):
        plan.apnea.limit_s = 25
    with pytest.raises(ValueError, match="frozen"):
        plan.apnea = None
