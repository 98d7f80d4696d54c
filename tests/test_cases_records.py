"""Real recordings of every format through the command line."""

import json
import lzma

import pytest

from infantmon.cli import main

pytestmark = pytest.mark.recordings

PLAN = """
[apnea]
limit_s = 20
[low_heart_rate]
limit_bpm = 50
hold_off_s = 5
average_beats = 8
[no_heart_beat]
limit_s = 4
[contact_loss]
delay_s = 5
"""


@pytest.fixture
def reviewed(tmp_path, capsys):
    """Return a function that reviews a record and gives what was printed, and the stored events."""

    def run(*arguments):
        plan, out = tmp_path / "plan.toml", tmp_path / "out"
        plan.write_text(PLAN)
        asked = ["--prescription", str(plan), "--out", str(out)]
        assert main(["review", *map(str, arguments), *asked]) == 0
        page = (out / "review.html").read_text(encoding="utf-8")
        assert page.startswith("<!DOCTYPE html>")
        assert "not a medical device" in page
        return capsys.readouterr().out, json.loads((out / "events.json").read_text())

    return run


def test_a_wfdb_record_with_channels_of_two_rates(recordings, reviewed):
    printed, _ = reviewed(recordings / "mimicdb" / "03700181")
    assert "10.0 min recorded" in printed
    assert "ecg: usable for" in printed
    assert "impedance: usable for" in printed


def test_an_edf_file_whose_channel_is_chosen_by_name(recordings, reviewed):
    printed, _ = reviewed(recordings / "adfecgdb" / "r01.edf", "--ecg", "Direct_1")
    assert "5.0 min recorded" in printed
    assert "ecg: usable for 5.0 min" in printed
    assert "impedance: not recorded" in printed


def test_a_table_with_its_own_names(recordings, reviewed, tmp_path):
    packed = recordings / "bidmc" / "bidmc_csv" / "bidmc_01_Signals.csv.xz"
    table = tmp_path / "bidmc_01.csv"
    table.write_bytes(lzma.decompress(packed.read_bytes()))
    printed, _ = reviewed(table)
    assert "8.0 min recorded" in printed
    assert "ecg: usable for 8.0 min" in printed
    assert "impedance: usable for 8.0 min" in printed


def test_an_unknown_channel_of_a_real_record_lists_what_is_there(recordings, tmp_path, capsys):
    plan = tmp_path / "plan.toml"
    plan.write_text(PLAN)
    record = str(recordings / "mimicdb" / "03700181")
    asked = ["--prescription", str(plan), "--ecg", "V9", "--out", str(tmp_path / "out")]
    assert main(["review", record, *asked]) == 2
    told = capsys.readouterr().err
    assert "no channel 'V9'" in told
    assert "MCL1 (mV, 500 Hz)" in told
    assert not (tmp_path / "out").exists()
