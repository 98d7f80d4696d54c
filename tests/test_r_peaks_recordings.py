"""The R-peak detector on recorded ECGs with reference marks; figures in docs and benchmarks."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
from r_peak_inputs import matched

from infantmon.stages.r_peaks import detect_r_peaks

RECORDINGS = Path(
    os.environ.get("INFANTMON_RECORDINGS")
    or Path(__file__).resolve().parents[2] / "shared" / "recordings"
)
pytestmark = [
    pytest.mark.recordings,
    pytest.mark.skipif(
        not (RECORDINGS / "picsdb").is_dir() and "INFANTMON_REQUIRE_ALL" not in os.environ,
        reason="the shared recordings are not here; set INFANTMON_RECORDINGS to their folder",
    ),
]


def preterm(infant, segment):
    """One segment of the preterm recordings: ECG, rate, stored marks in seconds."""
    with np.load(RECORDINGS / "picsdb" / f"infant{infant}_segment{segment}.npz") as stored:
        rate_hz = float(stored["ecg_fs"])
        return stored["ecg"], rate_hz, stored["locmax_ecg"] / rate_hz


def test_preterm_segments_agree_with_the_stored_marks():
    hits = misses = extras = 0
    for infant in (1, 2):
        for segment in range(5):
            ecg, rate_hz, marks = preterm(infant, segment)
            found = detect_r_peaks(ecg, rate_hz).time_s
            if (infant, segment) == (2, 0):  # an electrode artefact with wrong marks
                marks, found = (t[(t < 84.0) | (t > 88.0)] for t in (marks, found))
            hit, miss, extra = matched(marks, found, 0.1)
            hits, misses, extras = hits + hit, misses + miss, extras + extra
    assert hits / (hits + misses) >= 0.997
    assert hits / (hits + extras) >= 0.997
