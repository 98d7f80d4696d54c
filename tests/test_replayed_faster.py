"""Detectors are made for no one speed: adults replayed as fast as infants."""

import pytest

from benchmarks.replayed_faster import ALONE, BEATS, LED, row_of
from infantmon.labelled.known import database


@pytest.mark.recordings
@pytest.mark.parametrize(
    ("name", "looked_for", "speed", "least"),
    [
        ("mitdb", BEATS, 1.5, (0.995, 0.998)),  # reached: 0.9965, 0.9992
        ("adfecgdb", BEATS, 1.25, (0.993, 0.995)),  # 0.9953, 0.9974
        ("bidmc", LED, 2.0, (0.982, 0.985)),  # 0.9841, 0.9879
        ("bidmc", ALONE, 2.0, (0.980, 0.985)),  # 0.9830, 0.9887
    ],
)
def test_marks_are_found_at_an_infants_speed(recordings, name, looked_for, speed, least):
    """Limits are the project's own: what was reached, less a little."""
    row = row_of(database(name, recordings), looked_for, speed)
    found, right = row["sensitivity"], row["predictivity"]
    assert found["count"] / found["of"] >= least[0]
    assert right["count"] / right["of"] >= least[1]
