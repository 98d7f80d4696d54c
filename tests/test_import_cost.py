"""Importing the package is light: nothing heavy is loaded, and little time is spent."""

import pytest

from benchmarks.must_import import EVERY_NAME, MOST, PACKAGE, YARDSTICK, loaded_by, median_times_s


def test_importing_the_package_loads_nothing_heavy():
    assert loaded_by(PACKAGE) == []


def test_using_every_public_name_loads_nothing_heavy():
    assert loaded_by(EVERY_NAME) == []


@pytest.mark.parametrize("name", ["pandas", "wfdb"])
def test_the_question_would_be_answered_with_yes(name):
    assert name in loaded_by(f"import {name}")


def test_the_command_line_loads_nothing_heavy_either():
    assert loaded_by("from infantmon.cli import main") == []


def test_importing_costs_no_more_than_two_and_a_half_times_the_yardstick():
    yardstick_s, package_s = median_times_s((YARDSTICK, PACKAGE), rounds=3)
    assert package_s <= MOST * yardstick_s
